"""The timetable as HTML: each interval with its cues, what was left out, and what can be done about both."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.base.units import format_clock, format_duration, to_ms
from cuelane.deliver.page_score import shape_of
from cuelane.deliver.page_text import interval_name
from cuelane.desk.edits import EditError, data_of, value_at
from cuelane.desk.forms import place_name
from cuelane.desk.labels import role_of
from cuelane.desk.page_pieces import Content, PagePiece
from cuelane.desk.page_shell import render
from cuelane.desk.planning import PlanView
from cuelane.desk.reasons import Reason, reason_in_words
from cuelane.desk.words import desk_words
from cuelane.session.candidates import WEIGHTS
from cuelane.web.page_parts import language_tag, plain

_STEP = 20
"""How much heavier or lighter a press makes a line; about the distance between two roles."""


@dataclass(frozen=True)
class CueRow:
    """A cue in the timetable, with all that can be done to it; its times count from its interval."""

    when: str
    text: str
    role: str
    why: Reason
    must: bool
    from_s: float
    to_s: float
    into_ms: int
    left: float
    width: float
    key: str
    at: str = ""
    written: str = ""
    fixed: bool = False
    pinned: bool = False
    heavier: int = 0
    lighter: int = 0


@dataclass(frozen=True)
class LeftOut:
    """A cue that is not in the timetable, why, and what can be done about it."""

    text: str
    role: str
    why: Reason
    at: str = ""
    written: str = ""
    fixed: bool = False
    pinned: bool = False


@dataclass(frozen=True)
class IntervalRow:
    """An interval in the timetable."""

    key: str
    name: str
    language: str
    kind: str
    length: str
    length_ms: int
    cues: tuple[CueRow, ...]
    dropped: tuple[LeftOut, ...]


@dataclass(frozen=True)
class BlockRow:
    """A block's intervals."""

    title: str
    rows: list[PagePiece]


def timetable(preview: PlanView, schedule: Schedule) -> Content:
    """Return the timetable of a schedule that a plan has: a part of the page for each block."""
    blocks, language = _blocks(preview, schedule), language_tag(schedule.language)
    if not blocks:
        return (Markup('<p class="empty">–</p>'),)
    return tuple(
        PagePiece(
            "section",
            f"b/{block.rows[0].id}",
            (
                Markup('<h3 dir="auto" lang="{}">{}</h3><ol class="rows">').format(language, block.title),
                *block.rows,
                Markup("</ol>"),
            ),
            Markup(' class="block"'),
        )
        for block in blocks
    )


def _drawn(row: IntervalRow, language: str) -> Markup:
    return _drawn_in(row, language, desk_words().code)


@lru_cache(maxsize=4_096)
def _drawn_in(row: IntervalRow, language: str, _: str) -> Markup:
    """Return an interval's row as HTML. Between two keystrokes most rows stay as they are."""
    return render("timetable_row.html.j2", row=row, language=language)


def _blocks(preview: PlanView, schedule: Schedule) -> list[BlockRow]:
    spoken: dict[int, list[Event]] = defaultdict(list)
    for event in schedule.cues:
        spoken[event.interval].append(event)
    dropped: dict[int, list[Dropped]] = defaultdict(list)
    for row in schedule.dropped:
        dropped[row.interval].append(row)
    try:
        data = data_of(preview.text)
    except EditError:
        data = {}
    blocks: list[BlockRow] = []
    keys = _row_keys(schedule)
    for index, interval in enumerate(schedule.intervals):
        if not blocks or blocks[-1].title != plain(interval.block):
            blocks.append(BlockRow(plain(interval.block), []))
        cues: list[CueRow] = []
        for event in spoken[index]:
            # By its line, not by its turn: a cue that is moved past another keeps its element, and the focus.
            cue = _cue(preview, schedule, interval, event, data)
            n_same = sum(one.key.rpartition(".")[0] == cue.key for one in cues)
            cues.append(replace(cue, key=f"{cue.key}.{n_same}"))
        words = page_words(desk_words().code)
        # What the plan has a name for is called so, in the plan's language; "rest" is the desk's word.
        of_plan = {"work": interval.exercise, "talk": interval.block}
        language = schedule.language if of_plan.get(interval.kind) else words.code
        start_ms = to_ms(interval.start_sample, schedule.sample_rate)
        length_ms = to_ms(interval.end_sample, schedule.sample_rate) - start_ms
        shown = IntervalRow(
            keys[index],
            interval_name(interval, page_words(language)),
            language_tag(language),
            words(f"kind_inside.{interval.kind}"),
            format_duration(length_ms),
            length_ms,
            tuple(cues),
            tuple(_left_out(preview, one, data) for one in dropped[index]),
        )
        starts = Markup(' data-start="{}" data-clock="{}"').format(
            interval.start_sample / schedule.sample_rate, format_clock(start_ms)
        )
        shape = Markup(' class="row k-{}"').format(shape_of(schedule.intervals, index))
        blocks[-1].rows.append(
            PagePiece(
                "li", f"i/{shown.key}", (_drawn(shown, language_tag(schedule.language)),), shape, starts
            )
        )
    return blocks


def _row_keys(schedule: Schedule) -> list[str]:
    """Return a name for each interval that it keeps when others are put before it or taken away.

    By what is done in it, or after it, in which round and on which side.
    """
    keys: list[str] = []
    n_same: dict[str, int] = defaultdict(int)
    leads_to: list[str] = []
    for interval in reversed(schedule.intervals):
        leads_to.append(interval.exercise or (leads_to[-1] if leads_to else ""))
    for interval, exercise in zip(schedule.intervals, reversed(leads_to), strict=True):
        about = f"{interval.kind}\0{exercise}\0{interval.round}\0{interval.side}"
        key = hashlib.blake2b(about.encode("utf-8", "replace"), digest_size=4).hexdigest()
        n_same[key] += 1
        keys.append(key if n_same[key] == 1 else f"{key}.{n_same[key]}")
    return keys


def _left_out(preview: PlanView, row: Dropped, data: Mapping[str, Any]) -> LeftOut:
    name, is_own, wishes = _written(preview, row.role, row.text, data)
    why, at = reason_in_words(row.reason), name if is_own else ""
    return LeftOut(row.text, row.role, why, at, name, "at" in wishes, bool(wishes.get("must")))


def _written(
    preview: PlanView, role: str, text: str, data: Mapping[str, Any]
) -> tuple[str, bool, Mapping[str, Any]]:
    """Return where a line is written, whether it is an exercise's own, and the wishes beside its words.

    The place is empty for what is not written in this file.
    """
    place = (preview.places or {}).get((role, text))
    if not place:
        return "", False, {}
    place = place[:-1] if place[-1] == "text" else place
    try:
        line = value_at(data, place)
    except (KeyError, IndexError, TypeError):
        return "", False, {}
    return place_name(place), place[0] == "exercises", line if isinstance(line, dict) else {}


def _cue(
    preview: PlanView, schedule: Schedule, interval: ScheduledInterval, event: Event, data: Mapping[str, Any]
) -> CueRow:
    rate = schedule.sample_rate
    name, is_own, wishes = _written(preview, event.role, event.text or "", data)
    weight = wishes.get("weight", WEIGHTS.get(event.role, 20))
    weight = weight if isinstance(weight, int) else 20
    into = event.onset_sample - interval.start_sample
    length = max(1, interval.end_sample - interval.start_sample)
    return CueRow(
        desk_words().decimal(f"{into / rate:.1f}"),
        plain(event.text or ""),
        role_of(event.role),
        reason_in_words(plain(event.why or "")),
        bool(event.must),
        round(into / rate - 0.3, 3),
        round((event.end_sample - interval.start_sample) / rate + 0.2, 3),
        to_ms(into, rate),
        round(100 * into / length, 3),
        round(100 * (event.end_sample - event.onset_sample) / length, 3),
        name or event.role,
        name if is_own else "",
        name,
        "at" in wishes,
        bool(wishes.get("must")),
        min(1000, weight + _STEP),
        max(0, weight - _STEP),
    )
