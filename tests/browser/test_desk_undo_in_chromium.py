"""Two hundred steps taken back and made again by the page's own buttons, each shown as it was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser
from opened_desk import PLAN, Desk, opened

N_STEPS = 200
TEXT = "title: Title 0  # mine\nvoice: system\ncautions: none\nsession:\n  - rest: 30s\n"
EDITS = """(async (first, last) => {
  const headers = { "Content-Type": "application/json" };
  let number = (await (await fetch("/api/plan/p.yaml")).json()).number;
  for (let n = first; n <= last; n++) {
    const edits = [{ op: "set", at: "title", kind: "text", typed: `Title ${n}` }];
    const body = JSON.stringify({ number, what: `step ${n}`, edits });
    const made = await fetch("/api/plan/p.yaml/edit", { method: "POST", body, headers });
    if (made.status !== 200) return `${n}: ${made.status}`;
    number = (await made.json()).number;
  }
  return "made";
})"""
PRESSED = """(async (button, times) => {
  const text = document.getElementById("text"), said = [], press = document.getElementById(button);
  const until = (done) => new Promise((go) => {
    const look = () => (done() ? go() : setTimeout(look, 1));
    look();
  });
  for (let n = 0; n < times; n++) {
    const before = text.value;
    await until(() => press.getAttribute("aria-disabled") === "false");
    press.click();
    await until(() => text.value !== before);
    said.push(text.value.split("\\n")[0]);
  }
  return said;
})"""
"""What the plan's first line is after each press."""
AT_ONCE = 20
"""Steps in one call to the browser, so that a slow machine has its patience for each."""


def pressed(desk: Desk, button: str) -> list[str]:
    """Press a button so often that all steps are made; return the plan's first line after each."""
    lines = []
    for _ in range(N_STEPS // AT_ONCE):
        lines += desk.page.run(f"{PRESSED}({button!r}, {AT_ONCE})")
    return lines


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk with a short plan, open in Compose."""
    with opened(browser, tmp_path, plan=TEXT) as made:
        yield made


def test_two_hundred_steps_go_back_and_forward_again(desk: Desk) -> None:
    """One by one: back to the very bytes of the beginning, comment and all, and to those of the end."""
    page, path = desk.page, desk.folder / PLAN
    for first in range(1, N_STEPS, AT_ONCE):
        assert page.run(f"{EDITS}({first}, {first + AT_ONCE - 1})") == "made"
    last = path.read_text(encoding="utf-8")
    assert last == TEXT.replace("Title 0", f"Title {N_STEPS}")
    page.wait(f"document.getElementById('text').value === {last!r}")
    back = pressed(desk, "undo")
    assert back == [f"title: Title {n}  # mine" for n in range(N_STEPS - 1, -1, -1)]
    assert path.read_text(encoding="utf-8") == TEXT
    page.wait("document.getElementById('undo').getAttribute('aria-disabled') === 'true'")
    forward = pressed(desk, "redo")
    assert forward == [f"title: Title {n}  # mine" for n in range(1, N_STEPS + 1)]
    assert path.read_text(encoding="utf-8") == last
    page.wait("document.getElementById('redo').getAttribute('aria-disabled') === 'true'")
    assert page.complaints_of_console() == []
