"""The page of a series in headless Chromium: opened from disk it asks for nothing, fits, and filters."""

from __future__ import annotations

from pathlib import Path

import pytest
from devtools import Browser

from cuelane.shelf.site import write_site
from test_shelf import facts, track


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three sessions in two languages, one with a long word for a title, and an address for the feed."""
    folder = tmp_path_factory.mktemp("shelf")
    caution = ["Stop if it hurts."]
    track(folder / "in", "one", cautions=caution, facts=facts(["a chair", "a wall"], ["legs"]))
    track(
        folder / "in",
        "two",
        cautions=["Arrêtez en cas de douleur."],
        language="fr",
        facts=facts([], ["back"]),
    )
    track(folder / "in", "three", title="W" * 80, description="Long. " * 60, cautions=caution)
    write_site(folder / "in", folder / "out", None, "https://example.org/winter/")
    return folder / "out" / "index.html"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_it_fits_and_asks_for_nothing(browser: Browser, site: Path, width: int, scheme: str) -> None:
    """No part is cut at the side, nothing is requested elsewhere, the console stays silent."""
    page = browser.page(width, scheme=scheme)
    page.open(site)
    assert page.run("document.documentElement.scrollWidth <= innerWidth")
    cut = (
        "[...document.querySelectorAll('main *')].filter(e => e instanceof HTMLElement"
        " && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline')"
    )
    assert page.run(f"{cut}.map(e => e.outerHTML)") == []
    assert page.complaints() == []


def test_it_filters_without_a_server(browser: Browser, site: Path) -> None:
    """By what a session needs and works; how many are left is told."""
    page = browser.page(1280)
    page.open(site)
    shown = "[...document.querySelectorAll('li[data-ms]')].filter(e => !e.hidden).length"
    assert page.run(shown) == 3
    for name, value, n_left in (
        ("works", "legs", 1),
        ("works", "", 3),
        ("needs", "0", 2),
        ("needs", "a wall", 1),
    ):
        page.run(
            f"(e => {{ e.value = '{value}'; e.dispatchEvent(new Event('change', {{bubbles: true}})); }})"
            f"(document.querySelector('select[name={name}]'))"
        )
        assert page.run(shown) == n_left, (name, value)
    assert page.run("document.getElementById('count').textContent").startswith("1 ")
    assert page.complaints() == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_it(browser: Browser, axe: Path, site: Path, scheme: str) -> None:
    """Against WCAG 2.2 A and AA and the usual practices."""
    page = browser.page(360, scheme=scheme)
    page.open(site)
    assert page.violations(axe) == []
