"""Two schedules or tracks side by side: each change that is made by hand is found, and nothing else."""

from __future__ import annotations

import json
import random
from collections import Counter
from dataclasses import replace
from difflib import unified_diff
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.schedule import Event, Schedule, to_json
from cuelane.cli.app import run
from cuelane.compare.pair import compare
from cuelane.compare.pairs import MOST_ALIGNED, paired
from cuelane.compare.schedules import changes
from pagesession import RATE, Sketch

CUES = (
    (1.0, 1.2, "announce", "Step-up."),
    (5.0, 2.0, "form", "Push through the whole foot."),
    (15.0, 1.5, "time", "Halfway."),
)


def session(*, rest_s: float = 20.0, n_sets: int = 4) -> Schedule:
    """Return sets of 30 s with three cues each, rests between."""
    sketch = Sketch("Slipway")
    for number in range(1, n_sets + 1):
        sketch.interval("work", 30, block="Main", cues=CUES, exercise="step-up", number=number)
        if number < n_sets:
            sketch.interval("rest", rest_s, block="Main", number=number)
    events = tuple(replace(one, clip=f"sha256:{one.text}") if one.text else one for one in sketch.events)
    return Schedule("Slipway", "en", RATE, sketch.now + RATE, tuple(sketch.intervals), events)


def with_event(schedule: Schedule, number: int, **what: object) -> Schedule:
    """Return the schedule with one cue replaced, counted among the cues."""
    cue = schedule.cues[number]
    events = tuple(replace(one, **what) if one is cue else one for one in schedule.events)  # type: ignore[arg-type]
    return replace(schedule, events=events)


def test_a_session_is_the_same_as_itself() -> None:
    """Nothing differs, and nothing is counted."""
    found = changes(session(), session())
    assert found.same
    assert found.differences == ()
    assert found.counts == Counter()


def test_a_longer_rest_is_one_difference_and_moves_nothing_else() -> None:
    """Cues are held against their own interval: all that follows comes later, and that is said once."""
    longer = replace(session(), title="Slipway")
    other = Sketch("Slipway")
    for number in range(1, 5):
        other.interval("work", 30, block="Main", cues=CUES, exercise="step-up", number=number)
        if number < 4:
            other.interval("rest", 25 if number == 2 else 20, block="Main", number=number)
    events = tuple(replace(one, clip=f"sha256:{one.text}") if one.text else one for one in other.events)
    found = changes(longer, Schedule("Slipway", "en", RATE, other.now + RATE, tuple(other.intervals), events))
    assert [(one.what, one.kind, one.by_ms) for one in found.differences] == [("interval", "changed", 5_000)]
    assert found.after.length_ms - found.before.length_ms == 5_000


@given(
    st.integers(0, 11),
    st.sampled_from(["moved", "reworded", "respoken", "removed", "added"]),
    st.integers(1, 1_500),
)
def test_each_change_made_by_hand_is_found_and_nothing_else(number: int, kind: str, by_ms: int) -> None:
    """One cue is changed in one way: exactly that difference comes out, at its place."""
    was = session()
    cue = was.cues[number]
    later = by_ms * RATE // 1_000
    if kind == "moved":
        now = with_event(
            was, number, onset_sample=cue.onset_sample + later, end_sample=cue.end_sample + later
        )
    elif kind == "reworded":
        now = with_event(was, number, text=f"{cue.text} Slowly.")
    elif kind == "respoken":
        now = with_event(was, number, clip="sha256:other", end_sample=cue.end_sample + later)
    elif kind == "removed":
        now = replace(was, events=tuple(one for one in was.events if one is not cue))
    else:
        now, was = was, replace(was, events=tuple(one for one in was.events if one is not cue))
    found = changes(was, now)
    assert [(one.what, one.kind, one.role) for one in found.differences] == [("cue", kind, cue.role)]
    only = found.differences[0]
    assert only.by_ms == (by_ms if kind in ("moved", "respoken") else None)
    start_ms = round(cue.onset_sample * 1_000 / RATE)
    assert only.before_ms == (None if kind == "added" else start_ms)
    assert only.after_ms == (None if kind == "removed" else start_ms + (by_ms if kind == "moved" else 0))
    assert not found.same


def test_pips_that_moved_are_told_by_their_interval() -> None:
    """A pip that stands elsewhere before its boundary is a change of the countdown."""
    was = session()
    pip = was.pips[0]
    events = tuple(
        replace(one, onset_sample=one.onset_sample - 480) if one is pip else one for one in was.events
    )
    found = changes(was, replace(was, events=events))
    assert [(one.what, one.kind, one.before_ms) for one in found.differences] == [("pips", "changed", 0)]


def test_sets_that_came_or_went_are_named_once() -> None:
    """A fifth set with its rest is two new intervals; what is said in them is not listed again."""
    found = changes(session(n_sets=4), session(n_sets=5))
    assert found.counts == Counter({("interval", "added"): 2})
    assert {one.now.split(",")[0] for one in found.differences} == {"work", "rest"}


def test_what_belongs_to_the_whole_session_is_told() -> None:
    """Another title, another voice."""
    was = replace(session(), extra={"voice": {"name": "natural"}})
    now = replace(was, title="Slipway short", extra={"voice": {"name": "alder"}})
    assert changes(was, now).heads == (("title", "Slipway", "Slipway short"), ("voice", "natural", "alder"))


@given(st.lists(st.integers(0, 4), max_size=12), st.lists(st.integers(0, 4), max_size=12))
def test_pairing_keeps_the_order_and_loses_nothing(before: list[int], after: list[int]) -> None:
    """Both lists come out whole and in order; equal lines agree in number with Python's own unified diff."""
    rows = list(paired(before, after, lambda one: one))
    assert [old for old, _ in rows if old is not None] == before
    assert [new for _, new in rows if new is not None] == after
    told = list(unified_diff([str(one) for one in before], [str(one) for one in after], lineterm="", n=99))
    if told:
        assert sum(old == new for old, new in rows) >= sum(line.startswith(" ") for line in told)
    else:
        assert before == after


def test_long_lists_are_paired_place_by_place() -> None:
    """Beyond the length that difflib is asked for; there, the first of two equal lists may be one longer."""
    long = [random.Random(number).randrange(2) for number in range(MOST_ALIGNED + 1)]
    rows = list(paired(long, long[:-1], lambda one: one))
    assert rows[-1] == (long[-1], None)
    assert all(old == new for old, new in rows[:-1])


def track(folder: Path, name: str, gain: float = 1.0, seconds: float = 4.0) -> Path:
    """Write a track of noise, and a schedule beside it."""
    noise = np.random.default_rng(7).uniform(-0.2, 0.2, round(seconds * RATE))
    path = folder / name
    soundfile.write(path, (noise * gain).astype(np.float32), RATE, subtype="FLOAT")
    path.with_suffix(".schedule.json").write_text(to_json(session()), encoding="utf-8")
    return path


def test_the_sound_of_two_tracks_is_compared(tmp_path: Path) -> None:
    """The difference of a track and its half is the half: its peak is known."""
    one, half = track(tmp_path, "one.wav"), track(tmp_path, "half.wav", 0.5)
    same = compare(one, one)
    assert same.same
    assert same.sound is not None
    assert same.sound.residual_dbfs == -np.inf
    found = compare(one, half).sound
    assert found is not None
    samples, _ = soundfile.read(one, dtype="float32")
    halves, _ = soundfile.read(half, dtype="float32")
    greatest = float(np.abs(samples - halves).max())
    assert found.residual_dbfs == pytest.approx(20 * np.log10(greatest), abs=1e-6)
    assert found.before.integrated_lufs - found.after.integrated_lufs == pytest.approx(6.02, abs=0.01)
    assert not compare(one, half).same
    assert compare(one, track(tmp_path, "short.wav", seconds=3.5)).sound.residual_dbfs is None  # type: ignore[union-attr]


def test_the_sound_of_other_channels_and_rates_is_compared_or_refused(tmp_path: Path) -> None:
    """Four channels, for which loudness has no weights, are compared all; a rate without a filter is told."""
    path = track(tmp_path, "four.wav")
    noise, _ = soundfile.read(path, dtype="float32")
    soundfile.write(path, np.repeat(noise[:, np.newaxis], 4, axis=1), RATE, subtype="FLOAT")
    found = compare(path, path).sound
    assert found is not None
    assert (found.before.n_channels, found.residual_dbfs) == (4, -np.inf)
    alone = compare(track(tmp_path, "one.wav"), path).sound
    assert alone is not None
    assert alone.before.integrated_lufs == pytest.approx(alone.after.integrated_lufs, abs=1e-6)

    soundfile.write(path, noise, 4_000, subtype="FLOAT")
    with pytest.raises(AudioFileError, match=r"four\.wav: has a sample rate of 4000 Hz"):
        compare(path, path)


def test_a_track_without_its_schedule_is_refused(tmp_path: Path) -> None:
    """The message says which file is missing."""
    one = track(tmp_path, "one.wav")
    one.with_suffix(".schedule.json").unlink()
    with pytest.raises(UsageError, match=r"there is no one\.schedule\.json beside it"):
        compare(one, one)
    plan = tmp_path / "one.yaml"
    plan.write_text("title: Legs\n", encoding="utf-8")
    with pytest.raises(UsageError, match=r"one\.yaml: is a plan; name the tracks"):
        compare(plan, one)
    with pytest.raises(UsageError, match="there is no such file"):
        compare(tmp_path / "no.wav", one)
    with pytest.raises(UsageError, match="is no file"):
        compare(tmp_path, one)


def test_the_command_ends_with_one_if_anything_differs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 where both are the same; the differences in words, or as JSON that holds no infinity."""
    was = tmp_path / "was.schedule.json"
    now = tmp_path / "now.schedule.json"
    was.write_text(to_json(session()), encoding="utf-8")
    now.write_text(to_json(with_event(session(), 1, text="Push through.")), encoding="utf-8")
    assert run(["compare", str(was), str(was)]) == 0
    assert "The two sessions are the same" in capsys.readouterr().out
    assert run(["compare", str(was), str(now)]) == 1
    out = capsys.readouterr().out
    assert "   0:05    0:05  form other words: “Push through the whole foot.” → “Push through.”" in out
    assert run(["compare", str(was), str(now), "--json"]) == 1
    told = json.loads(capsys.readouterr().out, parse_constant=lambda name: pytest.fail(name))
    assert told["counts"] == {"cue reworded": 1}
    assert told["differences"][0]["role"] == "form"


def test_events_of_no_interval_are_not_lost() -> None:
    """A schedule from elsewhere may hold an event outside all intervals: it still counts."""
    was = session()
    stray = Event("x", "cue", "say", 999, 10, 20, text="Hm.", clip="sha256:x")
    found = changes(was, replace(was, events=(*was.events, stray)))
    assert [(one.kind, one.now) for one in found.differences] == [("added", "Hm.")]
