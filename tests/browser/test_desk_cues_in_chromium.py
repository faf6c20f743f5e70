"""Cues in the timetable, as a coach moves them: by keys, by the mouse, always said, sooner said, or out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from by_keyboard import Keyboard
from devtools import Browser
from opened_desk import Desk, opened

from cuelane.desk.edits import data_of

PLAN = """\
title: Pier
voice: system
cautions: none
session:
  - block: A
    pattern: circuit
    work: 40s
    rest: 20s
    exercises: [row, press]
exercises:
  row:
    setup: Sit tall.
    form: [Long back., Elbows in.]
  press:
    setup: Feet wide.
"""
LINE = "[id^='c/'][data-line='exercises/row/form/0']"


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk with one plan, open in Compose, all lines spoken."""
    with opened(browser, tmp_path, plan=PLAN) as made:
        made.page.wait("!!document.querySelector('.hear[data-from]')")
        made.page.wait("document.getElementById('speaking').textContent === ''")
        yield made


def row_of(desk: Desk) -> dict[str, object]:
    """Return what the plan's file says of the exercise row."""
    data = data_of((desk.folder / "p.yaml").read_text(encoding="utf-8"))
    return dict(data["exercises"]["row"])


def into_s(desk: Desk) -> float:
    """Return where the line stands in its set, as the timetable has it, in s."""
    return float(desk.page.run(f'Number(document.querySelector("{LINE}").dataset.into) / 1000'))


def test_a_cue_is_moved_by_keys_and_heard_from_there(desk: Desk) -> None:
    """An arrow is 0.1 s, with Shift 1 s; it is fixed there, the focus stays, and it sounds there."""
    page, keyboard = desk.page, Keyboard(desk.page)
    before = into_s(desk)
    keyboard.reach(f"{LINE} summary")
    page.press("ArrowRight", held="Shift")
    page.press("ArrowRight", held="Shift")
    page.press("ArrowLeft")
    desk.until(lambda: isinstance(row_of(desk)["form"][0], dict))  # type: ignore[index]
    wanted = row_of(desk)["form"][0]["at"]  # type: ignore[index]
    assert wanted == f"{before + 1.9:.1f}s".replace(".0s", "s")
    page.wait(f"document.querySelector(\"{LINE}\").classList.contains('fixed')")
    assert abs(into_s(desk) - before - 1.9) < 0.051
    assert page.run(f'document.activeElement === document.querySelector("{LINE} summary")')
    page.press("Enter")
    keyboard.push(f"{LINE} [data-cue-from]")
    audio = "document.getElementById('audio')"
    start = page.run(f"Number(document.querySelector(\"{LINE}\").closest('.row').dataset.start)")
    page.wait(f"{audio}.currentTime > {start} + {into_s(desk)}")
    page.wait(f"{audio}.paused")
    page.wait(f"{audio}.currentTime < {start} + {into_s(desk)} + 4")
    keyboard.push(f"{LINE} [data-act=free]")
    desk.until(lambda: row_of(desk)["form"][0] in ("Long back.", {"text": "Long back."}))  # type: ignore[index]
    page.wait(f"!document.querySelector(\"{LINE}\").classList.contains('fixed')")
    assert page.complaints_of_console() == []


def test_a_cue_is_dragged(desk: Desk) -> None:
    """By the mouse, along its set."""
    page = desk.page
    before = into_s(desk)
    mark = LINE.replace("'c/'", "'m/'")
    box = page.run(
        f"(() => {{ const m = document.querySelector(\"{mark}\"); m.scrollIntoView({{block: 'center'}});"
        " const a = m.getBoundingClientRect(), l = m.parentElement.getBoundingClientRect();"
        " return [a.left, a.top + a.height / 2, l.width]; })()"
    )
    place = {"x": box[0] + 2, "y": box[1], "button": "left", "clickCount": 1}
    page.call("Input.dispatchMouseEvent", type="mousePressed", **place)
    for step in (0.05, 0.1):
        moved = {**place, "x": place["x"] + step * box[2]}
        page.call("Input.dispatchMouseEvent", type="mouseMoved", buttons=1, **moved)
    page.call("Input.dispatchMouseEvent", type="mouseReleased", **moved)
    desk.until(lambda: isinstance(row_of(desk)["form"][0], dict))  # type: ignore[index]
    page.wait(f"document.querySelector(\"{LINE}\").classList.contains('fixed')")
    # A tenth of forty seconds; a pixel is a tenth of a second here.
    assert abs(into_s(desk) - before - 4.0) < 0.3


def test_a_cue_that_was_moved_to_where_it_does_not_fit_is_brought_back(desk: Desk) -> None:
    """Over the pips it is left out; there it finds its own place again, or is always said."""
    page, keyboard = desk.page, Keyboard(desk.page)
    keyboard.reach(f"{LINE} summary")
    for _ in range(40):
        page.press("ArrowRight", held="Shift")
    late = {"text": "Long back.", "at": "40s"}
    desk.until(lambda: row_of(desk)["form"][0] == late)  # type: ignore[index]
    page.wait(f'!document.querySelector("{LINE}")')
    keyboard.push(".dropped [data-act=must]")
    desk.until(lambda: row_of(desk)["form"][0] == {**late, "must": True})  # type: ignore[index]
    desk.saved()
    keyboard.push("#undo")
    page.wait("!!document.querySelector('.dropped [data-act=must]')")
    keyboard.push(".dropped [data-act=free]")
    desk.until(lambda: row_of(desk)["form"][0] == "Long back.")  # type: ignore[index]
    page.wait(f'!!document.querySelector("{LINE}")')
    assert page.run("document.activeElement !== document.body")
    assert page.complaints_of_console() == []


def test_a_cue_is_always_said_sooner_said_or_out(desk: Desk) -> None:
    """Each by its button, one step each; taken back they leave the file as it was."""
    page, keyboard = desk.page, Keyboard(desk.page)
    keyboard.push(f"{LINE} summary")
    keyboard.push(f"{LINE} [data-act=must]")
    desk.until(lambda: row_of(desk)["form"][0] == {"text": "Long back.", "must": True})  # type: ignore[index]
    page.wait(f"document.querySelector(\"{LINE} [data-act=must]\").dataset.value === 'false'")
    keyboard.push(f"{LINE} [data-act=weigh]")
    desk.until(lambda: "weight" in row_of(desk)["form"][0])  # type: ignore[index]
    page.wait("document.getElementById('state').textContent === 'Saved'")
    keyboard.push(f"{LINE} [data-act=silence]")
    desk.until(lambda: row_of(desk)["form"] in (["Elbows in."], "Elbows in."))
    for _ in range(3):
        page.wait("document.getElementById('undo').getAttribute('aria-disabled') === 'false'")
        before = (desk.folder / "p.yaml").read_text(encoding="utf-8")
        keyboard.push("#undo")
        desk.until(lambda before=before: (desk.folder / "p.yaml").read_text(encoding="utf-8") != before)
    assert (desk.folder / "p.yaml").read_text(encoding="utf-8") == PLAN
    assert page.complaints_of_console() == []
