"""``adapt`` with captions, folders and files of its own that are damaged, hostile or somebody else's."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import synth
from cuelane.adapt import analysis as analysing
from cuelane.adapt import run as adapting
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.analysis import Analysis, from_json, to_json
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.decisions import decide, decisions_text, read_decisions, record_text
from cuelane.adapt.plan_file import fit_for_plan
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.word_lists import tables_digest
from cuelane.base.errors import AudioFileError, PlanError, UsageError
from cuelane.base.roles import Role
from cuelane.plan.load import load_plan

NASTY = "\ufeff\u202bכפוף את {side} \u200fהברך\u202c\x00 [x] {{: - 'yes' # no\u2028end"


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("bracket", ["<", "{\\", "<{\\", "&", "&#", "-->"])
def test_brackets_by_the_hundred_thousand_are_read_once(tmp_path: Path, bracket: str) -> None:
    """An opening bracket sought its end through all that follows: 100,000 took over 45 s."""
    path = write(tmp_path / "a.vtt", "WEBVTT\n\n00:01.000 --> 00:02.000\nHeels " + bracket * 100_000 + "\n")
    with pytest.raises(AudioFileError, match=r"characters; at most 2000 are read|is not a time"):
        read_captions(path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "\n".join(f"{i // 3600}:{i // 60 % 60:02d}:{i % 60:02d} Up" for i in range(95_000)),
            "most 20000 are",
        ),
        ("\n".join(f"1:05 Heels heavy {i}." for i in range(1_000)), "which nobody can say"),
        ("1:05 " + "&#" + "9" * 5_000 + ";" + " x" * 1_001, "has 2003 characters"),
        ("x" * 5_000_001, "is larger than 5 MB"),
    ],
)
def test_captions_beyond_what_is_said_are_refused(tmp_path: Path, text: str, message: str) -> None:
    """Too many, too long, all at once: 95,000 took minutes; a number of 5,000 digits gave a traceback."""
    with pytest.raises(AudioFileError, match=message):
        read_captions(write(tmp_path / "a.txt", text))


def test_captions_are_ordinary_files(tmp_path: Path) -> None:
    """A pipe is not waited for."""
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no pipes with names")
    os.mkfifo(tmp_path / "pipe.vtt")
    with pytest.raises(AudioFileError, match="not an ordinary file"):
        read_captions(tmp_path / "pipe.vtt")


def test_direction_marks_and_control_characters_are_left_out(tmp_path: Path) -> None:
    """What captions in Hebrew and Arabic hold to turn text, and NUL, are no words."""
    (caption,) = read_captions(write(tmp_path / "a.txt", f"1:05 {NASTY}\u200c"))
    assert caption.text == "כפוף את {side} הברך [x] {{: - 'yes' # no end\u200c"
    assert fit_for_plan(caption.text, 600).startswith("כפוף את (side) הברך")
    assert fit_for_plan("{" * 700, 600) == "(" * 599 + "…"
    assert fit_for_plan("\u200f\x00", 600) == "…"


@pytest.fixture
def found(monkeypatch: pytest.MonkeyPatch) -> Analysis:
    """What is found in a recording of six seconds, without listening to it."""
    cue = FoundCue(1.0, 2.5, NASTY, "form", 0)
    interval = FoundInterval("work", 0.0, 6.0, 6.0, False)
    analysis = Analysis(6.0, Beep(1000.0, 0.5, 3, 1000.0, 0.1, 1.0), 0.9, "by its own pattern", 0, 0, 0,
                        (interval,), (cue,), (), ())  # fmt: skip
    monkeypatch.setattr(adapting, "analyse", lambda *_, **__: analysis)
    return analysis


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "class {side} \u200f.wav"
    sound = np.zeros(6 * 48_000, np.float32)
    spoken = synth.speak("Keep your heels heavy.")[:60_000]
    sound[48_000 : 48_000 + len(spoken)] = 0.2 * spoken / np.abs(spoken).max()
    soundfile.write(path, sound, 48_000)
    return path


def test_the_plan_can_be_loaded_whatever_was_said(tmp_path: Path, found: Analysis, recording: Path) -> None:
    """Direction marks, a byte order mark, NUL and braces in what was said gave a plan that render refused."""
    adapted = adapt_recording(recording, tmp_path / "new")

    assert len(adapted.planned.intervals[0].cues) == 1
    text = (tmp_path / "new" / "plan.yaml").read_text(encoding="utf-8")
    assert "(side)" in text
    load_plan(tmp_path / "new" / "plan.yaml")


def test_a_plan_that_cannot_be_used_is_not_written(
    tmp_path: Path, found: Analysis, recording: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever else may be wrong with it is found by loading it, before anything takes its place."""
    monkeypatch.setattr(adapting, "plan_yaml", lambda *_: "title: x\nsession: [{block: A, pattern: none}]\n")
    with pytest.raises(UsageError, match="gives a plan that cannot be used") as caught:
        adapt_recording(recording, tmp_path / "new")
    assert "partial" not in str(caught.value)
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["clips"]


def test_a_linked_clips_folder_is_left_alone(tmp_path: Path, found: Analysis, recording: Path) -> None:
    """Clips that no longer belong are deleted; in a folder that is a link they may be somebody else's."""
    theirs = tmp_path / "theirs"
    theirs.mkdir()
    (theirs / "1m05.00.wav").write_bytes(b"theirs")
    (tmp_path / "new").mkdir()
    try:
        (tmp_path / "new" / "clips").symlink_to(theirs, target_is_directory=True)
    except OSError:
        pytest.skip("this system lets nobody make links")
    with pytest.raises(UsageError, match="must be a folder of its own"):
        adapt_recording(recording, tmp_path / "new")
    assert (theirs / "1m05.00.wav").read_bytes() == b"theirs"


@pytest.mark.parametrize(
    "damage", [b"", b"\xff\xfe", b"[" * 100_000, b"{}", b'{"0m01.00.wav": 1e999}', b"[1]"]
)
def test_damaged_files_of_its_own_cost_only_time(
    tmp_path: Path, found: Analysis, recording: Path, damage: bytes
) -> None:
    """An analysis, leads or a clip that is damaged is made again; each ended in a traceback."""
    folder = tmp_path / "new"
    adapt_recording(recording, folder)
    plan = (folder / "plan.yaml").read_bytes()
    (clip,) = (folder / "clips").iterdir()
    samples = clip.read_bytes()
    for name in (".analysis.json", ".clips.json", ".decisions.json", f"clips/{clip.name}"):
        (folder / name).write_bytes(damage)

    assert adapt_recording(recording, folder).reused is False
    assert (folder / "plan.yaml").read_bytes() == plan
    assert clip.read_bytes() == samples


def test_an_analysis_with_one_value_changed_is_not_used(found: Analysis) -> None:
    """A value of another kind came out as a traceback later."""
    text = to_json(found, "key")
    assert from_json(text, "key") == found
    data = json.loads(text)
    assert from_json(json.dumps(data | {"seconds": "six"}), "key") is None
    assert from_json(json.dumps(data | {"intervals": []}), "key") is None


def test_decisions_are_bounded(tmp_path: Path) -> None:
    """Each is compared with each cue, so their number has a limit."""
    with pytest.raises(PlanError, match="has 20001 lines; at most 20000 are read"):
        read_decisions(write(tmp_path / "d.txt", "keep 1:05\n" * 20_001))


def test_a_class_is_judged_anew_by_other_tables(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, found: Analysis, recording: Path
) -> None:
    """Another release has other words and weights; what it would say stayed as the first one said it."""
    adapt_recording(recording, tmp_path / "new")
    assert adapt_recording(recording, tmp_path / "new").reused is True
    monkeypatch.setattr(analysing, "tables_digest", lambda _: b"other")

    assert adapt_recording(recording, tmp_path / "new").reused is False
    assert len({tables_digest(code) for code in ("en", "en-GB", "de")}) == 1


@pytest.mark.parametrize("changed", ["purpose", "keep", "nothing"])
def test_what_a_person_never_touched_is_judged_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, found: Analysis, recording: Path, changed: str
) -> None:
    """A better judge changes what was proposed, never what was decided: not even after it once agreed."""
    folder = tmp_path / "new"

    def judged(purpose: Role, *reasons: str) -> tuple[str, bool]:
        """Listen again with a judge that says `purpose`; return what is decided then."""
        cue = replace(found.cues[0], text="Chest up.", role=purpose, judged=purpose, reasons=reasons)
        monkeypatch.setattr(adapting, "analyse", lambda *_, **__: replace(found, cues=(cue,)))
        (folder / ".analysis.json").unlink(missing_ok=True)
        adapted = adapt_recording(recording, folder)
        return adapted.analysis.cues[0].purpose, adapted.kept[0]

    assert judged("form") == ("form", True)
    assert judged("setup") == ("setup", True)
    assert judged("setup", "points at a picture") == ("setup", False)
    path = folder / "decisions.txt"
    text = path.read_text(encoding="utf-8")
    assert text.count("drop  0:01.0  setup") == 1
    put = {
        "purpose": "drop  0:01.0  caution",
        "keep": "keep  0:01.0  setup",
        "nothing": "drop  0:01.0  setup",
    }
    path.write_text(text.replace("drop  0:01.0  setup", put[changed]), encoding="utf-8")

    names, keeps = changed == "purpose", changed == "keep"
    assert judged("form", "points at a picture") == ("caution" if names else "form", keeps)
    # Here it says as the person did.
    assert judged("caution") == ("caution", True)
    assert judged("form", "points at a picture") == ("caution" if names else "form", keeps)
    # Without a record nobody knows, and all is a person's.
    (folder / ".decisions.json").write_bytes(b"[")
    assert judged("easier") == ("caution" if names else "form", keeps)


def test_a_proposal_for_what_is_found_no_more_is_not_kept(tmp_path: Path, found: Analysis) -> None:
    """A person's is, at the end of the file."""
    cues = [replace(found.cues[0], text="Chest up."), replace(found.cues[0], start_s=4.0, text="Heels.")]
    path = write(tmp_path / "decisions.txt", decisions_text(cues, [True, True], []))
    write(tmp_path / ".decisions.json", record_text(cues, [True, True], []))

    assert decide([], read_decisions(path)) == ([], [])
    write(path, path.read_text(encoding="utf-8").replace("keep  0:04.0", "drop  0:04.0"))
    assert [row.line for row in decide([], read_decisions(path))[1]] == ["drop  0:04.0  form     | Heels."]


@pytest.mark.parametrize(
    "damage", ["", "[", '{"lines": [1]}', '{"lines": [{"at_ms": 1e999}]}', '{"lines": 7}']
)
def test_a_damaged_record_makes_all_decisions_a_persons(tmp_path: Path, damage: str) -> None:
    path = write(tmp_path / "decisions.txt", "drop 0:01.0 form | Chest up.\n")
    write(tmp_path / ".decisions.json", damage)

    assert [(row.keeps, row.names) for row in read_decisions(path)] == [(True, True)]


def test_a_recording_in_a_clips_place_stays(tmp_path: Path, found: Analysis, recording: Path) -> None:
    """Neither the recording that is cut nor somebody's own file is replaced by a clip or by a plan."""
    adapt_recording(recording, tmp_path / "new")
    (name,) = (path.name for path in (tmp_path / "new" / "clips").iterdir())
    (tmp_path / "again" / "clips").mkdir(parents=True)
    theirs = tmp_path / "again" / "clips" / name
    for content, source in ((b"theirs", recording), (recording.read_bytes(), theirs)):
        theirs.write_bytes(content)
        for force in (False, source is theirs):
            with pytest.raises(UsageError, match=r"overwritten by the result|not written by cuelane"):
                adapt_recording(source, tmp_path / "again", force=force)
            assert theirs.read_bytes() == content
    assert [path.name for path in (tmp_path / "again").iterdir()] == ["clips"]


def test_a_plan_that_a_person_edited_is_not_written_over(
    tmp_path: Path, found: Analysis, recording: Path
) -> None:
    """Decisions may be edited, and the run goes on; an edited plan is somebody's work, until --force."""
    folder = tmp_path / "new"
    adapt_recording(recording, folder)
    decisions = (folder / "decisions.txt").read_text(encoding="utf-8")
    (folder / "decisions.txt").write_text(decisions.replace("\nkeep ", "\ndrop ", 1), encoding="utf-8")
    assert adapt_recording(recording, folder).kept == (False,)
    assert list((folder / "clips").iterdir()) == []
    edited = (folder / "plan.yaml").read_text(encoding="utf-8") + "# mine\n"
    (folder / "plan.yaml").write_text(edited, encoding="utf-8")
    with pytest.raises(UsageError, match=r"plan\.yaml: .* changed since cuelane wrote it"):
        adapt_recording(recording, folder)
    assert (folder / "plan.yaml").read_text(encoding="utf-8") == edited
    adapt_recording(recording, folder, force=True)
    assert "# mine" not in (folder / "plan.yaml").read_text(encoding="utf-8")


def test_another_language_is_analysed_anew(tmp_path: Path, found: Analysis, recording: Path) -> None:
    """Words are understood by their language, so what was found in one is not used for another."""
    folder = tmp_path / "new"
    adapt_recording(recording, folder)

    assert adapt_recording(recording, folder).reused is True
    assert adapt_recording(recording, folder, AdaptOptions(language="en-GB")).reused is False
    assert adapt_recording(recording, folder, AdaptOptions(language="en-GB", timing="exact")).reused is True
    with pytest.raises(UsageError, match="there are none for 'tlh' yet; there are: en"):
        adapt_recording(recording, tmp_path / "other", AdaptOptions(language="tlh"))
    assert not (tmp_path / "other").exists()


def test_a_plan_that_stacks_a_changed_one_is_listened_for_anew(
    tmp_path: Path, found: Analysis, recording: Path
) -> None:
    """What was found by the old times of an included plan was taken for what the new ones give."""
    warm = write(tmp_path / "warm.yaml", "title: W\nsession:\n  - rest: 10s\n")
    part = "{block: A, pattern: circuit, work: 10s, rest: 5s, rounds: 3, exercises: [row]}"
    plan = write(
        tmp_path / "plan.yaml",
        f"title: P\nsession:\n  - include: warm.yaml\n  - {part}\nexercises:\n  row: {{}}\n",
    )
    options = AdaptOptions(plan=plan)
    adapt_recording(recording, tmp_path / "new", options)
    assert adapt_recording(recording, tmp_path / "new", options).reused is True
    write(warm, "title: W\nsession:\n  - rest: 20s\n")
    assert adapt_recording(recording, tmp_path / "new", options).reused is False


@pytest.mark.parametrize("moment", ["analyse", "cut_clip"])
def test_a_decision_made_while_it_works_counts(
    tmp_path: Path, found: Analysis, recording: Path, moment: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A class is listened to for minutes; what was edited in the decisions meanwhile was written over."""
    folder = tmp_path / "new"
    adapt_recording(recording, folder)
    decisions = folder / "decisions.txt"
    work, edits = getattr(adapting, moment), ["\nkeep "]

    def edited_meanwhile(*given: object, **named: object) -> object:
        done = work(*given, **named)
        text = decisions.read_text(encoding="utf-8")
        if edits:
            decisions.write_text(text.replace(edits.pop(), "\ndrop "), encoding="utf-8")
        return done

    monkeypatch.setattr(adapting, moment, edited_meanwhile)
    assert adapt_recording(recording, folder, AdaptOptions(beep_at_s=3.0)).kept == (False,)
    assert "\ndrop " in decisions.read_text(encoding="utf-8")
    assert list((folder / "clips").iterdir()) == []
