"""The media edge: nothing late, nothing lost, nothing left behind."""

from __future__ import annotations

import contextlib
import io
import itertools
import math
import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import mutagen
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from scipy.signal import resample_poly
from tinytag import TinyTag

from cuelane import media
from cuelane.base.errors import AudioFileError, CuelaneError, DeliveryError, SignalError, UsageError
from cuelane.media import Chapter, Metadata, ffmpeg, formats, pcm, reader, writer
from cuelane.media.probing import parse_ffmetadata

RATE = 48_000
FORMATS = tuple(form.suffix[1:] for form in formats.FORMATS)
TITLED = tuple(form.suffix[1:] for form in formats.FORMATS if form.holds_chapters)


def _bursts(seconds: int = 5, rate: int = RATE, channels: int = 1) -> np.ndarray:
    """Return noise bursts of 0.1 s, 1000 samples after each whole second, shape (n, channels)."""
    rng = np.random.default_rng(7)
    sound = np.zeros((seconds * rate, channels), dtype=np.float32)
    for second in range(seconds):
        first = second * rate + 1_000
        sound[first : first + rate // 10] = rng.normal(0, 0.1, (rate // 10, 1))
    return sound


def _pieces(sound: np.ndarray, size: int = 10_007) -> Iterator[np.ndarray]:
    return (sound[start : start + size] for start in range(0, len(sound), size))


def _read(path: Path, **options: object) -> np.ndarray:
    return np.concatenate(list(media.decode(path, **options)))


def _offset(heard: np.ndarray, sound: np.ndarray) -> int:
    """Return by how many samples the second burst of `heard` is late."""
    burst = sound[RATE + 1_000 : RATE + 5_800, 0]
    window = heard[RATE - 2_000 : RATE + 8_800, 0]
    return int(np.argmax(np.correlate(window, burst, "valid"))) - 3_000


def _ffmpeg(*arguments: str) -> None:
    subprocess.run([*ffmpeg.quiet(), "-y", *arguments], check=True, capture_output=True)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five seconds of bursts in every format, by our own encoder and by others."""
    made = tmp_path_factory.mktemp("media")
    sound = _bursts()
    for suffix in FORMATS:
        media.encode(made / f"ours.{suffix}", _pieces(sound), sample_rate=RATE, n_frames=len(sound))
    source = str(made / "ours.wav")
    picture = ["-f", "lavfi", "-i", "testsrc=duration=5:size=64x64:rate=10"]
    _ffmpeg("-i", source, *picture, "-c:a", "aac", "-c:v", "mpeg4", str(made / "film.mp4"))
    _ffmpeg("-i", source, *picture, "-c:a", "libopus", "-c:v", "mpeg4", str(made / "film.mkv"))
    _ffmpeg("-i", source, "-c:a", "libvorbis", str(made / "other.ogg"))
    _ffmpeg("-i", source, "-c:a", "aac", "-f", "adts", str(made / "raw.aac"))
    _ffmpeg("-i", source, "-c:a", "libmp3lame", "-write_xing", "0", str(made / "untagged.mp3"))
    return made


@pytest.mark.parametrize(
    "name", [*(f"ours.{suffix}" for suffix in FORMATS), "film.mp4", "film.mkv", "other.ogg"]
)
def test_first_sample_is_the_first_that_players_play(folder: Path, name: str) -> None:
    """Every format that tells its delay comes back at offset 0 and with the length that went in.

    Offsets by codec: measured elsewhere with PyAV and soundfile, 0 samples for each (computed).
    """
    sound = _bursts()
    heard = _read(folder / name)

    assert _offset(heard, sound) == 0
    assert len(heard) == len(sound)


def test_three_decoders_agree(folder: Path) -> None:
    """PyAV and libsndfile give the same samples as our decoder, counted from the first."""
    for name in ("ours.m4a", "ours.mp3", "ours.opus", "ours.flac", "ours.wav", "film.mp4"):
        ours = _read(folder / name)[:, 0]
        with av.open(str(folder / name)) as container:
            resampler = av.AudioResampler(format="flt", layout="mono")
            frames = [
                piece.to_ndarray()[0]
                for frame in container.decode(audio=0)
                for piece in resampler.resample(frame)
            ]
        theirs = np.concatenate(frames)[: len(ours)]
        # PyAV leaves the padding after the last AAC frame in place; the samples before it are the same.
        assert len(theirs) >= len(ours) - 1, name
        assert np.abs(ours[: len(theirs)] - theirs).max() < 2e-3, name
    for name in ("ours.mp3", "ours.flac", "ours.wav"):
        theirs, _ = soundfile.read(folder / name, dtype="float32")
        ours = _read(folder / name)[:, 0]
        assert len(theirs) == len(ours), name
        assert np.abs(ours - theirs).max() < 2e-3, name


def test_files_without_gapless_tags_are_told(folder: Path) -> None:
    """An MP3 without a LAME tag is 1105 samples late in every reader, ADTS 1024; both are flagged.

    1105 = 576 of the encoder + 529 of the decoder: LAME technical FAQ. 1024: computed with PyAV.
    """
    sound = _bursts()
    for name, late in (("untagged.mp3", 1105), ("raw.aac", 1024)):
        assert not media.probe(folder / name).has_gapless_info, name
        assert _offset(_read(folder / name), sound) == late, name
    for name in ("ours.mp3", "ours.m4a", "ours.opus", "film.mp4", "other.ogg", "ours.wav"):
        assert media.probe(folder / name).has_gapless_info, name


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_no_word_about_the_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the program cannot say what it sees, the machine has failed (3), not the person's file (2)."""
    monkeypatch.setattr(
        "cuelane.media.probing.tempfile.TemporaryFile",
        lambda **_: open("/dev/full", "r+b", buffering=0),  # noqa: PTH123, SIM115
    )
    with pytest.raises(DeliveryError, match="a temporary file cannot be written: No space left") as caught:
        media.probe(folder / "ours.wav")
    assert caught.value.exit_code == 3


def test_probe_says_what_a_file_is(folder: Path) -> None:
    """Channels, rate, length, codec and whether there is a picture, for each container."""
    expected = {
        "ours.wav": ("pcm_s24le", False), "ours.flac": ("flac", False), "ours.m4a": ("aac", False),
        "ours.mp3": ("mp3", False), "ours.opus": ("opus", False), "film.mp4": ("aac", True),
        "film.mkv": ("opus", True), "other.ogg": ("vorbis", False),
    }  # fmt: skip
    for name, (codec, has_video) in expected.items():
        info = media.probe(folder / name)
        assert (info.codec, info.has_video, info.n_channels, info.sample_rate) == (
            codec,
            has_video,
            1,
            RATE,
        ), name
        assert info.duration_s == pytest.approx(5.0, abs=0.03), name
        assert info.damage is None, name


@given(sizes=st.lists(st.integers(0, 50), max_size=30), block_frames=st.integers(1, 70))
@settings(derandomize=True, deadline=None)
def test_blocks_are_cut_anew_without_loss(sizes: list[int], block_frames: int) -> None:
    """Rechunking keeps every frame in order, and all blocks but the last are full."""
    total = sum(sizes)
    whole = np.arange(total, dtype=np.float32)[:, np.newaxis]
    edges = np.cumsum([0, *sizes])
    pieces = (whole[a:b] for a, b in itertools.pairwise(edges))

    blocks = list(reader.rechunk(pieces, block_frames))

    assert all(len(block) == block_frames for block in blocks[:-1])
    assert sum(map(len, blocks)) == total
    assert np.array_equal(np.concatenate([whole[:0], *blocks]), whole)


@pytest.mark.parametrize("rate", [16_000, 44_100, 96_000])
def test_resampling_moves_nothing(folder: Path, rate: int) -> None:
    """At another rate the length is right to a sample, and each burst stays on its nearest sample.

    The reference is SciPy's polyphase resampler on the samples that went in.
    """
    common = math.gcd(rate, RATE)
    reference = resample_poly(_bursts()[:, 0].astype(np.float64), rate // common, RATE // common)
    for name in ("ours.wav", "ours.mp3"):
        heard = _read(folder / name, sample_rate=rate, block_frames=777)[:, 0]
        assert abs(len(heard) - 5 * rate) <= 1, name
        for second in range(5):
            window = slice(second * rate + 50, second * rate + rate // 5)
            wide = heard[window.start - 50 : window.stop + 50].astype(np.float64)
            assert int(np.argmax(np.correlate(wide, reference[window], "valid"))) == 50, name


def test_channels_are_mixed_by_their_mean(tmp_path: Path) -> None:
    """One channel is the mean of all; more are copies of it; None keeps what the file has."""
    stereo = np.stack([np.full(9_000, 0.5), np.full(9_000, -0.25)], axis=1)
    soundfile.write(tmp_path / "s.wav", stereo, RATE, subtype="FLOAT")
    _ffmpeg("-i", str(tmp_path / "s.wav"), "-c:a", "pcm_f32le", str(tmp_path / "s.mkv"))

    for name in ("s.wav", "s.mkv"):
        assert np.all(_read(tmp_path / name) == 0.125), name
        assert np.array_equal(_read(tmp_path / name, channels=None), stereo.astype(np.float32)), name
        assert _read(tmp_path / name, channels=3).shape == (9_000, 3), name


def _bad_files(folder: Path) -> dict[str, str]:
    rng = np.random.default_rng(0)
    many = io.BytesIO()
    soundfile.write(many, np.zeros((10, 40)), RATE, format="WAV")
    files = {
        "empty.mp3": (b"", "empty"),
        "noise.m4a": (rng.bytes(20_000), "not an audio or video file"),
        "text.wav": (b"hello world\n" * 50, "not an audio or video file"),
        "header.wav": (b"RIFF\x24\0\0\0WAVEfmt ", "not an audio or video file"),
        "silent.wav": (_wav_bytes(0), "not an audio or video file"),
        "head.flac": (b"fLaC\0\0\0\x22" + bytes(34), "not an audio or video file"),
        "many.wav": (many.getvalue(), "40 channels"),
        "list.m3u8": (
            b"#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nours.mp3\n",
            "cannot be decoded|not an",
        ),
        "list.txt": (b"ffconcat version 1.0\nfile 'ours.mp3'\n", "cannot be decoded|not an"),
    }
    for name, (content, _) in files.items():
        (folder / name).write_bytes(content)
    (folder / "folder.mp3").mkdir(exist_ok=True)
    _ffmpeg(
        "-f", "lavfi", "-i", "testsrc=duration=1:size=32x32:rate=5", "-c:v", "mpeg4", str(folder / "mute.mp4")
    )
    return {name: cause for name, (_, cause) in files.items()} | {
        "missing.mp3": "no such file", "folder.mp3": "is a folder", "mute.mp4": "holds no sound",
    }  # fmt: skip


def _wav_bytes(n_frames: int) -> bytes:
    made = io.BytesIO()
    soundfile.write(made, np.zeros(n_frames), RATE, format="WAV", subtype="PCM_16")
    return made.getvalue()


def test_files_that_are_no_sound_are_named_with_the_cause(folder: Path) -> None:
    """Missing, empty, junk, mute, too wide, or a playlist that names other files: a message, no traceback."""
    for name, cause in _bad_files(folder).items():
        with pytest.raises(AudioFileError, match=rf"{name}: .*({cause})"):
            _read(folder / name)
    for name in ("missing.mp3", "empty.mp3", "noise.m4a", "mute.mp4", "list.m3u8"):
        with pytest.raises(AudioFileError, match=name):
            media.probe(folder / name)


def test_names_that_look_like_protocols_are_only_names(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file called like an ffmpeg protocol or option is read as the file it is."""
    monkeypatch.chdir(folder)
    for name in ("concat:a|b.mp3", "-i.mp3", "http:x.mp3", "%03d.mp3"):
        shutil.copy(folder / "ours.mp3", name)
        assert len(_read(Path(name))) == 5 * RATE, name


@pytest.mark.parametrize("suffix", FORMATS)
def test_a_name_that_is_no_text_is_read_like_any_other(folder: Path, tmp_path: Path, suffix: str) -> None:
    """A name in Latin-1, as an old disk has them, ended in an error of our own for WAV and FLAC."""
    try:
        path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/M\xe4rz." + suffix.encode()))
        shutil.copy(folder / f"ours.{suffix}", path)
    except (OSError, UnicodeDecodeError) as error:
        pytest.skip(f"this system takes no such names: {error}")
    assert len(_read(path)) == 5 * RATE
    assert media.probe(path).duration_s == pytest.approx(5.0, abs=0.03)


@pytest.mark.parametrize("name", ["ours.wav", "ours.flac", "ours.m4a", "ours.mp3", "ours.opus", "film.mkv"])
def test_what_is_left_of_a_cut_file_is_read_and_told(folder: Path, tmp_path: Path, name: str) -> None:
    """Two thirds of a file give about two thirds of its sound, and a line that says it is damaged."""
    whole = (folder / name).read_bytes()
    cut = tmp_path / name
    cut.write_bytes(whole[: len(whole) * 2 // 3])
    signs: list[str] = []

    heard = _read(cut, on_damage=signs.append)

    assert 0.45 * 5 * RATE < len(heard) < 0.8 * 5 * RATE
    assert signs
    if name != "ours.flac" and name != "film.mkv":
        assert "cut short" in (media.probe(cut).damage or "")


@pytest.mark.parametrize("share", [0.05, 0.5, 0.97])
def test_a_damaged_flac_is_read_up_to_the_damage(tmp_path: Path, share: float) -> None:
    """As much is heard as libsndfile gives in small blocks, whatever the size that was asked for."""
    path = tmp_path / "noise.flac"
    sound = np.random.default_rng(1).uniform(-0.3, 0.3, (10 * RATE, 1)).astype(np.float32)
    soundfile.write(path, sound, RATE)
    data = bytearray(path.read_bytes())
    data[int(share * len(data))] ^= 0xFF
    path.write_bytes(data)
    small: list[np.ndarray] = []
    with soundfile.SoundFile(path) as file, contextlib.suppress(soundfile.SoundFileError):
        while len(small) * 4_096 < len(sound):
            small.append(file.read(4_096, dtype="float32", always_2d=True))
    for block_frames in (1_000, 65_536, 1 << 20):
        signs: list[str] = []
        heard = _read(path, block_frames=block_frames, on_damage=signs.append)
        assert np.array_equal(heard, np.concatenate(small))
        assert len(heard) > (share - 0.02) * 10 * RATE
        assert [sign.partition(" s:")[0] for sign in signs] == [
            f"reading stopped after {len(heard) / RATE:.1f}"
        ]


@pytest.fixture(scope="module")
def unusual(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same bursts as others may have them: two tracks, six channels, other codecs, a late start."""
    made = tmp_path_factory.mktemp("unusual")
    source, film = str(folder / "ours.wav"), str(folder / "film.mp4")
    tone = ["-f", "lavfi", "-i", "sine=440:duration=5"]
    _ffmpeg("-i", film, *tone, "-map", "0", "-map", "1", "-c:v", "copy", str(made / "two.mp4"))
    _ffmpeg("-itsoffset", "1.5", "-i", film, "-i", film, "-map", "0:a", "-map", "1:v", "-c", "copy",
            str(made / "late.mp4"))  # fmt: skip
    _ffmpeg("-ss", "1", "-i", str(folder / "ours.m4a"), "-c", "copy", str(made / "cut.m4a"))
    _ffmpeg("-i", source, "-ac", "6", "-c:a", "aac", str(made / "six.m4a"))
    _ffmpeg("-i", source, "-c:a", "alac", str(made / "alac.m4a"))
    _ffmpeg("-i", source, "-c:a", "adpcm_ms", str(made / "adpcm.wav"))
    _ffmpeg("-i", source, "-ar", "22050", "-q:a", "4", str(made / "variable.mp3"))
    _ffmpeg("-i", source, "-c:a", "aac", str(made / "stream.ts"))
    _ffmpeg("-i", source, "-c:a", "pcm_u8", str(made / "bytes.mka"))
    return made


def test_reading_in_a_filter_gives_what_the_usual_way_gives(
    folder: Path, unusual: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sample for sample, with the same signs of damage: of whole files, cut ones and corrupted ones."""
    paths = sorted(path for path in (*folder.iterdir(), *unusual.iterdir()) if path.is_file())
    for path in list(paths):
        data = bytearray(path.read_bytes())
        paths.append(tmp_path / f"cut {path.name}")
        paths[-1].write_bytes(data[: len(data) * 3 // 4])
        middle = len(data) // 2
        data[middle : middle + 300] = bytes(300)
        paths.append(tmp_path / f"bad '{path.name}")
        paths[-1].write_bytes(data)

    def all_of(path: Path) -> tuple[np.ndarray, list[str]]:
        signs: list[str] = []
        try:
            return np.concatenate(list(media.decode(path, channels=None, on_damage=signs.append))), signs
        except AudioFileError as error:
            return np.zeros((0, 1)), [str(error)]

    in_a_filter = [all_of(path) for path in paths]
    monkeypatch.setattr(ffmpeg, "reads_in_a_filter", lambda: False)

    for path, (heard, signs) in zip(paths, in_a_filter, strict=True):
        usual, usual_signs = all_of(path)
        assert np.array_equal(heard, usual), path.name
        assert signs == usual_signs, path.name
    assert sum(bool(signs) for _, signs in in_a_filter) > 20


@pytest.mark.parametrize(
    ("version", "reads"),
    [("7.0.2-static", False), ("n9.0.2-17-g2a571b6068", True), ("10.1", True), ("N-1-g2", False)],
)
def test_only_releases_that_were_compared_read_in_a_filter(
    version: str, reads: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Older ones, and builds that name no release, are used the usual way."""
    monkeypatch.setattr("imageio_ffmpeg.get_ffmpeg_version", lambda: version)

    assert ffmpeg.reads_in_a_filter.__wrapped__() is reads


def test_values_that_are_no_numbers_are_silence_and_told(tmp_path: Path) -> None:
    """NaN and infinity in a float file become zero, once reported."""
    sound = np.full(1_000, 0.1, np.float32)
    sound[[3, 500]] = [np.nan, np.inf]
    soundfile.write(tmp_path / "nan.wav", sound, RATE, subtype="FLOAT")
    signs: list[str] = []

    heard = _read(tmp_path / "nan.wav", on_damage=signs.append)[:, 0]

    assert signs == ["holds samples that are not numbers; they are read as silence"]
    assert list(np.flatnonzero(heard == 0)) == [3, 500]


def test_a_reader_that_is_left_leaves_no_process(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing a half-read stream ends and reaps the decoder."""
    started: list[subprocess.Popen[bytes]] = []
    real = subprocess.Popen

    def remember(*arguments: object, **options: object) -> subprocess.Popen[bytes]:
        started.append(real(*arguments, **options))
        return started[-1]

    monkeypatch.setattr(subprocess, "Popen", remember)
    stream = media.decode(folder / "film.mp4", block_frames=100)
    next(stream)
    stream.close()

    assert len(started) == 1
    assert started[0].returncode is not None


@pytest.mark.parametrize("ending", ["m4a", "mp3", "opus"])
def test_a_file_without_a_fault_is_decoded_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    """The second, slower way is for what the first has something to say of."""
    path = tmp_path / f"a.{ending}"
    media.encode(path, _pieces(_bursts()), sample_rate=RATE)
    commands: list[list[str]] = []
    running = ffmpeg.running

    def counted(command: list[str], **wanted: object) -> object:
        commands.append(command)
        return running(command, **wanted)

    monkeypatch.setattr(ffmpeg, "running", counted)
    assert len(_read(path)) == 5 * RATE
    assert len(commands) == 1


@pytest.mark.parametrize("kbps", [32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320])
def test_every_bitrate_of_layer_iii_is_joined(tmp_path: Path, kbps: int) -> None:
    """The table of frames is the standard's: mutagen reads the bitrate, and no sample is lost or added."""
    path, sound = tmp_path / "a.mp3", _bursts(2)
    media.encode(path, _pieces(sound), sample_rate=RATE, bitrate_kbps=kbps)
    assert mutagen.File(path).info.bitrate == kbps * 1000
    assert len(_read(path)) == len(sound)


def test_decoders_let_an_encoder_go_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that is read from is lowered, from where ours is, while another is fed; no other ever is."""
    lowered: list[tuple[int, int]] = []
    # Not every system has these.
    monkeypatch.setattr(os, "PRIO_PROCESS", 0, raising=False)
    monkeypatch.setattr(os, "getpriority", lambda _which, _who: 3, raising=False)
    monkeypatch.setattr(
        os, "setpriority", lambda _which, who, value: lowered.append((who, value)), raising=False
    )
    waiting = [sys.executable, "-c", "import sys, time; sys.stdout.close(); time.sleep(600)"]

    with ffmpeg.running(waiting, feed=False):
        assert lowered == []
    with ffmpeg.running(waiting, feed=True), ffmpeg.running(waiting, feed=False) as (decoder, _):
        assert lowered == [(decoder.pid, 3 + ffmpeg.DECODER_NICENESS)]
    with ffmpeg.running(waiting, feed=False):
        assert len(lowered) == 1


def test_a_system_without_priorities_decodes_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is nothing to lower by, or it is refused, a decoder runs as it is."""
    waiting = [sys.executable, "-c", "import time; time.sleep(600)"]

    def refuse(_which: int, _who: int, _value: int) -> None:
        raise PermissionError

    for how in ("refused", "missing"):
        monkeypatch.setattr(os, "setpriority", refuse, raising=False)
        if how == "missing":
            monkeypatch.delattr(os, "setpriority")
        with ffmpeg.running(waiting, feed=True), ffmpeg.running(waiting, feed=False) as (decoder, _):
            assert decoder.poll() is None, how


# Titles that try to leave their place, and fractions of a second that other writers get wrong.
CHAPTERS = [
    Chapter(0, 499, "The longest first title, so that an order by size would show"),
    Chapter(499, 500, "b"),
    Chapter(500, 1_500, "Legs = left; right # 1 \\ 2"),
    Chapter(1_500, 1_999, "line one\nline two"),
    Chapter(1_999, 3_600, "Rückwärts 🏋 ①"),
    Chapter(3_600, 5_000, "[CHAPTER]\nSTART=0"),
]
TAGS = {
    "title": "Boathouse = legs; #1 \\ \n[CHAPTER] 🏋",
    "artist": "É" * 150,
    "album": "a=b",
    "date": "2026-11-25",
    "comment": "Stop if it hurts.\nAsk a doctor first.",
}


def _png() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (48, 32), (200, 30, 30)).save(made, "PNG")
    return made.getvalue()


@pytest.fixture(scope="module")
def tagged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("tagged")
    for suffix in FORMATS:
        plain = suffix == "wav"
        media.encode(
            made / f"t.{suffix}", _pieces(_bursts()), sample_rate=RATE, n_frames=5 * RATE,
            metadata=Metadata(TAGS) if plain else Metadata(TAGS, CHAPTERS, _png()),
        )  # fmt: skip
    return made


def _id3_frames(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return (name, body) of each frame of an ID3v2.4 tag at the start of `data`.

    Source: ID3 tag version 2.4.0, sections 3.1 and 4: sizes are big-endian with 7 bits to a byte.
    """

    def size(at: int) -> int:
        return sum(data[at + i] << 7 * (3 - i) for i in range(4))

    assert data[:6] == b"ID3\x04\x00\x00"
    at, end, frames = 10, 10 + size(6), []
    while at < end and data[at]:
        frames.append((data[at : at + 4], data[at + 10 : at + 10 + size(at + 4)]))
        at += 10 + size(at + 4)
    return frames


@pytest.mark.parametrize("suffix", TITLED)
def test_chapters_read_back_to_the_millisecond(tagged: Path, suffix: str) -> None:
    """Starts and titles come back the same by our reader and by PyAV, in order, at every fraction.

    mutagen wrote all of them but those of M4A, which it reads here. ffmpeg writes Ogg chapters a second late
    from .5 s on (computed; its source read): .500, 1.500 and 1.999 are here for that.
    """
    path = tagged / f"t.{suffix}"
    expected = [(chapter.start_ms, chapter.title) for chapter in CHAPTERS]

    assert [(chapter.start_ms, chapter.title) for chapter in media.probe(path).chapters] == expected
    with av.open(str(path)) as container:
        found = [
            (round(row["start"] * row["time_base"] * 1000), row["metadata"]["title"])
            for row in container.chapters()
        ]
    assert found == expected
    if suffix == "m4a":
        assert [(round(row.start * 1000), row.title) for row in mutagen.File(path).chapters] == expected


def test_id3_chapters_are_laid_out_by_the_standard(tagged: Path) -> None:
    """Frames in order of time, each of at most 127 bytes, listed by one top-level, ordered contents table.

    Source: ID3v2 Chapter Frame Addendum 1.0 (value from a secondary source): CHAP holds a name ended by NUL,
    start and end in ms and two byte offsets, all ones where unused; CTOC a name, flags 2 (top level) and 1
    (ordered), a count, and the names. The 127 bytes are ffmpeg's limit (its source read).
    """
    frames = _id3_frames((tagged / "t.mp3").read_bytes())
    chapters = [body for name, body in frames if name == b"CHAP"]
    names = [body.split(b"\0")[0] for body in chapters]
    times = [
        struct.unpack_from(">IIII", body, len(name) + 1) for name, body in zip(names, chapters, strict=True)
    ]

    assert times == [(row.start_ms, row.end_ms, 0xFFFFFFFF, 0xFFFFFFFF) for row in CHAPTERS]
    assert all(len(body) <= 127 for body in chapters)
    assert [body for name, body in frames if name == b"CTOC"] == [
        b"toc\0\x03" + bytes([len(names)]) + b"".join(name + b"\0" for name in names)
    ]
    assert len(set(names)) == len(names)


def test_untitled_chapters_keep_their_order(tmp_path: Path) -> None:
    """Titles of no, few and many letters: the frames still come in order of time."""
    titles = ["Warm-up", "", "x", "", "A rather long title for so short a thing", "é"]
    rows = [Chapter(i * 500, (i + 1) * 500, title) for i, title in enumerate(titles)]
    media.encode(tmp_path / "u.mp3", _pieces(_bursts(3)), sample_rate=RATE, metadata=Metadata({}, rows))
    chapters = [body for name, body in _id3_frames((tmp_path / "u.mp3").read_bytes()) if name == b"CHAP"]
    starts = [struct.unpack_from(">I", body, body.index(b"\0") + 1)[0] for body in chapters]

    assert starts == [row.start_ms for row in rows]


@pytest.mark.parametrize("suffix", FORMATS)
def test_tags_survive_whatever_is_in_them(tagged: Path, suffix: str) -> None:
    """Title, artist, album, date and comment read back as written, with = ; # \\ line ends and emoji.

    By the ffmpeg program, and by tinytag, which wrote none of them.
    """
    found = media.probe(tagged / f"t.{suffix}").tags
    read = TinyTag.get(tagged / f"t.{suffix}")

    assert {name: found.get(name) for name in TAGS} == TAGS
    assert {name: getattr(read, "year" if name == "date" else name) for name in TAGS} == TAGS


@pytest.mark.parametrize("suffix", TITLED)
def test_the_cover_is_inside_and_moves_nothing(tagged: Path, suffix: str) -> None:
    """tinytag finds the very picture, PyAV a picture stream, and the sound is where it was."""
    path = tagged / f"t.{suffix}"
    picture = TinyTag.get(path, image=True).images.front_cover

    assert picture is not None
    assert picture.data == _png()
    assert picture.mime_type == "image/png"
    with av.open(str(path)) as container:
        assert len(container.streams.video) == 1
    assert not media.probe(path).has_video
    heard = _read(path)
    assert len(heard) == 5 * RATE
    assert _offset(heard, _bursts()) == 0


def test_the_comment_is_where_players_look(tagged: Path) -> None:
    """An MP3's comment is one COMM frame without description.

    Source: ID3 2.4.0 native frames, 4.10: encoding (3 is UTF-8), language, description ended by NUL, text.
    """
    frames = _id3_frames((tagged / "t.mp3").read_bytes())
    comments = [body for name, body in frames if name == b"COMM"]

    assert [body.rstrip(b"\0") for body in comments] == [b"\x03eng\0" + TAGS["comment"].encode()]
    assert not [name for name, _ in frames if name == b"TXXX"]


def test_long_titles_are_cut_between_characters(tmp_path: Path) -> None:
    """A title of 300 bytes leaves all chapters in place and no broken character, in every format."""
    long = [
        Chapter(0, 1_000, "é" * 150),
        Chapter(1_000, 2_000, "x" + "é" * 150),
        Chapter(2_000, 5_000, "end"),
    ]
    for suffix, n_bytes in (("m4a", 255), ("mp3", 95), ("opus", 301), ("flac", 301)):
        path = tmp_path / f"t.{suffix}"
        media.encode(path, _pieces(_bursts()), sample_rate=RATE, metadata=Metadata({}, long))
        found = media.probe(path).chapters
        assert [chapter.start_ms for chapter in found] == [0, 1_000, 2_000], suffix
        for chapter, whole in zip(found, long, strict=True):
            assert whole.title.startswith(chapter.title), suffix
            assert min(n_bytes, len(whole.title.encode())) - len(chapter.title.encode()) in (0, 1), suffix


def test_m4a_starts_playing_before_it_is_whole(tagged: Path) -> None:
    """The index (moov) comes before the sound (mdat)."""
    data = (tagged / "t.m4a").read_bytes()
    order = []
    at = 0
    while at < len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        order.append(name)
        at += length

    assert order.index(b"moov") < order.index(b"mdat")


def test_the_same_input_gives_the_same_bytes(tagged: Path, tmp_path: Path) -> None:
    """Every format is reproducible byte for byte, and does not depend on how the blocks were cut."""
    for suffix in FORMATS:
        path = tmp_path / f"t.{suffix}"
        plain = suffix == "wav"
        media.encode(
            path, _pieces(_bursts(), 4_001), sample_rate=RATE, n_frames=5 * RATE,
            metadata=Metadata(TAGS) if plain else Metadata(TAGS, CHAPTERS, _png()),
        )  # fmt: skip
        assert path.read_bytes() == (tagged / path.name).read_bytes(), suffix


def test_lossless_files_hold_the_24_bit_grid(tmp_path: Path) -> None:
    """Every 24-bit value comes back exactly, both ends of the scale included; beyond it is clipped."""
    values = np.array([-(2**23), -(2**23) + 1, -(2**22) - 1, -1, 0, 1, 2**22 + 1, 2**23 - 1]) / 2**23
    sound = np.append(values, [1.0, 1.5, -1.5]).astype(np.float32)[:, np.newaxis]
    for suffix in ("wav", "flac"):
        path = tmp_path / f"grid.{suffix}"
        media.encode(path, [sound], sample_rate=RATE, metadata=Metadata({"title": "t"}))
        assert list(_read(path)[:, 0]) == [*values.astype(np.float32), 1 - 2**-23, 1 - 2**-23, -1.0], suffix


@pytest.mark.parametrize("suffix", [form.suffix[1:] for form in formats.FORMATS if form.lossy])
def test_coding_keeps_the_level(tmp_path: Path, suffix: str) -> None:
    """What LAME takes off at a constant bitrate is given back: within 0.05 dB, for a tone of 1 kHz."""
    tone = (0.3 * np.sin(2 * np.pi * 1_000 / RATE * np.arange(2 * RATE))).astype(np.float32)[:, np.newaxis]
    media.encode(tmp_path / f"tone.{suffix}", [tone], sample_rate=RATE)
    heard = _read(tmp_path / f"tone.{suffix}")[RATE // 2 : -RATE // 2]

    assert 20 * math.log10(float(np.sqrt(np.mean(heard**2)) / (0.3 / math.sqrt(2)))) == pytest.approx(
        0, abs=0.05
    )


def test_aac_keeps_what_stereo_is_apart_in(tmp_path: Path) -> None:
    """Partials up to 12 kHz that are out of step between the channels come back 35 dB over the coding noise.

    With the encoder's own choice of tools it is 18 dB: it sends one channel for both, with no phase.
    """
    n, steps = 4 * RATE, np.arange(11)
    frequencies_hz = np.array([220, 440, 880, 1760, 3520, 7040, 8111, 9113, 10207, 11311, 12401])
    phase = 2 * np.pi * frequencies_hz * np.arange(n)[:, np.newaxis] / RATE
    ears = np.stack([(np.sin(phase + apart * steps) / (1 + 0.3 * steps)).sum(axis=1) for apart in (0.0, 0.3)])
    beat = np.arange(n) % (RATE // 2) < RATE // 4
    sound = (0.5 / np.abs(ears).max() * ears * beat).T.astype(np.float32)
    media.encode(tmp_path / "a.m4a", [sound], sample_rate=RATE, n_channels=2)
    heard = np.concatenate(list(media.decode(tmp_path / "a.m4a", channels=2)))
    noise = heard[:n].astype(np.float64) - sound
    assert 10 * np.log10(np.square(sound, dtype=np.float64).sum() / np.square(noise).sum()) > 35
    assert np.abs(heard).max() < 0.5 * 10 ** (0.1 / 20)


def test_a_wav_over_4_gib_becomes_rf64(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Past the limit (lowered here) the file is RF64 and reads back whole; unannounced length is refused."""
    monkeypatch.setattr(pcm, "MAX_RIFF_BYTES", 100_000)
    sound = _bursts(1)
    media.encode(tmp_path / "big.wav", [sound], sample_rate=RATE, n_frames=len(sound))

    assert (tmp_path / "big.wav").read_bytes()[:4] == b"RF64"
    assert len(_read(tmp_path / "big.wav")) == len(sound)
    with pytest.raises(SignalError, match="needs n_frames"):
        media.encode(tmp_path / "unknown.wav", [sound], sample_rate=RATE)
    assert not (tmp_path / "unknown.wav").exists()


@pytest.mark.parametrize("suffix", FORMATS)
def test_a_failed_encode_leaves_the_old_file_and_nothing_else(tmp_path: Path, suffix: str) -> None:
    """If the samples stop with an error, or Ctrl-C, the file that was there stays; no temporary file does."""
    target = tmp_path / f"old.{suffix}"
    target.write_bytes(b"before")

    def stops(error: BaseException) -> Iterator[np.ndarray]:
        yield np.zeros((100, 1), np.float32)
        raise error

    for error in (DeliveryError("no more"), KeyboardInterrupt()):
        with pytest.raises(type(error)):
            media.encode(target, stops(error), sample_rate=RATE)
    for bad in (np.zeros((5, 2), np.float32), np.zeros(5, np.float32), np.array([[np.nan]], np.float32)):
        with pytest.raises(SignalError):
            media.encode(target, [bad], sample_rate=RATE)
    with pytest.raises(SignalError, match="expected 7 frames to write, got 5"):
        media.encode(target, [np.zeros((5, 1), np.float32)], sample_rate=RATE, n_frames=7)

    assert target.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [target]


def test_an_encoder_that_dies_is_an_error_of_the_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A broken or missing ffmpeg program gives DeliveryError, and no file."""
    sound = [np.zeros((RATE, 1), np.float32)] * 30
    with monkeypatch.context() as patch:
        mp3 = formats.format_of("a.mp3")
        missing = replace(mp3, coding=replace(mp3.coding, encoder="nonesuch"))
        patch.setattr(writer, "format_of", lambda _path: missing)
        with pytest.raises(DeliveryError, match="nonesuch encoder failed"):
            media.encode(tmp_path / "a.mp3", sound, sample_rate=RATE)
    if os.name != "nt":
        # As the system ends an encoder whose file may grow no larger.
        ended = tmp_path / "ended"
        ended.write_text("#!/bin/sh\nkill -TERM $$\n", encoding="ascii")
        ended.chmod(0o755)
        with monkeypatch.context() as patch:
            patch.setattr(ffmpeg, "program", lambda: str(ended))
            with pytest.raises(DeliveryError, match=r"ended by signal 15 \(Terminated"):
                media.encode(tmp_path / "a.mp3", sound, sample_rate=RATE)
        ended.unlink()
    monkeypatch.setattr(ffmpeg, "program", lambda: str(tmp_path / "gone"))
    with pytest.raises(DeliveryError, match="cannot start the ffmpeg program"):
        media.encode(tmp_path / "a.m4a", sound, sample_rate=RATE)
    with pytest.raises(DeliveryError, match="cannot write in its folder"):
        media.encode(tmp_path / "nowhere" / "a.wav", sound, sample_rate=RATE)
    assert list(tmp_path.iterdir()) == []


def test_what_no_encoder_takes_is_said_with_what_they_take(tmp_path: Path) -> None:
    """Suffix, rate, tags, chapters and cover are checked before anything is written."""
    with pytest.raises(UsageError, match=r"a\.xyz: cannot write \.xyz; name a file that ends in \.m4a"):
        media.encode(tmp_path / "a.xyz", [], sample_rate=RATE)
    with pytest.raises(UsageError, match=r"\.opus cannot hold 44100 Hz; use one of 8000, 12000, .* 48000"):
        media.encode(tmp_path / "a.opus", [], sample_rate=44_100)
    wrong = [[Chapter(5, 5, "a")], [Chapter(0, 9, "a"), Chapter(8, 10, "b")],
             [Chapter(i, i + 1, "c") for i in range(256)]]  # fmt: skip
    for chapters in wrong:
        with pytest.raises(SignalError, match="chapters"):
            media.encode(tmp_path / "a.mp3", [], sample_rate=RATE, metadata=Metadata({}, chapters))
    with pytest.raises(SignalError, match="tags can be"):
        media.encode(tmp_path / "a.mp3", [], sample_rate=RATE, metadata=Metadata({"mood": "x"}))
    with pytest.raises(SignalError, match="PNG"):
        media.encode(tmp_path / "a.mp3", [], sample_rate=RATE, metadata=Metadata(cover_png=b"GIF89a"))
    assert list(tmp_path.iterdir()) == []


def test_255_chapters_fit_in_every_format(tmp_path: Path) -> None:
    """The most that ID3's table of contents and a chapter list can count reads back whole."""
    many = [Chapter(19 * i, 19 * (i + 1), f"Round {i + 1}") for i in range(255)]
    for suffix in TITLED:
        media.encode(
            tmp_path / f"m.{suffix}", _pieces(_bursts()), sample_rate=RATE, metadata=Metadata({}, many)
        )
        found = media.probe(tmp_path / f"m.{suffix}").chapters
        assert [(c.start_ms, c.title) for c in found] == [(c.start_ms, c.title) for c in many], suffix


@given(st.text(max_size=40), st.text(max_size=40))
@settings(derandomize=True, deadline=None)
def test_ffmetadata_is_escaped_and_read_the_same(title: str, chapter: str) -> None:
    """What we write for ffmpeg is read back by our own reader of it, whatever the texts."""
    from cuelane.media.metadata import clean
    from cuelane.media.mp4_metadata import ffmetadata

    text = ffmetadata(Metadata({"title": title}, [Chapter(0, 10, chapter)]).checked())
    tags, chapters = parse_ffmetadata(text)

    def kept(value: str) -> str:
        value = clean(value)
        return value + " " if value.endswith("\\") else value

    assert tags.get("title", "") == kept(title)
    assert [c.title for c in chapters] == [kept(chapter)]


def test_a_chapters_own_tags_may_have_any_name(tmp_path: Path) -> None:
    """In Matroska a chapter may have a tag that is called as its times are; they stay what they are."""
    text = "[CHAPTER]\nTIMEBASE=1/1000\nSTART=100\nEND=900\ntitle=one\nSTART=late\nTIMEBASE=1/0\n"
    (tmp_path / "told.txt").write_text(f";FFMETADATA1\n{text}", encoding="utf-8")
    film = tmp_path / "film.mka"
    sound = ("-f", "lavfi", "-i", "sine=440:d=1", "-i", str(tmp_path / "told.txt"))
    _ffmpeg(*sound, "-map", "0:a", "-map_chapters", "1", str(film))

    assert b"late" in film.read_bytes()
    assert media.probe(film).chapters == (Chapter(100, 900, "one"),)


def test_damaged_containers_never_give_a_traceback(folder: Path, tmp_path: Path) -> None:
    """Bytes flipped at random, 60 files: sound, or an error of ours that names the file."""
    rng = np.random.default_rng(3)
    for number in range(60):
        name = f"ours.{FORMATS[number % 5]}"
        data = bytearray((folder / name).read_bytes())
        at = rng.integers(0, len(data) if number % 2 else min(len(data), 4_000), 30)
        for position in at:
            data[position] = int(rng.integers(0, 256))
        bad = tmp_path / name
        bad.write_bytes(data)
        for action in (lambda path: sum(map(len, media.decode(path))), media.probe):
            try:
                assert action(bad)
            except CuelaneError as error:
                assert name in str(error)  # noqa: PT017
