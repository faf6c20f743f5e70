"""Music under a track: when it goes down and how far, how loud the sum is, and what the file keeps."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

import roomkit
from cuelane.base import schedule as schedules
from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.schedule import load_schedule
from cuelane.hearing.bands import band_powers, full_scale_db_spl, spectrum_levels_db
from cuelane.hearing.sii import speech_intelligibility_index
from cuelane.media import Chapter, Metadata, decode, encode, probe
from cuelane.media.attached_picture import cover_png
from cuelane.media.formats import format_of
from cuelane.meter import Meter, integrated_loudness_lufs, true_peak_dbtp
from cuelane.meter.true_peak import HALF_LENGTH, REACH, interpolation_taps
from cuelane.under import UnderOptions, UnderReport, mixdown, under
from cuelane.under.ducking import DEEPEST_DB, Duck, duck_nodes, gain_of_nodes, under_ceiling
from cuelane.under.gain_plan import needs_of
from cuelane.under.grid import Profiler, loudness_of_nodes, node_frames
from cuelane.under.node_peaks import NodePeaks
from cuelane.under.playlist import lay_out
from cuelane.under.song import read_song
from cuelane.under.track_sound import listen
from roomkit import RATE

SOUNDS = roomkit.clips()
SESSION = roomkit.session(SOUNDS)
NODE = node_frames(RATE)
TAGS = {"title": "Boathouse legs", "artist": "Ada"}
CHAPTERS = [Chapter(0, 9_000, "Legs"), Chapter(9_000, 20_000, "Core")]
MOST_SLOPE_DB_PER_SAMPLE = 0.1 / (RATE / 1000)


def read(path: Path, channels: int | None = None) -> np.ndarray:
    return np.concatenate(list(decode(path, channels=channels))).astype(np.float64)


def make_track(folder: Path, name: str = "track.wav", gain_db: float = 4.0) -> Path:
    path = folder / name
    encode(
        path,
        [roomkit.track(SESSION, SOUNDS, gain_db)],
        sample_rate=RATE,
        metadata=Metadata(TAGS, [] if path.suffix == ".wav" else CHAPTERS),
    )
    (folder / f"{path.stem}.schedule.json").write_text(schedules.to_json(SESSION), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds a track and its schedule."""
    path = tmp_path_factory.mktemp("under")
    make_track(path)
    return path


@pytest.fixture(scope="module")
def music(folder: Path) -> list[Path]:
    """Two songs shorter than the session, one loud and one soft."""
    return [
        roomkit.write_music(folder / "loud.wav", 14.0, seed=1, level_db=6.0),
        roomkit.write_music(folder / "soft.wav", 16.0, seed=2, level_db=-12.0),
    ]


@pytest.fixture(scope="module")
def made(folder: Path, music: list[Path]) -> UnderReport:
    """A track and two songs, mixed to WAV so that nothing hides the arithmetic."""
    return under(folder / "track.wav", music, folder / "mixed.wav", UnderOptions(music_level_lu=3.0))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    gaps_ms=st.lists(st.integers(20, 4_000), min_size=1, max_size=6),
    lengths_ms=st.lists(st.integers(80, 3_000), min_size=6, max_size=6),
    depths=st.lists(st.floats(0.0, DEEPEST_DB), min_size=6, max_size=6),
)
def test_music_is_down_in_time_back_in_time_and_never_steps(
    gaps_ms: list[int], lengths_ms: list[int], depths: list[float]
) -> None:
    """Full depth from 50 ms before each onset, back within 0.6 s of the end, at most 0.1 dB per ms."""
    ducks, at_ms = [], 1_000
    for gap_ms, length_ms, depth in zip(gaps_ms, lengths_ms, depths, strict=False):
        at_ms += gap_ms
        ducks.append(Duck(at_ms * 48 + 7, (at_ms + length_ms) * 48 + 7, depth))
        at_ms += length_ms
    n_nodes = (at_ms * 48 + 2 * RATE) // NODE
    nodes = duck_nodes(ducks, n_nodes, NODE, RATE)

    gain_db = 20 * np.log10(gain_of_nodes(nodes, NODE).astype(np.float64))

    for i, duck in enumerate(ducks):
        down = gain_db[duck.onset_sample - 50 * 48 : duck.end_sample + 50 * 48]
        assert down.max() <= -duck.depth_db + 1e-3
        last = i + 1 == len(ducks)
        if last or ducks[i + 1].onset_sample - duck.end_sample > 1_700 * 48:
            assert abs(gain_db[duck.end_sample + 600 * 48]) < 1e-3
        elif ducks[i + 1].onset_sample - duck.end_sample < 1_200 * 48:
            held = min(duck.depth_db, ducks[i + 1].depth_db)
            assert gain_db[duck.end_sample : ducks[i + 1].onset_sample].max() <= -held + 1e-3
    # What lies between nodes is straight, so float32 noise is all that is allowed on top.
    assert np.abs(np.diff(nodes)).max() <= MOST_SLOPE_DB_PER_SAMPLE * NODE
    assert np.abs(np.diff(gain_db)).max() <= MOST_SLOPE_DB_PER_SAMPLE + 2e-5


def test_nothing_moves_where_nothing_sounds() -> None:
    """Far from events, and for events that need nothing, the gain is exactly 1."""
    nodes = duck_nodes([Duck(10 * RATE, 11 * RATE, 9.0), Duck(30 * RATE, 31 * RATE, 0.0)], 4000, NODE, RATE)

    assert (nodes[:950] == 0).all()
    assert (nodes[1160:] == 0).all()
    assert nodes.min() == -9.0
    assert (gain_of_nodes(nodes[:50], NODE) == 1).all()


@settings(max_examples=60, deadline=None, derandomize=True)
@given(most=st.lists(st.floats(-20, 6), min_size=30, max_size=60))
def test_a_ceiling_is_kept_without_steps(most: list[float]) -> None:
    """The gain is under every bound, inside each node, and as high as its slope allows."""
    wanted = np.zeros(len(most) + 1)
    held = under_ceiling(wanted, np.array(most), NODE, RATE)
    step = 0.08 * NODE * 1000 / RATE

    assert (np.maximum(held[:-1], held[1:]) <= np.array(most) + 1e-9).all()
    assert (held <= wanted).all()
    assert np.abs(np.diff(held)).max() <= step + 1e-9
    for node, level in enumerate(held):
        at = np.arange(len(most))
        away = np.maximum(np.maximum(at - node, node - at - 1), 0)
        assert level == pytest.approx(min(0.0, float(np.min(np.array(most) + step * away))), abs=1e-9)


def test_a_grid_reads_as_the_meter_does() -> None:
    """Node powers give the meter's loudness; node peaks bound its true peak, and not by much."""
    rng = np.random.default_rng(5)
    samples = rng.standard_normal((6 * RATE, 2)) * np.linspace(0.02, 0.2, 6 * RATE)[:, np.newaxis]
    meter, profiler = Meter(RATE, 2), Profiler(RATE, 2)
    meter.push(samples)
    for start in range(0, len(samples), 12_345):
        profiler.push(samples[start : start + 12_345])
    profile = profiler.finish()[0]

    assert loudness_of_nodes(profile.power) == pytest.approx(meter.integrated_lufs, abs=0.01)
    assert 20 * math.log10(profile.peak.max()) == pytest.approx(meter.true_peak_dbtp, abs=0.01)
    for node in (0, 100, 599):
        stretch = samples[node * NODE : (node + 1) * NODE]
        assert profile.peak[node] >= np.abs(stretch).max() - 1e-6
        around = samples[max(0, node * NODE - 60) : (node + 1) * NODE + 60]
        assert 20 * math.log10(profile.peak[node]) <= true_peak_dbtp(around) + 0.01


def test_songs_are_matched_joined_and_looped(music: list[Path]) -> None:
    """Both songs play at the loudness asked for, across every joint, and again from the first."""
    songs = [read_song(path, RATE, 60 * RATE) for path in music]
    assert songs[0].loudness_lufs - songs[1].loudness_lufs > 10
    bed = lay_out(songs, 6000, -23.0, RATE, "loop")

    sound = np.concatenate(list(bed.blocks(2, 100)))

    assert len(sound) == 6000 * NODE
    assert [placed.song.path.name for placed in bed.placements] == [
        "loud.wav", "soft.wav", "loud.wav", "soft.wav", "loud.wav", "soft.wav"
    ]  # fmt: skip
    for start_s in range(1, 52, 5):
        part = sound[start_s * RATE : (start_s + 5) * RATE]
        one_ear = integrated_loudness_lufs(part, RATE) - 10 * math.log10(2)
        assert one_ear == pytest.approx(-23.0, abs=2.0), start_s
    assert np.abs(sound[-RATE // 100 :]).max() < 0.01 * np.abs(sound).max()


def test_the_peak_of_each_node_is_exact() -> None:
    """A node's peak is the highest of its samples and the meter's points after them, in any pieces."""
    rng = np.random.default_rng(7)
    for node in (480, 441, 113):
        samples = rng.standard_normal((20 * node - 7, 2)).astype(np.float32)
        samples[5 * node : 7 * node] = 0
        follower = NodePeaks(node, 2)
        for start in range(0, len(samples), 1_111):
            follower.push(samples[start : start + 1_111])

        silence = np.zeros((7 + REACH, 2))
        padded = np.concatenate([np.zeros((HALF_LENGTH - 1, 2)), samples, silence]).astype(np.float64)
        expected = np.abs(padded[HALF_LENGTH - 1 :][: 20 * node]).max(axis=1)
        # A sum of n products in single precision is off by n + 1 roundings of its largest terms at
        # most (N. Higham, Accuracy and Stability of Numerical Algorithms, section 3.1; from memory).
        terms = max(float(np.abs(taps).sum()) for taps in interpolation_taps(4)) * float(
            np.abs(samples).max()
        )
        rounding = (2 * HALF_LENGTH + 1) * float(np.finfo(np.float32).eps) / 2 * terms
        for taps in interpolation_taps(4):
            for channel in padded.T:
                points = np.correlate(channel, taps, "valid")[: 20 * node]
                expected = np.maximum(expected, np.abs(points))
        assert follower.finish()[:20] == pytest.approx(expected.reshape(20, node).max(axis=1), abs=rounding)


@pytest.mark.parametrize("n_channels", [1, 2])
def test_spectra_agree_with_the_slower_ways(n_channels: int) -> None:
    """Bands are those of one long transform, and K-weighting is the meter's, on music and on speech."""
    for sound in (roomkit.synth.music(12 * RATE, 4), roomkit.track(SESSION, SOUNDS)[: 12 * RATE, 0]):
        samples = np.column_stack([sound, np.roll(0.5 * sound, 99)])[:, :n_channels].astype(np.float32)
        meter, profiler = Meter(RATE, n_channels), Profiler(RATE, n_channels)
        meter.push(samples)
        for start in range(0, len(samples), 12_345):
            profiler.push(samples[start : start + 12_345])
        profile, bands = profiler.finish()

        assert loudness_of_nodes(profile.power) == pytest.approx(meter.integrated_lufs, abs=0.03)
        whole = np.mean([band_powers(samples[:, ear], RATE) for ear in range(n_channels)], axis=0)
        short = bands[:120].mean(axis=0)
        # A steady tone at the edge of a low, narrow band is spread over it by any window as short as 100 ms.
        assert np.abs(10 * np.log10(short[5:] / whole[5:])).max() < 0.3
        assert index_over(short) == pytest.approx(index_over(whole), abs=0.005)


def index_over(masker: npt.NDArray[np.floating]) -> float:
    """The index of the first cue over a masker's mean squares in the bands."""
    full_scale_db = full_scale_db_spl(-20.0)
    speech = band_powers(next(iter(SOUNDS.values())), RATE)
    return speech_intelligibility_index(
        spectrum_levels_db(speech, full_scale_db), spectrum_levels_db(masker, full_scale_db)
    )


def test_a_song_at_its_own_rate_measures_as_the_one_that_is_played(tmp_path: Path) -> None:
    """Music at 44.1 kHz has the loudness, bands, nodes and peaks of the same music resampled."""
    own = np.column_stack([roomkit.synth.music(12 * 44_100, seed, rate=44_100) for seed in (1, 2)])
    soundfile.write(tmp_path / "own.wav", own, 44_100, subtype="FLOAT")
    played = np.concatenate(list(decode(tmp_path / "own.wav", sample_rate=RATE, channels=2)))
    soundfile.write(tmp_path / "played.wav", played, RATE, subtype="FLOAT")

    at_own, as_played = (read_song(tmp_path / f"{name}.wav", RATE, 60 * RATE) for name in ("own", "played"))

    assert at_own.loudness_lufs == pytest.approx(as_played.loudness_lufs, abs=0.02)
    assert at_own.n_nodes == pytest.approx(as_played.n_nodes, abs=1)
    of_own, as_heard = (song.bands[:120].mean(axis=0) for song in (at_own, as_played))
    assert np.abs(10 * np.log10(of_own[5:] / as_heard[5:])).max() < 0.1
    assert index_over(of_own) == pytest.approx(index_over(as_heard), abs=0.002)
    n_nodes = min(len(at_own.profile.peak), len(as_played.profile.peak)) - 5
    own, of_played = (song.profile.peak[:n_nodes] for song in (at_own, as_played))
    # A crest on the line between two nodes may fall into either.
    around = np.maximum(np.maximum(own, np.append(own[1:], 0)), np.insert(own[:-1], 0, 0))
    tall = of_played > np.quantile(of_played, 0.5)
    assert (20 * np.log10(around[tall] / of_played[tall])).min() >= 0.0
    assert np.median(20 * np.log10(own[tall] / of_played[tall])) == pytest.approx(0.5, abs=0.05)


def test_no_more_music_is_read_than_the_session_needs(
    folder: Path, made: UnderReport, music: list[Path], tmp_path: Path
) -> None:
    """Files that would never be heard are not read, so that one which cannot be does no harm; two runs give
    the same file."""
    long = roomkit.write_music(tmp_path / "long.wav", SESSION.n_frames / RATE + 8, seed=3)
    (tmp_path / "words.mp3").write_text("this is no music")

    first = under(folder / "track.wav", [long, tmp_path / "words.mp3"], tmp_path / "first.wav")
    second = under(folder / "track.wav", [long], tmp_path / "second.wav")

    assert [song.path.name for song in first.songs] == ["long.wav"]
    assert first.out.read_bytes() == second.out.read_bytes()
    again = under(folder / "track.wav", music, tmp_path / "again.wav", UnderOptions(music_level_lu=3.0))
    assert again.out.read_bytes() == made.out.read_bytes()


def test_crossfades_are_equal_power(tmp_path: Path) -> None:
    """Steady noise joined to other steady noise keeps its power through the joint."""
    rng = np.random.default_rng(6)
    for name in ("a", "b"):
        soundfile.write(tmp_path / f"{name}.wav", rng.standard_normal((12 * RATE, 1)) * 0.05, RATE)
    songs = [read_song(tmp_path / f"{name}.wav", RATE, 60 * RATE) for name in ("a", "b")]
    bed = lay_out(songs, 2400, -23.0, RATE, "stop")

    sound = np.concatenate(list(bed.blocks(1, 128)))[:, 0]
    power = np.square(sound[: 2400 * NODE].astype(np.float64)).reshape(-1, RATE // 2).mean(axis=1)

    assert bed.placements[1].start_node == 800
    inside = 10 * np.log10(power[2:38])
    assert np.ptp(inside) < 0.4
    assert power[41:].max() < power[5]


def test_silence_at_a_songs_ends_is_left_out(tmp_path: Path) -> None:
    """Two seconds of silence before and after a song are no part of it."""
    noise = np.random.default_rng(6).standard_normal((8 * RATE, 1)) * 0.05
    silence = np.zeros((2 * RATE, 1))
    soundfile.write(tmp_path / "song.wav", np.concatenate([silence, noise, silence]), RATE)
    song = read_song(tmp_path / "song.wav", RATE, 60 * RATE)

    assert song.first_node == 200
    assert song.end_node == pytest.approx(1000, abs=5)
    sound = next(lay_out([song], 400, -23.0, RATE, "loop").blocks(1, 400))
    assert np.abs(sound[RATE // 2 : RATE]).max() > 0.05


def test_the_sum_is_on_its_loudness_and_under_its_peak(made: UnderReport) -> None:
    """The file reads -16 LUFS and at most -1 dBTP, as the report says and as was known beforehand."""
    samples = read(made.out)

    assert integrated_loudness_lufs(samples, RATE) == pytest.approx(-16.0, abs=0.2)
    assert made.loudness_lufs == pytest.approx(integrated_loudness_lufs(samples, RATE), abs=0.05)
    assert made.plan.loudness_lufs == pytest.approx(made.loudness_lufs, abs=0.15)
    assert true_peak_dbtp(samples) <= -1.0
    assert samples.shape == (SESSION.n_frames, 2)


def test_the_music_in_the_file_follows_the_plan(made: UnderReport, folder: Path, music: list[Path]) -> None:
    """What is left after the voice is taken out is the songs at the planned gain, down 50 ms before a cue."""
    mixed = read(made.out)
    voice = read(folder / "track.wav", channels=2) * 10 ** (made.plan.gain_db / 20)
    left = mixed - voice
    # How far peaks let the music go is kept in single precision: a ceiling reached exactly is passed by
    # half a step of that, at most that of the lowest gain there is (a duck and 20 dB for a peak).
    assert made.plan.deepest_peak_dip_db <= float(np.spacing(np.float32(DEEPEST_DB + 20))) / 2
    songs = [read_song(path, RATE, SESSION.n_frames) for path in music]
    bed = lay_out(songs, -(-SESSION.n_frames // NODE), made.speech_lufs + 3.0, RATE, "loop")
    full = np.concatenate(list(bed.blocks(2, 128)))[: len(left)] * 10 ** (made.plan.gain_db / 20)

    def gain_db(first: int, last: int) -> float:
        return float(10 * np.log10(np.square(left[first:last]).sum() / np.square(full[first:last]).sum()))

    moved = 0
    for need in made.plan.needs:
        event = need.event
        just_before = gain_db(event.onset_sample - 50 * 48, event.onset_sample)
        assert just_before <= -need.depth_lu + 0.05
        moved += need.depth_lu > 3
    assert moved >= 4
    first = made.plan.needs[0].event
    assert gain_db(first.onset_sample - 800 * 48, first.onset_sample - 500 * 48) == pytest.approx(0, abs=0.05)
    assert gain_db(first.end_sample + 600 * 48, first.end_sample + 900 * 48) == pytest.approx(0, abs=0.05)


def test_every_event_reaches_its_target_or_is_reported(
    made: UnderReport, folder: Path, music: list[Path]
) -> None:
    """Each cue is 0.02 over 0.75 with no more depth than that needs; with less depth allowed it is named."""
    assert len(made.plan.needs) == len(SESSION.events)
    assert made.short_of_target == ()
    for need in made.plan.needs:
        if need.event.kind == "cue" and need.depth_lu > 0:
            assert need.value == pytest.approx(0.77, abs=0.002)
        else:
            assert need.value >= need.target

    shallow = under(
        folder / "track.wav",
        music,
        folder / "shallow.wav",
        UnderOptions(music_level_lu=6.0, most_depth_lu=3.0),
    )

    short = shallow.short_of_target
    assert {need.event.id for need in short} >= {event.id for event in SESSION.cues}
    assert all(need.depth_lu == 3.0 and need.value < need.target for need in short)


def test_the_index_is_that_of_the_stretch_in_the_file(made: UnderReport, folder: Path) -> None:
    """A cue's index, measured again from the finished file's own music, is the one reported."""
    gain = 10 ** (made.plan.gain_db / 20)
    voice = read(folder / "track.wav", channels=1)[:, 0] * gain
    left = read(made.out) - voice[:, np.newaxis]
    full_scale_db = full_scale_db_spl(made.speech_lufs + made.plan.gain_db)
    assert [need.event.id for need in made.plan.needs if need.event.kind == "cue"] == [
        cue.id for cue in SESSION.cues
    ]
    for need in made.plan.needs:
        if need.event.kind == "cue":
            span = slice(need.event.onset_sample, need.event.end_sample)
            masker = np.mean([band_powers(left[span, ear], RATE) for ear in (0, 1)], axis=0)
            index = speech_intelligibility_index(
                spectrum_levels_db(band_powers(voice[span], RATE), full_scale_db),
                spectrum_levels_db(masker, full_scale_db),
            )
            # The plan takes the music in frames of 100 ms, this whole: the edges differ a little.
            assert index == pytest.approx(need.value, abs=0.04)
            assert index >= need.target


def test_check_finds_every_event_in_the_result(made: UnderReport) -> None:
    """The checker, which shares no placement code, finds each pip and cue where the plan says."""
    from cuelane.audio.clip import Clip
    from cuelane.check.run import check

    class Store:
        def by_hash(self, sha256: str) -> Clip | None:
            samples = SOUNDS.get(sha256)
            return None if samples is None else Clip("", "synth", RATE, samples, sha256)

    report = check(made.out, load_schedule(made.schedule), store=Store())

    assert report.summary.matched == len(SESSION.events)
    assert [fault for fault in report.faults if "late" in str(fault) or "missing" in str(fault)] == []


def test_the_result_has_its_own_schedule(made: UnderReport) -> None:
    """Beside the file lies a schedule with the track's events unmoved, and what was done."""
    again = load_schedule(made.schedule)

    assert made.schedule.name == "mixed.schedule.json"
    assert again.events == SESSION.events
    assert again.intervals == SESSION.intervals
    assert again.n_frames == SESSION.n_frames
    assert again.extra["under"]["music"] == ["loud.wav", "soft.wav"]
    assert again.extra["under"]["loudness_lufs"] == pytest.approx(-16.0, abs=0.2)


@pytest.mark.parametrize("suffix", [".m4a", ".mp3", ".opus", ".flac"])
def test_chapters_tags_and_cover_are_kept(tmp_path: Path, music: list[Path], suffix: str) -> None:
    """From and to each format, chapters, title, artist and the cover picture come through."""
    import io

    from PIL import Image

    picture = io.BytesIO()
    Image.new("RGB", (32, 32), (200, 40, 40)).save(picture, "PNG")
    track = make_track(tmp_path, f"track{suffix}")
    encode(
        track,
        [roomkit.track(SESSION, SOUNDS, 4.0)],
        sample_rate=RATE,
        metadata=Metadata(TAGS, CHAPTERS, picture.getvalue()),
    )

    report = under(track, music, tmp_path / f"mixed{suffix}")

    info = probe(report.out)
    assert [(chapter.start_ms, chapter.title) for chapter in info.chapters] == [(0, "Legs"), (9_000, "Core")]
    assert (info.tags["title"], info.tags["artist"]) == ("Boathouse legs", "Ada")
    assert cover_png(report.out) == picture.getvalue()
    samples = read(report.out)
    assert abs(len(samples) - SESSION.n_frames) <= 2048
    assert integrated_loudness_lufs(samples, RATE) == pytest.approx(-16.0, abs=0.3)
    # Decoded again after a lossy encoder.
    assert true_peak_dbtp(samples) <= -1.0


def test_a_file_without_a_cover_has_none(folder: Path, made: UnderReport) -> None:
    """No picture is no error."""
    assert cover_png(made.out) is None


def test_stop_plays_the_music_once(
    tmp_path: Path, folder: Path, music: list[Path], made: UnderReport
) -> None:
    """With stop, the session goes on without music when the songs are over."""
    once = under(folder / "track.wav", music[:1], tmp_path / "once.wav", UnderOptions(end="stop"))

    samples = read(once.out)
    silent_after = samples[15 * RATE :]
    expected = read(folder / "track.wav", channels=2)[15 * RATE :] * 10 ** (once.plan.gain_db / 20)
    assert np.abs(silent_after - expected).max() < 1e-6


def test_mono_stays_mono(tmp_path: Path, folder: Path) -> None:
    """A mono track with mono music gives a mono file."""
    left = roomkit.synth.music(20 * RATE, 3)
    soundfile.write(tmp_path / "mono.wav", left, RATE, subtype="PCM_24")

    report = under(folder / "track.wav", [tmp_path / "mono.wav"], tmp_path / "mixed.flac")

    assert probe(report.out).n_channels == 1
    assert report.loudness_lufs == pytest.approx(-16.0, abs=0.2)


def test_music_at_another_rate_keeps_its_pitch_and_length(tmp_path: Path, folder: Path) -> None:
    """Music at 44.1 kHz is resampled: a 1 kHz tone in it is at 1 kHz in the result."""
    tone = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(30 * 44_100) / 44_100)
    soundfile.write(tmp_path / "tone.flac", tone, 44_100)

    report = under(folder / "track.wav", [tmp_path / "tone.flac"], tmp_path / "mixed.wav")

    open_second = read(report.out)[RATE // 2 : RATE + RATE // 2, 0]
    spectrum = np.abs(np.fft.rfft(open_second * np.hanning(len(open_second))))
    assert int(np.argmax(spectrum)) == 1000


def test_peaks_that_would_meet_make_the_music_give_way(tmp_path: Path, folder: Path) -> None:
    """Music with tall peaks is held under the ceiling by smooth dips of its own."""
    rng = np.random.default_rng(9)
    spiky = rng.standard_normal((40 * RATE, 2)) * 0.01
    for at in rng.integers(RATE, 39 * RATE, 60):
        spiky[at : at + 200] += 0.9 * np.hanning(200)[:, np.newaxis]
    soundfile.write(tmp_path / "spiky.wav", spiky, RATE, subtype="PCM_24")

    report = under(
        folder / "track.wav",
        [tmp_path / "spiky.wav"],
        tmp_path / "mixed.wav",
        UnderOptions(music_level_lu=6.0),
    )

    assert true_peak_dbtp(read(report.out)) <= -1.0
    assert report.loudness_lufs == pytest.approx(-16.0, abs=0.3)
    softer = [note for note in report.notes if "spiky.wav is played" in note]
    assert len(softer) == 1
    assert "its peaks are too high" in softer[0]
    # Away from events what is left of the dips is the 3 dB that a song's own peaks may cost.
    music_db = (report.plan.music_db - report.plan.gain_db)[: SESSION.events[0].onset_sample // NODE - 60]
    assert -3.5 < music_db.min() < -0.5
    assert np.abs(np.diff(report.plan.music_db)).max() <= MOST_SLOPE_DB_PER_SAMPLE * NODE


@pytest.fixture(scope="module")
def sharp(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Music of short loud bursts of noise, to which every lossy encoder adds peaks of its own."""
    path = tmp_path_factory.mktemp("sharp") / "sharp.wav"
    noise = np.clip(np.random.default_rng(1).standard_normal((40 * RATE, 2)), -0.5, 0.5) * 0.6
    burst = np.arange(len(noise)) // (RATE // 40) % 24 == 0
    soundfile.write(path, noise * np.where(burst, 1.0, 0.03)[:, np.newaxis], RATE, subtype="FLOAT")
    return path


@pytest.mark.parametrize("suffix", [".m4a", ".mp3", ".opus"])
def test_peaks_that_an_encoder_adds_are_made_up_for(
    tmp_path: Path, folder: Path, sharp: Path, suffix: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One encoding passes -1 dBTP, and a note says so; the file that is kept stays under it, as loud."""
    with monkeypatch.context() as patch:
        patch.setattr(mixdown, "LOWERED_BEYOND_DB", ())
        once = under(
            folder / "track.wav", [sharp], tmp_path / f"once{suffix}", UnderOptions(music_level_lu=0.0)
        )
    begun: list[int] = []

    def follow(done: int, total: int) -> None:
        assert done <= total == SESSION.n_frames
        if not begun or done <= begun[-1]:
            begun.append(done)

    report = under(
        folder / "track.wav",
        [sharp],
        tmp_path / f"mixed{suffix}",
        UnderOptions(music_level_lu=0.0),
        progress=follow,
    )

    assert true_peak_dbtp(read(once.out)) > -1.0
    told = f"the encoder of {format_of(once.out).name} raises peaks"
    assert [told in note for note in once.notes] == [True]
    assert len(begun) > 1
    samples = read(report.out)
    assert true_peak_dbtp(samples) <= -1.0
    assert report.true_peak_dbtp == pytest.approx(true_peak_dbtp(samples), abs=0.01)
    assert report.loudness_lufs == pytest.approx(integrated_loudness_lufs(samples, RATE), abs=0.01)
    # The encoder leaves out the highest part of what is noise.
    assert report.plan.loudness_lufs == pytest.approx(-16.0, abs=0.05)
    assert not report.notes


def test_bad_input_is_named_and_leaves_an_old_file_alone(
    tmp_path: Path, folder: Path, music: list[Path]
) -> None:
    """Each mistake is a message; what was at --out before is still there, and nothing beside it."""
    track = folder / "track.wav"
    out = tmp_path / "mixed.m4a"
    out.write_bytes(b"an older file")
    (tmp_path / "words.mp3").write_text("this is no music")
    soundfile.write(tmp_path / "silent.wav", np.zeros(10 * RATE), RATE)
    soundfile.write(tmp_path / "click.wav", np.full(RATE, 0.1), RATE)

    with pytest.raises(UsageError, match="not written by cuelane"):
        under(track, music, out)
    with pytest.raises(UsageError, match="no music given"):
        under(track, [], out, force=True)
    with pytest.raises(AudioFileError, match=r"words\.mp3"):
        under(track, [music[0], tmp_path / "words.mp3"], out, force=True)
    with pytest.raises(AudioFileError, match=r"gone\.mp3: no such file"):
        under(track, [*music, *music, tmp_path / "gone.mp3"], out, force=True)
    with pytest.raises(AudioFileError, match=r"silent\.wav: silent"):
        under(track, [tmp_path / "silent.wav"], out, force=True)
    with pytest.raises(AudioFileError, match=r"click\.wav: holds less than 5 s of sound"):
        under(track, [tmp_path / "click.wav"], out, force=True)
    with pytest.raises(UsageError, match=r"track\.wav: would be overwritten"):
        under(track, music, track)
    with pytest.raises(UsageError, match=r"mixed\.doc: cannot write \.doc"):
        under(track, music, tmp_path / "mixed.doc")
    with pytest.raises(UsageError, match="give the track's schedule with --schedule"):
        under(music[0], music, out, force=True)
    with pytest.raises(UsageError, match="--depth must be between 0 and 27, got 40"):
        under(track, music, out, UnderOptions(most_depth_lu=40.0), force=True)
    with pytest.raises(AudioFileError, match="it belongs to another track"):
        under(music[1], music[:1], out, schedule=shifted(tmp_path), force=True)
    assert out.read_bytes() == b"an older file"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "click.wav", "mixed.m4a", "shifted.json", "silent.wav", "words.mp3"
    ]  # fmt: skip


def shifted(folder: Path) -> Path:
    """A schedule whose cues all lie past the sound of any file used here."""
    data = json.loads(schedules.to_json(SESSION))
    data["n_frames"] += 100 * RATE
    for event in data["events"]:
        event["onset_sample"] += 100 * RATE
        event["end_sample"] += 100 * RATE
    path = folder / "shifted.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    return path


def test_listening_in_pieces_hears_the_same(folder: Path, music: list[Path]) -> None:
    """Events that straddle blocks of any size are measured whole."""
    samples = roomkit.track(SESSION, SOUNDS)
    whole = listen([samples], 1, SESSION)
    pieces = listen((samples[i : i + 10_007] for i in range(0, len(samples), 10_007)), 1, SESSION)

    assert [one.event.id for one in whole.heard] == [one.event.id for one in pieces.heard]
    assert [one.loudness_lufs for one in pieces.heard] == pytest.approx(
        [one.loudness_lufs for one in whole.heard]
    )
    assert [one.mean_square for one in pieces.heard] == pytest.approx(
        [one.mean_square for one in whole.heard]
    )
    assert min(one.mean_square for one in whole.heard) > 1e-4
    assert whole.speech_lufs == pytest.approx(-20.0, abs=0.05)
    bed = lay_out([read_song(music[0], RATE, 60 * RATE)], len(whole.profile.power), -20.0, RATE, "loop")
    assert [need.depth_lu for need in needs_of(pieces, bed, most_depth_lu=14)] == pytest.approx(
        [need.depth_lu for need in needs_of(whole, bed, most_depth_lu=14)]
    )
