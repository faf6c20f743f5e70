"""Schedule files that somebody else wrote or damaged: a message, never a traceback."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.base import schedule_limits
from cuelane.base.errors import AudioFileError
from cuelane.base.schedule import from_json, load_schedule, to_json
from cuelane.plan import limits as plan_limits
from cuelane.plan.parts import Pips
from cuelane.session.placing import MAX_OFFERS

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
        ({"title": None}, "title must be text, got nothing"),
        ({"events": {}}, "events must be a list of objects, got {}"),
        ({"events": [3]}, "events[0]: must be an object, got 3"),
        (
            {"dropped": [{"role": "form", "text": "x", "interval": 0}]},
            "dropped[0]: reason must be text, got nothing",
        ),
        (
            {"intervals": [{"kind": "set"}]},
            "intervals[0]: kind must be one of work, rest, change, talk, in, hold, out, got 'set'",
        ),
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


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '"n_frames": 96000',
            '"n_frames": 1000000000000000000',
            "which is 25 hours, got 1000000",
        ),
        ('"n_frames": 96000', f'"n_frames": 1{"0" * 400}', "is larger than a whole number may be"),
        ('"text": "Go."', '"text": "\\ud800"', "holds half of a character (a lone surrogate)"),
        ('"text": "Go."', '"text": "a\\u0000b"', "events[0]: text holds a control character (U+0000)"),
        ('"text": "Go."', f'"text": "{"x" * 10_001}"', "has 10001 characters; at most 10000 are read"),
        ('"text": "Go."', '"words": [["Go.", 100, Infinity]]', "Infinity is not a number that JSON has"),
        ('"text": "Go."', '"words": [["Go.", 100, 1e999]]', "1e999 is larger than a number may be"),
        ('"text": "Go."', '"words": [["Go.", 100, 1e300]]', "words must be [word, onset, end] rows"),
        ('"text": "Go."', '"words": [["Go.", 100, 96001]]', "words must be [word, onset, end] rows"),
        ('"text": "Go."', '"words": 3', "words must be a list of at most 2000 rows"),
        ('"start_sample": 0', '"start_sample": 96001', "needs start_sample <= end_sample <= 96000"),
        ('{"x": 1}', '{"x": -1e999}', "-1e999 is larger than a number may be"),
        ('{"x": 1}', "[" * 100_000, "not a schedule"),
    ],
)
def test_what_no_session_has_is_refused(old: str, new: str, message: str) -> None:
    """Numbers and texts that would stop, or take for ever, whatever is done with the schedule."""
    text = json.dumps(GOOD)
    assert old in text
    with pytest.raises(AudioFileError) as caught:
        from_json(text.replace(old, new), "x.json")
    assert message in str(caught.value)
    assert len(str(caught.value)) < 300


def test_a_plan_in_place_of_a_schedule_is_refused_in_words() -> None:
    """Where schedules lie is said, and nothing of what a reader of JSON expected."""
    with pytest.raises(AudioFileError) as caught:
        from_json("title: Legs\n", "legs.yaml")
    assert str(caught.value) == (
        "legs.yaml: not a schedule: it is not JSON; a track's schedule lies beside it, as NAME.schedule.json"
    )


def test_time_with_a_schedule_is_bounded() -> None:
    """An event of hours, or events that sound all at once, would take memory and time out of proportion."""
    event = GOOD["events"][0]
    hour = GOOD | {"n_frames": 3600 * 48_000}
    long = [event | {"end_sample": 601 * 48_000}]
    with pytest.raises(AudioFileError, match=r"events\[0\]: lasts longer than 600 s"):
        from_json(json.dumps(hour | {"events": long}))
    crowd = [event | {"end_sample": 600 * 48_000}] * 13
    with pytest.raises(AudioFileError, match="together last longer than twice the session"):
        from_json(json.dumps(hour | {"events": crowd}))
    from_json(json.dumps(hour | {"events": crowd[:12]}))
    with pytest.raises(AudioFileError, match="dropped: has 200001 entries; at most 200000 are read"):
        from_json(json.dumps(GOOD | {"dropped": [{}] * 200_001}))


def test_the_longest_plan_comes_to_less_than_is_read() -> None:
    """As many intervals as a plan may have, each with ten short pips, a long one and all its cues."""
    count = next(one.le for one in Pips.model_fields["count"].metadata if hasattr(one, "le"))
    assert count == 10
    assert plan_limits.MAX_INTERVALS <= schedule_limits.MAX_INTERVALS
    assert plan_limits.MAX_INTERVALS * (count + 1 + MAX_OFFERS) <= schedule_limits.MAX_EVENTS
    assert plan_limits.MAX_LENGTH_MS <= 1000 * schedule_limits.MAX_LENGTH_S


def test_only_an_ordinary_file_of_bounded_size_is_read(tmp_path: Path) -> None:
    """A file of holes, a folder and a pipe without a writer are named; a byte order mark is read."""
    holes = tmp_path / "holes.json"
    with holes.open("wb") as file:
        file.truncate(50_000_000)
    marked = tmp_path / "marked.json"
    marked.write_text("\ufeff" + json.dumps(GOOD), encoding="utf-8")

    with pytest.raises(AudioFileError, match="is larger than 48 MB"):
        load_schedule(holes)
    with pytest.raises(AudioFileError, match="is a folder"):
        load_schedule(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.json")
        with pytest.raises(AudioFileError, match="is not an ordinary file"):
            load_schedule(tmp_path / "pipe.json")
    assert load_schedule(marked).title == "T"
