"""What the desk's pages show: previews and forms as HTML, each part by itself so that it can be exchanged."""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import to_ms
from cuelane.deliver.outline import outline_of
from cuelane.deliver.page_facts import fact_rows
from cuelane.deliver.page_score import overview_paths
from cuelane.deliver.page_text import tally_rows
from cuelane.desk.document import Version, digest_of
from cuelane.desk.edits import Edit, EditError, data_of
from cuelane.desk.forms import Item, exercise_items, place_name, plan_fields, session_items
from cuelane.desk.known_names import voices_for
from cuelane.desk.page_pieces import Content, PagePiece
from cuelane.desk.page_shell import language_names, render
from cuelane.desk.planning import Notice, PlanView
from cuelane.desk.summaries import PlanSummary
from cuelane.desk.timetable_rows import timetable
from cuelane.desk.words import desk_words, language_of
from cuelane.plan.starter import PATTERNS
from cuelane.web.page_parts import language_tag, plain


def forms(text: str, others: list[str], folder: Path) -> dict[str, Content]:
    """Return the forms of a plan's text by the part of the page; none where it cannot be read.

    Parameters
    ----------
    others : the plans that it may include.
    folder : where it lies.
    """
    try:
        data = data_of(text)
    except EditError:
        return {}
    if not isinstance(data, dict):
        return {}
    exercises, items = exercise_items(data), session_items(data)
    names = tuple(item.title for item in exercises)
    shared = (names, language_tag(str(data.get("language", "en"))), desk_words().code)
    about: dict[str, Any] = {"names": names, "plan_lang": shared[1], "voices": voices_for(shared[1], folder)}
    about["known_languages"] = language_names()
    session = [
        _session_item(item, n, len(items), _opens(item, others), *shared) for n, item in enumerate(items)
    ]
    return {
        "session": (
            Markup('<ol class="items">'),
            *session,
            Markup("</ol>"),
            render("session_adders.html.j2", others=others, patterns=PATTERNS),
        ),
        "exercises": (
            Markup('<ul class="items">'),
            *(_exercise_item(item, *shared) for item in exercises),
            Markup("</ul>"),
            render("exercise_adders.html.j2"),
        ),
        "about": (render("about.html.j2", about=plan_fields(data), **about),),
    }


@lru_cache(maxsize=512)
def _session_item(
    item: Item, index: int, n_items: int, opens: str, names: tuple[str, ...], plan_lang: str, _: str
) -> PagePiece:
    values: dict[str, Any] = {"names": names, "plan_lang": plan_lang, "patterns": PATTERNS}
    values |= {"index": index, "n_items": n_items, "opens": opens}
    body = render("session_item.html.j2", item=item, **values)
    return PagePiece("li", f"p/{item.name}", (body,), Markup(' class="item i-{}"').format(item.kind))


def _opens(item: Item, others: list[str]) -> str:
    """Return the plan of this folder that an item includes, to be opened by itself; empty for any other."""
    written = next((field.shown for field in item.fields if field.label == "include"), "")
    return written if item.kind == "include" and written in others else ""


@lru_cache(maxsize=512)
def _exercise_item(item: Item, names: tuple[str, ...], plan_lang: str, _: str) -> PagePiece:
    body = render("exercise_item.html.j2", item=item, names=names, plan_lang=plan_lang)
    return PagePiece("li", f"p/{item.name}", (body,), Markup(' class="item i-exercise"'))


def nothing_drawn() -> dict[str, Content]:
    """Return the parts of a preview where nothing can be drawn: why, in the timetable's place."""
    why = Markup('<p class="calm">{}</p>').format(desk_words().compose["no_timetable"])
    return {"overview": (), "totals": (), "timetable": (why,)}


def preview_parts(preview: PlanView) -> dict[str, Content]:
    """Return what is drawn of a preview by the part of the page; none without a schedule."""
    schedule = preview.schedule
    if schedule is None:
        return {}
    outline = outline_of(schedule)
    words = page_words(desk_words().code)
    facts = [(fact.name, fact.value) for fact in fact_rows(replace(schedule, language=words.code), outline)]
    tally = tally_rows(outline, words)
    return {
        "overview": overview(schedule),
        "totals": (render("totals.html.j2", tally=tally, facts=facts),),
        "timetable": timetable(preview, schedule),
    }


def overview(schedule: Schedule) -> Content:
    """Return the whole session on one line, drawn as on the page beside a track."""
    paths = []
    for name, path, transform in overview_paths(schedule, outline_of(schedule), None):
        moved = Markup(' transform="{}"').format(transform) if transform else Markup("")
        drawn = Markup(' class="o-{}" d="{}"').format(name, path) + moved
        paths.append(PagePiece("path", f"o/{name}", (), drawn))
    return (
        Markup('<svg viewBox="0 0 10000 100" preserveAspectRatio="none" aria-hidden="true">'),
        *paths,
        Markup("</svg>"),
    )


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
        "beside": digest_of(repr(preview.beside)),
        "what": version.what,
        "followed": version.followed,
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
