"""The shelf and the composing of plans: all that can be shown before anything can be spoken or measured.

It is there a good second before the rest of the desk, whose rooms need what is slow to import.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError
from cuelane.base.files import all_or_nothing
from cuelane.desk.answers import Asked, get_route, post_route
from cuelane.desk.asked import BadRequestError, edits_asked, was_there
from cuelane.desk.differences import differences
from cuelane.desk.document import Version, digest_of
from cuelane.desk.edits import EditError, data_of
from cuelane.desk.forms import key_order
from cuelane.desk.page_shell import page
from cuelane.desk.plan_names import new_plan_path
from cuelane.desk.planning import PlanView
from cuelane.desk.score_part import score_of
from cuelane.desk.shelf import SHELF_FOLDER, Shelf
from cuelane.desk.splice import apply
from cuelane.desk.static_files import static_routes
from cuelane.desk.summaries import PlanSummary, Summaries
from cuelane.desk.views import forms, nothing_drawn, preview_parts, state, summary_of
from cuelane.desk.voice_files import files_of_voice
from cuelane.desk.words import desk_words
from cuelane.desk.workspace import Workspace, Workspaces
from cuelane.desk.written_title import written_title
from cuelane.plan.loaded import included_files
from cuelane.plan.starter import starter_plan
from cuelane.speech.voices import find_voice


class Composing:
    """The plans of a folder, and the routes of the pages in which they are composed."""

    def __init__(self, folder: Path, store: ClipStore | None = None) -> None:
        self.workspaces = Workspaces(folder, store or ClipStore())
        summaries = Summaries(self.workspaces.store.folder / SHELF_FOLDER)
        self.shelf = Shelf(self.workspaces.folder, summaries)
        # Makes the plan's schema, for which pydantic imports once more: here, not in a thread of the server.
        key_order(())

    def routes(self) -> list[Route]:
        """Return the routes; all of them answer at once."""
        workspaces, shelf = self.workspaces, self.shelf

        def get(path: str, handler: Callable[[Workspaces, Request], Any]) -> Route:
            return get_route(path, partial(handler, workspaces))

        def post(path: str, handler: Callable[[Workspaces, Request, Asked], Any]) -> Route:
            return post_route(path, partial(handler, workspaces))

        return [
            get("/", partial(shelf_page, shelf)),
            get("/plan/{name}", compose_page),
            *static_routes(),
            get("/api/shelf/{name}", partial(get_shelf_row, shelf)),
            post("/api/new", new_plan),
            get("/api/plan/{name}", get_state),
            get("/api/plan/{name}/score", get_score),
            post("/api/plan/{name}/edit", post_edit),
            post("/api/plan/{name}/try", post_try),
            post("/api/plan/{name}/text", post_text),
            post("/api/plan/{name}/differences", post_differences),
            post("/api/plan/{name}/undo", post_undo),
            post("/api/plan/{name}/redo", post_redo),
        ]


def _workspace(workspaces: Workspaces, request: Request) -> Workspace:
    return workspaces.open(request.path_params["name"])


def shelf_page(shelf: Shelf, workspaces: Workspaces, _: Request) -> Response:
    """The shelf, with what has become known of the plans that were opened since the desk was started."""
    for preview in workspaces.at_hand():
        _kept_in_short(shelf, preview)
    return HTMLResponse(shelf.page())


def get_shelf_row(shelf: Shelf, workspaces: Workspaces, request: Request) -> Any:
    """A plan's row on the shelf, planned now and kept for the next time."""
    name = request.path_params["name"]
    _, preview = workspaces.open(name).now()
    return {"row": shelf.row(name, _kept_in_short(shelf, preview))}


def _kept_in_short(shelf: Shelf, preview: PlanView) -> PlanSummary | None:
    """Keep what the shelf shows of a plan, and return it; None where it cannot be planned."""
    summary = summary_of(preview)
    if summary is not None and preview.loaded is not None:
        plan, includes = preview.loaded.path, included_files(preview.loaded)
        # A voice whose files are gone meanwhile is told of when the plan is planned again.
        with contextlib.suppress(CuelaneError):
            voice = files_of_voice(find_voice(preview.loaded.plan.voice, plan.parent))
            shelf.summaries.keep(plan, preview.text, includes, voice, summary)
    return summary


def compose_page(workspaces: Workspaces, request: Request) -> Response:
    """One plan: its forms, its timetable, its sound."""
    name = request.path_params["name"]
    version, preview = _workspace(workspaces, request).now()
    whole = _whole(workspaces, name, version, preview, "")
    parts = dict.fromkeys(("overview", "totals", "timetable", "session", "exercises", "about"), "")
    title = whole["title"] or written_title(version.text) or name
    return HTMLResponse(
        page(
            "compose.html.j2",
            "compose",
            title,
            title_lang=whole["language"],
            plan=name,
            parts=parts | whole.pop("parts"),
            state=whole,
        )
    )


def new_plan(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Write a starter plan under a name made from its title."""
    title, pattern = " ".join(str(data.get("title", "")).split()), str(data.get("pattern", ""))
    text = starter_plan(pattern, title, desk_words().code)
    path = new_plan_path(workspaces.folder, title)
    with all_or_nothing(path) as staged:
        staged.write_text(path, text)
    return {"name": path.name}


def get_state(workspaces: Workspaces, request: Request) -> Any:
    """The present version, for a page that looks whether anything has changed."""
    workspace = _workspace(workspaces, request)
    version, preview = workspace.now()
    if preview.n_unspoken:
        workspace.speak_on()
    known = tuple(request.query_params.get(key) for key in ("seen", "unspoken", "beside"))
    if known == (digest_of(version.text), str(preview.n_unspoken), digest_of(repr(preview.beside))):
        return Response(status_code=204)
    shown = request.query_params.get("shown", "")
    return _whole(workspaces, request.path_params["name"], version, preview, shown)


def get_score(workspaces: Workspaces, request: Request) -> Any:
    """The session drawn, a staff for each block; nothing where the plan cannot be planned."""
    schedule = _workspace(workspaces, request).now()[1].schedule
    return {"score": score_of(schedule) if schedule is not None else ""}


def post_edit(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Make edits as one step; those that were made before, for which no answer came, are not made again."""
    workspace = _workspace(workspaces, request)
    present = workspace.document.now()
    if (on := str(data.get("on") or "")) and _made_before(on, present.text, data):
        return _after(workspaces, request, replace(present, base=digest_of(on)), data)
    edits = edits_asked(data.get("edits"), data_of(present.text))
    what, number = str(data.get("what", ""))[:200], _whole_number(data, "number")
    was, seen = was_there(data.get("was")), _seen(data)
    version = workspace.document.edit(edits, what=what, number=number, was=was, seen=seen)
    return _after(workspaces, request, version, data)


def _made_before(on: str, present: str, data: Asked) -> bool:
    """Tell whether a plan's text is what the edits have made of the text `on` which they were asked for.

    A page that got no answer sends that text along when it asks again: the desk may have ended, or the
    connection, after the file was written.
    """
    text = on
    try:
        for edit in edits_asked(data.get("edits"), data_of(on)):
            text = apply(text, edit)
    except EditError:
        return False
    return on != text == present


def post_try(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Plan edits that are not saved: what a person is just typing."""
    workspace = _workspace(workspaces, request)
    text = workspace.document.now().text
    preview = workspace.tried(workspace.document.tried(edits_asked(data.get("edits"), data_of(text))))
    parts, shown = workspace.told.changes(preview_parts(preview), _shown(data))
    return {"parts": parts, "shown": shown, "findings": state(Version(0, "", ""), preview)["findings"]}


def post_text(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Put a whole text in place, with edits made on it first if any are given."""
    text, number = str(data.get("text", "")), _whole_number(data, "number")
    if data.get("edits"):
        for edit in edits_asked(data["edits"], data_of(text)):
            text = apply(text, edit)
    what = str(data.get("what") or desk_words().compose["text"])[:200]
    document = _workspace(workspaces, request).document
    version = document.replace(text, what=what, number=number, seen=_seen(data))
    return _after(workspaces, request, version, data)


def post_differences(_: Workspaces, __: Request, data: Asked) -> Any:
    """Say in words what differs between two texts of the plan; nothing is changed."""
    rows = differences(str(data.get("before", "")), str(data.get("now", "")))
    return {"rows": [asdict(row) for row in rows]}


def post_undo(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Go one step back."""
    document = _workspace(workspaces, request).document
    return _after(workspaces, request, document.undo(_seen(data), again=_is_again(data)), data)


def post_redo(workspaces: Workspaces, request: Request, data: Asked) -> Any:
    """Go one step forward again."""
    document = _workspace(workspaces, request).document
    return _after(workspaces, request, document.redo(_seen(data), again=_is_again(data)), data)


def _whole(
    workspaces: Workspaces, name: str, version: Version, preview: PlanView, shown: str
) -> dict[str, Any]:
    """Return what a page shows that has been told `shown`: the parts that have changed since."""
    # An include names a file beside the plan; a plan in a folder of its own has none.
    beside = workspaces.folder.names()
    others = [other for other in beside if other != name] if name in beside else []
    workspace = workspaces.open(name)
    folder = workspace.document.path.parent
    # A letter that breaks what is being typed leaves the timetable; a plan that is saved so has none.
    every = (preview_parts(preview) or nothing_drawn()) | forms(version.text, others, folder)
    parts, now = workspace.told.changes(every, shown)
    return {**state(version, preview), "parts": parts, "shown": now}


def _after(workspaces: Workspaces, request: Request, version: Version, data: Asked) -> Any:
    workspace = _workspace(workspaces, request)
    newest, preview = workspace.now()
    whole = _whole(workspaces, request.path_params["name"], newest, preview, _shown(data))
    return {**whole, "base": version.base, "made": digest_of(version.text)}


def _seen(data: Asked) -> str:
    """Return the digest of the text that the page showed when a person acted; empty where it is not told."""
    return str(data.get("seen") or "")


def _is_again(data: Asked) -> bool:
    """Return whether a page asks once more, since no answer came: it names the text that it asked for on."""
    return bool(data.get("on"))


def _shown(data: Asked) -> str:
    """Return the token of what the page shows; empty where it shows nothing that is known by one."""
    return str(data.get("shown") or "")


def _whole_number(data: Asked, key: str) -> int:
    value = data.get(key)
    if type(value) is not int:
        raise BadRequestError(f"{key} must be a whole number")
    return value
