"""The booth in a real browser, with a microphone that plays a file: recorded, heard, kept, and spoken."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from devtools import Browser, find_chromium
from opened_desk import Desk, opened

RATE = 48_000
PLAN = (
    "title: Pier morning\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 40s\n"
    "    exercises: [row, press]\nexercises:\n  row:\n    setup: Sit tall on the bench.\n"
    "    form: [Pull the elbows back., Keep the neck long.]\n"
    "  press:\n    setup: Stand with soft knees.\n    form: [Press all the way up.]\n"
)


def speech_like(seconds: float) -> np.ndarray:
    """Return a tone with overtones that swells four times a second, as syllables do."""
    time = np.arange(round(seconds * RATE)) / RATE
    wave = sum(np.sin(2 * np.pi * 150 * n * time) / n for n in range(1, 20))
    return 0.15 * wave * (0.65 - 0.35 * np.cos(2 * np.pi * 4 * time))


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A Chromium whose microphone says the same second of sound every two seconds, and needs no leave."""
    program = find_chromium()
    if program is None:
        pytest.skip("no Chromium on this machine: put one on the path, or name it in CUELANE_CHROMIUM")
    folder = tmp_path_factory.mktemp("studio")
    sound = np.concatenate([speech_like(0.8), np.zeros(round(0.9 * RATE))])
    sound += 2e-4 * np.random.default_rng(2).standard_normal(len(sound))
    soundfile.write(folder / "mic.wav", sound, RATE, subtype="PCM_16")
    flags = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={folder / 'mic.wav'}",
    )
    with Browser(program, folder / "profile", *flags) as running:
        yield running


@pytest.fixture
def booth(studio: Browser, tmp_path: Path) -> Iterator[Desk]:
    """A desk with one plan, at its booth."""
    (tmp_path / "pier.yaml").write_text(PLAN, encoding="utf-8")
    with opened(studio, tmp_path) as desk:
        desk.go("/booth/pier.yaml")
        yield desk


def test_five_cues_are_recorded_by_keyboard_alone(booth: Desk) -> None:
    """Each is counted in, recorded, judged, heard and kept; then the plan speaks with them."""
    page = booth.page
    index = booth.folder / "voices" / "mine" / "index.json"
    booth.tab_to("#record")
    for n in range(1, 6):
        page.wait("document.activeElement.id === 'record'")
        page.press("Enter")
        page.wait("document.getElementById('lamp').classList.contains('live')")
        page.run("new Promise(done => setTimeout(done, 2200))")
        page.press("Enter")
        page.wait("!document.getElementById('keep').disabled")
        page.run("document.getElementById('hear').focus()")
        page.press("Enter")
        page.wait("document.getElementById('audio').currentTime > 0.2")
        page.run("document.getElementById('keep').focus()")
        page.press("Enter")
        page.wait(f"document.querySelectorAll('#lines .mine').length === {n}")
    assert index.read_text(encoding="utf-8").count('"file"') == 5
    assert page.run("document.getElementById('progress').value") == 5
    assert page.run("document.getElementById('part').textContent").startswith("Lines in your voice: 5 of ")
    page.run("document.getElementById('speak').focus()")
    page.press("Enter")
    booth.until(lambda: "voice: mine" in (booth.folder / "pier.yaml").read_text(encoding="utf-8"))
    page.wait("document.getElementById('offer').hidden")
    booth.go("/plan/pier.yaml")
    booth.page.wait("document.getElementById('speaking').textContent === ''")
    audio = "document.getElementById('audio')"
    page.run("document.querySelectorAll('.hear')[0].click()")
    page.wait(f"!{audio}.paused && {audio}.currentTime > 0.2")
    assert page.complaints_of_console() == []


def test_a_take_is_thrown_away_and_a_kept_one_taken_back(booth: Desk) -> None:
    """Recording again replaces a take that was not kept; one that was kept goes, and can be put back."""
    page = booth.page
    for _ in range(2):
        page.click("#record")
        page.wait("document.getElementById('lamp').classList.contains('live')")
        page.run("new Promise(done => setTimeout(done, 1800))")
        page.click("#record")
        page.wait("!document.getElementById('keep').disabled")
    assert not (booth.folder / "voices").exists()
    first = page.run("document.getElementById('line-text').textContent")
    page.click("#keep")
    page.wait("document.querySelectorAll('#lines .mine').length === 1")
    page.click("#lines .mine button")
    assert page.run("document.getElementById('line-text').textContent") == first
    page.click("#back")
    page.wait("document.querySelectorAll('#lines .mine').length === 0")
    page.click("#keep")
    page.wait("document.querySelectorAll('#lines .mine').length === 1")
    assert page.complaints_of_console() == []


def test_one_microphone_takes_one_thing_down(booth: Desk) -> None:
    """A line begun during a whole reading took its place: the reading was gone. Leaving then asks first."""
    page = booth.page
    page.run(
        "window.sent = []; XMLHttpRequest.prototype.send = function (sound) { sent.push(sound.size); };"
        "window.off = () => ['record', 'whole-record'].map(id => document.getElementById(id).disabled);"
        "window.leaves = () => window.dispatchEvent(new Event('beforeunload', { cancelable: true }))"
    )
    page.click("#record")
    page.wait("document.getElementById('record').dataset.now === 'stop'")
    assert page.run("off()") == [False, True]
    page.click("#record")
    page.wait("document.getElementById('record').dataset.now === ''")
    assert page.run("off()") == [False, False]
    assert page.run("leaves()") is True
    page.click("#whole-record")
    page.wait("document.getElementById('whole-state').textContent !== ''")
    assert page.run("off()") == [True, False]
    assert page.run("leaves()") is False
    page.click("#whole-record")
    page.wait("sent.length === 1")
    assert page.run("sent[0]") > 0
    assert page.run("off()") == [False, False]
    assert page.run("leaves()") is False, "it has not all gone to the desk yet"


@pytest.mark.parametrize("order", [("record", "whole-record"), ("whole-record", "record")])
def test_of_two_that_wait_for_the_microphone_one_has_it(booth: Desk, order: tuple[str, str]) -> None:
    """Both are pressed while the browser asks for leave: only one of them begins."""
    page = booth.page
    page.run(
        "window.begun = 0; const start = MediaRecorder.prototype.start;"
        "MediaRecorder.prototype.start = function (...by) { begun++; return start.apply(this, by); };"
        "window.states = () => [document.getElementById('record').dataset.now === 'stop',"
        " document.getElementById('whole-state').textContent !== ''];"
        "const own = navigator.mediaDevices.enumerateDevices.bind(navigator.mediaDevices); window.looked = 0;"
        "navigator.mediaDevices.enumerateDevices = () => own().finally(() => looked++)"
    )
    page.run("".join(f"document.getElementById('{one}').click();" for one in order))
    page.wait("looked === 2 && states().includes(true)")
    assert page.run("new Promise(done => setTimeout(() => done(begun), 0))") == 1
    line_runs, reading_runs = page.run("states()")
    assert line_runs is not reading_runs
    assert page.run("document.getElementById('record').disabled") is reading_runs
    assert page.run("document.getElementById('whole-record').disabled") is line_runs


def test_axe_finds_nothing(booth: Desk, axe: Path) -> None:
    """WCAG 2.2 A and AA and best practices: before, in and after a take; nothing over the screen's edge."""
    page = booth.page
    page.call("Page.setBypassCSP", enabled=True)
    found: dict[str, object] = {}
    for width, scheme in itertools.product((360, 1440), ("light", "dark")):
        page.media(scheme)
        page.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False
        )
        booth.go("/booth/pier.yaml")
        page.wait("!!document.querySelector('#lines li')")
        rows = {"before": page.violations(axe)}
        page.click("#record")
        page.wait("document.getElementById('lamp').classList.contains('live')")
        rows["in"] = page.violations(axe)
        page.click("#record")
        page.wait("!document.getElementById('record').disabled")
        page.run("document.getElementById('offer').hidden = document.getElementById('report').hidden = false")
        rows["after"] = page.violations(axe)
        wide = page.run("document.documentElement.scrollWidth")
        found |= {f"{when}, {width} px, {scheme}": row for when, row in rows.items() if row}
        if wide > width:
            found[f"{width} px, {scheme}"] = f"{wide} pixels wide"
    assert found == {}
