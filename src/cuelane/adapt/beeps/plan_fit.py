"""A known session held against a recording: which place is which boundary, with cuts and pauses between.

Between two boundaries the recording keeps the plan's time, but where it was cut or paused everything after it
is shifted. The best path through (boundary, place) pairs is found: each place adds its clearness, and each
shift costs. A boundary may have no place, and a place may be no boundary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

# Chosen: how far two boundaries may be off and still follow one clock; more hides cuts, less invents some.
SAME_S = 0.10
# Chosen: a third of a clear place; with a lower cost the path follows noise, with a higher one it misses a
# cut.
MOVE_COST = 0.35
# Chosen: no interval of a class is shorter.
_LEAST_APART_S = 3.0
# Chosen: the longest pause; a longer one is as good as two recordings, and would let any place be any
# boundary.
_LONGEST_PAUSE_S = 300.0
# Chosen: paths kept at once; more costs time with its square, fewer may lose the right one.
_BEAM = 600
# Chosen: shifted by so much, a place keeps the plan's time only by chance.
_JITTER_S = 2.0

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Path:
    """For each boundary the index of its place, or None; and how often the recording left the plan's time."""

    places: tuple[int | None, ...]
    n_moves: int

    @property
    def n_explained(self) -> int:
        """How many boundaries are where the one before them says."""
        return max(0, sum(place is not None for place in self.places) - 1 - self.n_moves)


def follow(places_s: Floats, gains: Floats, expected_s: Sequence[float]) -> Path:
    """Return the best path of `expected_s` through `places_s`.

    `places_s`, shape (n_places,), are in order of time; `gains`, the same shape, 0 to 1, say how clear each
    is.
    """
    n_places = len(places_s)
    # Of each step: boundary, place, step before, shifted here. "Alive" are the steps that a path may
    # continue.
    steps: list[tuple[int, int, int, bool]] = []
    alive = np.zeros(0, dtype=np.int64)
    values, shifts, times = np.zeros(0), np.zeros(0), np.zeros(0)
    for boundary, expected in enumerate(expected_s):
        shift = places_s - expected
        value, parent, moved = gains.copy(), np.full(n_places, -1), np.zeros(n_places, dtype=bool)
        if len(alive) and n_places:
            change = shift[:, None] - shifts[None, :]
            later = places_s[:, None] > times[None, :] + _LEAST_APART_S
            same = np.where(later & (np.abs(change) <= SAME_S), values[None, :], -np.inf)
            other = np.where(later & (change < _LONGEST_PAUSE_S), values[None, :] - MOVE_COST, -np.inf)
            for options, is_move in ((other, True), (same, False)):
                best = options.argmax(axis=1)
                offered = options[np.arange(n_places), best] + gains
                better = offered > value
                value[better], parent[better], moved[better] = offered[better], alive[best[better]], is_move
        first = len(steps)
        steps.extend((boundary, k, int(parent[k]), bool(moved[k])) for k in range(n_places))
        alive = np.concatenate([alive, np.arange(first, first + n_places)])
        values, shifts = np.concatenate([values, value]), np.concatenate([shifts, shift])
        times = np.concatenate([times, places_s])
        keep = np.argsort(-values, kind="stable")[:_BEAM]
        alive, values, shifts, times = alive[keep], values[keep], shifts[keep], times[keep]
    found: list[int | None] = [None] * len(expected_s)
    n_moves = 0
    step = int(alive[0]) if len(alive) else -1
    while step >= 0:
        boundary, place, before, was_moved = steps[step]
        found[boundary] = place
        n_moves += was_moved
        step = before
    return Path(tuple(found), n_moves)


def fit(path: Path, places_s: Floats, gains: Floats, expected_s: Sequence[float]) -> float:
    """Return how well `path` fits, 0 to 1: the share of boundaries explained beyond what chance explains.

    Chance is as many places just as clear, each moved by up to 2 s. `places_s` and `gains` have shape
    (n_places,), as :func:`follow` takes them.
    """
    moved = places_s + np.random.default_rng(0).uniform(-_JITTER_S, _JITTER_S, len(places_s))
    order = np.argsort(moved)
    rival = follow(moved[order], gains[order], expected_s)
    return max(0.0, (path.n_explained - rival.n_explained) / max(1, len(expected_s) - 1))
