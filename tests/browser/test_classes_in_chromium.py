"""Recorded classes in a real browser: brought in by a file, listened to, decided on by ear."""

from __future__ import annotations

from pathlib import Path

import pytest
from opened_desk import Desk
from test_desk_in_chromium import desk

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.analysis import analysis_key
from test_desk_classes import NAME, class_wav, write_found

__all__ = ["desk"]


def known_class(folder: Path) -> None:
    """Put a class into the folder whose analysis is there already, so that no recogniser need be made."""
    own = folder / NAME
    own.mkdir()
    recording = own / "Monday class.wav"
    recording.write_bytes(class_wav())
    (own / "class.json").write_text('{"recording": "Monday class.wav", "captions": null}', encoding="utf-8")
    write_found(own, analysis_key(recording, AdaptOptions()))


def test_a_class_is_decided_on_by_ear_and_opens_as_a_plan(desk: Desk) -> None:
    """A doubtful sentence is heard and dropped; the plan is made again without it and opens in Compose."""
    known_class(desk.folder)
    page = desk.page
    desk.go(f"/class/{NAME}")
    page.wait("document.querySelector('.cues .hear').getAttribute('aria-disabled') === 'false'")
    page.click(".cues .hear")
    page.wait("document.getElementById('audio').currentTime > 0.2")
    plan = desk.folder / NAME / "plan.yaml"
    page.click("[data-index='2']")
    page.click("#class-decide")
    desk.until(plan.exists)
    assert "Breathe." not in plan.read_text(encoding="utf-8")
    page.wait("!!document.querySelector(\"a[href^='/plan/']\")")
    page.run("document.querySelector(\"a[href^='/plan/']\").focus()")
    page.press("Enter")
    page.wait("location.pathname.startsWith('/plan/') && !!document.getElementById('timetable')")
    assert "Stand with soft knees." in page.run("document.getElementById('timetable').textContent")
    assert page.complaints_of_console() == []


def test_what_was_decided_is_not_left_behind(desk: Desk) -> None:
    """Leaving the page asks first; to listen again takes the decisions along."""
    known_class(desk.folder)
    page = desk.page
    desk.go(f"/class/{NAME}")
    leaving = "window.dispatchEvent(new Event('beforeunload', { cancelable: true }))"
    assert page.run(leaving) is True
    page.click("[data-index='2']")
    assert page.run(leaving) is False
    page.run(
        "window.sent = []; window.real = window.fetch; window.fetch = (url, options) =>"
        " url.includes('class-run') ? (sent.push(JSON.parse(options.body)), new Promise(() => {}))"
        " : real(url, options)"
    )
    page.click("#class-know button")
    page.wait("sent.length === 1")
    assert page.run("sent[0].kept") == [True, False, False]


def test_files_are_dropped_in(desk: Desk) -> None:
    """A recording and its captions, told apart by their names; one that misses does not replace the page."""
    desk.go("/classes")
    desk.page.run(
        "(() => { const held = new DataTransfer();"
        " held.items.add(new File(['WEBVTT'], 'monday.vtt')); held.items.add(new File(['x'], 'monday.mp4'));"
        " const drop = () => new DragEvent('drop', {bubbles: true, cancelable: true, dataTransfer: held});"
        " document.getElementById('bring').dispatchEvent(drop());"
        " window.missed = document.body.dispatchEvent(drop()); })()"
    )
    assert desk.page.run("document.getElementById('class-file').files[0].name") == "monday.mp4"
    assert desk.page.run("document.getElementById('class-captions').files[0].name") == "monday.vtt"
    assert desk.page.run("window.missed") is False, "the browser is told not to open it"
    assert desk.page.complaints_of_console() == []


def test_a_recording_is_sent_once_though_its_captions_are_refused(desk: Desk) -> None:
    """A recording may be gigabytes: captions that are refused made a second class of it at the next try."""
    page = desk.page
    desk.go("/classes")
    page.run(
        "window.held = (id, name, text) => { const held = new DataTransfer();"
        " held.items.add(new File([text], name)); document.getElementById(id).files = held.files; };"
        " held('class-file', 'monday.mp4', 'x'); held('class-captions', 'monday.vtt', 'no captions')"
    )
    page.click("#bring-form button")
    page.wait(
        "!document.querySelector('#bring-form button').disabled"
        " && document.getElementById('bring-state').textContent !== ''"
    )
    page.run("held('class-captions', 'monday.vtt', 'WEBVTT\\n\\n00:01.000 --> 00:02.000\\nHeels heavy.\\n')")
    page.click("#bring-form button")
    page.wait("location.pathname === '/class/monday'")
    assert [path.name for path in desk.folder.iterdir() if path.is_dir()] == ["monday"]


def test_a_file_that_is_no_class_is_refused_in_words(
    desk: Desk, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Chosen in the form, handed over, and told why on the page of the class."""
    path = tmp_path_factory.mktemp("notes") / "My notes.mp4"
    path.write_text("no video at all", encoding="utf-8")
    page = desk.page
    desk.go("/classes")
    root = page.call("DOM.getDocument")["root"]["nodeId"]
    field = page.call("DOM.querySelector", nodeId=root, selector="#class-file")["nodeId"]
    page.call("DOM.setFileInputFiles", nodeId=field, files=[str(path)])
    page.click("#bring-form button")
    page.wait("location.pathname === '/class/my-notes' && document.readyState === 'complete'")
    page.wait("!document.getElementById('class-again').hidden")
    assert len(page.run("document.getElementById('class-step').textContent")) > 10
