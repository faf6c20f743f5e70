"""Schedule files that somebody else wrote or damaged: a message, never a traceback."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.base.errors import AudioFileError
from cuelane.base.schedule import from_json, load_schedule, to_json

GOOD: dict[str, Any] = {
    "schema": "cuelane.schedule/1",
    "title": "T",
    "language": "en",
    "sample_rate": 48_000,
    "n_frames": 96_000,
    "intervals": [
        {"index": 0, "block": "B", "kind": "work", "round": 1, "exercise": "a", "side": None,
         "start_sample": 0, "end_sample": 96_000, "settle_samples": 24_000}
    ],
    "events": [
        {"id": "e0001", "kind": "cue", "role": "form", "text": "Go.", "interval": 0, "onset_sample": 100,
         "end_sample": 4_000, "clip": "sha256:00"},
        {"id": "e0002", "kind": "pip", "role": "short", "frequency_hz": 880.0, "interval": 0,
         "onset_sample": 48_000, "end_sample": 52_800},
    ],
    "dropped": [{"role": "form", "text": "No.", "interval": 0, "reason": "no room"}],
    "a_key_of_tomorrow": {"x": 1},
}  # fmt: skip


def test_a_good_file_reads_and_writes_back() -> None:
    """Reading and writing again keeps every value, unknown keys too."""
    schedule = from_json(json.dumps(GOOD))
    assert json.loads(to_json(schedule)) == GOOD
    assert schedule.extra["a_key_of_tomorrow"] == {"x": 1}
    assert [event.id for event in schedule.cues] == ["e0001"]
    assert [event.id for event in schedule.pips] == ["e0002"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"schema": "other/1"}, "expected a schedule of schema 'cuelane.schedule/1', found 'other/1'"),
        ({"sample_rate": 1}, "sample_rate must be between 8000 and 192000 Hz, got 1"),
        ({"sample_rate": "48k"}, "sample_rate must be a whole number of at least 0, got '48k'"),
        ({"n_frames": -1}, "n_frames must be a whole number of at least 0, got -1"),
        ({"n_frames": True}, "n_frames must be a whole number of at least 0, got True"),
        ({"title": 3}, "title must be text, got 3"),
        ({"events": {}}, "events must be a list of objects"),
        ({"events": [3]}, "events must be a list of objects"),
        ({"n_frames": 3_000}, "events[0]: needs onset_sample < end_sample <= 3000, got 100 and 4000"),
    ],
)
def test_each_fault_is_named(change: dict[str, Any], message: str) -> None:
    """A wrong value is named with its place and what came."""
    with pytest.raises(AudioFileError) as caught:
        from_json(json.dumps(GOOD | change), "x.schedule.json")
    assert str(caught.value) == f"x.schedule.json: {message}"


@given(cut=st.integers(0, 700), byte=st.integers(0, 255))
def test_damage_gives_a_message(cut: int, byte: int) -> None:
    """A cut or changed file either reads or raises AudioFileError, nothing else."""
    text = json.dumps(GOOD)
    for damaged in (text[:cut], text[:cut] + chr(byte) + text[cut + 1 :]):
        assert reads_or_says(damaged)


def reads_or_says(text: str) -> bool:
    """Return whether the text reads, or is refused with a message that names the file."""
    try:
        from_json(text)
    except AudioFileError as error:
        return str(error).startswith("schedule: ")
    return True


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """The path is in the message."""
    with pytest.raises(AudioFileError, match=r"nothing\.json: cannot read this schedule"):
        load_schedule(tmp_path / "nothing.json")
