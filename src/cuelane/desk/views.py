"""What the desk's pages show: previews and forms as HTML, each part by itself so that it can be exchanged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import Any

from markupsafe import Markup

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.base.units import format_clock, format_duration, to_ms
from cuelane.deliver.outline import outline_of
from cuelane.deliver.page_facts import fact_rows
from cuelane.deliver.page_score import overview_paths, shape_of
from cuelane.deliver.page_text import interval_name, tally_rows
from cuelane.desk.document import Version, digest_of
from cuelane.desk.edits import Edit, EditError, data_of, value_at
from cuelane.desk.forms import exercise_items, place_name, plan_fields, session_items
from cuelane.desk.page_shell import render
from cuelane.desk.planning import Notice, PlanView
from cuelane.desk.summaries import PlanSummary
from cuelane.desk.words import desk_words, language_of
from cuelane.plan.starter import PATTERNS
from cuelane.session.candidates import WEIGHTS
from cuelane.web.page_parts import language_tag, plain

_STEP = 20
"""How much heavier or lighter a press makes a line; about the distance between two roles."""


@dataclass(frozen=True)
class CueRow:
    """A cue in the timetable, with all that can be done to it."""

    when: str
    text: str
    role: str
    why: str
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
class IntervalRow:
    """An interval in the timetable."""

    index: int
    shape: str
    clock: str
    start_s: float
    name: str
    language: str
    kind: str
    length: str
    length_ms: int
    cues: tuple[CueRow, ...]
    dropped: tuple[Dropped, ...]


@dataclass(frozen=True)
class BlockRow:
    """A block's intervals."""

    title: str
    rows: list[IntervalRow]


def forms(text: str, others: list[str]) -> dict[str, str]:
    """Return the forms of a plan's text as HTML by the part of the page; none where it cannot be read."""
    try:
        data = data_of(text)
    except EditError:
        return {}
    if not isinstance(data, dict):
        return {}
    exercises = exercise_items(data)
    values: dict[str, Any] = {"names": [item.title for item in exercises], "patterns": PATTERNS}
    values["plan_lang"] = language_tag(str(data.get("language", "en")))
    return {
        "session": render("session.html.j2", items=session_items(data), others=others, **values),
        "exercises": render("exercises.html.j2", exercises=exercises, **values),
        "about": render("about.html.j2", about=plan_fields(data), **values),
    }


def preview_parts(preview: PlanView) -> dict[str, str]:
    """Return what is drawn of a preview as HTML, by the part of the page; none without a schedule."""
    schedule = preview.schedule
    if schedule is None:
        return {}
    outline = outline_of(schedule)
    words = page_words(desk_words().code)
    facts = [(fact.name, fact.value) for fact in fact_rows(replace(schedule, language=words.code), outline)]
    return {
        "overview": overview(schedule),
        "totals": render("totals.html.j2", tally=tally_rows(outline, words), facts=facts),
        "timetable": render(
            "timetable.html.j2",
            blocks=_blocks(preview, schedule),
            language=language_tag(schedule.language),
            drawn=_drawn,
        ),
    }


def overview(schedule: Schedule) -> Markup:
    """Return the whole session on one line, drawn as on the page beside a track."""
    paths = Markup("").join(
        Markup('<path class="o-{}" d="{}"{}/>').format(
            name, path, Markup(' transform="{}"').format(transform) if transform else ""
        )
        for name, path, transform in overview_paths(schedule, outline_of(schedule), None)
    )
    return Markup(
        '<svg viewBox="0 0 10000 100" preserveAspectRatio="none" aria-hidden="true">{}</svg>'
    ).format(paths)


def summary_of(preview: PlanView) -> PlanSummary | None:
    """Return what the shelf shows of a preview; None without a schedule."""
    schedule = preview.schedule
    if schedule is None:
        return None
    cover = tuple(overview_paths(schedule, outline_of(schedule), None))
    return PlanSummary(
        schedule.title, to_ms(schedule.n_frames, schedule.sample_rate), cover, preview.n_unspoken == 0
    )


def state(version: Version, preview: PlanView) -> dict[str, Any]:
    """Return what the page's script needs to know of a version and its preview."""
    schedule = preview.schedule
    return {
        "number": version.number,
        "text": version.text,
        "seen": digest_of(version.text),
        "what": version.what,
        "can_undo": version.can_undo,
        "can_redo": version.can_redo,
        "length_s": schedule.n_frames / schedule.sample_rate if schedule else 0,
        "title": schedule.title if schedule else "",
        "language": schedule.language if schedule else "",
        "unspoken": preview.n_unspoken,
        "findings": [_finding(row) for row in preview.findings],
    }


def edit_json(edit: Edit) -> dict[str, Any]:
    """Return an edit as the page sends it back."""
    fields = asdict(edit)
    fields["place"] = list(fields.pop("path"))
    return {"op": type(edit).__name__.lower(), **fields}


def _finding(row: Notice) -> dict[str, Any]:
    return {
        "level": row.level,
        "message": plain(row.message),
        "lang": language_of(row.told),
        "hint": plain(row.hint),
        "at": place_name(row.place),
        "file": plain(str(row.file)),
        "code": row.code,
        "fixes": [
            {"label": plain(fix.label), "edits": [edit_json(edit) for edit in fix.edits]} for fix in row.fixes
        ],
    }


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
        blocks[-1].rows.append(
            IntervalRow(
                index,
                shape_of(schedule.intervals, index),
                format_clock(start_ms),
                interval.start_sample / schedule.sample_rate,
                interval_name(interval, page_words(language)),
                language_tag(language),
                words(f"kind_inside.{interval.kind}"),
                format_duration(length_ms),
                length_ms,
                tuple(cues),
                tuple(dropped[index]),
            )
        )
    return blocks


def _cue(
    preview: PlanView, schedule: Schedule, interval: ScheduledInterval, event: Event, data: Mapping[str, Any]
) -> CueRow:
    rate = schedule.sample_rate
    place = (preview.places or {}).get((event.role, event.text or ""))
    line: Any = None
    if place is not None:
        place = place[:-1] if place and place[-1] == "text" else place
        try:
            line = value_at(data, place)
        except (KeyError, IndexError, TypeError):
            place = None
    name = place_name(place) if place is not None else ""
    wishes = line if isinstance(line, dict) else {}
    weight = wishes.get("weight", WEIGHTS.get(event.role, 20))
    weight = weight if isinstance(weight, int) else 20
    into = event.onset_sample - interval.start_sample
    length = max(1, interval.end_sample - interval.start_sample)
    return CueRow(
        desk_words().decimal(f"{into / rate:.1f}"),
        plain(event.text or ""),
        page_words(desk_words().code).find("role", event.role) or event.role,
        plain(event.why or ""),
        bool(event.must),
        max(0.0, event.onset_sample / rate - 0.3),
        event.end_sample / rate + 0.2,
        to_ms(into, rate),
        round(100 * into / length, 3),
        round(100 * (event.end_sample - event.onset_sample) / length, 3),
        name or event.role,
        name if place is not None and place[0] == "exercises" else "",
        name,
        "at" in wishes,
        bool(wishes.get("must")),
        min(1000, weight + _STEP),
        max(0, weight - _STEP),
    )
