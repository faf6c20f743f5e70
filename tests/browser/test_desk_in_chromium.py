"""The desk in a real browser: composed by keyboard alone, heard before it is rendered, nothing lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser
from opened_desk import Desk, opened

from cuelane.plan.load import load_plan


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk on an empty folder."""
    with opened(browser, tmp_path) as made:
        yield made


def test_a_session_is_composed_by_keyboard_alone(desk: Desk) -> None:
    """From an empty folder to a plan of one's own: words added, a part moved, a step taken back."""
    desk.tab_to("input[name=title]")
    desk.keys("Pier morning")
    desk.tab_to("button.main")
    desk.page.press("Enter")
    desk.page.wait("location.pathname === '/plan/pier-morning.yaml' && document.readyState === 'complete'")
    path = desk.folder / "pier-morning.yaml"
    desk.tab_to("#add-say")
    desk.page.press("Enter")
    desk.until(lambda: "Take a moment" in path.read_text(encoding="utf-8"))
    n = len(load_plan(path).plan.session)
    desk.page.wait(f"!!document.getElementById('up/session/{n - 1}')")
    desk.page.run("document.activeElement.blur()")
    desk.tab_to(f"[id='up/session/{n - 1}']")
    desk.page.press("Enter")
    desk.page.wait(f"document.activeElement.id === 'up/session/{n - 2}'")
    assert load_plan(path).plan.session[n - 2].__class__.__name__ == "Say"
    desk.tab_to("#new-exercise")
    desk.keys("seal push")
    desk.page.press("Enter")
    desk.until(lambda: "seal push" in load_plan(path).plan.exercises)
    desk.page.wait("!!document.getElementById('e/exercises/seal push')")
    desk.page.run("document.body.focus()")
    desk.page.run("document.getElementById('main').focus()")
    desk.tab_to("[id='e/exercises/seal push'] > summary")
    desk.page.press("Enter")
    desk.tab_to("[id='f/exercises/seal push/setup']")
    desk.keys(" Press long.")
    desk.page.press("Enter")
    desk.until(lambda: "Press long." in path.read_text(encoding="utf-8"))
    before = path.read_text(encoding="utf-8")
    desk.page.wait("document.getElementById('undo').getAttribute('aria-disabled') === 'false'")
    desk.page.run("document.getElementById('main').focus()")
    desk.page.run("document.querySelector('.where a').focus()")
    desk.tab_to("#undo")
    desk.page.press("Enter")
    desk.until(lambda: path.read_text(encoding="utf-8") != before)
    assert desk.page.complaints_of_console() == []


def test_the_timetable_follows_what_is_typed_and_keeps_the_cursor(desk: Desk) -> None:
    """Before it is saved; the field keeps its focus and its half-typed text over a change from outside."""
    path = desk.folder / "p.yaml"
    plan = (
        "title: T\nsession:\n  - block: A\n    pattern: circuit\n    work: 40s\n    exercises: [row]\n"
        "exercises:\n  row: {}\n"
    )
    path.write_text(plan, encoding="utf-8")
    desk.go("/plan/p.yaml")
    desk.page.run("document.getElementById('f/session/0/work').select()")
    desk.keys("50s")
    desk.page.wait("document.getElementById('timetable').textContent.includes('50s')")
    assert path.read_text(encoding="utf-8") == plan, "nothing is saved while a person types"
    path.write_text(plan.replace("title: T", "title: Other"), encoding="utf-8")
    desk.page.run("document.activeElement.blur()")
    desk.until(lambda: "work: 50s" in path.read_text(encoding="utf-8"))
    assert "title: Other" in path.read_text(encoding="utf-8"), "an edit made meanwhile in an editor is kept"


def test_two_changes_of_one_field_are_both_offered(desk: Desk) -> None:
    """Mine and theirs, to choose from."""
    path = desk.folder / "p.yaml"
    path.write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
    desk.go("/plan/p.yaml")
    desk.page.run("document.getElementById('f/title').focus()")
    desk.page.run("document.getElementById('f/title').select()")
    desk.keys("Mine")
    path.write_text("title: Theirs\nsession:\n  - rest: 30s\n", encoding="utf-8")
    desk.page.run("document.activeElement.blur()")
    desk.page.wait("[...document.querySelectorAll('.finding')].some(f => f.textContent.includes('Theirs'))")
    assert "title: Theirs" in path.read_text(encoding="utf-8")
    desk.page.run(
        "[...document.querySelectorAll('.finding button')].find(b => b.textContent === 'Keep mine').click()"
    )
    desk.until(lambda: "title: Mine" in path.read_text(encoding="utf-8"))


def test_it_is_heard_from_three_places_before_it_is_rendered(desk: Desk) -> None:
    """The player plays on from each, and stops after one cue when one cue is asked for."""
    path = desk.folder / "p.yaml"
    path.write_text(
        "title: Pier\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 30s\n"
        "    exercises: [row]\n    rounds: 2\nexercises:\n  row:\n    setup: Sit tall.\n",
        encoding="utf-8",
    )
    desk.go("/plan/p.yaml")
    audio = "document.getElementById('audio')"
    for place in ("0", "document.querySelectorAll('.hear').length - 1", "1"):
        desk.page.run(f"document.querySelectorAll('.hear')[{place}].click()")
        start = desk.page.run(f"Number(document.querySelectorAll('.hear')[{place}].dataset.from)")
        desk.page.wait(
            f"!{audio}.paused && {audio}.currentTime > {start} + 0.3 && {audio}.currentTime < {start} + 20"
        )
    desk.page.run(f"{audio}.pause()")
    assert [path.name for path in desk.folder.iterdir() if path.suffix != ".yaml"] == []


def test_a_plan_that_is_broken_has_nothing_to_play(desk: Desk) -> None:
    """Neither if it is opened so nor if it breaks meanwhile; mended, it is there again."""
    path = desk.folder / "p.yaml"
    path.write_text("title: T\nsession:\n  - rest: soon\n", encoding="utf-8")
    desk.go("/plan/p.yaml")
    seen = "document.getElementById('play').checkVisibility()"
    assert not desk.page.run(seen)
    path.write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
    desk.page.wait(seen)
    path.write_text("title: T\nsession:\n  - rest: soon\n", encoding="utf-8")
    desk.page.wait(f"!{seen}")
    assert "comes back" in desk.page.run("document.getElementById('timetable').textContent")
    assert desk.page.complaints_of_console() == []


def test_nothing_leaves_this_computer(desk: Desk) -> None:
    """Every request goes to the desk, and the console is silent."""
    desk.go("/")
    told = desk.page.complaints()
    assert told, "requests are seen at all"
    assert [row for row in told if not row.startswith(f"request: {desk.address}/")] == []
