"""The last steps in a real browser: made, checked, tried with music, and fetched as a phone would."""

from __future__ import annotations

import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urljoin

import pytest
from devtools import Browser
from opened_desk import Desk, opened

from cuelane.audio.store import ClipStore
from cuelane.base.errors import UsageError
from cuelane.desk.handoff import local_address
from cuelane.render.run import render

PLAN = (
    "title: Pier\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 20s\n    rounds: 2\n"
    "    rest: 10s\n    exercises: [row]\nexercises:\n  row:\n    setup: Sit tall.\n"
)


@pytest.fixture
def desk(browser: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk on a folder of its own, opened by the link that the command printed."""
    folder = tmp_path / "plans"
    folder.mkdir()
    with opened(browser, folder) as made:
        yield made


def shown(text: str) -> str:
    return f"document.getElementById('main').innerText.includes({text!r})"


def test_from_a_plan_to_a_phone_by_keyboard(desk: Desk, tmp_path: Path) -> None:
    """Made, checked, played and fetched over the second listener; the file is the command line's."""
    (desk.folder / "p.yaml").write_text(PLAN, encoding="utf-8")
    desk.go("/finish/p.yaml")
    desk.tab_to("#start")
    desk.page.press("Enter")
    desk.page.wait(shown("Every pip and every cue is in place."))
    assert desk.page.run("document.activeElement.id") == "result-title", "the focus is not lost with the work"
    again = tmp_path / "again"
    again.mkdir()
    (again / "p.yaml").write_text(PLAN, encoding="utf-8")
    render(again / "p.yaml", again / "p.m4a", store=ClipStore())
    assert (desk.folder / "p.m4a").read_bytes() == (again / "p.m4a").read_bytes()
    track = "document.getElementById('track')"
    desk.page.run(f"{track}.play()")
    desk.page.wait(f"{track}.currentTime > 0.3")
    desk.page.run(f"{track}.pause()")
    desk.go("/finish/p.yaml")
    assert desk.page.run(shown("Every pip and every cue is in place.")), "found again after a reload"
    assert desk.page.complaints_of_console() == []
    try:
        local_address()
    except UsageError as error:
        pytest.skip(f"made and checked, but not handed over: {error}")
    desk.tab_to("#phone-track")
    desk.page.press("Enter")
    desk.page.wait("!document.getElementById('phone-open').hidden")
    assert desk.page.run("document.activeElement.id") == "phone-stop"
    address = desk.page.run("document.getElementById('phone-address').href")
    with urllib.request.urlopen(address, timeout=30) as answer:
        page = answer.read().decode()
    assert "Save it on this phone" in page
    (desk.folder / "q.yaml").write_text(PLAN.replace("Pier", "Quay"), encoding="utf-8")
    desk.go("/finish/q.yaml")
    desk.page.wait(shown("a file of another plan is shared: p.m4a"))
    assert desk.page.run("document.querySelector('#phone-code svg')") is None
    assert not desk.page.run(shown(address))
    desk.go("/finish/p.yaml")
    desk.page.wait("!!document.querySelector('#phone-code svg')")
    desk.tab_to("#phone-stop")
    with urllib.request.urlopen(urljoin(address, "p.m4a"), timeout=30) as answer:
        assert answer.read() == (again / "p.m4a").read_bytes()
    desk.page.press("Enter")
    desk.page.wait("document.getElementById('phone-open').hidden")
    with pytest.raises(OSError, match="refused"):
        urllib.request.urlopen(address, timeout=30)
    assert desk.page.complaints_of_console() == []


def test_what_is_to_be_mended_is_one_press_away(desk: Desk) -> None:
    """The job fails in words, and its link puts the focus on the field."""
    (desk.folder / "p.yaml").write_text(PLAN.replace("work: 20s", "work: soon"), encoding="utf-8")
    desk.go("/finish/p.yaml")
    desk.page.click("#start")
    desk.page.wait("!!document.querySelector('#job-end a')")
    desk.page.run("document.querySelector('#job-end a').click()")
    desk.page.wait(
        "location.pathname === '/plan/p.yaml' && document.activeElement?.id === 'f/session/0/work'"
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_axe_finds_nothing_at_the_end(
    desk: Desk,
    axe: Path,
    width: int,
    scheme: str,
) -> None:
    """WCAG 2.2 A and AA and best practices, with a track made, its picture open and the door open."""
    (desk.folder / "p.yaml").write_text(PLAN, encoding="utf-8")
    render(desk.folder / "p.yaml", desk.folder / "p.flac", store=ClipStore())
    desk.page.media(scheme)
    desk.page.call(
        "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False
    )
    desk.go("/finish/p.yaml")
    desk.page.click("button[data-do=check]")
    desk.page.wait(shown("Every pip and every cue is in place."))
    desk.page.click("#phone-track")
    desk.page.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert desk.page.violations(axe) == []
    assert desk.page.run("document.documentElement.scrollWidth") <= width


def test_a_song_is_tried(desk: Desk, tmp_path: Path) -> None:
    """Chosen, mixed, played, and taken out again."""
    import numpy as np
    import soundfile

    (desk.folder / "p.yaml").write_text(PLAN, encoding="utf-8")
    render(desk.folder / "p.yaml", desk.folder / "p.flac", store=ClipStore())
    song = tmp_path.parent / f"{tmp_path.name} song.wav"
    soundfile.write(song, 0.2 * np.random.default_rng(1).standard_normal(48_000 * 5).clip(-1, 1), 48_000)
    desk.go("/finish/p.yaml")
    root = desk.page.call("DOM.getDocument")["root"]["nodeId"]
    node = desk.page.call("DOM.querySelector", nodeId=root, selector="#songs")["nodeId"]
    desk.page.call("DOM.setFileInputFiles", nodeId=node, files=[str(song)])
    desk.page.wait("!!document.querySelector('.songs li')")
    desk.page.click("#mix")
    desk.page.wait("!!document.getElementById('tried')")
    desk.page.run("document.getElementById('tried').play()")
    desk.page.wait("document.getElementById('tried').currentTime > 0.2")
    desk.page.click(".songs button")
    desk.page.wait("!document.querySelector('.songs li')")
    assert [path.name for path in desk.folder.iterdir() if "music" in path.name] == []
    assert desk.page.complaints_of_console() == []
