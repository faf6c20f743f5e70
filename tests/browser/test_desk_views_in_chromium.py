"""Every view of the desk, phone and desktop, light and dark, on paper, and for those who want less motion."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from deskviews import VIEWS, Shown, fill, shown
from devtools import Browser

WIDTHS = (360, 1440)
SCHEMES = ("light", "dark")


@pytest.fixture(scope="module")
def desk(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shown]:
    """One desk and one tab for all looks."""
    folder = tmp_path_factory.mktemp("views") / "plans"
    folder.mkdir()
    fill(folder)
    with shown(browser, folder) as running:
        yield running


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing_on_any_view(desk: Shown, axe: Path, width: int, scheme: str) -> None:
    """WCAG 2.2 A and AA and best practices (axe-core), and nothing reaches over the edge of the screen."""
    desk.size(width, scheme)
    found = {}
    for view in VIEWS:
        desk.go(view)
        found[view.name] = desk.page.violations(axe)
        wide = desk.page.run("document.documentElement.scrollWidth")
        if wide > width:
            found[view.name].append(f"{wide} pixels wide")
        address = desk.phone_address() if view.name == "finish" else None
        if address:
            desk.page.call("Page.navigate", url=address)
            desk.page.wait("document.readyState === 'complete' && !!document.querySelector('audio')")
            found["phone"] = desk.page.violations(axe)
    assert {name: rows for name, rows in found.items() if rows} == {}


BROKEN_OR_CUT = r"""(() => {
  const found = new Set();
  const walker = document.createTreeWalker(document.querySelector("body"), NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const box = node.parentElement;
    if (!box.checkVisibility()) continue;
    // An address is no word: it is broken where the line ends.
    if (box.closest("svg, script, textarea, #score, .address, .visually-hidden, .skip")) continue;
    for (const { 0: word, index } of node.data.matchAll(/\p{L}+/gu)) {
      if (word.length > 12) continue;
      const range = document.createRange();
      range.setStart(node, index);
      range.setEnd(node, index + word.length);
      const lines = new Set([...range.getClientRects()].map((one) => Math.round(one.top)));
      if (lines.size > 1) found.add(word);
    }
  }
  for (const sheet of document.querySelectorAll(".sheet, .top")) {
    const { right } = sheet.getBoundingClientRect();
    for (const one of sheet.querySelectorAll("*")) {
      if (one.closest("svg, #score, .picture, .visually-hidden, .skip") || !one.checkVisibility()) continue;
      if (one.getBoundingClientRect().right > right + 1) found.add(`${one.nodeName} #${one.id}`);
    }
  }
  return [...found];
})()"""


def test_no_short_word_is_broken_and_nothing_is_cut_on_a_narrow_screen(desk: Shown) -> None:
    """240 px, as a phone with its letters enlarged has: every column still has room for twelve letters."""
    desk.size(240, "light")
    found = {}
    for view in VIEWS:
        desk.go(view)
        found[view.name] = desk.page.run(BROKEN_OR_CUT)
    assert {name: words for name, words in found.items() if words} == {}
