"""Faults put in on purpose: each is named, at its event, with its sign; and nothing else is."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import faultkit
import synth
from cuelane.base.schedule import from_json
from cuelane.check.check_options import CheckOptions
from cuelane.check.fault_words import clock
from cuelane.check.run import check

CLEAN = [(".wav", None), (".mp3", None), (".opus", None), (".wav", -10.0), (".wav", 0.0), (".mp3", 6.0)]
SINGLE = [*faultkit.EVENT_FAULTS, *faultkit.FILE_FAULTS]


@pytest.fixture(scope="module")
def sounds() -> dict[str, synth.Wave]:
    return {text: synth.speak(text) for text in synth.CUES}


def told(tmp_path: Path, case: faultkit.Broken, sound: synth.Wave, suffix: str = ".wav") -> list[str]:
    """Return what a check of the case's sound misses or invents."""
    audio = synth.write(tmp_path / f"a{suffix}", sound)
    report = check(audio, from_json(case.track.schedule()), store=case.track.store())
    assert report.ok == (not report.faults)
    rows = [(fault.kind, fault.event, fault.error_ms) for fault in report.faults]
    return faultkit.wrongly_told(rows, case.expected)


@pytest.mark.parametrize("seed", range(6))
def test_a_clean_track_raises_no_alarm(tmp_path: Path, sounds: dict[str, synth.Wave], seed: int) -> None:
    """Nothing is wrong with a clean track, plain, encoded, or under music; more in the campaign."""
    suffix, music_db = CLEAN[seed]
    case = faultkit.broken(synth.session(50, seed=100 + seed, sounds=sounds))
    sound = case.track.samples()
    if music_db is not None:
        sound = synth.with_music(sound, music_db, seed)

    assert told(tmp_path, case, sound, suffix) == []


@pytest.mark.parametrize("fault", SINGLE, ids=lambda fault: fault.__name__)
def test_each_fault_alone_is_named(
    tmp_path: Path, sounds: dict[str, synth.Wave], fault: faultkit.Fault
) -> None:
    """A single fault is named at the right event, with the right sign, and nothing else is."""
    case = faultkit.broken(synth.session(50, seed=7, sounds=sounds))
    fault(case, np.random.default_rng(11))

    assert told(tmp_path, case, faultkit.sound_of(case)) == []


@pytest.mark.parametrize("seed", range(8))
def test_several_faults_at_once_are_all_named(
    tmp_path: Path, sounds: dict[str, synth.Wave], seed: int
) -> None:
    """Three random faults in one track, some of them under music or in mp3, are all named."""
    rng = np.random.default_rng(900 + seed)
    case = faultkit.broken(synth.session(60, seed=200 + seed, sounds=sounds))
    for place in rng.choice(len(faultkit.EVENT_FAULTS), 3, replace=False):
        faultkit.EVENT_FAULTS[place](case, rng)
    sound = faultkit.sound_of(case)
    if seed % 3 == 1:
        sound = synth.with_music(sound, -10.0, seed)

    assert told(tmp_path, case, sound, ".mp3" if seed % 3 == 2 else ".wav") == []


@pytest.mark.parametrize(("kind", "tolerance_ms"), [("pip", 5.0), ("cue", 20.0)])
@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize(("beyond_ms", "caught"), [(0.1, True), (-0.1, False)])
def test_the_tolerance_is_a_sharp_edge(
    tmp_path: Path,
    sounds: dict[str, synth.Wave],
    kind: str,
    tolerance_ms: float,
    sign: int,
    beyond_ms: float,
    caught: bool,
) -> None:
    """A shift 0.1 ms above the tolerance is a fault, one 0.1 ms below it is none."""
    track = synth.session(40, seed=21, sounds=sounds)
    items = [item for item in track.placed if item.kind == kind]
    item = items[len(items) // 2]
    moved = round((tolerance_ms + beyond_ms) * track.rate / 1000) * sign
    spot = track.placed.index(item)
    track.placed[spot] = replace(item, onset=item.onset + moved)
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    wanted = [("late" if sign > 0 else "early", item.id)] if caught else []
    assert [(fault.kind, fault.event) for fault in report.faults] == wanted
    if caught:
        assert report.faults[0].error_ms == pytest.approx(moved / track.rate * 1000, abs=0.05)


def test_sound_between_events_fails_only_when_silence_is_asked_for(
    tmp_path: Path, sounds: dict[str, synth.Wave]
) -> None:
    """Music is noted with its level; with ``silent`` it is a fault, and a clean file passes even then."""
    track = synth.session(40, seed=22, sounds=sounds)
    schedule, store = from_json(track.schedule()), track.store()
    under = synth.write(tmp_path / "under.wav", synth.with_music(track.samples(), -10.0))
    clean = synth.write(tmp_path / "clean.wav", track.samples())

    assert check(under, schedule, store=store).ok
    assert [
        fault.kind for fault in check(under, schedule, CheckOptions(silent=True), store=store).faults
    ] == ["sound"]
    assert check(clean, schedule, CheckOptions(silent=True), store=store).ok


def test_another_session_is_told_as_such(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """A file of other cues and pips is another session: one fault, not one for each event."""
    texts = list(sounds)
    mine = synth.session(50, seed=1, sounds={text: sounds[text] for text in texts[:15]})
    other = synth.session(50, seed=2, work_s=11, rest_s=7, sounds={text: sounds[text] for text in texts[15:]})
    audio = synth.write(tmp_path / "a.wav", other.samples())

    report = check(audio, from_json(mine.schedule()), store=mine.store())

    assert [fault.kind for fault in report.faults] == ["another session"]
    assert not report.summary.fitted


def test_another_voice_is_one_fault_and_still_timed(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """The same words by another voice: told once, and a cue that is late by its onset is told too."""
    track = synth.session(60, seed=3, sounds=sounds)
    spoken = [
        replace(item, sound=synth.speak(item.text or "", "b")) if item.kind == "cue" else item
        for item in track.placed
    ]
    late = next(item for item in spoken if item.kind == "cue" and item.planned > 20 * track.rate)
    track.placed = [
        replace(item, onset=item.onset + track.rate // 8) if item is late else item for item in spoken
    ]
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [
        ("another voice", None), ("late", late.id)
    ]  # fmt: skip
    assert report.faults[1].error_ms == pytest.approx(125, abs=20)
    timed = [row for row in report.events if row.kind == "cue" and row.found and row.id != late.id]
    assert len(timed) >= 8
    assert all(abs(row.error_ms or 0.0) <= 20 for row in timed)


def test_a_track_of_pips_alone_lacks_every_cue(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """Where nothing is said no other voice is claimed: each cue is missing."""
    track = synth.session(50, seed=3, sounds=sounds)
    cues = [item.id for item in track.placed if item.kind == "cue"]
    track.placed = [item for item in track.placed if item.kind == "pip"]
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [("missing", cue) for cue in cues]


def test_words_from_outside_the_session_are_not_called_missing(
    tmp_path: Path, sounds: dict[str, synth.Wave]
) -> None:
    """One cue replaced by words that no clip has: something else is said in its place."""
    track = synth.session(50, seed=3, sounds=sounds)
    spot = [i for i, item in enumerate(track.placed) if item.kind == "cue"][4]
    item = track.placed[spot]
    track.placed[spot] = replace(item, sound=synth.speak("Wholly unplanned words here", "b"))
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [("wrong words", item.id)]
    assert "something else" in report.faults[0].message


@pytest.mark.parametrize(("share", "kind"), [(0.6, "wrong words"), (0.3, "missing")])
def test_a_noise_in_the_place_of_a_cue_is_no_words(
    tmp_path: Path, sounds: dict[str, synth.Wave], share: float, kind: str
) -> None:
    """A sound much shorter than the cue is taken for a noise, so that the cue is missing."""
    track = synth.session(50, seed=3, sounds=sounds)
    spot = [i for i, item in enumerate(track.placed) if item.kind == "cue"][4]
    item = track.placed[spot]
    foreign = np.tile(synth.speak("Wholly unplanned words here", "b"), 3)[: round(share * len(item.sound))]
    track.placed[spot] = replace(item, sound=foreign)
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [(kind, item.id)]


def test_a_cue_spoken_over_by_another_is_one_fault(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """Another cue's clip half a second into the place of one that is gone: wrong words, not two faults."""
    track = synth.session(50, seed=3, sounds=sounds)
    cues = [i for i, item in enumerate(track.placed) if item.kind == "cue"]
    gone, other = track.placed[cues[3]], track.placed[cues[6]]
    track.placed[cues[3]] = replace(gone, sound=other.sound, onset=gone.onset + track.rate // 2)
    audio = synth.write(tmp_path / "a.wav", track.samples())

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [(fault.kind, fault.event) for fault in report.faults] == [("wrong words", gone.id)]
    assert other.text is not None
    assert other.text in report.faults[0].message


def test_a_cut_is_told_by_the_events_on_both_sides(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """A second lost between two events: one jump, and the message names the span in which it lies."""
    track = synth.session(50, seed=3, sounds=sounds)
    placed = sorted(track.placed, key=lambda item: item.onset)
    gaps = [
        (after.onset - before.onset - len(before.sound), i)
        for i, (before, after) in enumerate(itertools.pairwise(placed[4:-8]), 4)
    ]
    gap, i = max(gaps)
    assert gap > track.rate * 1.2
    cut = placed[i].onset + len(placed[i].sound) + track.rate // 10
    sound = track.samples()
    audio = synth.write(tmp_path / "a.wav", np.concatenate([sound[:cut], sound[cut + track.rate :]]))

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [fault.kind for fault in report.faults] == ["jump"]
    first, last = placed[i].onset / track.rate, placed[i + 1].onset / track.rate - 1
    assert f"Between {clock(first)} and {clock(last)} something was cut out" in report.faults[0].message
    assert report.faults[0].error_ms == pytest.approx(-1000, abs=0.1)


def test_another_loudness_than_planned_is_noted(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """A file turned down by 6 dB is in time and passes; that it is softer than it was made is said."""
    track = synth.session(40, seed=22, sounds=sounds)
    audio = synth.write(tmp_path / "a.wav", track.samples())
    schedule, store = from_json(track.schedule()), track.store()
    made = check(audio, schedule, store=store).summary.loudness_lufs
    planned = replace(schedule, extra={"loudness": {"integrated_lufs": made}})
    softer = synth.write(tmp_path / "b.wav", track.samples() * np.float32(0.5))

    assert not check(audio, planned, store=store).notes
    report = check(softer, planned, store=store)
    assert report.ok
    assert any("6.0 LU softer than it was made" in note for note in report.notes)


def test_relative_judges_against_the_start_in_the_file(tmp_path: Path, sounds: dict[str, synth.Wave]) -> None:
    """Leading silence is a fault of the whole file, and with ``relative`` none."""
    track = synth.session(40, seed=23, sounds=sounds)
    sound = np.concatenate([np.zeros(48_000, np.float32), track.samples()])
    audio = synth.write(tmp_path / "a.wav", sound)
    schedule = from_json(track.schedule())

    absolute = check(audio, schedule, store=track.store())
    relative = check(audio, schedule, CheckOptions(relative=True), store=track.store())

    assert [fault.kind for fault in absolute.faults] == ["offset"]
    assert absolute.faults[0].error_ms == pytest.approx(1000.0, abs=0.05)
    assert relative.ok
    assert relative.summary.offset_ms == pytest.approx(1000.0, abs=0.05)


def test_a_track_that_is_mixed_with_itself_is_one_fault(tmp_path: Path) -> None:
    """Each cue was called said twice, with no word of what they have in common."""
    track = synth.session(75, seed=9)
    sound = track.samples()
    late = np.concatenate([np.zeros(48_000 * 70 // 1000, np.float32), sound])[: len(sound)]
    audio = synth.write(tmp_path / "a.wav", sound + np.float32(0.7) * late)
    report = check(audio, from_json(track.schedule()), store=track.store())
    twice = [fault for fault in report.faults if fault.kind == "doubled"]
    assert [fault.message for fault in twice] == [
        "Everything is heard twice, 70.0 ms apart: an echo, or the track was mixed with itself."
    ]
    n_cues = sum(item.kind == "cue" for item in track.placed)
    assert len(twice[0].others) > 0.6 * n_cues


def test_a_track_that_is_mixed_with_itself_in_part_is_not_called_so_in_all(tmp_path: Path) -> None:
    """In the first seven tenths: how many of the cues are heard twice is told."""
    track = synth.session(75, seed=9)
    sound = track.samples()
    late = np.concatenate([np.zeros(48_000 * 70 // 1000, np.float32), sound])[: len(sound)]
    until = len(sound) * 7 // 10
    late[until:] = 0
    audio = synth.write(tmp_path / "a.wav", sound + np.float32(0.7) * late)
    report = check(audio, from_json(track.schedule()), store=track.store())
    (twice,) = (fault for fault in report.faults if fault.kind == "doubled")
    n_cues = sum(item.kind == "cue" for item in track.placed)
    early = sum(item.kind == "cue" and item.onset + len(item.sound) < until for item in track.placed)
    assert early < n_cues
    assert twice.message.startswith(f"{early} of the {n_cues} cues are heard twice, 70.0 ms apart")
