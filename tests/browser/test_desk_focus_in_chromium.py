"""Who has no mouse or sees no screen: the focus is never lost, every change is said, and nothing moves."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from by_keyboard import Keyboard
from devtools import Browser
from opened_desk import Desk, follow, opened, start

PLAN = """\
title: Pier
voice: system
session:
  - block: A
    pattern: circuit
    work: 40s
    rest: 20s
    exercises: [row, press, reach]
  - rest: 30s
  - say: Well done.
exercises:
  row:
    setup: Sit tall.
    form: [Long back., Elbows in., Slow return.]
  press: {}
  reach:
    form: Long back. Soft knees.
"""
ENDS_WITH = "document.activeElement && document.activeElement.id"


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk with one plan, open in Compose."""
    with opened(browser, tmp_path, plan=PLAN) as made:
        yield made


def done(desk: Desk, before: str) -> str:
    """Wait until an edit is in the file and the page has taken it; return the file."""
    path = desk.folder / "p.yaml"
    desk.until(lambda: path.read_text(encoding="utf-8") != before)
    now = path.read_text(encoding="utf-8")
    desk.page.wait(f"document.getElementById('text').value === {now!r}")
    return now


# What is pressed or typed, and the id of what has the focus when the page has taken the change.
STEPS = (
    ("a field", "[id='f/session/0/work']", "50s", "f/session/0/work"),
    ("a part down", "[id='down/session/0']", None, "down/session/1"),
    ("a part up", "[id='up/session/1']", None, "up/session/0"),
    ("an entry down", "[id='down/session/0/exercises/0']", None, "down/session/0/exercises/1"),
    ("a line up", "[id='up/exercises/row/form/1']", None, "up/exercises/row/form/0"),
    ("a line out", "[id='remove/exercises/row/form/0']", None, "remove/exercises/row/form/0"),
    ("the last line out", "[id='remove/exercises/row/form/1']", None, "remove/exercises/row/form/0"),
    ("the only line out", "[id='remove/exercises/row/setup']", None, "a/exercises/row/setup"),
    ("an entry out", "[id='remove/session/0/exercises/2']", None, "remove/session/0/exercises/1"),
    ("a new line", "[id='a/exercises/row/form']", "Slow return.", "a/exercises/row/form"),
    ("a wish", "[data-do=wishes][data-at='exercises/row/form/0']", None, "w/exercises/row/form/0"),
    ("a copy", "[id='copy/session/1']", None, "copy/session/1"),
    ("a part out", "[id='remove/session/2']", None, "remove/session/2"),
    ("a box", "[id='f/session/0/last_rest']", " ", "f/session/0/last_rest"),
    ("a new name", "[id='rename/exercises/press']", "push", "rename/exercises/push"),
    ("an exercise out", "[id='remove/exercises/push']", None, "remove/exercises/reach"),
    ("a remedy", "[id^='fix/beside/'][id$='/0']", None, None),
    ("words", "#add-say", None, "add-say"),
    ("a step back", "#undo", None, "undo"),
    ("a step forward", "#redo", None, "redo"),
)  # fmt: skip


FOUND = """\
title: Pier
session:
  - block: Legs
    pattern: circuit
    work: 40s
    exercises: [squat, row]
exercises:
  squat:
    form: [Knees over toes., Keep your heels heavy.]
  row: {}
"""


def test_what_is_found_in_a_closed_part_opens_it(browser: Browser, tmp_path: Path) -> None:
    """As the browser's own search does, and an address that names a field; again too when closed again."""
    with opened(browser, tmp_path, plan=FOUND) as desk:
        box = "document.getElementById('e/exercises/squat')"
        field = "document.getElementById('f/exercises/squat/form/0')"
        for _ in range(2):
            desk.page.wait(f"{box} && !{box}.open && !{field}.checkVisibility()")
            desk.page.run("location.hash = ''")
            desk.page.run("location.hash = 'f/exercises/squat/form/0'")
            desk.page.wait(f"{box}.open && {field}.checkVisibility()")
            desk.page.run(f"{field}.focus()")
            assert desk.page.run(f"document.activeElement === {field}")
            desk.page.run(f"{box}.querySelector('summary').click()")
        # Opened by hand, it is there at once for the focus.
        desk.page.wait(f"!{box}.open")
        assert desk.page.run(f"{box}.open = true; {field}.focus(); document.activeElement === {field}")


def test_the_focus_is_never_lost_and_every_change_is_said(desk: Desk) -> None:
    """After each kind of edit it stands where a person goes on; the list of what is said grows by each."""
    page, keyboard = desk.page, Keyboard(desk.page)
    page.run(
        "window.heard = [];"
        "new MutationObserver(() => heard.push(document.getElementById('said').textContent))"
        ".observe(document.getElementById('said'), {childList: true, characterData: true, subtree: true})"
    )
    now = PLAN
    lost = []
    for what, selector, typed, expected in STEPS:
        n_heard = page.run("heard.length")
        if typed and typed != " ":
            keyboard.fill(selector, typed)
            page.press("Enter")
        elif typed:
            keyboard.reach(selector)
            page.press(" ")
        else:
            keyboard.push(selector)
        now = done(desk, now)
        focused = page.run("(e => e.id || e.closest('[id]')?.id || e.tagName)(document.activeElement)")
        if expected is not None and focused != expected:
            lost.append(f"{what}: {focused}, not {expected}")
        if focused in ("BODY", "main"):
            lost.append(f"{what}: lost")
        if page.run("heard.length") == n_heard:
            lost.append(f"{what}: nothing said")
    assert lost == []
    assert all(page.run("heard"))
    assert page.complaints_of_console() == []


WHERE = (
    "(() => { const box = document.activeElement.getBoundingClientRect(); "
    "return [document.activeElement.id, box.top + scrollY, box.bottom + scrollY]; })()"
)


@pytest.mark.parametrize("width", [1440, 390])
def test_tab_goes_down_the_page(desk: Desk, width: int) -> None:
    """In open parts: the name, the buttons, what is in it; nothing lies above what came before."""
    page = desk.page
    size = {"width": width, "height": 1000, "deviceScaleFactor": 1, "mobile": False}
    page.call("Emulation.setDeviceMetricsOverride", **size)
    page.run("document.querySelectorAll('.items details').forEach(d => d.open = true)")
    keyboard = Keyboard(page)
    keyboard.reach("[id='e/session/0'] > summary")
    order, back = [], []
    _, top, _ = page.run(WHERE)
    while page.run("!!document.activeElement.closest('#session, #exercises')"):
        page.press("Tab")
        name, now, bottom = page.run(WHERE)
        if bottom <= top:
            back.append(name)
        top = now
        order.append(name)
    buttons = [f"{what}/session/0" for what in ("up", "down", "copy", "remove")]
    assert order[:6] == [*buttons, "pattern/session/0", "f/session/0/block"]
    assert "rename/exercises/reach" in order
    assert back == []


def test_a_new_start_of_the_desk_keeps_the_focus_and_what_was_typed(browser: Browser, tmp_path: Path) -> None:
    """Killed while a field is half typed, and started again: the same tab goes on, and the edit is made."""
    path = tmp_path / "p.yaml"
    path.write_text(PLAN, encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    running, link = start(tmp_path, "--port", str(port))
    try:
        desk = follow(browser, link, tmp_path)
        page = desk.page
        desk.go("/plan/p.yaml")
        Keyboard(page).fill("[id='f/exercises/row/setup']", "Sit tall, and")
        running.kill()
        running.communicate(timeout=60)
        desk.keys(" wide")
        page.wait("document.getElementById('trouble').textContent.includes('Start it again')")
        running, link = start(tmp_path, "--port", str(port))
        context = page.call("Target.getTargetInfo")["targetInfo"]["browserContextId"]
        other = browser.page(context=context)
        other.call("Page.navigate", url=link)
        other.wait("document.readyState === 'complete' && location.pathname === '/'")
        desk.keys("r.")
        page.wait("document.getElementById('trouble').hidden")
        assert page.run(ENDS_WITH) == "f/exercises/row/setup"
        assert page.run("document.activeElement.value") == "Sit tall, and wider."
        page.press("Enter")
        desk.until(lambda: "Sit tall, and wider." in path.read_text(encoding="utf-8"))
        page.wait("document.getElementById('state').textContent === 'Saved'")
        assert page.run(ENDS_WITH) == "f/exercises/row/setup"
        assert page.run("document.getElementById('elsewhere').hidden"), "nothing was changed elsewhere"
    finally:
        running.kill()
        running.communicate(timeout=60)


MOVES = (
    "document.getAnimations().length + [...document.querySelectorAll('*')].filter(one => {"
    " const style = getComputedStyle(one);"
    " return style.transitionDuration.split(',').some(part => parseFloat(part) > 0)"
    " || style.scrollBehavior === 'smooth'; }).length"
)


def test_nothing_moves_for_those_who_ask_for_less_motion(desk: Desk) -> None:
    """Not on the page as it is, and not if a later style should bring motion: it is seen, and then gone."""
    page = desk.page
    assert page.run(MOVES) == 0
    page.call("Page.setBypassCSP", enabled=True)
    desk.go("/plan/p.yaml")
    page.run(
        "document.head.insertAdjacentHTML('beforeend', '<style>@keyframes turn { to { rotate: 9deg } }"
        " button { animation: turn 1s infinite; transition: all 2s }"
        " html { scroll-behavior: smooth }</style>')"
    )
    assert page.run(MOVES) > 0, "the look for motion finds it"
    page.media("light", motion="reduce")
    page.wait(f"{MOVES} === 0")
