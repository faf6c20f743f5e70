"""Recorded classes at the desk: brought in, found, decided on, and opened as a plan."""

from __future__ import annotations

import errno
import io
import json
import os
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from markupsafe import escape

from children import fork_instead
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.adapted_folder import ANALYSIS, DECISIONS
from cuelane.adapt.analysis import Analysis, analysis_key, to_json
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.audio.store import ClipStore
from cuelane.base.errors import UsageError
from cuelane.base.seals import digest_of, sealable_json, sealed
from cuelane.desk import booth_pages, class_pages, uploads
from cuelane.desk.app import application
from cuelane.desk.classes import Classes
from cuelane.desk.words import Said, desk_words, in_language
from deskkit import ask, post, until

RATE = 48_000
NAME = "monday-class"


def class_wav() -> bytes:
    """Return a class of tones where `FOUND` says that sentences are."""
    sound = 1e-4 * np.random.default_rng(4).standard_normal(round(FOUND.seconds * RATE))
    for cue in FOUND.cues:
        first, last = round((cue.start_s + 0.1) * RATE), round((cue.end_s - 0.1) * RATE)
        sound[first:last] += 0.2 * np.sin(2 * np.pi * 220 * np.arange(last - first) / RATE)
    file = io.BytesIO()
    soundfile.write(file, sound, RATE, format="WAV", subtype="PCM_16")
    return file.getvalue()


FOUND = Analysis(
    seconds=20.0,
    beep=None,
    confidence=0.9,
    how="by ear",
    n_boundaries=2,
    n_faint=0,
    n_from_plan=0,
    intervals=(
        FoundInterval("talk", 0.0, 4.0, 4.0, False),
        FoundInterval("work", 4.0, 14.0, 10.0, False),
        FoundInterval("talk", 14.0, 20.0, 6.0, False),
    ),
    cues=(
        FoundCue(1.0, 2.5, "Stand with soft knees.", "setup", 0),
        FoundCue(6.0, 7.5, "Watch how my knee moves.", "form", 1, reasons=("points at a picture",)),
        FoundCue(9.0, 10.5, "<script>alert(1)</script> Breathe.", "form", 1, notes=("doubtful",)),
    ),
    lost_captions=(),
    notes=("<b>music</b> is loud",),
)


def write_found(folder: Path, key: str) -> None:
    """Write `FOUND` as an earlier run would have, so that no recogniser need be made."""
    path = folder / ANALYSIS
    path.write_text(to_json(FOUND, key), encoding="utf-8")
    listed = json.dumps({"files": {ANALYSIS: digest_of(path)}})
    (folder / "report.json").write_bytes(sealed(sealable_json(listed).encode()))


@pytest.fixture
def desk(tmp_path: Path) -> Any:
    return application(tmp_path, ClipStore(tmp_path / ".clips"))


def bring(desk: Any, name: str = "Monday class.wav", body: bytes | None = None) -> Any:
    return ask(desk, "POST", f"/api/class/new?name={name}", body=class_wav() if body is None else body)


def ended(desk: Any, name: str = NAME) -> Any:
    """Return how the listening stands once it has ended."""
    return until(
        lambda: ask(desk, "GET", f"/api/class-state/{name}").json, lambda now: now["state"] != "running"
    )


def opened(desk: Any, name: str = NAME) -> Any:
    """Return how the recording's tape stands once it is decoded."""
    return until(
        lambda: ask(desk, "GET", f"/api/class-tape/{name}").json,
        lambda now: now["state"] not in ("running", "waiting"),
    )


@pytest.fixture
def listened(desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A desk with a class whose analysis is known already, so that no recogniser need be made."""
    fork_instead(monkeypatch)
    assert bring(desk).json == {"name": NAME}
    folder = tmp_path / NAME
    key = analysis_key(folder / "Monday class.wav", AdaptOptions())
    write_found(folder, key)
    post(desk, f"/api/class-run/{NAME}", {})
    assert ended(desk)["state"] == "done"
    return desk


def test_a_class_becomes_a_plan_of_the_desk(listened: Any, tmp_path: Path) -> None:
    """It stands among the plans, opens like any other, and can be edited where it lies."""
    assert f"{NAME}%3Aplan.yaml" in ask(listened, "GET", "/").body.decode()
    assert ask(listened, "GET", f"/plan/{NAME}:plan.yaml").status == 200
    state = ask(listened, "GET", f"/api/plan/{NAME}:plan.yaml").json
    edit = {"number": state["number"], "what": "", "edits": [{"op": "set", "at": "title", "value": "Ours"}]}
    assert post(listened, f"/api/plan/{NAME}:plan.yaml/edit", edit).status == 200
    assert "title: Ours" in (tmp_path / NAME / "plan.yaml").read_text(encoding="utf-8")


def test_of_a_doubt_only_what_is_english_is_marked_so(listened: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The field that it names has the page's words, and their language."""
    doubts = ["No beeps: name one, such as --beep-at 12:30; or give <b>it</b> with --plan, or --work 40s."]
    monkeypatch.setattr(Classes, "doubts", lambda *_: doubts)
    with in_language("de"):
        html = ask(listened, "GET", f"/class/{NAME}").body.decode()
        words = desk_words("de").classes
    field, plan, work = (escape(words[key]) for key in ("by_beep_at", "by_plan", "by_work"))
    assert (
        '<li lang="en">No beeps: name one, such as '
        f'<span lang="de">{field} </span>12:30; or give &lt;b&gt;it&lt;/b&gt; '
        f'with <span lang="de">{plan}</span>, or <span lang="de">{work}</span> 40s.</li>'
    ) in html


def test_why_a_listening_failed_names_the_page_s_fields(listened: Any) -> None:
    """Where no countdown ends, as the recogniser's own words have it but for the option."""
    post(listened, f"/api/class-run/{NAME}", {"beep_at": "0:03"})
    end = ended(listened)
    assert end["state"] == "failed"
    assert "“A countdown ends at”" in end["error"]
    assert "--" not in end["error"]


def test_what_was_found_stands_on_its_page(listened: Any) -> None:
    """Rounds, sentences, reasons; what is said in it stays text; any place of it can be listened to."""
    html = ask(listened, "GET", f"/class/{NAME}").body.decode()
    for wanted in ("points at a picture", "doubtful", "Watch how my knee moves."):
        assert wanted in html
    assert "--" not in re.sub(r"<!--.*?-->|--[a-z-]+:|var\(--", "", html), "a page has fields, not options"
    tape = opened(listened)
    assert tape["of_seconds"] == FOUND.seconds == tape["seconds"]
    assert 'class="c-work"' in tape["picture"]
    assert 'class="c-kept"' in tape["picture"]
    assert "<script>alert" not in html
    assert "<b>music" not in html
    sound, rate = soundfile.read(io.BytesIO(ask(listened, "GET", f"/class-sound/{NAME}/6000-7500.wav").body))
    assert rate == RATE
    assert len(sound) == round(1.5 * RATE)
    assert np.abs(sound).max() > 0.15


def rows(tmp_path: Path) -> list[str]:
    """Return what the class's file of decisions says of each sound."""
    lines = (tmp_path / NAME / DECISIONS).read_text(encoding="utf-8").splitlines()
    return [line[:4] for line in lines if line[:1] in "kd"]


def test_what_was_decided_counts_when_the_class_is_listened_to_again(listened: Any, tmp_path: Path) -> None:
    """Whoever has decided by ear and then tells the desk a length loses no decision by it."""
    wrong = post(listened, f"/api/class-run/{NAME}", {"beep_at": "", "kept": [True]})
    assert wrong.status == 400, "another number of sounds than were found"
    folder = tmp_path / NAME
    write_found(folder, analysis_key(folder / "Monday class.wav", AdaptOptions(work_s=10.0, rest_s=0.0)))
    told = {"beep_at": "", "work": "10s", "rest": "0", "kept": [False, True, False]}
    assert post(listened, f"/api/class-run/{NAME}", told).status == 200
    assert ended(listened)["state"] == "done"
    assert rows(tmp_path) == ["drop", "keep", "drop"]


def test_decisions_are_taken_again_where_the_listening_came_to_nothing(
    listened: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The desk was busy: the page still shows what was found before a length was told."""

    def busy(*_: Any, **__: Any) -> None:
        raise UsageError(Said("busy.class", name="another"))

    monkeypatch.setattr(Classes, "run", busy)
    told = {"beep_at": "", "work": "10s", "rest": "0", "kept": [False, True, False]}
    assert post(listened, f"/api/class-run/{NAME}", told).status == 400
    monkeypatch.setattr(Classes, "run", lambda *_, **__: None)
    again = post(listened, f"/api/class-run/{NAME}", {**told, "kept": [False, True, True]})
    assert again.status == 200, again.json["error"]
    assert rows(tmp_path) == ["drop", "keep", "keep"]


def test_what_is_known_of_a_class_is_given_to_the_listening(listened: Any, tmp_path: Path) -> None:
    """A time and a plan, kept with the class; nonsense is refused in words and changes nothing."""
    plan = (
        "title: T\nsession:\n  - block: A\n    pattern: circuit\n    work: 10s\n    exercises: [row]\n"
        "exercises:\n  row: {}\n"
    )
    (tmp_path / "followed.yaml").write_text(plan, encoding="utf-8")
    about = tmp_path / NAME / "class.json"
    before = about.read_bytes()
    for wrong in (
        {"beep_at": "soon"},
        {"beep_at": "", "plan": "../x.yaml"},
        {"beep_at": "-3"},
        {"beep_at": "", "work": "40s"},
        {"beep_at": "", "work": "1s", "rest": "20s"},
        {"beep_at": "", "work": "40s", "rest": "long"},
    ):
        answer = post(listened, f"/api/class-run/{NAME}", wrong)
        assert answer.status == 400
        assert answer.json["error"]
    assert about.read_bytes() == before
    folder = tmp_path / NAME
    options = AdaptOptions(None, plan=tmp_path / "followed.yaml", beep_at_s=14.0, work_s=40.0, rest_s=0.0)
    write_found(folder, analysis_key(folder / "Monday class.wav", options))
    post(
        listened,
        f"/api/class-run/{NAME}",
        {"beep_at": "0:14", "plan": "followed.yaml", "work": "40s", "rest": "0s"},
    )
    end = ended(listened)
    assert end["state"] == "done", end["error"]
    kept = json.loads(about.read_bytes())
    assert (kept["beep_at_s"], kept["plan"]) == (14.0, "followed.yaml")
    assert (kept["work_s"], kept["rest_s"]) == (40.0, 0.0)
    html = ask(listened, "GET", f"/class/{NAME}").body.decode()
    for value in ("14s", "40s", "0s"):
        assert f'value="{value}"' in html
    assert "<option selected>followed.yaml</option>" in html


def test_one_thing_at_a_time_on_the_whole_desk(listened: Any, tmp_path: Path) -> None:
    """A track is not made while a class is listened to; it is said what the desk is doing."""
    (tmp_path / "p.yaml").write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
    busy = post(listened, f"/api/class-decide/{NAME}", {"kept": [True, True, True]})
    assert busy.json["state"] == "running"
    answer = post(listened, "/api/finish/p.yaml/render", {"format": ".flac"})
    assert answer.status == 400
    assert f"listening to the class {NAME}" in answer.json["error"]
    assert ask(listened, "GET", f"/api/class-tape/{NAME}").json["state"] == "waiting"
    assert ended(listened)["state"] == "done"
    assert opened(listened)["state"] == "done"


def test_decisions_are_written_and_the_plan_made_again(listened: Any, tmp_path: Path) -> None:
    """Through adapt's own file: what is ticked is kept, what is not is left out."""
    path = tmp_path / NAME / DECISIONS
    before = path.read_text(encoding="utf-8")
    assert "drop  0:06.0" in before
    post(listened, f"/api/class-decide/{NAME}", {"kept": [False, True, True]})
    assert ended(listened)["state"] == "done"
    after = path.read_text(encoding="utf-8")
    assert "drop  0:01.0" in after
    assert "keep  0:06.0" in after
    plan = (tmp_path / NAME / "plan.yaml").read_text(encoding="utf-8")
    assert "Watch how my knee moves." in plan
    assert "Stand with soft knees." not in plan
    path.write_text(f"{after}\nkeep it\n", encoding="utf-8")
    n_lines = len(after.split("\n")) + 1
    wrong = post(listened, f"/api/class-decide/{NAME}", {"kept": [False, True, True]})
    assert wrong.json["error"].startswith(f"decisions.txt, line {n_lines}: expected ")
    path.write_text(after, encoding="utf-8")
    assert post(listened, f"/api/class-decide/{NAME}", {"kept": [True]}).status == 400
    assert post(listened, f"/api/class-decide/{NAME}", {"kept": "all"}).status == 422


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/passwd",
        "..",
        "",
        "/",
        "%2e%2e%2fx.mp4",
        "a\\..\\b.wav",
        "con:x.wav",
        "x" * 190,
        "<img>.mp4",
    ],
)
def test_a_name_cannot_lead_out_of_the_folder(desk: Any, tmp_path: Path, name: str) -> None:
    """Whatever a file is called, it lies in one new folder directly in the desk's, under a plain name."""
    (tmp_path.parent / "outside").mkdir(exist_ok=True)
    made = bring(desk, name).json["name"]
    (folder,) = (path for path in tmp_path.iterdir() if path.is_dir() and path.name != ".clips")
    assert folder.name == made
    assert all(letter.isalnum() or letter == "-" for letter in made)
    assert sorted(path.parent for path in folder.rglob("*")) == [folder, folder]


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("class.json", "Class class.json"),
        ("Plan.m4a", "Class Plan.m4a"),
        ("captions.txt", "Class captions.txt"),
        ("clips", "Class clips"),
        ("con.wav", "Class con.wav"),
        ("Classic.wav", "Classic.wav"),
    ],
)
def test_a_recording_has_a_name_of_its_own(desk: Any, tmp_path: Path, name: str, kept: str) -> None:
    """None that the desk writes beside it, or makes of its plan; none that Windows has for a device."""
    folder = tmp_path / bring(desk, name).json["name"]
    assert json.loads((folder / "class.json").read_text(encoding="utf-8"))["recording"] == kept
    assert (folder / kept).read_bytes() == class_wav()


def test_a_classs_folder_is_called_as_no_device_is(desk: Any) -> None:
    """Of a title the folder takes plain letters only; what is left of it may be a device on Windows."""
    # %C3%A9 is an e with an accent in UTF-8.
    assert bring(desk, "%C3%A9%20aux%20%C3%A9.wav").json["name"] == "class-aux"
    assert bring(desk, "auxiliary.wav").json["name"] == "auxiliary"


def test_no_recording_leaves_no_folder(desk: Any, tmp_path: Path) -> None:
    """An empty body is refused, and nothing stays of it."""
    answer = bring(desk, body=b"")
    assert answer.status == 400
    assert "nothing came" in answer.json["error"]
    assert not (tmp_path / NAME).exists()


def test_a_disk_that_fills_while_a_recording_comes_is_said(
    desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In words, and nothing stays of the recording; nor of songs, takes and readings that come so."""

    async def filled(*_: Any) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    for module in (class_pages, booth_pages, uploads):
        monkeypatch.setattr(module, "stream_into", filled)
    (tmp_path / "p.yaml").write_text("title: T\nsession:\n  - say: Hi.\n", encoding="utf-8")
    for path in ("class/new?name=Monday%20class.wav", "music/p.yaml", "take/p.yaml/k", "reading/p.yaml"):
        answer = ask(desk, "POST", f"/api/{path}", body=b"RIFF")
        assert (answer.status, "the disk is full" in answer.json["error"]) == (500, True), path
    assert not (tmp_path / NAME).exists()


def test_what_is_no_recording_is_refused_in_words(desk: Any, tmp_path: Path) -> None:
    """By the child that would have listened; no plan comes of it."""
    bring(desk, body=b"<html>not a class</html>" * 50)
    post(desk, f"/api/class-run/{NAME}", {})
    found = ended(desk)
    assert found["state"] == "failed"
    assert found["error"]
    assert not (tmp_path / NAME / "plan.yaml").exists()
    tape = opened(desk)
    assert tape["state"] == "failed"
    assert tape["error"]


@pytest.mark.parametrize(
    "captions",
    [
        b"",
        b"\x00\xff" * 50,
        b"no times at all",
        b"1:05 " + b"x" * 3_000_000,
        b"".join(b"%d:%02d x\n" % divmod(n, 60) for n in range(20_001)),
    ],
    ids=["empty", "bytes", "no times", "one endless line", "too many"],
)
def test_hostile_captions_are_refused_in_words(desk: Any, tmp_path: Path, captions: bytes) -> None:
    """Before anything is listened to; nothing is kept of them."""
    bring(desk)
    answer = ask(desk, "POST", f"/api/class-words/{NAME}", body=captions)
    assert answer.status == 400
    assert answer.json["error"]
    assert json.loads((tmp_path / NAME / "class.json").read_text(encoding="utf-8"))["captions"] is None


def test_captions_are_kept_beside_the_class(desk: Any, tmp_path: Path) -> None:
    """As they came."""
    bring(desk)
    answer = ask(desk, "POST", f"/api/class-words/{NAME}", body=b"0:01 Stand with soft knees.\n")
    assert answer.json == {"captions": 1}
    assert (tmp_path / NAME / "captions.txt").read_bytes().startswith(b"0:01 Stand")


@pytest.mark.parametrize("recording", ["../outside.wav", "/etc/passwd", "link.wav", "none.wav", 7, None])
def test_a_folder_that_lies_about_its_recording_is_not_opened(
    desk: Any, tmp_path: Path, recording: object
) -> None:
    """A class that came with a folder from somewhere else: a path, a link, nothing."""
    (tmp_path.parent / "outside.wav").write_bytes(class_wav())
    folder = tmp_path / "theirs"
    folder.mkdir()
    (folder / "link.wav").symlink_to(tmp_path.parent / "outside.wav")
    (folder / "class.json").write_text(json.dumps({"recording": recording}), encoding="utf-8")
    for path in ("class/theirs", "class-sound/theirs/0-1000.wav", "api/class-state/theirs"):
        assert ask(desk, "GET", f"/{path}").status == 400


@pytest.mark.parametrize(
    "times",
    ['"beep_at_s": NaN', '"beep_at_s": 1e999', '"work_s": 40, "rest_s": -Infinity', '"beep_at_s": []'],
)
def test_a_folder_that_lies_about_its_times_is_not_opened(desk: Any, tmp_path: Path, times: str) -> None:
    """What JSON of Python takes for numbers, and no time is."""
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs" / "a.wav").write_bytes(class_wav())
    text = f'{{"recording": "a.wav", {times}}}'
    (tmp_path / "theirs" / "class.json").write_text(text, encoding="utf-8")
    assert ask(desk, "GET", "/class/theirs").status == 400
    assert ask(desk, "GET", "/classes").status == 200


@pytest.mark.parametrize(
    "name", ["link:plan.yaml", "..:plan.yaml", ".:plan.yaml", "a/b:plan.yaml", "p:q.yaml"]
)
def test_plans_below_are_those_of_own_folders_only(desk: Any, tmp_path: Path, name: str) -> None:
    """No folder that is a link, none further up or down, no other file."""
    other = tmp_path.parent / f"{tmp_path.name}-other"
    for folder in (other, tmp_path / "p", tmp_path / "a" / "b"):
        folder.mkdir(parents=True)
        (folder / "plan.yaml").write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
        (folder / "q.yaml").write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
    (tmp_path / "link").symlink_to(other, target_is_directory=True)
    (tmp_path / "plan.yaml").write_text("title: T\nsession:\n  - rest: 30s\n", encoding="utf-8")
    assert ask(desk, "GET", "/plan/p:plan.yaml").status == 200
    assert ask(desk, "GET", f"/plan/{name}").status in (400, 404)
