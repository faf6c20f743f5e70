"""A recorded class that is several circuits, one after another: a warm-up, two rounds of this and of that."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from math import inf

from cuelane.adapt.class_shape import ClassSection, ClassShape, RoundPlace, rests_of, shape_of
from cuelane.adapt.words.intervals import FoundInterval

# Chosen: so many exercises and times a block more must save, or names that were misheard would make blocks.
_BLOCK = 2
# Chosen: fewer sets that repeat are an exercise that has a set for each side.
_LEAST_REPEATED = 4
# Chosen: two sets that come again are an exercise and a finisher as often as a round.
_LEAST_AGAIN = 3
# Chosen: so large a part of the sets must be in circuits that repeat.
_REPEATED = 0.3
# Chosen: more sets would take seconds, and no class of ours has as many.
_MOST_SETS = 60

Circuit = Callable[[int, int], ClassShape]


def in_sections(
    shape: ClassShape, intervals: Sequence[FoundInterval], said: Sequence[str | None], language: str = "en"
) -> ClassShape:
    """Return `shape`, of sets that are called as `said`, as circuits one after another where it is so.

    Of all ways to part the sets the one is taken that has the fewest exercises and times of their own to
    write down.
    """
    n_sets = len(shape.sets)
    if shape.rounds > 1 or shape.parts or n_sets > _MOST_SETS:
        return shape
    work = [round(intervals[index].true_s * 1000) for index in shape.sets]
    rest = rests_of(intervals)

    @cache
    def circuit(first: int, end: int) -> ClassShape:
        # The rest after the last set is between two blocks.
        own_rest = [*rest[first : end - 1], 0]
        return shape_of(shape.sets[first:end], work[first:end], own_rest, said[first:end], language)

    cuts = _cheapest(n_sets, circuit)
    found = [circuit(first, end) for first, end in cuts]
    if sum(len(one.sets) for one in found if one.rounds > 1 or _comes_again(one, found)) < _REPEATED * n_sets:
        return shape
    sections = tuple(
        ClassSection(first, _renumbered(one, first), rest[end - 1])
        for (first, end), one in zip(cuts, found, strict=True)
    )
    names = tuple(name for one in sections for name in one.shape.names)
    return replace(
        shape,
        names=names,
        places=tuple(RoundPlace(name) for name in names),
        named=n_sets - sum(len(one.sets) - one.named for one in found if one.rounds == 1),
        is_regular=all(one.is_regular for one in found),
        sections=sections,
    )


def _cheapest(n_sets: int, circuit: Circuit) -> list[tuple[int, int]]:
    """Return the first set of each circuit, and the one behind its last."""
    best: list[tuple[float, int]] = [(0.0, 0)]
    for end in range(1, n_sets + 1):
        costs = ((best[first][0] + _cost(circuit(first, end)), first) for first in range(end))
        best.append(min(costs))
    cuts: list[tuple[int, int]] = []
    while n_sets:
        cuts.append((best[n_sets][1], n_sets))
        n_sets = best[n_sets][1]
    return cuts[::-1]


def _comes_again(one: ClassShape, found: Sequence[ClassShape]) -> bool:
    """Return whether the sets of a circuit, all of them named, are those of another of `found`, too.

    Where each exercise is shown before its first set, the first round has other rests than the second.
    """
    is_named = one.named == len(one.sets) >= _LEAST_AGAIN
    return is_named and sum(other.names == one.names for other in found) > 1


def _cost(one: ClassShape) -> float:
    """Return what a circuit has to write down."""
    if one.rounds > 1 and len(one.sets) < _LEAST_REPEATED:
        return inf
    own = sum((place.work_ms is not None) + (place.rest_ms is not None) for place in one.places)
    return _BLOCK + len(one.places) + own + len(one.ladder_ms)


def _renumbered(one: ClassShape, first: int) -> ClassShape:
    """Return a circuit with its sets that have a number for a name numbered as in the class."""
    named = {f"exercise {n + 1}": f"exercise {first + n + 1}" for n in range(len(one.places))}
    return one.renamed(named)
