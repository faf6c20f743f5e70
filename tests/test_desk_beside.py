"""What lies beside a plan, its voice and its recordings: a change outside the desk is seen at once."""

from __future__ import annotations

import gc
import json
import weakref
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuelane.audio.store import ClipStore
from cuelane.desk import workspace as workspace_module
from cuelane.desk.lines import Speaking
from cuelane.desk.workspace import Workspace, Workspaces
from cuelane.speech.speak import clip_from_file, speak_all
from cuelane.speech.spoken_before import SpokenBefore

PLAN = "title: T\nvoice: mine\ncautions: none\nsession:\n  - {say: Sit tall., lasts: 20s}\n  - rest: 30s\n"
INDEX = {"clips": [{"text": "Sit tall.", "file": "a.wav"}]}


def record(path: Path, seconds: float) -> None:
    sound = 0.1 * np.random.default_rng(7).standard_normal(round(seconds * 48_000))
    soundfile.write(path, sound, 48_000)


@pytest.fixture
def voices(tmp_path: Path) -> Path:
    folder = tmp_path / "voices"
    folder.mkdir()
    return folder


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    return Workspaces(tmp_path, ClipStore(tmp_path / "store")).open("p.yaml")


def length_s(workspace: Workspace) -> float:
    """Return how long the line is planned to take."""
    schedule = workspace.now()[1].schedule
    assert schedule is not None
    (cue,) = (cue for cue in schedule.cues if cue.text == "Sit tall.")
    return (cue.end_sample - cue.onset_sample) / schedule.sample_rate


def stands(workspace: Workspace) -> bool:
    """Tell whether there is a schedule, and no finding that the voice is wrong."""
    return workspace.now()[1].schedule is not None


def test_a_recording_replaced_under_its_name_counts_at_once(voices: Path, workspace: Workspace) -> None:
    """And one that was missing and comes; the length is that of the file (noise has no quiet ends)."""
    (voices / "mine").mkdir()
    (voices / "mine" / "index.json").write_text(json.dumps(INDEX), encoding="utf-8")
    guessed_s = length_s(workspace)
    record(voices / "mine" / "a.wav", 4.0)
    assert guessed_s != length_s(workspace) == pytest.approx(4.0, abs=0.1)
    record(voices / "mine" / "a.wav", 6.0)
    assert length_s(workspace) == pytest.approx(6.0, abs=0.1)
    (voices / "mine" / "a.wav").unlink()
    assert length_s(workspace) == guessed_s


@pytest.mark.parametrize("file", ["mine.toml", "mine/voice.toml", "mine/index.json"])
def test_a_voice_that_appears_or_is_mended_counts_at_once(
    voices: Path, workspace: Workspace, file: str
) -> None:
    """Wherever a voice may stand beside a plan."""
    path = voices / file
    path.parent.mkdir(exist_ok=True)
    right, wrong = ("{}", "{") if path.suffix == ".json" else ('engine = "system"\n', "engine =\n")
    right = json.dumps(INDEX) if path.suffix == ".json" else right
    assert not stands(workspace)
    path.write_text(right, encoding="utf-8")
    assert stands(workspace)
    path.write_text(wrong, encoding="utf-8")
    assert not stands(workspace)
    path.write_text(right, encoding="utf-8")
    assert stands(workspace)
    path.unlink()
    assert not stands(workspace)


def test_a_voice_that_stands_in_counts_too(voices: Path, workspace: Workspace) -> None:
    """Recordings alone say nothing of other lines; the voice that speaks those comes later."""
    (voices / "mine").mkdir()
    (voices / "mine.toml").write_text(
        'engine = "recorded"\nindex = "mine/index.json"\nfallback = "other"\n', encoding="utf-8"
    )
    (voices / "mine" / "index.json").write_text(json.dumps(INDEX), encoding="utf-8")
    assert not stands(workspace)
    (voices / "other.toml").write_text('engine = "system"\n', encoding="utf-8")
    assert stands(workspace)


def test_a_voice_put_in_place_of_the_one_that_stands_in_counts_at_once(
    voices: Path, workspace: Workspace
) -> None:
    """Beside the plan, under the name of one of the program's own: it is found before that."""
    (voices / "mine").mkdir()
    (voices / "mine" / "index.json").write_text(json.dumps(INDEX), encoding="utf-8")
    planned = workspace.now()[1]
    assert planned.stands
    (voices / "natural.toml").write_text('engine = "system"\npace = 0.6\n', encoding="utf-8")
    assert not planned.stands


def test_a_line_s_own_recording_replaced_counts_at_once(tmp_path: Path) -> None:
    """Also that of a plan which is included; it is heard as it is."""
    line = "session:\n  - {say: {text: Sit tall., clip: a.wav}, lasts: 20s}\n"
    (tmp_path / "one.yaml").write_text(f"title: One\n{line}", encoding="utf-8")
    text = "title: T\nvoice: system\ncautions: none\nsession:\n  - include: one.yaml\n  - rest: 30s\n"
    (tmp_path / "p.yaml").write_text(text, encoding="utf-8")
    record(tmp_path / "a.wav", 2.0)
    spaces = Workspaces(tmp_path, ClipStore(tmp_path / "store"))
    spaces.speech.set_result(Speaking(speak_all, clip_from_file, SpokenBefore))
    workspace = spaces.open("p.yaml")
    workspace.spoken()
    assert length_s(workspace) == pytest.approx(2.0, abs=0.1)
    record(tmp_path / "a.wav", 3.0)
    workspace.spoken()
    assert length_s(workspace) == pytest.approx(3.0, abs=0.1)


def test_only_the_plans_asked_for_last_are_kept(tmp_path: Path) -> None:
    """The shelf asks for every plan of a season; one that is asked for in between stays the same."""
    for n in range(workspace_module._MOST_OPEN + 2):
        (tmp_path / f"{n}.yaml").write_text(PLAN, encoding="utf-8")
    spaces = Workspaces(tmp_path, ClipStore(tmp_path / "store"))
    first, worked_on = weakref.ref(spaces.open("0.yaml")), spaces.open("1.yaml")
    for n in range(2, workspace_module._MOST_OPEN + 2):
        spaces.open(f"{n}.yaml").now()
        assert spaces.open("1.yaml") is worked_on
    gc.collect()
    assert first() is None
    assert len(spaces.at_hand()) == workspace_module._MOST_OPEN - 1
