"""A line of an exercise that has a recording: it stands as written, and its recording is what is played."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuelane.base.errors import PlanError, UsageError
from cuelane.batch.records import inputs_of
from cuelane.plan.load import load_plan
from cuelane.render.run import RenderOptions, render
from planning import arranged

ROLES = (
    "announce",
    "preview",
    "setup",
    "remind",
    "form",
    "easier",
    "harder",
    "caution",
    "change",
    "praise",
    "say",
)


def text_of(role: str) -> str:
    """Return a role's line; its words do not tell the role."""
    return f"Words of kind {ROLES.index(role)} are here."


def plan(*, clips: bool) -> dict[str, Any]:
    """Return a plan with a line for every role, recorded or not."""
    lines = {role: {"text": text_of(role)} | ({"clip": f"{role}.wav"} if clips else {}) for role in ROLES}
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "rounds": 4}
    return {
        "session": [block | {"exercises": ["squat", "row"], "praise": [lines["praise"]]}],
        "exercises": {"squat": lines, "row": lines},
    }


@pytest.mark.parametrize("role", ROLES)
def test_a_recorded_line_stands_as_written(role: str) -> None:
    """Nothing is put before, behind or around it, and wherever it is said its recording is named."""
    offered = [one for one in arranged(plan(clips=True)).offered if text_of(role)[1:] in one.text]

    assert offered
    assert {one.text for one in offered} == {text_of(role)}
    assert {one.clip for one in offered} == {f"{role}.wav"}


@pytest.mark.parametrize(
    ("texts", "clips", "is_named"),
    [
        (["Stand behind your chair."], True, True),
        (["Heels next, behind your chair."], True, False),
        (["Stand behind your chair.", "The raises are slow."], True, False),
        (["Raise yourself by the chair."], True, True),
        # The program puts the name before what it speaks itself.
        (["Stand behind your chair."], False, False),
    ],
)
def test_a_recorded_preview_without_a_name_is_said_after_it(
    texts: list[str], clips: bool, is_named: bool
) -> None:
    """ "Now stand behind your chair": who only listens has to be told what comes."""
    rows = [{"text": text} | ({"clip": f"{n}.wav"} if clips else {}) for n, text in enumerate(texts)]
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "rounds": 1}
    cues = arranged(
        {
            "session": [block | {"exercises": ["squat", "heel raises"]}],
            "exercises": {"squat": {}, "heel raises": {"preview": rows}},
        }
    ).schedule.cues
    before = [cue.text or "" for cue in cues]

    preview = next(n for n, text in enumerate(before) if texts[0] in text)
    assert ("Next: heel raises." in before) is is_named
    assert not is_named or before.index("Next: heel raises.") < preview
    assert sum("heel raises" in text.lower() for text in before[:preview]) == int(is_named)


@pytest.mark.parametrize(("clips", "is_told"), [(True, False), (False, True)])
def test_a_side_that_a_recorded_preview_names_is_not_told_again(clips: bool, is_told: bool) -> None:
    """ "Split squats, left foot first", and then "the left side goes first"."""
    row = {"text": "Split squats, left foot first."} | ({"clip": "left.wav"} if clips else {})
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "rounds": 1}
    cues = arranged(
        {
            "session": [block | {"exercises": ["squat", "split squats"]}],
            "exercises": {"squat": {}, "split squats": {"preview": [row], "sides": "each"}},
        }
    ).schedule.cues

    assert any("left side" in (cue.text or "") for cue in cues if cue.role == "side") is is_told


@pytest.mark.parametrize("role", ["preview", "easier", "harder"])
def test_a_line_without_one_is_still_led_in(role: str) -> None:
    """What the program speaks itself says what it is: what comes next, or a choice."""
    offered = [one for one in arranged(plan(clips=False)).offered if text_of(role)[1:] in one.text]

    assert all(one.clip is None for one in offered)
    assert any(one.text != text_of(role) for one in offered)


def test_recordings_of_lines_are_played_and_are_inputs(tmp_path: Path) -> None:
    """From plan to track: the recording sounds, beside what the voice says; a batch knows that it counts."""
    tone = 0.2 * np.sin(2 * np.pi * 300 * np.arange(48_000) / 48_000)
    soundfile.write(tmp_path / "form.wav", tone, 48_000)
    path = tmp_path / "plan.yaml"
    text = "title: T\ncautions: none\nsession:\n"
    text += "  - {block: B, pattern: circuit, work: 30s, rest: 10s, rounds: 2, exercises: [squat]}\n"
    text += "exercises:\n  squat: {form: {text: Chest up., clip: form.wav}}\n"
    path.write_text(text, encoding="utf-8")

    assert tmp_path / "form.wav" in inputs_of(load_plan(path))
    schedule = render(path, tmp_path / "track.wav", RenderOptions(extras=False)).prepared.schedule
    played = [event for event in schedule.events if event.text == "Chest up."]
    assert played
    # Levelled and trimmed as any clip is, it lasts as long as the recording.
    assert all(abs(event.end_sample - event.onset_sample - 48_000) < 500 for event in played)

    # It is read, so that no track may take its place, whatever is asked for.
    recorded = (tmp_path / "form.wav").read_bytes()
    with pytest.raises(UsageError, match=r"form\.wav: would be overwritten by the result"):
        render(path, tmp_path / "form.wav", RenderOptions(extras=False), force=True)
    assert (tmp_path / "form.wav").read_bytes() == recorded


INDEX = """\
[[clips]]
text = "Chest up."
file = "up.wav"
[[clips]]
text = "Heels down."
file = "../../down.wav"
"""


@pytest.mark.parametrize("out", ["voices/me/up.wav", "voices/other/up.wav", "down.wav", "link.wav"])
def test_no_track_takes_the_place_of_a_voices_recording(
    tmp_path: Path, out: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the folder of the plan's voice or of another beside the plan, or wherever the index names it."""
    tone = 0.2 * np.sin(2 * np.pi * 300 * np.arange(48_000) / 48_000)
    for name in ("me", "other"):
        (tmp_path / "voices" / name).mkdir(parents=True)
    for name in ("voices/me/up.wav", "voices/other/up.wav", "down.wav"):
        soundfile.write(tmp_path / name, tone, 48_000)
    (tmp_path / "link.wav").symlink_to("voices/me/up.wav")
    (tmp_path / "voices/me/index.toml").write_text(INDEX, encoding="utf-8")
    (tmp_path / "voices/mine.toml").write_text(
        'engine = "recorded"\nindex = "me/index.toml"\n', encoding="utf-8"
    )
    text = "title: T\nvoice: mine\ncautions: none\nsession:\n"
    text += "  - {block: B, pattern: circuit, work: 20s, exercises: [squat]}\n"
    text += "exercises:\n  squat: {form: [Chest up., Heels down.]}\n"
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    if out != "down.wav":
        # Told before anything is spoken.
        monkeypatch.setattr("cuelane.render.run.prepare", lambda *_, **__: pytest.fail("it was spoken"))
    with pytest.raises(UsageError, match=r"(up|down)\.wav: would be overwritten by the result"):
        render(tmp_path / "plan.yaml", tmp_path / out, RenderOptions(extras=False), force=True)
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_a_recording_that_is_not_there_is_named(tmp_path: Path) -> None:
    """A file that is missing or lies elsewhere is an error of the plan, with its place."""
    path = tmp_path / "plan.yaml"
    head = "title: T\nsession: [{block: B, pattern: circuit, work: 30s, exercises: [squat]}]\n"
    for clip, said in (
        ("none.wav", "there is no file 'none.wav'"),
        ("../x.wav", "lies outside the plan's folder"),
    ):
        path.write_text(
            f"{head}exercises:\n  squat:\n    form: {{text: Chest up., clip: {clip}}}\n", encoding="utf-8"
        )
        with pytest.raises(PlanError, match=f"plan.yaml:5:.*clip: .*{said}"):
            load_plan(path)
