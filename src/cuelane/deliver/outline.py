"""What a finished schedule holds, counted from its table alone: for the page, the cover and the description.

Counting from the schedule rather than the plan keeps these three right for a schedule that was made or
changed elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from cuelane.base.occupancy import occupancy
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.base.units import to_ms
from cuelane.web.page_parts import plain

KINDS = ("work", "rest", "change", "talk", "in", "hold", "out")
"""Kinds of interval, in the order of a legend."""


@dataclass(frozen=True)
class ExerciseTotal:
    """One exercise: its letter on the card, its sets, and its work in milliseconds in all and by side."""

    letter: str
    name: str
    sets: int
    work_ms: int
    by_side_ms: Mapping[str, int]


@dataclass(frozen=True)
class Section:
    """A run of intervals of one block; positions in samples, `rounds` 0 where the block has none."""

    title: str
    start_sample: int
    end_sample: int
    intervals: tuple[ScheduledInterval, ...]
    rounds: int

    @cached_property
    def last_round(self) -> int:
        """The number of its last round, 0 where it has none."""
        return max((row.round or 0 for row in self.intervals), default=0)

    @cached_property
    def is_breathing(self) -> bool:
        """Whether its rounds are breaths."""
        return are_breaths(self.intervals)


@dataclass(frozen=True)
class Outline:
    """Totals in milliseconds; ``open_ms`` is time without a cue or a pip."""

    length_ms: int
    work_ms: int
    effective_ms: int
    rest_ms: int
    change_ms: int
    breaths: int
    sets: int
    open_ms: int
    longest_talk_ms: int
    longest_talk_at_ms: int
    exercises: tuple[ExerciseTotal, ...]
    sections: tuple[Section, ...]

    @property
    def open_percent(self) -> int:
        """How much of the track is open, in whole hundredths of it; 0 where it has no length."""
        return round(100 * self.open_ms / self.length_ms) if self.length_ms else 0


def renumbered(schedule: Schedule) -> Schedule:
    """Return `schedule` with each interval's index its place in the list, whatever a file said."""
    intervals = tuple(replace(row, index=index) for index, row in enumerate(schedule.intervals))
    return replace(schedule, intervals=intervals)


def are_breaths(intervals: Sequence[ScheduledInterval]) -> bool:
    """Return whether the rounds of these are breaths."""
    return any(row.kind in ("in", "out") for row in intervals)


def letter(index: int) -> str:
    """Return A, B ... Z, AA, AB ... for 0, 1 ..."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def letters(schedule: Schedule) -> dict[str, str]:
    """Return a letter for each exercise, in order of first appearance."""
    names = dict.fromkeys(row.exercise for row in schedule.intervals if row.exercise)
    return {name: letter(index) for index, name in enumerate(names)}


def sections_of(schedule: Schedule) -> tuple[Section, ...]:
    """Return the runs of consecutive intervals that share a block."""
    made: list[Section] = []
    run: list[ScheduledInterval] = []
    for row in schedule.intervals:
        if run and row.block != run[0].block:
            made.append(_section(run))
            run = []
        run.append(row)
    if run:
        made.append(_section(run))
    return tuple(made)


def _section(run: list[ScheduledInterval]) -> Section:
    rounds = len({row.round for row in run if row.round is not None})
    return Section(plain(run[0].block), run[0].start_sample, run[-1].end_sample, tuple(run), rounds)


def outline_of(schedule: Schedule) -> Outline:
    """Return the totals of `schedule`; each is summed in samples and rounded once."""
    rate = schedule.sample_rate
    totals = dict.fromkeys(KINDS, 0)
    settle = 0
    sets: dict[str | None, set[int]] = {}
    seconds: dict[str, dict[str, int]] = {}
    for row in schedule.intervals:
        length = row.end_sample - row.start_sample
        totals[row.kind] += length
        if row.kind != "work":
            continue
        settle += row.settle_samples
        key = row.set_index if row.set_index is not None else -1 - row.index
        sets.setdefault(row.exercise, set()).add(key)
        if row.exercise:
            sides = seconds.setdefault(row.exercise, {})
            sides[row.side or ""] = sides.get(row.side or "", 0) + length
    exercises = tuple(
        ExerciseTotal(
            mark,
            plain(name),
            len(sets.get(name, ())),
            to_ms(sum(seconds.get(name, {}).values()), rate),
            {plain(side): to_ms(length, rate) for side, length in seconds.get(name, {}).items() if side},
        )
        for name, mark in letters(schedule).items()
    )
    used = occupancy(schedule)
    return Outline(
        length_ms=to_ms(schedule.n_frames, rate),
        work_ms=to_ms(totals["work"], rate),
        effective_ms=to_ms(totals["work"] - settle, rate),
        rest_ms=to_ms(totals["rest"], rate),
        change_ms=to_ms(totals["change"], rate),
        breaths=sum(row.kind == "in" for row in schedule.intervals),
        sets=sum(len(found) for found in sets.values()),
        open_ms=round(used.open_share * to_ms(schedule.n_frames, rate)),
        longest_talk_ms=round(used.longest_talk_s * 1000),
        longest_talk_at_ms=round(used.longest_talk_at_s * 1000),
        exercises=exercises,
        sections=sections_of(schedule),
    )
