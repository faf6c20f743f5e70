"""A desk that runs on a folder, opened in a tab by the link that its command printed."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from devtools import PATIENCE_S, Browser, Page

PLAN = "p.yaml"
"""What the one plan is called, where there is one."""


@dataclass
class Desk:
    """A desk that runs, and a tab in it."""

    page: Page
    folder: Path
    address: str

    def go(self, path: str) -> None:
        """Open a path of the desk."""
        self.page.call("Page.navigate", url=self.address + path)
        self.page.wait(f"document.readyState === 'complete' && location.pathname === '{path.split('?')[0]}'")

    def keys(self, text: str) -> None:
        """Type where the focus is."""
        for letter in text:
            self.page.press(letter)

    def tab_to(self, selector: str, most: int = 400) -> None:
        """Press Tab until an element has the focus: whoever has no mouse does the same."""
        for _ in range(most):
            if self.page.run(f"document.activeElement.matches({selector!r})"):
                return
            self.page.press("Tab")
        raise AssertionError(f"Tab does not lead to {selector}")

    def saved(self) -> None:
        """Wait until the page says that all is saved."""
        self.page.wait("document.getElementById('state').textContent === 'Saved'")

    def until(self, done: Callable[[], object]) -> None:
        """Wait until a condition of the files is true."""
        end = time.monotonic() + PATIENCE_S
        while not done():
            assert time.monotonic() < end, "never came true"
            time.sleep(0.02)


def start(folder: Path, *options: str) -> tuple[subprocess.Popen[str], str]:
    """Return a desk that runs on a folder, and its link."""
    program = [sys.executable, "-c", "from cuelane.cli import main; main()"]
    command = [*program, "desk", str(folder), "--no-open", *options]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ})
    assert running.stdout is not None
    return running, running.stdout.readline().strip()


def follow(browser: Browser, link: str, folder: Path) -> Desk:
    """Return the desk of a link, at its shelf in a new tab."""
    page = browser.page(1440, 1000)
    page.call("Page.navigate", url=link)
    page.wait("document.readyState === 'complete' && location.pathname === '/'")
    return Desk(page, folder, link.partition("/open")[0])


@contextmanager
def opened(browser: Browser, folder: Path, *options: str, plan: str = "") -> Iterator[Desk]:
    """Run a desk on a folder, and open it: at its shelf, or in Compose with a `plan` of this text."""
    if plan:
        (folder / PLAN).write_text(plan, encoding="utf-8")
    running, link = start(folder, *options)
    try:
        desk = follow(browser, link, folder)
        try:
            if plan:
                desk.go(f"/plan/{PLAN}")
            yield desk
        finally:
            desk.page.close()
    finally:
        running.terminate()
        running.communicate(timeout=PATIENCE_S)
