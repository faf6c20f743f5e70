"""How many intervals a plan would become and how long it would last, counted without expanding it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cuelane.plan.checks import times_of
from cuelane.plan.model import (
    Breath,
    Build,
    Exercise,
    ExerciseBlock,
    Item,
    Ladder,
    OnTheMinute,
    Pause,
    Say,
    Script,
)

MAX_INTERVALS = 5_000
"""Chosen so that any plan is arranged in about 10 s: full intervals, hardly two alike, take 1 to 2 ms each.
A breath of four phases of 4 s comes to 3,600 in four hours; sets and rests to a few hundred."""

MAX_LENGTH_MS = 24 * 3_600_000


@dataclass(frozen=True)
class Size:
    n_intervals: int = 0
    length_ms: int = 0

    def __add__(self, other: Size) -> Size:
        return Size(self.n_intervals + other.n_intervals, self.length_ms + other.length_ms)

    def __mul__(self, times: int) -> Size:
        return Size(self.n_intervals * times, self.length_ms * times)


def size_of(item: Item | None, exercises: Mapping[str, Exercise | None]) -> Size:
    """Return the size of one session item, at least as large as its expansion; includes count as nothing."""
    if isinstance(item, Say):
        return Size(1, item.lasts or 0)
    if isinstance(item, Pause):
        return Size(1, item.rest)
    if isinstance(item, Script):
        return Size(len(item.intervals), sum(interval.length for interval in item.intervals))
    if isinstance(item, Breath):
        return Size(4, item.inhale + item.hold + item.exhale + item.hold_out) * item.cycles
    if isinstance(item, ExerciseBlock):
        return _block_size(item, exercises) + Size(2, 0)
    return Size()


def _block_size(block: ExerciseBlock, exercises: Mapping[str, Exercise | None]) -> Size:
    sizes = []
    for place, entry in enumerate(block.exercises):
        exercise = exercises.get(entry.exercise)
        work = times_of(block, entry, exercise)[0]
        n_halves = 2 if exercise is not None and exercise.sides == "each" else 1
        rest_ms = _longest_rest(block, entry.rest, exercise)
        if isinstance(block, Ladder):
            n_rounds = len(block.work)
            work_ms = sum(work) if len(work) == n_rounds else work[0] * n_rounds
        else:
            n_rounds = _rounds(block, place)
            work_ms = work[0] * n_rounds
        if isinstance(block, OnTheMinute):
            sizes.append(Size((n_halves + 1) * n_rounds, max(block.every, work[0]) * n_rounds))
        else:
            sizes.append(Size((n_halves + 1) * n_rounds, work_ms + rest_ms * n_rounds))
    return sum(sizes, Size())


def _rounds(block: ExerciseBlock, place: int) -> int:
    """Return how many sets the exercise at `place` (from 0) gets."""
    if isinstance(block, Build):
        n_left = len(block.exercises) - place
        return 2 * n_left - 1 if block.pattern == "build-up-and-down" else n_left
    return block.rounds if not isinstance(block, Ladder) else len(block.work)


def _longest_rest(block: ExerciseBlock, own_ms: int | None, exercise: Exercise | None) -> int:
    """Return the longest pause that could follow a set."""
    pauses = [getattr(block, key, None) or 0 for key in ("change", "round_rest")]
    rest = getattr(block, "rest", 0)
    pauses.append(max(rest) if isinstance(rest, list) else rest)
    pauses.append(own_ms or 0)
    pauses.append(exercise.rest or 0 if exercise is not None else 0)
    return max(pauses)
