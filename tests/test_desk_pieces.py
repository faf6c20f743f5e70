"""Only what changed is sent to a page; what it has already is named."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from markupsafe import Markup

from cuelane.audio.store import ClipStore
from cuelane.desk.app import application
from cuelane.desk.guard import Guard
from cuelane.desk.page_pieces import PagePiece, ToldPages
from cuelane.desk.workspace import Workspace
from deskkit import PORT, ask, post

DEMOS = Path(__file__).parents[1] / "demo"
ELEMENT = re.compile(r'<li id="([^"]*)"([^>]*) data-same></li>')


def row(name: str, text: str, start: str = "0") -> PagePiece:
    """Return an element that starts somewhere."""
    return PagePiece("li", name, (Markup(text),), Markup(""), Markup(' data-start="{}"').format(start))


def part(*blocks: tuple[str, list[PagePiece]]) -> tuple[PagePiece, ...]:
    return tuple(PagePiece("ol", name, tuple(rows)) for name, rows in blocks)


def test_what_a_page_has_is_named_and_not_sent_again() -> None:
    """The row that changed whole, the others by their ids with where they start, an equal block as one."""
    told = ToldPages()
    first, token = told.changes(
        {"t": part(("a", [row("1", "one"), row("2", "two")]), ("b", [row("3", "three")]))}, ""
    )
    assert first["t"].count("data-same") == 0
    after = part(("a", [row("1", "one"), row("2", "TWO", "5")]), ("b", [row("3", "three")]))
    changed, token = told.changes({"t": after}, token)
    assert changed["t"] == (
        '<ol id="a"><li id="1" data-start="0" data-same></li><li id="2" data-start="5">TWO</li></ol>'
        '<ol id="b" data-same></ol>'
    )
    moved = part(("a", [row("1", "one"), row("2", "TWO", "5")]), ("b", [row("3", "three", "9")]))
    changed, token = told.changes({"t": moved}, token)
    assert (
        changed["t"] == '<ol id="a" data-same></ol><ol id="b"><li id="3" data-start="9" data-same></li></ol>'
    )
    assert told.changes({"t": moved}, token) == ({}, token)


def test_a_row_in_another_block_is_sent_whole() -> None:
    """The page looks for it where it stands."""
    told = ToldPages()
    _, token = told.changes({"t": part(("a", [row("1", "one"), row("2", "two")]), ("b", []))}, "")
    changed, _ = told.changes({"t": part(("a", [row("1", "one")]), ("b", [row("2", "two")]))}, token)
    assert changed["t"].endswith('<ol id="b"><li id="2" data-start="0">two</li></ol>')


def test_a_token_that_is_not_known_is_told_all() -> None:
    """As after a new start of the desk, or long ago."""
    told = ToldPages()
    parts = {"t": part(("a", [row("1", "one")]))}
    whole, token = told.changes(parts, "")
    assert ToldPages().changes(parts, token) == (whole, token)
    for n in range(60):
        told.changes({"t": part(("a", [row("1", str(n))]))}, "")
    assert told.changes(parts, token) == (whole, token)


def test_parts_that_are_not_told_stay_known() -> None:
    """A letter typed tells of the timetable alone, and leaves the forms as they were."""
    told = ToldPages()
    every = {"t": part(("a", [row("1", "one")])), "f": part(("b", [row("2", "two")]))}
    _, token = told.changes(every, "")
    _, token = told.changes({"t": part(("a", [row("1", "ONE")]))}, token)
    changed, _ = told.changes(every, token)
    assert set(changed) == {"t"}


@pytest.mark.parametrize(
    ("at", "kind", "typed", "share"),
    [("title", "text", "Another title", 0.1), ("session/1/change", "duration", "13s", 0.5)],
)
def test_a_letter_typed_sends_only_what_it_changes(
    at: str, kind: str, typed: str, share: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Little of the timetable for a title; less than half for a longer change, with every row's start."""
    monkeypatch.setattr(Workspace, "speak_on", lambda _self: None)
    for demo in DEMOS.glob("*.yaml"):
        shutil.copy(demo, tmp_path)
    desk = Guard(application(tmp_path, ClipStore(tmp_path / "store")), port=PORT)
    cookie = ask(desk, "GET", f"/open?token={desk.token}").headers["set-cookie"].partition(";")[0]
    first = ask(desk, "GET", "/api/plan/quayside-legs.yaml", headers={"cookie": cookie}).json
    edit = {"op": "set", "at": at, "kind": kind, "typed": typed}
    asked = {"edits": [edit], "shown": first["shown"]}
    changed = post(desk, "/api/plan/quayside-legs.yaml/try", asked, cookie=cookie).json
    whole = post(desk, "/api/plan/quayside-legs.yaml/try", {"edits": [edit]}, cookie=cookie).json
    assert "timetable" in whole["parts"]
    assert len(changed["parts"].get("timetable", "")) <= share * len(whole["parts"]["timetable"])
    starts = dict(re.findall(r'id="(i/[^"]*)"[^>]* data-start="([^"]*)"', whole["parts"]["timetable"]))
    for name, attributes in ELEMENT.findall(changed["parts"].get("timetable", "")):
        assert f'data-start="{starts[name]}"' in attributes
        assert name in first["parts"]["timetable"]
