"""The session as a score sheet: a row for each round, all rows of a block on one scale, to show its shape.

The rows of a build-up grow by one piece each, the bars of a ladder get longer, breaths stand side by side. A
row too long to read breaks between intervals, as a line of music does; an interval longer than a row goes on
in the next one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuelane.base.page_words import PageWords
from cuelane.base.schedule import ScheduledInterval
from cuelane.deliver.outline import Section, are_breaths

INTERVALS_PER_ROW = 16
LEAST_ROW_S = 60


@dataclass(frozen=True)
class ScorePiece:
    """The part of an interval that one row shows; ``tied`` when it began in the row before."""

    interval: ScheduledInterval
    start_sample: int
    end_sample: int
    tied: bool


@dataclass(frozen=True)
class Row:
    """One line: positions in samples, `label` such as ``Round 3`` or ``Rounds 1-4``, or nothing."""

    label: str
    start_sample: int
    end_sample: int
    pieces: tuple[ScorePiece, ...]


@dataclass(frozen=True)
class Staff:
    """A block's rows; `span_samples` is the time that the full width stands for."""

    section: Section
    span_samples: int
    rows: tuple[Row, ...]

    @property
    def words_only(self) -> bool:
        """Whether nothing but talk happens in the block."""
        return all(interval.kind == "talk" for interval in self.section.intervals)


Group = list[ScheduledInterval]


def _length(group: Sequence[ScheduledInterval]) -> int:
    return group[-1].end_sample - group[0].start_sample


def _rounds(section: Section) -> list[Group]:
    """Return the intervals by round; one without a round stays with the round before it."""
    groups: list[Group] = []
    for row in section.intervals:
        if groups and row.round in (groups[-1][0].round, None):
            groups[-1].append(row)
        else:
            groups.append([row])
    return groups


def _typical(section: Section) -> int:
    """Return the length such that half of the block's time is in intervals of at most this length."""
    lengths = sorted(row.end_sample - row.start_sample for row in section.intervals)
    total, passed = sum(lengths), 0
    for length in lengths:
        passed += length
        if passed * 2 >= total:
            return length
    return 1


def _label(intervals: Sequence[ScheduledInterval], words: PageWords) -> str:
    numbers = [row.round for row in intervals if row.round is not None]
    if not numbers:
        return ""
    low, high = min(numbers), max(numbers)
    unit = "breath" if are_breaths(intervals) else "round"
    if low == high:
        return words(f"score.{unit}", n=str(low))
    return words(f"score.{unit}s", low=str(low), high=str(high))


def _row(pieces: list[ScorePiece], words: PageWords) -> Row:
    label = _label([piece.interval for piece in pieces], words)
    return Row(label, pieces[0].start_sample, pieces[-1].end_sample, tuple(pieces))


def _break(group: Group, span: int, words: PageWords) -> list[Row]:
    """Return the rows that `group` fills, broken inside an interval only where it alone is too long."""
    rows: list[Row] = []
    pieces: list[ScorePiece] = []
    for interval in group:
        if pieces and interval.end_sample - pieces[0].start_sample > span:
            rows.append(_row(pieces, words))
            pieces = []
        start = interval.start_sample
        while interval.end_sample - start > span:
            piece = ScorePiece(interval, start, start + span, start > interval.start_sample)
            rows.append(_row([piece], words))
            start += span
        pieces.append(ScorePiece(interval, start, interval.end_sample, start > interval.start_sample))
    if pieces:
        rows.append(_row(pieces, words))
    return rows


def staff_of(section: Section, sample_rate: int, words: PageWords) -> Staff:
    """Return the rows of one block."""
    groups = _rounds(section)
    most = max(INTERVALS_PER_ROW * _typical(section), LEAST_ROW_S * sample_rate)
    longest = max(_length(group) for group in groups)
    alike = len(groups) > 1 and all(_length(group) * 5 >= longest * 4 for group in groups[:-1])
    if alike and max(len(group) for group in groups) <= 4:
        # Short rounds of one length, such as breaths: several to a row, in columns.
        together = max(1, most // longest)
        groups = [
            [interval for group in groups[at : at + together] for interval in group]
            for at in range(0, len(groups), together)
        ]
        longest = max(_length(group) for group in groups)
    span = max(1, min(longest, most))
    if len(groups) == 1 and _length(groups[0]) < span * 2:
        span = max(span, LEAST_ROW_S * sample_rate)
    rows = tuple(row for group in groups for row in _break(group, span, words))
    return Staff(section, span, rows)


def staves_of(sections: Sequence[Section], sample_rate: int, words: PageWords) -> tuple[Staff, ...]:
    """Return the score of a whole session."""
    return tuple(staff_of(section, sample_rate, words) for section in sections)
