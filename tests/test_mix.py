"""Mixing: exact places, exact silence, exact levels, and onsets that survive every format."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import soundkit
from cuelane import media
from cuelane.base.errors import SignalError
from cuelane.base.schedule import Event, Schedule
from cuelane.meter import Meter
from cuelane.render import mix

RATE = soundkit.RATE


def _whole(schedule: Schedule, clips: dict, gain_db: float = 0.0, block_frames: int = 65_536) -> np.ndarray:
    return np.concatenate(
        list(mix.blocks(schedule, clips.__getitem__, gain_db=gain_db, block_frames=block_frames))
    )


@pytest.fixture(scope="module")
def short() -> tuple[Schedule, dict]:
    return soundkit.session(60.0)


def test_every_event_lies_on_its_samples_and_silence_is_zero(short: tuple[Schedule, dict]) -> None:
    """The mix equals a plain sum at the scheduled samples, and is exactly zero everywhere else."""
    schedule, clips = short
    sound = _whole(schedule, clips)
    outside = np.ones(schedule.n_frames, dtype=bool)
    for event in schedule.events:
        outside[event.onset_sample : event.end_sample] = False

    assert sound.shape == (schedule.n_frames, 1)
    assert sound.dtype == np.float32
    assert not sound[outside].any()
    for event in schedule.cues:
        assert np.array_equal(sound[event.onset_sample : event.end_sample, 0], clips[event.clip])
    for event in schedule.pips:
        assert sound[event.onset_sample, 0] != 0
        assert sound[event.end_sample - 1, 0] != 0


@given(block_frames=st.integers(1, 40_000), seed=st.integers(0, 1_000))
@settings(max_examples=25, derandomize=True, deadline=None)
def test_any_block_size_gives_the_same_samples(block_frames: int, seed: int) -> None:
    """Blocks of any size join to the same samples, overlapping events included."""
    rng = np.random.default_rng(seed)
    clips = {f"c{i}": rng.normal(0, 0.1, int(rng.integers(1, 3_000))).astype(np.float32) for i in range(6)}
    events = []
    for name, clip in clips.items():
        onset = int(rng.integers(0, 20_000 - len(clip)))
        events.append(Event(name, "cue", "form", 0, onset, onset + len(clip), clip=name))
    schedule = Schedule("t", "en", 8_000, 20_000, (), tuple(events))

    sizes = [len(b) for b in mix.blocks(schedule, clips.__getitem__, gain_db=-3.0, block_frames=block_frames)]

    assert np.array_equal(_whole(schedule, clips, -3.0, block_frames), _whole(schedule, clips, -3.0, 20_000))
    assert set(sizes[:-1]) <= {block_frames}
    assert sum(sizes) == 20_000


def test_overlaps_add() -> None:
    """Two events over each other sum, whatever the order in which they are listed."""
    one, two = np.full(100, 0.25, np.float32), np.full(100, 0.125, np.float32)
    events = (
        Event("b", "cue", "form", 0, 50, 150, clip="two"),
        Event("a", "cue", "form", 0, 0, 100, clip="one"),
    )
    sound = _whole(Schedule("t", "en", 8_000, 200, (), events), {"one": one, "two": two})[:, 0]

    assert list(sound[[0, 49, 50, 99, 100, 149, 150]]) == [0.25, 0.25, 0.375, 0.375, 0.125, 0.125, 0.0]


@pytest.mark.parametrize("rate", [48_000, 44_100, 22_050, 11_025, 16_000])
def test_planned_levels_are_what_meters_read(rate: int) -> None:
    """The level planned without rendering is what our meter and pyloudnorm read on the rendered session.

    pyloudnorm reads 0.042 LU low at 48 kHz (its filter is not the standard's table; computed), and counts
    blocks a sample off at rates that 10 does not divide.
    """
    schedule, clips = soundkit.session(40.0, rate)
    levels = mix.plan_levels(schedule, clips.__getitem__, target_lufs=-18.0, headroom_db=1.0)

    sound = _whole(schedule, clips, levels.gain_db)
    meter = Meter(rate, 1)
    meter.push(sound)

    assert levels.integrated_lufs == pytest.approx(-18.0, abs=1e-9)
    assert not levels.limited_by_peak
    assert meter.integrated_lufs == pytest.approx(levels.integrated_lufs, abs=1e-3)
    assert meter.true_peak_dbtp == pytest.approx(levels.true_peak_dbtp, abs=1e-3)
    assert pyloudnorm.Meter(rate).integrated_loudness(sound[:, 0]) == pytest.approx(-18.0, abs=0.15)


@pytest.mark.parametrize("apart_ms", [-40, 0, 60, 199, 201, 350])
def test_levels_of_sounds_close_together_are_what_a_meter_reads(apart_ms: int) -> None:
    """Sounds over each other, and nearer than the filter takes to come to rest, are one stretch."""
    rng = np.random.default_rng(7)
    rate, length = 16_000, 3_200
    clips = {
        name: rng.normal(0, level, length).astype(np.float32) for name, level in (("a", 0.1), ("b", 0.04))
    }
    onsets = [800 + k * (length + apart_ms * rate // 1000) for k in range(40)]
    events = tuple(
        Event(f"e{k:02}", "cue", "form", 0, onset, onset + length, clip="ab"[k % 3 % 2])
        for k, onset in enumerate(onsets)
    )
    # The last one ends with the session: no silence is left for the filter.
    schedule = Schedule("t", "en", rate, events[-1].end_sample, (), events)
    levels = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)

    meter = Meter(rate, 1)
    meter.push(_whole(schedule, clips, levels.gain_db))

    assert meter.integrated_lufs == pytest.approx(levels.integrated_lufs, abs=1e-3)
    assert meter.true_peak_dbtp == pytest.approx(levels.true_peak_dbtp, abs=1e-3)


def test_the_default_target_is_met_under_the_ceiling(short: tuple[Schedule, dict]) -> None:
    """Clips of -20 LUFS peaking at -7 dBTP land on -16 LUFS with a decibel to spare under -1 dBTP."""
    schedule, clips = short
    levels = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)

    assert levels.integrated_lufs == pytest.approx(-16.0, abs=1e-9)
    assert levels.true_peak_dbtp <= -2.0


def test_the_ceiling_wins_and_says_so(short: tuple[Schedule, dict]) -> None:
    """Where target and ceiling conflict the peak is on the ceiling and the loudness below target."""
    schedule, clips = short
    levels = mix.plan_levels(
        schedule, clips.__getitem__, target_lufs=-8.0, ceiling_dbtp=-1.0, headroom_db=0.5
    )

    assert levels.limited_by_peak
    assert levels.true_peak_dbtp == pytest.approx(-1.5, abs=1e-9)
    assert levels.integrated_lufs < -8.0


def test_a_session_without_sound_has_a_level(short: tuple[Schedule, dict]) -> None:
    """No events: gain 0, silence, no error."""
    levels = mix.plan_levels(replace(short[0], events=()), {}.__getitem__, headroom_db=1.0)

    assert levels == mix.Levels(0.0, -np.inf, -np.inf, limited_by_peak=False)
    assert not _whole(replace(short[0], events=()), {}).any()


def test_wrong_events_are_faults() -> None:
    """Events past the end, of another length than their clip, without clip or pitch, are faults."""
    clip = np.ones(10, np.float32)
    cases = {
        "outside a session": Event("e", "cue", "form", 0, 95, 105, clip="c"),
        r"clip has shape \(10,\)": Event("e", "cue", "form", 0, 0, 11, clip="c"),
        "names no clip": Event("e", "cue", "form", 0, 0, 10),
        "has no frequency": Event("e", "pip", "short", 0, 0, 10),
    }
    for message, event in cases.items():
        with pytest.raises(SignalError, match=message):
            _whole(Schedule("t", "en", 8_000, 100, (), (event,)), {"c": clip})


def test_memory_does_not_grow_with_the_session() -> None:
    """Sixteen times the session takes at most 1.2 times the memory."""

    def peak(seconds: float) -> int:
        schedule, clips = soundkit.session(seconds, 16_000, every_s=30.0)
        tracemalloc.start()
        try:
            before = tracemalloc.get_traced_memory()[0]
            for _ in mix.blocks(schedule, clips.__getitem__, gain_db=0.0):
                pass
            return tracemalloc.get_traced_memory()[1] - before
        finally:
            tracemalloc.stop()

    peak(60)
    assert peak(3_600) < 1.2 * peak(225)


def test_clips_used_again_are_not_loaded_again(short: tuple[Schedule, dict]) -> None:
    """A session loads each of its few clips once, however often they are heard."""
    schedule, clips = short
    loaded: list[str] = []

    def load(sha256: str) -> np.ndarray:
        loaded.append(sha256)
        return clips[sha256]

    list(mix.blocks(schedule, load, gain_db=0.0))

    assert sorted(loaded) == sorted(clips)
    assert len(schedule.cues) > len(clips)


@pytest.fixture(scope="module", params=["wav", "flac", "m4a", "mp3", "opus"])
def delivered(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, Path, Schedule, dict, mix.Levels]:
    schedule, clips = soundkit.session(60.0)
    levels = mix.plan_levels(schedule, clips.__getitem__, headroom_db=1.0)
    path = tmp_path_factory.mktemp("delivered") / f"session.{request.param}"
    media.encode(
        path,
        mix.blocks(schedule, clips.__getitem__, gain_db=levels.gain_db),
        sample_rate=RATE,
        n_frames=schedule.n_frames,
    )
    return request.param, path, schedule, clips, levels


def _decoded(path: Path) -> np.ndarray:
    return np.concatenate(list(media.decode(path)))[:, 0]


def test_onsets_in_the_file_meet_the_schedule(
    delivered: tuple[str, Path, Schedule, dict, mix.Levels],
) -> None:
    """By matched filter: pips 0 samples off in wav and flac, within 1 ms in the rest; cues within 1 ms."""
    suffix, path, schedule, clips, _ = delivered
    sound = _decoded(path)
    lossless = suffix in ("wav", "flac")

    assert len(sound) == schedule.n_frames
    for event in schedule.pips:
        template = soundkit.own_pip(event.frequency_hz, event.end_sample - event.onset_sample, RATE)
        # Half a period either way at most: whole periods are told apart by the envelope below.
        found = soundkit.measured_onset(sound, template, event.onset_sample, RATE // 50)
        assert abs(found - event.onset_sample) <= (0 if lossless else 48), event
    for event in schedule.cues:
        found = soundkit.measured_onset(sound, clips[event.clip], event.onset_sample, RATE // 50)
        assert abs(found - event.onset_sample) <= (0 if lossless else 48), event
    if lossless:
        for event in schedule.events:
            assert sound[event.onset_sample] != 0
            assert not sound[event.onset_sample - RATE // 10 : event.onset_sample].any()


def test_the_delivered_level_is_the_planned_one(
    delivered: tuple[str, Path, Schedule, dict, mix.Levels],
) -> None:
    """Decoded, every format is within 0.1 LU of -16 LUFS and at most -1 dBTP."""
    _, path, _, _, levels = delivered
    meter = Meter(RATE, 1)
    meter.push(_decoded(path)[:, np.newaxis])

    assert levels.integrated_lufs == pytest.approx(-16.0, abs=1e-9)
    assert meter.integrated_lufs == pytest.approx(-16.0, abs=0.1)
    assert meter.true_peak_dbtp <= -1.0


@pytest.mark.parametrize("delivered", ["wav", "mp3"], indirect=True)
def test_librosa_hears_the_pips_too(delivered: tuple[str, Path, Schedule, dict, mix.Levels]) -> None:
    """librosa's onset detection, which knows no template, has an onset within 50 ms of each pip.

    The window is that of onset evaluation (mir_eval's default, read in its source).
    """
    import librosa

    _, path, schedule, _, _ = delivered
    sound = _decoded(path)
    found = librosa.onset.onset_detect(y=sound, sr=RATE, hop_length=256, units="samples")

    for event in schedule.pips:
        assert np.abs(found - event.onset_sample).min() <= RATE // 20, event
