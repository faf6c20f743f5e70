"""The shelf: the plans of the folder, and a way to start one.

It is the first page that anybody sees, so it needs nothing that is slow to import, and plans nothing: what
it does not know yet is asked for by the page, one plan after the other, once it is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from cuelane.base.errors import CuelaneError
from cuelane.base.units import format_clock
from cuelane.desk.deleted import DELETED, put_away
from cuelane.desk.folder import OWN_PLAN, Folder
from cuelane.desk.last_check import check_kept, is_fresh, newest_audio, verdict_in
from cuelane.desk.page_shell import page, render
from cuelane.desk.summaries import PlanSummary, Summaries
from cuelane.desk.words import desk_words
from cuelane.desk.written_title import written_title
from cuelane.plan.pattern_names import PATTERNS
from cuelane.web.page_parts import plain

SHELF_FOLDER = "shelf"
"""Where summaries lie in the folder of the clip store, see :mod:`cuelane.desk.summaries`."""


@dataclass(frozen=True)
class ShelfRow:
    """A plan on the shelf. ``waits`` tells that the page is to ask for it again."""

    name: str
    title: str
    length: str
    cover: tuple[tuple[str, str, str], ...]
    made: str
    waits: bool

    @property
    def is_below(self) -> bool:
        """Whether the plan has a folder of its own, as that of a class has."""
        return self.name.endswith(f":{OWN_PLAN}")


class Shelf:
    """The plans of a folder as far as they are known."""

    def __init__(self, folder: Folder, summaries: Summaries) -> None:
        self._folder = folder
        self.summaries = summaries

    def page(self) -> str:
        """Return the whole page."""
        scripts = ("shelf.js",)
        return page("shelf.html.j2", "shelf", "cuelane", scripts=scripts, patterns=PATTERNS, **self._rows())

    def parts(self) -> dict[str, str]:
        """Return the parts of the page that change when a plan comes or goes, by their ids."""
        rows = self._rows()
        return {part: render(f"shelf_{part}.html.j2", **rows) for part in ("plans", "deleted")}

    def row(self, name: str, summary: PlanSummary | None) -> str:
        """Return a plan's row as HTML, with `summary`; shown as broken where that is None."""
        document = self._folder.document(name)
        return render("shelf_row.html.j2", row=_shown(name, document.path, document.now().text, summary))

    def _rows(self) -> dict[str, Any]:
        """Return what the templates show."""
        plans = [self._row(name) for name in [*self._folder.names(), *self._folder.names_below()]]
        return {"plans": plans, "deleted": put_away(self._folder), "deleted_folder": DELETED}

    def _row(self, name: str) -> ShelfRow:
        try:
            document = self._folder.document(name)
            text = document.now().text
        except CuelaneError:
            return _broken(name, "")
        summary = self.summaries.get(document.path, text)
        if summary is None:
            title = plain(written_title(text)) or name
            return ShelfRow(name, title, "", (), _made(document.path, text), True)
        return _shown(name, document.path, text, summary)


def shelf_route(shelf: Shelf) -> Route:
    """Return the route of the shelf."""

    def answer(_: Request) -> Response:
        return HTMLResponse(shelf.page())

    return Route("/", answer)


def _broken(name: str, text: str) -> ShelfRow:
    title = plain(written_title(text)) or name
    return ShelfRow(name, title, desk_words().shelf["broken"], (), "", False)


def _shown(name: str, path: Path, text: str, summary: PlanSummary | None) -> ShelfRow:
    if summary is None:
        return _broken(name, text)
    length = format_clock(summary.length_ms)
    length = length if summary.settled else desk_words()("shelf.about", length=length)
    return ShelfRow(name, plain(summary.title), length, summary.cover, _made(path, text), False)


def _made(plan: Path, text: str) -> str:
    """Say what has been made of a plan, and what the last check found."""
    words = desk_words()
    try:
        audio = newest_audio(plan)
        if audio is None:
            return words.shelf["unmade"]
        kept = check_kept(plan, audio)
        fresh = is_fresh(plan, audio, kept, text)
    except OSError:
        return words.shelf["unmade"]
    said = words("top.named", what=audio.suffix[1:], name=words(f"shelf.{_CHECKED[verdict_in(kept)]}"))
    return said if fresh else words("shelf.stale", made=said)


_CHECKED = {True: "checked_good", False: "checked_bad", None: "unchecked"}
