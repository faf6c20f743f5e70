"""How exactly onsets are measured, on tracks that share nothing with the renderer.

The limits are the project's own. For what others allow, see the docstring of :mod:`cuelane.check`.
"""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import resample_poly

import synth
from cuelane.base.schedule import Schedule, from_json
from cuelane.check.check_options import CheckOptions
from cuelane.check.report import Report
from cuelane.check.run import check
from cuelane.check.speech.second_opinion import FreeHearing
from cuelane.media import encode, ffmpeg


@pytest.fixture(scope="module")
def track() -> synth.Track:
    return synth.session(75, seed=3, edge_ms=5, harmonic=0.2)


@pytest.fixture(scope="module")
def schedule(track: synth.Track) -> Schedule:
    return from_json(track.schedule())


def errors_ms(report: Report, track: synth.Track, rate: float = 1.0, lead_s: float = 0.0) -> np.ndarray:
    """Return measured minus true onset of every event; never minus a fitted constant."""
    assert [event.id for event in report.events] == [item.id for item in track.placed]
    found = [event.measured_s for event in report.events]
    assert None not in found
    true = [lead_s + rate * item.onset / track.rate for item in track.placed]
    return (np.array(found, dtype=float) - true) * 1000


def in_place(report: Report) -> list[str]:
    return [fault.message for fault in report.faults]


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_lossless_onsets_are_exact(
    tmp_path: Path, track: synth.Track, schedule: Schedule, suffix: str
) -> None:
    """In a lossless file every onset is measured within 0.05 ms, and nothing is wrong."""
    audio = synth.write(tmp_path / f"a{suffix}", track.samples())

    report = check(audio, schedule, store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 0.05
    assert report.notes == ()


@pytest.mark.parametrize(("suffix", "kbps"), [(".mp3", 64), (".m4a", 64), (".opus", 32)])
def test_lossy_onsets_are_within_0_4_ms(
    tmp_path: Path, track: synth.Track, schedule: Schedule, suffix: str, kbps: int
) -> None:
    """After mp3 64k, AAC 64k and opus 32k every onset is measured within 0.4 ms, and nothing is wrong."""
    audio = tmp_path / f"a{suffix}"
    encode(audio, [track.samples()[:, np.newaxis]], sample_rate=track.rate, bitrate_kbps=kbps)

    report = check(audio, schedule, store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 0.4
    assert report.notes == ()


def test_music_6_db_louder_moves_no_onset_by_2_5_ms(
    tmp_path: Path, track: synth.Track, schedule: Schedule
) -> None:
    """Under music 6 dB louder than speech all is found within 2.5 ms, and nothing is invented."""
    audio = synth.write(tmp_path / "a.wav", synth.with_music(track.samples(), 6.0))

    report = check(audio, schedule, store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 2.5
    assert any("music or noise between the cues" in note for note in report.notes)


def test_a_room_with_music_moves_no_onset_by_3_ms(
    tmp_path: Path, track: synth.Track, schedule: Schedule
) -> None:
    """Through a band-limited reverberant room, music at equal level, all is found within 3 ms."""
    audio = synth.write(tmp_path / "a.wav", synth.through_room(synth.with_music(track.samples(), 0.0)))

    report = check(audio, schedule, store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 3.0


def test_skew_is_read_within_2_ppm_over_five_minutes(tmp_path: Path) -> None:
    """Five minutes on a clock 150 ppm slow, with a lead and music as loud as speech: skew within 2 ppm."""
    track = synth.session(300, seed=4)
    bed = np.tile(synth.music(30 * track.rate), 10)
    sound = np.concatenate([np.zeros(150_000, np.float32), track.samples() + bed])
    audio = synth.write(tmp_path / "a.wav", synth.skewed(0.5 * sound, 20_003, 20_000))

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert abs(report.summary.skew_ppm - 150) <= 2.0
    assert [fault.kind for fault in report.faults] == ["speed", "offset"]
    assert np.abs(errors_ms(report, track, 1.00015, 3.125 * 1.00015)).max() <= 2.5


@pytest.mark.parametrize(("up", "down", "words"), [(24, 25, "4.2 % too fast"), (26, 25, "3.8 % too slow")])
def test_a_change_of_speed_is_told_and_undone(
    tmp_path: Path, track: synth.Track, schedule: Schedule, up: int, down: int, words: str
) -> None:
    """A file 4 % too fast or slow is one fault of speed, and its events are still measured exactly."""
    audio = synth.write(tmp_path / "a.wav", synth.skewed(track.samples(), up, down))

    report = check(audio, schedule, store=track.store())

    assert [fault.kind for fault in report.faults] == ["speed"]
    assert words in report.faults[0].message
    assert np.abs(errors_ms(report, track, up / down)).max() <= 0.2


def test_without_templates_a_clean_file_is_still_measured(
    tmp_path: Path, schedule: Schedule, track: synth.Track
) -> None:
    """Without clips all pips are found within 3 ms and 95 of 100 cues within 20 ms."""
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, schedule)
    away = np.abs(errors_ms(report, track))
    pips = np.array([item.kind == "pip" for item in track.placed])

    assert in_place(report) == []
    assert away[pips].max() <= 3.0
    assert np.mean(away[~pips] <= 20.0) >= 0.95
    assert {event.template for event in report.events} == {"tone", "none"}


@pytest.mark.parametrize(("speed", "way"), [(1.04, "4.0 % too fast"), (0.95, "5.0 % too slow")])
def test_a_speed_control_that_keeps_the_pitch_is_one_fault(
    tmp_path: Path, schedule: Schedule, track: synth.Track, speed: float, way: str
) -> None:
    """Each pip was called early and of another pitch, by the clock: 880 Hz was "855 Hz instead of 880 Hz"."""
    audio, out = synth.write(tmp_path / "a.wav", track.samples()), tmp_path / "b.wav"
    stretch = ["-i", f"file:{audio}", "-af", f"atempo={speed}", f"file:{out}"]
    subprocess.run([*ffmpeg.quiet(), *stretch], check=True, stdin=subprocess.DEVNULL)

    report = check(out, schedule, store=track.store())

    told = [fault for fault in report.faults if fault.event is None or "pip" in fault.message]
    assert [fault.message for fault in told] == [
        f"It plays {way}, with its pitch kept, as a player's speed control does it."
    ]


def test_a_soft_pip_is_told_at_a_speed_that_keeps_the_pitch(
    tmp_path: Path, schedule: Schedule, track: synth.Track
) -> None:
    """The speed explains where a pip is, not how loud; and that no cue was compared with its clip is said."""
    sound = track.samples().copy()
    pip = next(event for event in schedule.events if event.kind == "pip")
    sound[pip.onset_sample : pip.end_sample] *= 0.25
    audio, out = synth.write(tmp_path / "a.wav", sound), tmp_path / "b.wav"
    stretch = ["-i", f"file:{audio}", "-af", "atempo=1.04", f"file:{out}"]
    subprocess.run([*ffmpeg.quiet(), *stretch], check=True, stdin=subprocess.DEVNULL)

    report = check(out, schedule, store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [("speed", None), ("level", pip.id)]
    assert any(note.startswith("The cues were timed by their onsets alone") for note in report.notes)


def telephone(sound: synth.Wave, rate: int) -> synth.Wave:
    """Return a sound as a telephone gives it, at 8 kHz or brought back to 48 kHz."""
    narrow = resample_poly(sound, 1, 6)
    return np.asarray(narrow if rate == 8_000 else resample_poly(narrow, 6, 1), np.float32)


@pytest.mark.parametrize("rate", [8_000, 48_000])
@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_telephones_band_cuts_nothing_short(tmp_path: Path, seed: int, rate: int) -> None:
    """Each hiss is above it, and was called a gap, or a lost beginning or end."""
    track = synth.session(75, seed=seed)
    audio = synth.write(tmp_path / "a.wav", telephone(track.samples(), rate), rate)

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 0.4
    # What cannot be told in it is said.
    assert [note.split(":")[0] for note in report.notes] == [
        "Nothing above a telephone's band, some 3.4 kHz, is in the file"
    ]


@pytest.mark.parametrize("rate", [8_000, 48_000])
def test_what_is_cut_out_is_found_in_a_telephones_band(
    tmp_path: Path, schedule: Schedule, track: synth.Track, rate: int
) -> None:
    """A fifth of a second gone from within a cue is told, and nothing else."""
    cue = max(schedule.cues, key=lambda cue: cue.end_sample - cue.onset_sample)
    sound = track.samples().copy()
    first = cue.onset_sample + 24_000
    sound[first : first + 9_600] = 0
    audio = synth.write(tmp_path / "a.wav", telephone(sound, rate), rate)

    report = check(audio, schedule, store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [("cut short", cue.id)]


def test_a_session_of_one_event_has_a_verdict_in_good_english(
    tmp_path: Path, schedule: Schedule, track: synth.Track
) -> None:
    """One is not "all 1 events"."""
    cue = schedule.cues[0]
    sound = np.zeros_like(track.samples())
    sound[cue.onset_sample : cue.end_sample] = track.samples()[cue.onset_sample : cue.end_sample]
    audio = synth.write(tmp_path / "a.wav", sound)

    report = check(audio, replace(schedule, events=(cue,)), store=track.store())

    assert report.verdict == "Good: the one event is in place."


def test_without_templates_nothing_is_claimed_under_music(
    tmp_path: Path, schedule: Schedule, track: synth.Track
) -> None:
    """Without clips and under music the cues are said to be unmeasured: neither found nor missing."""
    audio = synth.write(tmp_path / "a.wav", synth.with_music(track.samples(), 0.0))

    report = check(audio, schedule)

    cues = [event for event in report.events if event.kind == "cue"]
    assert len(cues) == len(schedule.cues) > 0
    assert all(event.measured_s is None for event in cues)
    assert in_place(report) == []
    assert report.verdict.startswith("Good, but incomplete")
    assert f"{len(cues)} cues could not be measured" in report.notes[0]


def test_what_a_recogniser_does_not_understand_is_named(
    tmp_path: Path, schedule: Schedule, track: synth.Track
) -> None:
    """A count alone sends nobody to the line that is said badly; each is named once, with its times."""
    audio = synth.write(tmp_path / "a.wav", track.samples())
    texts = list(dict.fromkeys(event.text or "" for event in schedule.cues))
    by = FreeHearing("one that is deaf", lambda: lambda samples: "")

    report = check(audio, schedule, CheckOptions(words=True), store=track.store(), hearing=by)

    said = [note for note in report.notes if note.startswith("It did not understand ")]
    assert len(said) == min(6, len(texts))
    assert all(f'"{text[:20]}' in note for text, note in zip(texts, said, strict=False))
    assert all(" at 0:" in note or " at 1:" in note for note in said)
    assert any(note.startswith("Nor did it ") for note in report.notes) == (len(texts) > 6)
    assert report.ok


def test_an_original_serves_as_template(tmp_path: Path, track: synth.Track, schedule: Schedule) -> None:
    """With --against, a re-encoded copy under music is measured by the original's own stretches."""
    original = synth.write(tmp_path / "original.wav", track.samples())
    audio = synth.write(tmp_path / "copy.mp3", synth.with_music(track.samples(), 0.0))

    report = check(audio, schedule, against=original)

    assert in_place(report) == []
    assert report.summary.templates.keys() == {"original", "tone"}
    cues = np.array([item.kind == "cue" for item in track.placed])
    assert np.abs(errors_ms(report, track))[cues].max() <= 0.4


def test_stereo_and_another_rate_are_measured_alike(
    tmp_path: Path, track: synth.Track, schedule: Schedule
) -> None:
    """A stereo file at 44.1 kHz is measured as exactly as a mono one at the schedule's rate."""
    sound = synth.skewed(track.samples(), 147, 160)
    audio = synth.write(tmp_path / "a.flac", np.stack([sound, sound], axis=1), rate=44_100)

    report = check(audio, schedule, store=track.store())

    assert in_place(report) == []
    assert np.abs(errors_ms(report, track)).max() <= 0.05


def test_librosa_and_mir_eval_agree_where_they_can(
    tmp_path: Path, track: synth.Track, schedule: Schedule
) -> None:
    """In the window of onset evaluation librosa hears an onset at each of ours, 2 to 10 ms later by nature.

    Its precision says nothing about us: it hears every syllable, some six onsets for one event.
    """
    import librosa
    import mir_eval

    audio = synth.write(tmp_path / "a.wav", track.samples())
    ours = np.array([e.measured_s for e in check(audio, schedule, store=track.store()).events], dtype=float)
    theirs = librosa.onset.onset_detect(y=track.samples(), sr=track.rate, hop_length=64, units="time")

    recall = mir_eval.onset.f_measure(ours, theirs, window=0.05)[2]
    pairs = mir_eval.util.match_events(ours, theirs, 0.05)
    later_ms = np.array([theirs[j] - ours[i] for i, j in pairs]) * 1000

    assert recall >= 0.98
    assert 2.0 <= np.median(later_ms) <= 10.0
    true = [item.onset / track.rate for item in track.placed]
    assert mir_eval.onset.f_measure(np.array(true), ours, window=0.0005)[0] == 1.0
