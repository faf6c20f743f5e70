"""A person at the desk who has a keyboard and no mouse."""

from __future__ import annotations

import json

from devtools import Page

_MOST_TABS = 600


class Keyboard:
    """Reaches elements by Tab and Shift+Tab, and works them by keys; nothing is focused or clicked by script.

    Parts that are closed are opened by their own summaries on the way.
    """

    def __init__(self, page: Page) -> None:
        self._page = page

    def reach(self, selector: str) -> None:
        """Go to an element as a person does: by Tab if it stands further down, by Shift+Tab if further up."""
        target = f"document.querySelector({json.dumps(selector)})"
        self._page.wait(f"!!{target}")
        closed = (
            f"(() => {{ let found = null, box = {target}.parentElement;"
            " for (; box; box = box.parentElement) {"
            " const opens = box.matches('.item > .inside') ? box.parentElement.firstElementChild : box;"
            " if (opens.matches('details:not([open])') &&"
            f" !opens.firstElementChild.contains({target})) found = opens.id; }}"
            " return found; })()"
        )
        while (box := self._page.run(closed)) is not None:
            self._go(f"document.getElementById({json.dumps(box)}).querySelector('summary')", box)
            self._page.press("Enter")
            self._page.wait(f"document.getElementById({json.dumps(box)}).open")
        self._go(target, selector)

    def _go(self, target: str, called: str) -> None:
        way = (
            f"(() => {{ const a = document.activeElement, b = {target};"
            " if (a === b) return 'there';"
            " return a && a !== document.body && a.compareDocumentPosition(b) & 2 ? 'up' : 'down'; })()"
        )
        for _ in range(_MOST_TABS):
            where = self._page.run(way)
            if where == "there":
                return
            self._page.press("Tab", held="Shift" if where == "up" else "")
        raise AssertionError(f"Tab does not lead to {called}")

    def push(self, selector: str) -> None:
        """Go to a button, a link or a box, and press it."""
        self.reach(selector)
        self._page.press("Enter")

    def write(self, text: str) -> None:
        """Type where the focus is."""
        for letter in text:
            self._page.press(letter)

    def fill(self, selector: str, text: str) -> None:
        """Go to a field, and put `text` in place of what it holds; it is not yet confirmed."""
        self.reach(selector)
        self._page.press("a", held="Control")
        self.write(text)

    def choose(self, selector: str, wanted: str) -> None:
        """Go to a list of choices and walk through it with the arrow keys."""
        self.reach(selector)
        n = self._page.run("document.activeElement.options.length")
        for key in [*["ArrowUp"] * n, *["ArrowDown"] * n]:
            if self._page.run("document.activeElement.value") == wanted:
                return
            self._page.press(key)
        assert self._page.run("document.activeElement.value") == wanted, f"{selector} has no {wanted}"
