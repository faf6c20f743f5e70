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
