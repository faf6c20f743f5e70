"""The desk in another language in a real browser: the first steps, the change of language, narrow pages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser
from opened_desk import Desk, opened

from cuelane.base.language import available_languages
from cuelane.desk.words import desk_words


@pytest.fixture
def german(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk on an empty folder, in German since the command says so."""
    with opened(browser, tmp_path, "--language", "de") as made:
        yield made


def started(desk: Desk) -> None:
    """Start a plan on the shelf, by keyboard."""
    desk.tab_to("#new input")
    desk.keys("Hafen")
    desk.tab_to("#new button")
    desk.page.press("Enter")
    desk.page.wait("location.pathname === '/plan/hafen.yaml' && document.readyState === 'complete'")


def text_of(desk: Desk, element: str) -> str:
    return str(desk.page.run(f"document.getElementById({element!r}).textContent.trim()"))


def test_a_session_is_begun_in_german(german: Desk) -> None:
    """Started, changed, taken back and put again: each is said in German, and so is the plan."""
    words = desk_words("de")
    assert german.page.run("document.documentElement.lang") == "de"
    started(german)
    plan = german.folder / "hafen.yaml"
    assert "\nlanguage: de\n" in plan.read_text("utf-8")
    assert text_of(german, "undo") == words.top.undo

    german.tab_to("#add-say")
    german.page.press("Enter")
    german.until(lambda: words.new["say"] in plan.read_text("utf-8"))
    german.page.wait(f"document.getElementById('state').textContent === {words.top.saved!r}")
    german.tab_to("#undo")
    german.page.press("Enter")
    undone = words("top.undone", what=words.compose.add_say)
    german.page.wait(f"document.getElementById('state').textContent === {undone!r}")


def test_another_language_takes_nothing_from_what_is_typed(german: Desk) -> None:
    """A name half typed, a text half written and an open part stay; all words change, and change back."""
    started(german)
    page = german.page
    page.run(
        "document.getElementById('new-exercise').value = 'Knie';"
        "document.getElementById('as-text').open = true;"
        "document.getElementById('text').value += '# halb';"
        "window.sameField = document.getElementById('new-exercise')"
    )
    for code in [*(code for code in available_languages() if code != "de"), "de"]:
        page.run(f"document.getElementById('speak/{code}').click()")
        words = desk_words(code)
        # Some words are the same in two languages; the page says its language once all have changed.
        page.wait(f"document.documentElement.lang === {code!r}")
        page.wait(f"document.querySelector('#session .kind').textContent === {words.compose.kind_block!r}")
        page.wait(f"document.getElementById('undo').textContent.trim() === {words.top.undo!r}")
        assert text_of(german, "play") == words.hear.play
        assert page.run("document.querySelector('[aria-current=true]').dataset.language") == code
        assert page.run("document.getElementById('new-exercise') === window.sameField")
        assert page.run("window.sameField.value") == "Knie"
        assert page.run("document.getElementById('text').value.endsWith('# halb')")
        assert page.run("document.getElementById('as-text').open")
    # It is kept for the next page, and for the next desk.
    page.run("document.getElementById('speak/fr').click()")
    page.wait("document.documentElement.lang === 'fr'")
    # With a text half written the browser would ask before it leaves.
    page.run("document.getElementById('text').value = document.getElementById('text').dataset.saved")
    german.go("/classes")
    assert page.run("document.documentElement.lang") == "fr"


@pytest.mark.parametrize("code", [code for code in available_languages() if code != "en"])
def test_no_word_is_too_long_for_a_narrow_page(german: Desk, code: str) -> None:
    """At 360 px nothing reaches past the edge, with every part open."""
    started(german)
    page = german.page
    page.call("Emulation.setDeviceMetricsOverride", width=360, height=800, deviceScaleFactor=1, mobile=False)
    page.run(f"document.cookie = 'cuelane-language={code}; path=/'")
    for path in ("/", "/plan/hafen.yaml", "/booth/hafen.yaml", "/finish/hafen.yaml", "/classes"):
        german.go("/classes" if path == "/" else "/")
        german.go(path)
        assert page.run("document.documentElement.lang") == code
        page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
        wide = page.run(
            "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 361"
            " && !e.closest('.scored, .visually-hidden, .skip, svg, .lane, #score'))"
            ".map(e => `${e.tagName} ${e.id} ${e.textContent.trim().slice(0, 40)}`).slice(0, 5)"
        )
        # A bar for scrolling takes its part of the 360 px, in some browsers.
        over = page.run("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert (over, wide) == (0, []), path
