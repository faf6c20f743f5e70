"""The main job, end to end: a plan rendered by the natural voice, measured by code that shares nothing."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile

from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError, ScheduleError, UsageError
from cuelane.base.schedule import Schedule, load_schedule
from cuelane.media import decode, piecework
from cuelane.meter import Meter
from cuelane.render import landing
from cuelane.render.landing import stepped
from cuelane.render.mix import Levels
from cuelane.render.run import Rendered, RenderOptions, prepare, render
from measuring import decode_by_av, decode_by_soundfile, first_sound, speech_span, tone_onset

FORMATS = ("wav", "flac", "m4a", "mp3", "opus")
LOSSLESS = ("wav", "flac")


@pytest.fixture(scope="module")
def rendered(
    store_folder: Path, small_plan: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Rendered]:
    """Return the small session rendered to every format."""
    folder = tmp_path_factory.mktemp("tracks")
    return {
        suffix: render(small_plan, folder / f"small-{suffix}.{suffix}", RenderOptions(extras=suffix == "m4a"))
        for suffix in FORMATS
    }


def track_of(rendered: dict[str, Rendered], suffix: str) -> tuple[np.ndarray, dict[str, Any]]:
    """Return a track's samples, decoded without cuelane, and its schedule as plain JSON."""
    path = rendered[suffix].files[0]
    samples, rate = decode_by_av(path) if suffix == "m4a" else decode_by_soundfile(path)
    assert rate == 48_000
    return samples, json.loads(path.with_suffix(".schedule.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("suffix", FORMATS)
def test_two_decoders_agree_on_length_and_samples(rendered: dict[str, Rendered], suffix: str) -> None:
    """PyAV or libsndfile and the ffmpeg program decode each file to the schedule's length, alike."""
    samples, schedule = track_of(rendered, suffix)
    ours = np.concatenate(list(decode(rendered[suffix].files[0], sample_rate=48_000)))[:, 0]
    assert abs(len(samples) - schedule["n_frames"]) <= 48
    assert abs(len(ours) - schedule["n_frames"]) <= 48
    n_frames = min(len(samples), len(ours))
    # Decoders of one lossy file differ by rounding only: at most -60 dB of full scale.
    assert np.abs(samples[:n_frames] - ours[:n_frames]).max() < 1e-3


@pytest.mark.parametrize("suffix", FORMATS)
def test_pips_are_where_the_schedule_says(rendered: dict[str, Rendered], suffix: str) -> None:
    """By a matched filter of the tone, pips are within 1 ms in every format."""
    samples, schedule = track_of(rendered, suffix)
    pips = [event for event in schedule["events"] if event["kind"] == "pip"]
    assert len(pips) >= 12
    for pip in pips:
        assert abs(tone_onset(samples, 48_000, pip) - pip["onset_sample"]) <= 48, pip["id"]


@pytest.mark.parametrize("suffix", LOSSLESS)
def test_lossless_pips_begin_on_their_very_sample(rendered: dict[str, Rendered], suffix: str) -> None:
    """In WAV and FLAC a pip's first sample that is not zero is its onset, its last is before its end."""
    samples, schedule = track_of(rendered, suffix)
    for pip in (event for event in schedule["events"] if event["kind"] == "pip"):
        onset, end = pip["onset_sample"], pip["end_sample"]
        assert first_sound(samples, onset - 4_800, end) == onset
        assert samples[end - 1] != 0
        assert not samples[end : end + 4_800].any()


@pytest.mark.parametrize("suffix", FORMATS)
def test_cues_are_where_the_schedule_says(rendered: dict[str, Rendered], suffix: str) -> None:
    """By the onset rule applied to the file, cues start within 5 ms of their onset in every format."""
    samples, schedule = track_of(rendered, suffix)
    cues = [event for event in schedule["events"] if event["kind"] == "cue"]
    assert len(cues) >= 12
    for cue in cues:
        onset, end = speech_span(samples, 48_000, cue["onset_sample"] - 4_800, cue["end_sample"] + 4_800)
        assert abs(onset - cue["onset_sample"]) <= 240, (cue["text"], onset - cue["onset_sample"])
        assert abs(end - cue["end_sample"]) <= 480, (cue["text"], end - cue["end_sample"])


@pytest.mark.parametrize("suffix", LOSSLESS)
def test_between_events_there_is_digital_silence(rendered: dict[str, Rendered], suffix: str) -> None:
    """Every sample outside every event is exactly zero."""
    samples, schedule = track_of(rendered, suffix)
    open_time = np.ones(len(samples), dtype=bool)
    for event in schedule["events"]:
        open_time[event["onset_sample"] : event["end_sample"]] = False
    assert open_time.any()
    assert not samples[open_time].any()


def test_librosa_hears_the_pips_where_they_are(rendered: dict[str, Rendered]) -> None:
    """librosa's onset detection, a separate implementation, has an onset within 30 ms of every pip.

    Its own bias is of that order: with hop 256 at 48 kHz it reads up to a few hops late.
    """
    import librosa

    samples, schedule = track_of(rendered, "flac")
    onsets = librosa.onset.onset_detect(
        y=samples.astype(np.float32), sr=48_000, hop_length=256, units="samples", delta=0.02
    )
    for pip in (event for event in schedule["events"] if event["kind"] == "pip"):
        nearest = np.min(np.abs(onsets - pip["onset_sample"]))
        assert nearest <= 0.030 * 48_000, pip["id"]


@pytest.mark.parametrize("suffix", FORMATS)
def test_loudness_and_peak_are_on_target(rendered: dict[str, Rendered], suffix: str) -> None:
    """By pyloudnorm and by the program's meter a file is at -16 LUFS, its true peak at most -1 dBTP.

    pyloudnorm reads 0.04 LU low at 1 kHz and counts a part-filled last block; lossy coding moves a little.
    """
    samples, _ = track_of(rendered, suffix)
    meter = Meter(48_000, 1)
    meter.push(samples[:, None].astype(np.float32))
    assert pyloudnorm.Meter(48_000).integrated_loudness(samples) == pytest.approx(-16.0, abs=0.3)
    assert meter.integrated_lufs == pytest.approx(-16.0, abs=0.2)
    assert meter.true_peak_dbtp <= -1.0


def test_what_goes_beside_a_track_is_there(rendered: dict[str, Rendered]) -> None:
    """Page, captions, chapters, description, table and schedule lie beside the audio, and nothing else."""
    files = rendered["m4a"].files
    endings = {path.name.removeprefix("small-m4a") for path in files}
    assert endings == {".m4a", ".schedule.json", ".html", ".vtt", ".chapters.json", ".cues.csv", ".md"}
    assert all(path.stat().st_size > 100 for path in files)
    folder = files[0].parent
    assert not [path for path in folder.iterdir() if "partial" in path.name or "previous" in path.name]
    assert {path.name for path in rendered["wav"].files} == {"small-wav.wav", "small-wav.schedule.json"}


def test_the_same_plan_gives_the_same_track(
    rendered: dict[str, Rendered], small_plan: Path, tmp_path: Path
) -> None:
    """A second render, with another empty store, has the same samples and the same schedule."""
    again = render(
        small_plan, tmp_path / "again.flac", RenderOptions(extras=False), store=ClipStore(tmp_path / "store")
    )
    first = rendered["flac"]
    assert again.prepared.schedule == first.prepared.schedule
    one, _ = soundfile.read(first.files[0])
    two, _ = soundfile.read(again.files[0])
    assert np.array_equal(one, two)


def test_other_voices_keep_the_boundaries(rendered: dict[str, Rendered], small_plan: Path) -> None:
    """The system's voice speaks the same plan with the same intervals and the same pips."""
    natural = rendered["wav"].prepared.schedule
    system = prepare(small_plan, voice="system").schedule
    assert system.intervals == natural.intervals
    spots = [[(pip.onset_sample, pip.end_sample, pip.role) for pip in s.pips] for s in (natural, system)]
    assert spots[0] == spots[1]
    assert {cue.clip for cue in system.cues}.isdisjoint({cue.clip for cue in natural.cues})


def test_a_recorded_voice_keeps_the_boundaries_and_says_what_fell_back(
    rendered: dict[str, Rendered], small_plan: Path, tmp_path: Path
) -> None:
    """A folder of two recordings speaks those two lines; the rest is the natural voice's, by name."""
    rng = np.random.default_rng(5)
    folder = tmp_path / "voices" / "mine"
    folder.mkdir(parents=True)
    plan = tmp_path / "small.yaml"
    plan.write_text(small_plan.read_text(encoding="utf-8"), encoding="utf-8")
    rows = []
    for number, text in enumerate(("Get ready.", "Keep your ribs down.")):
        noise = rng.standard_normal(30_000) * np.hanning(30_000) * 0.2
        soundfile.write(folder / f"{number}.wav", noise, 48_000)
        rows.append(f'[[clips]]\ntext = "{text}"\nfile = "{number}.wav"\n')
    (folder / "index.toml").write_text("".join(rows), encoding="utf-8")
    prepared = prepare(plan, voice="mine")
    natural = rendered["wav"].prepared.schedule
    assert prepared.schedule.intervals == natural.intervals
    voices = {cue.text: cue.voice for cue in prepared.schedule.cues}
    assert voices["Get ready."] == "mine"
    assert voices["That was it."] == "natural"
    assert "That was it." in prepared.voiced.fallbacks
    assert "Get ready." not in prepared.voiced.fallbacks


BAD = {
    "not YAML": "title: [",
    "unknown key": "title: T\nsesion: []\n",
    "no such voice": "title: T\nvoice: nobody\nsession: [{rest: 10s}]\n",
}


@pytest.mark.parametrize("text", BAD.values(), ids=BAD.keys())
def test_a_bad_plan_touches_nothing(text: str, tmp_path: Path, store_folder: Path) -> None:
    """An output that was there before is still there, to the byte, and no other file appears."""
    plan, out = tmp_path / "bad.yaml", tmp_path / "out.m4a"
    plan.write_text(text, encoding="utf-8")
    out.write_bytes(b"precious")
    with pytest.raises((PlanError, UsageError)):
        render(plan, out)
    assert out.read_bytes() == b"precious"
    assert {path.name for path in tmp_path.iterdir()} == {"bad.yaml", "out.m4a"}


def test_words_that_do_not_fit_stop_the_render(tmp_path: Path, store_folder: Path) -> None:
    """A must-cue longer than its interval's share raises ScheduleError with place, seconds and remedies."""
    plan, out = tmp_path / "long.yaml", tmp_path / "out.wav"
    plan.write_text(
        "title: T\ncautions: none\nsession:\n  - {block: B, pattern: circuit, work: 10s, exercises: [a]}\n"
        "exercises:\n  a:\n    setup: " + "Stand tall and breathe slowly. " * 5 + "\n",
        encoding="utf-8",
    )
    with pytest.raises(
        ScheduleError, match=r"the cues that must be spoken need \d+\.\d s more than there is"
    ):
        render(plan, out)
    assert not out.exists()


def test_the_schedule_beside_the_track_is_the_rendered_one(rendered: dict[str, Rendered]) -> None:
    """Reading it back gives the same intervals and events; its level is what was measured."""
    done = rendered["mp3"]
    read = load_schedule(done.files[1])
    assert read.intervals == done.prepared.schedule.intervals
    assert read.events == done.prepared.schedule.events
    # Gains go in steps of 0.1 dB, and what is written is rounded to hundredths.
    assert math.isclose(read.extra["loudness"]["integrated_lufs"], -16.0, abs_tol=0.06)


@pytest.mark.parametrize("suffix", ["m4a", "mp3"])
def test_a_second_render_encodes_no_piece_again(
    suffix: str,
    rendered: dict[str, Rendered],
    small_plan: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same bytes from kept pieces, from pieces made again because they were damaged, and from none."""
    encoded = []
    right = piecework._encoded
    monkeypatch.setattr(piecework, "_encoded", lambda *given: encoded.append(1) or right(*given))
    out = tmp_path / rendered[suffix].files[0].name

    def again() -> int:
        before = len(encoded)
        render(small_plan, out, RenderOptions(extras=False), force=True)
        assert out.read_bytes() == rendered[suffix].files[0].read_bytes()
        return len(encoded) - before

    # Once for this test alone: the other format's has damaged what both share.
    again()
    assert again() == 0
    kept = list(ClipStore().folder.glob("pieces/??/*"))
    assert kept
    for path in kept:
        path.write_bytes(path.read_bytes()[:-1] + b"?")
    assert again() > 0
    assert again() == 0


def test_gains_go_in_tenths_and_never_over_the_ceiling() -> None:
    """The nearest step, or the one below where the nearest would lift a peak over what is allowed."""
    near = stepped(Levels(3.27, -16.0, -4.0, limited_by_peak=False), -2.0)
    assert near == Levels(3.3, pytest.approx(-15.97), pytest.approx(-3.97), limited_by_peak=False)
    low = stepped(Levels(3.27, -16.5, -2.0, limited_by_peak=True), -2.0)
    assert low == Levels(3.2, pytest.approx(-16.57), pytest.approx(-2.07), limited_by_peak=True)


@pytest.mark.parametrize(("gain_db", "lufs", "quieter"), [(3.98, -16.02, False), (3.93, -16.07, True)])
def test_only_what_a_meter_shows_is_called_quieter(
    monkeypatch: pytest.MonkeyPatch, gain_db: float, lufs: float, quieter: bool
) -> None:
    """A ceiling that costs 0.02 dB is lost in the step of 0.1; one that costs a step is told."""
    found = Levels(gain_db, lufs, -1.5, limited_by_peak=True)
    monkeypatch.setattr(landing.mix, "plan_levels", lambda *_, **__: found)
    schedule = Schedule("t", "en", 48_000, 0, (), ())
    levels, _ = landing.landed(schedule, lambda _: np.zeros(0, np.float32), -16.0, 0.48)
    assert levels.limited_by_peak is quieter
    assert (levels.integrated_lufs < -16.05) is quieter


def test_a_voice_for_music_is_clearer_at_the_same_loudness(
    rendered: dict[str, Rendered], small_plan: Path, tmp_path: Path
) -> None:
    """Shaping moves no event, gains intelligibility by the index it was chosen by, and keeps the level."""
    done = render(small_plan, tmp_path / "clear.wav", RenderOptions(extras=False, for_music=True))
    plain = rendered["wav"].prepared.schedule
    schedule = done.prepared.schedule
    spots = [[(event.onset_sample, event.end_sample) for event in s.events] for s in (plain, schedule)]
    assert spots[0] == spots[1]
    shape = schedule.extra["shape"]
    assert shape["mean_sii"][shape["name"]] >= shape["mean_sii"]["off"] + 0.02
    assert {cue.clip for cue in schedule.cues}.isdisjoint({cue.clip for cue in plain.cues})
    samples, _ = decode_by_soundfile(tmp_path / "clear.wav")
    assert pyloudnorm.Meter(48_000).integrated_loudness(samples) == pytest.approx(-16.0, abs=0.3)


def test_no_event_is_louder_than_its_kind_by_2_lu(rendered: dict[str, Rendered]) -> None:
    """A file never surprises: cues of half a second and more lie within 2 LU, short pips within 2 dB."""
    samples, schedule = track_of(rendered, "wav")
    meter = pyloudnorm.Meter(48_000)
    spans = [
        (event["kind"], event["role"], event["onset_sample"], event["end_sample"])
        for event in schedule["events"]
    ]
    cues = [
        meter.integrated_loudness(samples[onset:end])
        for kind, _, onset, end in spans
        if kind == "cue" and end - onset >= 0.5 * 48_000
    ]
    pips = [
        20 * math.log10(np.abs(samples[onset:end]).max())
        for kind, role, onset, end in spans
        if kind == "pip" and role == "short"
    ]
    assert max(cues) - min(cues) <= 2.0
    assert max(pips) - min(pips) <= 2.0
