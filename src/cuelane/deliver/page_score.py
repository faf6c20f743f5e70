"""The drawn parts of the page: every staff of the score with its voice line, and the session on one line."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.base.units import format_clock, to_ms
from cuelane.deliver.outline import KINDS, Outline
from cuelane.deliver.page_text import interval_name, length_of, side_word
from cuelane.deliver.score import Row, ScorePiece, Staff
from cuelane.web.page_parts import axis_svg, envelope_path, language_tag, spans_path

Envelope = Sequence[tuple[float, float]]
WIDTH = 10_000


@dataclass(frozen=True)
class PieceView:
    index: int
    kind: str
    left: str
    width: str
    tied: bool
    settle: str
    letter: str
    word: str
    language: str
    long: str
    says: str


@dataclass(frozen=True)
class RowView:
    label: str
    name: str
    clock: str
    start: int
    end: int
    width: str
    view: str
    wave: str
    cues: str
    pips: str
    pieces: list[PieceView]


@dataclass(frozen=True)
class StaffView:
    title: str
    note: str
    span: int
    axis: Markup
    words_only: bool
    rows: list[RowView]


def shape_of(intervals: Sequence[ScheduledInterval], index: int) -> str:
    """Return the shape that stands for an interval: its kind, with a hold on empty lungs drawn low."""
    kind = intervals[index].kind
    if kind == "hold" and index and intervals[index - 1].kind == "out":
        return "hold-low"
    return kind


def kinds_shown(schedule: Schedule) -> list[tuple[str, str]]:
    """Return (shape, word) of each kind of interval in the session, for the legend."""
    found = {row.kind for row in schedule.intervals}
    words = page_words(schedule.language)
    return [(kind, words(f"kind.{kind}")) for kind in KINDS if kind in found]


def _per_cent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.4f}".rstrip("0").rstrip(".")


def _pip_path(pips: Sequence[tuple[float, bool]], short: tuple[int, int], long: tuple[int, int]) -> str:
    """Return upright strokes: a stroke keeps its width at any scale; a box of 60 ms would not be seen."""
    return "".join(
        f"M{place:.2f} {(long if is_long else short)[0]}V{(long if is_long else short)[1]}"
        for place, is_long in pips
    )


def _overview_shape(kind: str, a: float, b: float) -> str:
    """Return the outline of one interval from `a` to `b`: its height and slope tell the kind."""
    match kind:
        case "in":
            return f"M{a:.2f} 42L{b:.2f} 14V60H{a:.2f}Z"
        case "out":
            return f"M{a:.2f} 14L{b:.2f} 42V60H{a:.2f}Z"
        case "hold-low":
            return spans_path([(a, b)], top=42, bottom=48)
    top = {"work": 10, "hold": 14, "talk": 22, "rest": 34, "change": 46}[kind]
    return spans_path([(a, b)], top=top, bottom=60)


def overview_paths(
    schedule: Schedule, outline: Outline, envelope: Envelope | None
) -> list[tuple[str, str, str]]:
    """Return (class, path, transform) of the whole session in a box of 10000 by 100.

    One path for each kind, however many intervals there are, so that four hours are drawn as fast as four
    minutes.
    """
    scale = WIDTH / max(schedule.n_frames, 1)
    shapes: dict[str, list[str]] = {name: [] for name in ("talk", "rest", "change", "work", "breath")}
    rounds = []
    before: ScheduledInterval | None = None
    for index, row in enumerate(schedule.intervals):
        kind = shape_of(schedule.intervals, index)
        shape = _overview_shape(kind, row.start_sample * scale, row.end_sample * scale)
        shapes[kind if kind in shapes else "breath"].append(shape)
        if before and row.round is not None and row.round != before.round:
            rounds.append(f"M{row.start_sample * scale:.2f} 0V8")
        before = row
    paths = [(name, "".join(parts), "") for name, parts in shapes.items() if parts]
    paths.append(("round", "".join(rounds), ""))
    edges = "".join(f"M{section.start_sample * scale:.2f} 0V62" for section in outline.sections[1:])
    paths.append(("section", edges, ""))
    if envelope:
        stretch = f"translate(0 63) scale({WIDTH / len(envelope):.6f} 1)"
        paths.append(("wave", envelope_path(envelope, height=30.0), stretch))
    else:
        spans = [(cue.onset_sample * scale, cue.end_sample * scale) for cue in schedule.cues]
        paths.append(("cue", spans_path(spans, top=70, bottom=88), ""))
    pips = [(pip.onset_sample * scale, pip.role == "long") for pip in schedule.pips]
    paths.append(("pip", _pip_path(pips, (97, 100), (93, 100)), ""))
    return [row for row in paths if row[1]]


def staff_views(
    schedule: Schedule, staves: Sequence[Staff], marks: Mapping[str, str], envelope: Envelope | None
) -> list[StaffView]:
    """Return the score with every text and position that the page's template needs."""
    onsets = [event.onset_sample for event in schedule.events]
    rate = schedule.sample_rate
    views = []
    for staff in staves:
        section = staff.section
        note = length_of(section, rate, page_words(schedule.language))
        note = note.replace(" ", "\u00a0").replace(",\u00a0", ", ")
        rows = [_row_view(schedule, staff, row, marks, envelope, onsets) for row in staff.rows]
        axis = axis_svg(staff.span_samples / rate, most=6)
        views.append(StaffView(section.title, note, staff.span_samples, axis, staff.words_only, rows))
    return views


def _row_view(
    schedule: Schedule,
    staff: Staff,
    row: Row,
    marks: Mapping[str, str],
    envelope: Envelope | None,
    onsets: Sequence[int],
) -> RowView:
    start, end, words = row.start_sample, row.end_sample, page_words(schedule.language)
    clock = format_clock(to_ms(start, schedule.sample_rate))
    events = schedule.events[bisect_left(onsets, start) : bisect_right(onsets, end)]
    wave, view = "", f"0 0 {end - start} 100"
    scale = 1.0
    if envelope:
        per_point = schedule.n_frames / len(envelope)
        first, last = int(start / per_point), min(int(end / per_point) + 1, len(envelope))
        wave = envelope_path(envelope[first:last], first=first)
        scale = 1 / per_point
        view = f"{start * scale:.3f} 0 {(end - start) * scale:.3f} 100"
    shift = 0 if envelope else start
    return RowView(
        label=row.label,
        name=", ".join(
            part for part in (staff.section.title, row.label, words("score.from", clock=clock)) if part
        ),
        clock=clock,
        start=start,
        end=end,
        width=_per_cent(end - start, staff.span_samples),
        view=view,
        wave=wave,
        cues=_cue_path(events, scale, shift, end),
        pips=_pip_path(
            [
                ((event.onset_sample - shift) * scale, event.role == "long")
                for event in events
                if event.kind == "pip" and not (event.role == "long" and event.onset_sample == start)
            ],
            (45, 100),
            (0, 100),
        ),
        pieces=[_piece_view(schedule, staff, row, piece, marks) for piece in row.pieces],
    )


def _cue_path(events: Sequence[Event], scale: float, shift: int, end: int) -> str:
    spans = [
        ((event.onset_sample - shift) * scale, (min(event.end_sample, end) - shift) * scale)
        for event in events
        if event.kind == "cue" and event.onset_sample < end
    ]
    return spans_path(spans, top=20, bottom=80)


def _piece_view(
    schedule: Schedule, staff: Staff, row: Row, piece: ScorePiece, marks: Mapping[str, str]
) -> PieceView:
    interval = piece.interval
    rate = schedule.sample_rate
    words = page_words(schedule.language)
    length = words.time(to_ms(interval.end_sample - interval.start_sample, rate))
    name = interval_name(interval, words)
    mark = marks.get(interval.exercise or "", "") if interval.kind == "work" else ""
    side = side_word(interval.side, words)
    if mark and side:
        mark += f" {words.find('side', f'{interval.side}_letter') or side[0].upper()}"
    # The letter already tells the side.
    shown_name = name.removesuffix(f", {side}") if mark else name
    word = shown_name if interval.kind == "work" else words(f"kind_short.{interval.kind}")
    starts = format_clock(to_ms(interval.start_sample, rate))
    shown = max(piece.end_sample - piece.start_sample, 1)
    settle = 0
    if interval.settle_samples and not piece.tied:
        settle = min(interval.settle_samples, shown)
    # The visible text comes first and in the same order, so that speech control finds the button by it.
    seen = " ".join(part for part in (mark, word, "" if piece.tied else length) if part)
    # Of all others the short word says what kind they are.
    kind = words("kind_inside.work") if interval.kind == "work" else ""
    starts = words("score.from", clock=starts)
    says = ", ".join(part for part in (seen, side, kind, starts) if part)
    return PieceView(
        index=interval.index,
        kind=shape_of(schedule.intervals, interval.index),
        left=_per_cent(piece.start_sample - row.start_sample, staff.span_samples),
        width=_per_cent(shown, staff.span_samples),
        tied=piece.tied,
        settle=_per_cent(settle, shown) if settle else "",
        letter=mark,
        word=word,
        language=language_tag(schedule.language) if interval.kind == "work" else words.code,
        long="" if piece.tied else length,
        says=says,
    )
