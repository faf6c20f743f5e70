"""What repeats in a recorded class: the exercises of one round, how many rounds, and the times they share."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.word_lists import lists_of, singular

REGULAR = 0.6
"""Chosen: so large a part of all sets, and of all rests, must have one length for it to be the class's."""

# Chosen: a rest that is so much longer than the usual one ends a part of a class.
_LONG_REST = 1.5
# Chosen: where so large a part of the sets has a rest behind it, that is the class's, and none an exception.
_PAUSED = 1 / 4
# Chosen: fewer sets of a part than this show no exercise that goes on.
_LEAST_OF_PART = 3


@dataclass(frozen=True)
class RoundPlace:
    """An exercise's place in a round; ``work_ms`` and ``rest_ms`` where they are not the class's."""

    exercise: str
    work_ms: int | None = None
    rest_ms: int | None = None


@dataclass(frozen=True)
class ClassPart:
    """Sets in a row of one exercise: the first's number, from 0, how many, and the rest after the last."""

    exercise: str
    first: int
    n_sets: int
    rest_ms: int


@dataclass(frozen=True)
class ClassShape:
    """A class as a circuit.

    ``sets`` holds the index of each set's interval, ``names`` what is done in it; ``places`` is one round.
    ``named`` is how many sets are called by a name that was said. ``is_regular`` is False where most sets or
    rests have lengths of their own, so that the class cannot be re-timed by two numbers. ``heard`` is each
    set's name as it was heard in it, None where none was; empty where nothing was heard differently.
    ``n_listed`` sets have the name of their place in what was listed before the first or before their block.
    Where a set starts each ``every_ms``, ``work_ms`` is a guess at how much of that is work, unless a person
    named it (``is_named``), and the rest of it ``rest_ms``.
    ``sections`` are what the class is put together of, where it is no one circuit; its own fields are then
    those of one round of all sets. ``guessed`` are names that are only the words that their set begins with.
    """

    sets: tuple[int, ...]
    names: tuple[str, ...]
    places: tuple[RoundPlace, ...]
    rounds: int
    work_ms: int
    rest_ms: int
    round_rest_ms: int | None
    last_rest: bool
    named: int
    is_regular: bool
    ladder_ms: tuple[int, ...] = ()
    heard: tuple[str | None, ...] = ()
    n_listed: int = 0
    every_ms: int | None = None
    is_named: bool = False
    sections: tuple[ClassSection, ...] = ()
    guessed: tuple[str, ...] = ()

    @property
    def parts(self) -> tuple[ClassPart, ...]:
        """The class as one exercise after another, each with its sets in a row; empty if it is not so."""
        if self.sections:
            return ()
        found, at = [], 0
        for name, run in itertools.groupby(self.names):
            n_sets = len(list(run))
            places = self.places[at : at + n_sets]
            at += n_sets
            own = [place.work_ms for place in places] + [place.rest_ms for place in places[:-1]]
            if self.rounds > 1 or n_sets < _LEAST_OF_PART or any(ms is not None for ms in own):
                return ()
            last = places[-1].rest_ms
            found.append(ClassPart(name, at - n_sets, n_sets, self.rest_ms if last is None else last))
        return tuple(found) if len({part.exercise for part in found}) == len(found) > 1 else ()

    def round_of(self, number: int) -> int:
        """Return in which round of its block set `number` (from 0) is, from 1."""
        if self.parts:
            # A part of one exercise has a round for each of its sets.
            return self.appearance(number)
        own = next((one for one in reversed(self.sections) if one.first <= number), None)
        first, size = (own.first, len(own.shape.places)) if own else (0, len(self.places))
        return (number - first) // size + 1

    def renamed(self, called: Mapping[str, str]) -> ClassShape:
        """Return the shape with the exercises that are in `called` called so."""
        return replace(
            self,
            names=tuple(called.get(name, name) for name in self.names),
            places=tuple(
                replace(one, exercise=called.get(one.exercise, one.exercise)) for one in self.places
            ),
            sections=tuple(replace(one, shape=one.shape.renamed(called)) for one in self.sections),
        )

    def appearance(self, number: int) -> int:
        """Return how often the exercise of set `number` (from 0) has come by then; 1 for its first set."""
        return self.names[: number + 1].count(self.names[number])


@dataclass(frozen=True)
class ClassSection:
    """Sets in a row that are a circuit: the number of the first, from 0, and the rest after the last."""

    first: int
    shape: ClassShape
    rest_ms: int


def repeats(said: Sequence[str | None], language: str = "en") -> bool:
    """Return whether sets called as `said` are the same in each of several rounds."""
    return _is_in_rounds(_in_full(said, language))


def _is_in_rounds(said: Sequence[str | None]) -> bool:
    return _round_of(said)[0] < len(said)


def sets_of(intervals: Sequence[FoundInterval]) -> list[int]:
    """Return the indices of the intervals in which something is done."""
    return [index for index, interval in enumerate(intervals) if interval.kind == "work"]


def class_shape(
    intervals: Sequence[FoundInterval], said: Sequence[str | None], language: str = "en"
) -> ClassShape | None:
    """Return what repeats in `intervals`, where the sets are called as `said`; None without two sets."""
    sets = sets_of(intervals)
    if len(sets) < 2:
        return None
    work = [round(intervals[index].true_s * 1000) for index in sets]
    rest = rests_of(intervals)
    return shape_of(sets, work, rest, _in_parts(said, rest, language), language)


def shape_of(
    sets: Sequence[int], work: Sequence[int], rest: Sequence[int], said: Sequence[str | None], language: str
) -> ClassShape:
    """Return what repeats in one set and more, of which `rest` follows each; all in ms, of one length."""
    said = _in_full(said, language)
    size, names = _round_of(said)
    rounds = len(sets) // size
    work_ms, n_work = Counter(work).most_common(1)[0]
    between = [ms for n, ms in enumerate(rest[:-1]) if (n + 1) % size] or rest[:-1] or [0]
    pauses = [ms for ms in between if ms]
    # Where sets follow one another in pairs, the rest of the class is that between the pairs.
    counted = pauses if len(pauses) >= _PAUSED * len(between) else between
    rest_ms, n_rest = Counter(counted).most_common(1)[0]
    ends = {rest[n] for n in range(size - 1, len(sets) - 1, size)} if size > 1 and rounds > 1 else set()
    round_rest_ms = ends.pop() if len(ends) == 1 else None
    ladder = _ladder(work, size)
    columns = [_own_times([work_ms] * len(work) if ladder else work, rest, n, size) for n in range(size)]
    if any(column is None for column in columns):
        # A place whose times change from round to round is no place of a circuit.
        size, rounds, round_rest_ms, ladder = len(sets), 1, None, ()
        columns = [(work[n], rest[n]) for n in range(size)]
    places = []
    for n, column in enumerate(columns):
        assert column is not None, "seen to above"
        own_work, own_rest = column
        at_end = n == size - 1
        usual_rest = own_rest == rest_ms or (at_end and (round_rest_ms is not None or rounds == 1))
        places.append(
            RoundPlace(names[n], None if own_work == work_ms else own_work, None if usual_rest else own_rest)
        )
    return ClassShape(
        tuple(sets),
        tuple(names),
        tuple(places),
        rounds,
        work_ms,
        rest_ms,
        None if round_rest_ms == rest_ms else round_rest_ms,
        rest[-1] > 0,
        sum(name is not None for name in said),
        bool(ladder or n_work >= REGULAR * len(work)) and n_rest >= REGULAR * len(counted),
        ladder,
    )


def rests_of(intervals: Sequence[FoundInterval]) -> list[int]:
    """Return the rest after each set, in ms."""
    sets = sets_of(intervals)
    return [_rest_ms(intervals, one, two) for one, two in zip(sets, [*sets[1:], None], strict=True)]


def parted(rest: Sequence[int]) -> list[int]:
    """Return the first set, 0, and each that follows a long rest; `rest` is that after each set, in ms."""
    usual = Counter(rest[:-1]).most_common(1)[0][0]
    return [0, *(n + 1 for n, ms in enumerate(rest[:-1]) if ms >= _LONG_REST * max(usual, 1))]


def _rest_ms(intervals: Sequence[FoundInterval], one: int, two: int | None) -> int:
    """Return the rest between two sets, or after the last."""
    between = intervals[one + 1 : two]
    return sum(round(interval.true_s * 1000) for interval in between if interval.kind == "rest")


def _ladder(work: Sequence[int], size: int) -> tuple[int, ...]:
    """Return the work of each round of `size` sets, where it is one in each and another in the next."""
    rounds = [set(work[at : at + size]) for at in range(0, len(work), size)]
    each = [one.pop() for one in rounds if len(one) == 1]
    changes = len(each) > 1 and all(one != two for one, two in itertools.pairwise(each))
    return tuple(each) if len(each) == len(rounds) and size < len(work) and changes else ()


def _own_times(work: Sequence[int], rest: Sequence[int], n: int, size: int) -> tuple[int, int] | None:
    """Return the work and rest that place `n` has in every round, None where they differ.

    The rest after the last set of all is none between two sets.
    """
    works, rests = set(work[n::size]), set(rest[n:-1:size]) or {rest[n]}
    return (works.pop(), rests.pop()) if len(works) == len(rests) == 1 else None


def _moves(language: str) -> re.Pattern[str]:
    """Return a pattern that a name matches which ends in a move that is known."""
    lists: Mapping[str, list[str]] = lists_of(language)["names"]  # type: ignore[assignment]
    return re.compile(rf"(?:\S+ )*(?:{'|'.join(lists['move'])})")


def _combinations(language: str) -> re.Pattern[str]:
    """Return a pattern that a name matches which is moves that follow on one another."""
    lists: Mapping[str, list[str]] = lists_of(language)["names"]  # type: ignore[assignment]
    one = f"(?:{'|'.join([*lists['combined'], *lists['beside_combined']])})"
    return re.compile(f"{one}(?: {one})+")


def _in_parts(said: Sequence[str | None], rest: Sequence[int], language: str) -> Sequence[str | None]:
    """Return `said`; where long rests part sets of which the first alone is named, its name goes on.

    Eight times 20 s and 10 s of one exercise, a minute of rest, eight times of the next: it is named once.
    `rest` is that after each set, in ms. All parts must be so, as long as each other, and of other names.
    """
    moves = _moves(language)
    starts = parted(rest)
    parts = [list(said[one:two]) for one, two in zip(starts, [*starts[1:], None], strict=True)]
    firsts = [part[0] for part in parts]
    alike = len({len(part) for part in parts}) == 1 and len(parts[0]) >= _LEAST_OF_PART
    # What is said few words at a time in sets of 20 s, and is no move, was taken for a name.
    others = ({name for name in part if name and name != part[0] and moves.fullmatch(name)} for part in parts)
    once = all(part[0] and not other for part, other in zip(parts, others, strict=True))
    if len(parts) < 2 or not alike or not once or len(set(firsts)) < len(firsts):
        return said
    return [part[0] for part in parts for _ in part]


def _in_full(said: Sequence[str | None], language: str) -> Sequence[str | None]:
    """Return `said` with a name's last or first words ("swing") taken for all of it ("kettlebell swing").

    Only where one name alone ends so, and where the class repeats by it and not without it: a squat beside
    a goblet squat, round for round, is an exercise of its own. First words that are a move in themselves are
    another one in any case: a squat is no squat jump.
    """
    if _is_in_rounds(said):
        return said
    names = list(dict.fromkeys(name for name in said if name))
    moves, combined = _moves(language), _combinations(language)
    whole: dict[str, str] = {}
    for short in names:
        stem = singular(short)
        longer = [name for name in names if singular(name).endswith(f" {stem}")]
        if combined.fullmatch(short):
            # "Jab, cross" is none of "jab, cross, hook".
            continue
        if not moves.fullmatch(short):
            longer += [name for name in names if name.startswith(f"{stem} ")]
        if len(longer) == 1:
            whole[short] = longer[0]
    full = [name and whole.get(name, name) for name in said]
    return full if _is_in_rounds(full) else said


def _round_of(said: Sequence[str | None]) -> tuple[int, list[str]]:
    """Return how many sets a round has, and a name for every set.

    A round is the shortest stretch that the names repeat; a set without a name has that of its place. A set
    that no round names is called by its number.
    """
    n_sets = len(said)
    for size in range(1, n_sets + 1):
        columns = [{name for name in said[n::size] if name} for n in range(size)]
        seen = sum(name is not None for name in said[size:])
        is_one = all(len(column) <= 1 for column in columns) and n_sets % size == 0
        # Names of the first round alone show no second one.
        if is_one and (size == n_sets or (all(columns) and 2 * seen >= n_sets - size)):
            break
    found = [next(iter(columns[n % size]), f"exercise {n % size + 1}") for n in range(n_sets)]
    return size, found
