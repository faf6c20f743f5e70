"""A plan that is changed in an editor and in two tabs: both are offered, and Undo reaches both."""

from __future__ import annotations

from pathlib import Path

import pytest
from devtools import Browser
from opened_desk import Desk
from test_desk_in_chromium import desk

__all__ = ["desk"]

PLAN = "title: Pier\nsession:\n  - say: A   # one\n  - say: B\n  - rest: 30s\n"
OFFERED = "!document.getElementById('elsewhere').hidden"


@pytest.fixture
def path(desk: Desk) -> Path:
    """A plan that is open in the desk's tab."""
    made = desk.folder / "p.yaml"
    made.write_text(PLAN, encoding="utf-8")
    desk.go("/plan/p.yaml")
    return made


def written(desk: Desk, path: Path, text: str) -> None:
    desk.until(lambda: path.read_text(encoding="utf-8") == text)


def offered(desk: Desk, before: str, now: str) -> None:
    desk.page.wait(OFFERED)
    desk.page.wait(f"document.getElementById('elsewhere-before').textContent === {before!r}")
    desk.page.wait(f"document.getElementById('elsewhere-now').textContent === {now!r}")
    assert desk.page.run("document.getElementById('said').textContent") == "The plan was changed elsewhere"


def test_one_s_own_comes_back_and_undo_brings_theirs(desk: Desk, path: Path) -> None:
    """What an editor wrote is shown at once, beside what was there; both ways lead to both texts."""
    theirs = PLAN.replace("say: B", "say: Bee")
    path.write_text(theirs, encoding="utf-8")
    offered(desk, "  - say: B", "  - say: Bee")
    assert desk.page.run("document.getElementById('f/session/1/say').value") == "Bee"
    assert path.read_text(encoding="utf-8") == theirs, "nothing is written before a person chooses"
    desk.tab_to("#keep-mine")
    desk.page.press("Enter")
    written(desk, path, PLAN)
    desk.page.wait(f"!({OFFERED}) && document.activeElement.id === 'undo'")
    desk.page.press("Enter")
    written(desk, path, theirs)
    assert desk.page.complaints_of_console() == []


def test_what_differs_is_told_without_the_file_s_lines(desk: Desk, path: Path) -> None:
    """Named as the form names it; the lines are there for who opens them, and where nothing else tells it."""
    theirs = PLAN.replace("30s", "45s")
    path.write_text(theirs, encoding="utf-8")
    desk.page.wait(OFFERED)
    told = "document.getElementById('elsewhere-what').innerText"
    desk.page.wait(f"{told}.includes('45s')")
    lines = desk.page.run(told).split("\n")
    assert [line.strip() for line in lines if line.strip()] == [
        "Rest 45s", "Here it was: 30s", "Now it is: 45s"
    ]  # fmt: skip
    assert desk.page.run("document.getElementById('elsewhere-text').open") is False
    desk.page.run("document.getElementById('keep-theirs').click()")
    path.write_text(theirs.replace("   # one", ""), encoding="utf-8")
    desk.page.wait(f"{OFFERED} && document.getElementById('elsewhere-text').open")
    desk.page.wait("document.getElementById('elsewhere-what').children.length === 0")
    assert desk.page.complaints_of_console() == []


def test_theirs_stays_and_undo_brings_one_s_own(desk: Desk, path: Path) -> None:
    """The other choice."""
    theirs = PLAN.replace("title: Pier", "title: Jetty")
    path.write_text(theirs, encoding="utf-8")
    offered(desk, "title: Pier", "title: Jetty")
    desk.tab_to("#keep-theirs")
    desk.page.press("Enter")
    desk.page.wait(f"!({OFFERED}) && document.activeElement.id === 'undo'")
    assert path.read_text(encoding="utf-8") == theirs
    desk.page.press("Enter")
    written(desk, path, PLAN)


def test_undo_never_takes_back_what_another_did_unseen(desk: Desk, path: Path) -> None:
    """Pressed before the change from outside was shown, it shows it, and takes nothing back yet."""
    desk.page.run("document.getElementById('f/title').select()")
    desk.keys("Quay")
    desk.page.press("Enter")
    mine = PLAN.replace("Pier", "Quay")
    written(desk, path, mine)
    desk.saved()
    theirs = mine.replace("say: B", "say: Bee")
    path.write_text(theirs, encoding="utf-8")
    desk.page.run("document.getElementById('undo').click()")
    offered(desk, "  - say: B", "  - say: Bee")
    assert path.read_text(encoding="utf-8") == theirs


def test_two_tabs_do_not_lose_each_other_s_edits(desk: Desk, path: Path, browser: Browser) -> None:
    """One swaps two parts, the other removes what it sees as the first: refused, and both are offered."""
    other = desk.page.call("Target.getTargetInfo")["targetInfo"]["browserContextId"]
    tab = browser.page(context=other)
    tab.call("Page.navigate", url=f"{desk.address}/plan/p.yaml")
    tab.wait("document.readyState === 'complete' && !!document.getElementById('up/session/2')")
    # The first tab is not looking: as if its person were faster than its next look.
    desk.page.run("Object.defineProperty(document, 'hidden', { get: () => true })")
    tab.run("document.getElementById('up/session/1').click()")
    swapped = "title: Pier\nsession:\n  - say: B\n  - say: A   # one\n  - rest: 30s\n"
    written(desk, path, swapped)
    desk.page.run("document.getElementById('remove/session/0').click()")
    desk.page.wait(OFFERED)
    assert path.read_text(encoding="utf-8") == swapped, "what stands first now is not what was meant"
    desk.page.run("document.getElementById('keep-mine').click()")
    written(desk, path, "title: Pier\nsession:\n  - say: B\n  - rest: 30s\n")
    tab.wait(OFFERED)
    desk.page.run("document.getElementById('undo').click()")
    written(desk, path, swapped)
    desk.page.run("document.getElementById('undo').click()")
    written(desk, path, PLAN)


NOT_LOOKING = "Object.defineProperty(document, 'hidden', { get: () => true, configurable: true })"


def test_what_is_done_while_a_choice_stands_is_offered_too(desk: Desk, path: Path) -> None:
    """A second change from outside meets what was done after the first: that is what comes back."""
    theirs = PLAN.replace("say: B", "say: Bee")
    path.write_text(theirs, encoding="utf-8")
    offered(desk, "  - say: B", "  - say: Bee")
    desk.page.run(NOT_LOOKING)
    path.write_text(theirs.replace("Pier", "Jetty"), encoding="utf-8")
    desk.page.run("document.getElementById('remove/session/2').click()")
    desk.page.wait("document.getElementById('elsewhere-now').textContent === 'title: Jetty'")
    desk.page.run("document.getElementById('keep-mine').click()")
    written(desk, path, theirs.replace("  - rest: 30s\n", ""))


def test_a_text_that_is_written_while_a_choice_stands_is_offered_too(desk: Desk, path: Path) -> None:
    """It is not the file's, since that was changed once more, nor is it gone."""
    theirs = PLAN.replace("say: B", "say: Bee")
    path.write_text(theirs, encoding="utf-8")
    offered(desk, "  - say: B", "  - say: Bee")
    desk.page.run(NOT_LOOKING)
    path.write_text(theirs.replace("Pier", "Jetty"), encoding="utf-8")
    mine = theirs.replace("30s", "45s")
    desk.page.run(f"document.getElementById('text').value = {mine!r}")
    desk.page.run("document.getElementById('save-text').click()")
    desk.page.wait("document.getElementById('elsewhere-now').textContent.includes('title: Jetty')")
    desk.page.run("document.getElementById('keep-mine').click()")
    written(desk, path, mine)


def test_text_that_is_being_written_is_not_replaced(desk: Desk, path: Path) -> None:
    """The whole file as text: it stays over a change from outside, and saving it asks first."""
    field = "document.getElementById('text')"
    desk.page.run("document.getElementById('as-text').open = true")
    mine = PLAN.replace("30s", "45s")
    desk.page.run(f"{field}.focus(); {field}.value = {mine!r}")
    theirs = PLAN.replace("say: B", "say: Bee")
    path.write_text(theirs, encoding="utf-8")
    desk.page.run("document.getElementById('save-text').focus()")
    offered(desk, "  - say: B", "  - say: Bee")
    assert desk.page.run(f"{field}.value") == mine
    desk.page.run("document.getElementById('keep-theirs').click()")
    desk.page.run("document.getElementById('save-text').click()")
    desk.page.wait(OFFERED)
    assert path.read_text(encoding="utf-8") == theirs
    desk.page.run("document.getElementById('keep-mine').click()")
    written(desk, path, mine)
    desk.page.wait(f"{field}.value === {mine!r}")
    desk.page.run("document.getElementById('undo').click()")
    written(desk, path, theirs)
