"""Tracks encoded in pieces: no sample off, the same with any number of encoders, re-used."""

from __future__ import annotations

import binascii
import errno
import io
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import mutagen
import numpy as np
import pytest
from PIL import Image

from cuelane import media
from cuelane.audio.store import ClipStore
from cuelane.base.errors import DeliveryError
from cuelane.media import Chapter, Metadata, ffmpeg, joined, piecework
from cuelane.media.counted import CountedBlocks
from cuelane.media.crc16 import Crc16
from cuelane.media.formats import Joining, LossyCoding, format_of
from cuelane.media.frames import split_frames
from cuelane.media.joined import _wrap_adts, movie_hz, write_joined
from cuelane.media.lossy import write_lossy
from cuelane.media.mp4_frames import FrameTables, fill
from cuelane.media.mp4_metadata import mp4_options
from cuelane.media.piecework import EncoderSettings, Fed, Piecework, fed_pieces, piece_key

RATE = 48_000
PIECE_FRAMES = 49 * 2


def _settings(
    suffix: str, rate: int = RATE, channels: int = 1, piece_frames: int = PIECE_FRAMES
) -> EncoderSettings:
    """Return a format's own settings, but with pieces of two seconds."""
    coding = format_of(f"a{suffix}").coding
    assert isinstance(coding, LossyCoding)
    assert coding.joining is not None
    joining = replace(coding.joining, piece_frames=piece_frames)
    return EncoderSettings(coding, joining, rate, channels, coding.bitrate_kbps * channels)


def _blocks(sound: np.ndarray, size: int = 10_007) -> Iterator[np.ndarray]:
    return (sound[start : start + size] for start in range(0, len(sound), size))


def _sound(n_frames: int, channels: int = 1, rate: int = RATE) -> np.ndarray:
    """Return hard attacks near full scale, then bursts and silence; shape (n, channels)."""
    rng = np.random.default_rng(11)
    time_s = np.arange(n_frames) / rate
    note = 110.0 * 2 ** (np.floor(time_s * 3) % 7 / 12)
    sound = sum(np.sin(2 * np.pi * k * note * time_s) / k for k in range(1, 9)) * np.exp(
        -3 * (time_s % (1 / 3))
    )
    sound = 0.98 * sound / np.abs(sound).max() if n_frames else sound
    later = n_frames // 2
    gate = (time_s[later:] % 1.7) < 0.8
    sound[later:] = gate * rng.normal(0, 0.1, n_frames - later)
    return np.stack([sound * (1 - 0.3 * c) for c in range(channels)], axis=1).astype(np.float32)


def _joined(path: Path, sound: np.ndarray, settings: EncoderSettings, work: Piecework | None = None) -> bytes:
    write_joined(
        path, CountedBlocks(_blocks(sound), sound.shape[1]), settings, work or Piecework(n_encoders=2)
    )
    return path.read_bytes()


def _alone(path: Path, sound: np.ndarray, settings: EncoderSettings) -> bytes:
    blocks = CountedBlocks(_blocks(sound), sound.shape[1])
    write_lossy(path, blocks, settings.coding, settings.sample_rate, settings.bitrate_kbps)
    return path.read_bytes()


def _heard(path: Path) -> np.ndarray:
    return np.concatenate(list(media.decode(path)))


UNIT = 1_152
# Where the frame of a mono file that holds no sound tells the padding, and where its own check sum stands.
PADDING, TAG_SUM = slice(163, 165), slice(173, 175)
LENGTHS = {
    "shorter than a piece": 30_000,
    "two pieces to the sample": 2 * PIECE_FRAMES * UNIT,
    "a sample more": 2 * PIECE_FRAMES * UNIT + 1,
    "as long as the tail": (2 * PIECE_FRAMES + 4) * UNIT,
    "past the tail": (2 * PIECE_FRAMES + 4) * UNIT + 1,
    "several": 7 * PIECE_FRAMES * UNIT + 777,
}


@pytest.mark.parametrize("name", LENGTHS)
def test_mp3_in_pieces_is_the_file_that_one_encoder_writes(name: str, tmp_path: Path) -> None:
    """Byte for byte as by ffmpeg, the frame with length, places, delay and check sums included."""
    sound, settings = _sound(LENGTHS[name]), _settings(".mp3")
    joined = bytearray(_joined(tmp_path / "a.mp3", sound, settings))
    alone = bytearray(_alone(tmp_path / "b.mp3", sound, settings))
    if len(_heard(tmp_path / "b.mp3")) != len(sound):
        # ffmpeg 9 tells up to 46 samples too little padding where there is more than a frame of it.
        assert 0 < len(sound) % UNIT < 47
        for file in (joined, alone):
            file[PADDING], file[TAG_SUM] = b"", b""

    assert joined == alone
    assert len(_heard(tmp_path / "a.mp3")) == len(sound)


@pytest.mark.parametrize(("rate", "channels"), [(44_100, 1), (44_100, 2), (32_000, 1), (48_000, 2)])
def test_mp3_in_pieces_at_other_rates_and_in_stereo(rate: int, channels: int, tmp_path: Path) -> None:
    sound, settings = _sound(9 * rate, channels, rate), _settings(".mp3", rate, channels)

    assert _joined(tmp_path / "a.mp3", sound, settings) == _alone(tmp_path / "b.mp3", sound, settings)


def _noise_db(heard: np.ndarray, sound: np.ndarray, at: int, unit: int) -> float:
    """Return the level of what coding added in the two frames round sample `at`, dBFS."""
    span = slice(max(at - unit, 0), at + unit)
    return float(10 * np.log10(np.mean((heard[span] - sound[span]) ** 2) + 1e-12))


def _aac_faults(path: Path, sound: np.ndarray, alone: np.ndarray, piece_frames: int) -> list[str]:
    """Return what is wrong with a joined AAC file: its length, or a joint noisier than one pass.

    A joint may be 3 dB noisier than the noisiest of five places about it in the single encode, since
    each frame's steps are chosen anew; a frame lost or doubled moves the sound by 1024 samples.
    """
    heard, unit = _heard(path), 1_024
    faults = [] if len(heard) == len(sound) else [f"{len(heard)} samples of {len(sound)}"]
    heard = np.resize(heard, sound.shape)
    for joint in range(piece_frames * unit, len(sound) - 3 * unit, piece_frames * unit):
        near = [_noise_db(alone, sound, joint + shift * unit, unit) for shift in (-6, -4, -2, 0, 2)]
        for shift in (-2, -1, 0, 1, 2):
            if (level := _noise_db(heard, sound, joint + shift * unit, unit)) > max(near) + 3:
                faults.append(
                    f"noise of {level:.1f} dBFS at the joint {joint}, one encoder makes {max(near):.1f}"
                )
    return faults


@pytest.mark.parametrize("extra", [0, 1, 4 * 1_024, 4 * 1_024 + 1, 50_001])
def test_aac_in_pieces_has_silent_joints(extra: int, tmp_path: Path) -> None:
    """To the sample as long as what went in, and nowhere near a joint with more noise than in one pass."""
    settings = _settings(".m4a", piece_frames=64)
    sound = _sound(6 * 64 * 1_024 + extra)
    _joined(tmp_path / "a.m4a", sound, settings)
    _alone(tmp_path / "b.m4a", sound, settings)

    assert _aac_faults(tmp_path / "a.m4a", sound, _heard(tmp_path / "b.m4a"), 64) == []


@pytest.mark.parametrize("suffix", [".mp3", ".m4a"])
def test_silence_and_short_sound(suffix: str, tmp_path: Path) -> None:
    for n_frames in (1, 1_000, 5 * RATE):
        sound = np.zeros((n_frames, 1), np.float32)
        _joined(tmp_path / f"a{suffix}", sound, _settings(suffix))
        heard = _heard(tmp_path / f"a{suffix}")
        assert len(heard) == n_frames
        assert np.abs(heard).max() < 10 ** (-90 / 20)


@pytest.mark.parametrize("fault", ["lost", "doubled"])
@pytest.mark.parametrize("suffix", [".mp3", ".m4a"])
def test_a_frame_lost_or_doubled_at_a_joint_is_noticed(
    suffix: str, fault: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = _settings(suffix, piece_frames=PIECE_FRAMES if suffix == ".mp3" else 64)
    sound = _sound(6 * 64 * 1_024)
    alone = _alone(tmp_path / f"b{suffix}", sound, settings)
    right = piecework._encoded

    def wrong(fed: Fed, *rest: object) -> list[bytes]:
        frames = right(fed, *rest)
        if fed.number != 1:
            return frames
        return frames[1:] if fault == "lost" else [frames[0], *frames]

    monkeypatch.setattr(piecework, "_encoded", wrong)
    joined = _joined(tmp_path / f"a{suffix}", sound, settings)

    if suffix == ".mp3":
        assert joined != alone
    else:
        assert len(_aac_faults(tmp_path / "a.m4a", sound, _heard(tmp_path / "b.m4a"), 64)) > 3


@pytest.mark.parametrize("suffix", [".mp3", ".m4a"])
def test_the_same_bytes_with_any_number_of_encoders_and_with_kept_pieces(suffix: str, tmp_path: Path) -> None:
    sound, settings = _sound(5 * RATE), _settings(suffix, piece_frames=49)
    kept = _Shelf()
    files = {
        _joined(tmp_path / f"{number}{suffix}", sound, settings, work)
        for number, work in enumerate(
            [Piecework(n_encoders=1), Piecework(n_encoders=3), Piecework(kept, 2), Piecework(kept, 1)]
        )
    }

    assert len(files) == 1
    assert kept.n_missed == len(kept.found) > 2


class _Shelf:
    """Pieces kept in memory."""

    def __init__(self) -> None:
        self.found: dict[str, bytes] = {}
        self.n_missed = 0

    def piece(self, key: str) -> bytes | None:
        if key not in self.found:
            self.n_missed += 1
        return self.found.get(key)

    def keep_piece(self, key: str, content: bytes) -> None:
        self.found[key] = content


@pytest.mark.parametrize("suffix", [".mp3", ".m4a"])
def test_only_pieces_that_hear_a_change_are_encoded_again(suffix: str, tmp_path: Path) -> None:
    settings = replace(_settings(suffix), joining=replace(_settings(suffix).joining, priming_frames=16))
    sound, shelf = _sound(20 * RATE), _Shelf()
    _joined(tmp_path / f"a{suffix}", sound, settings, Piecework(shelf, 2))
    n_pieces = shelf.n_missed
    unit = PIECE_FRAMES * settings.joining.frame_samples
    sound[4 * unit + unit // 2] += 0.01
    again = _joined(tmp_path / f"b{suffix}", sound, settings, Piecework(shelf, 2))
    assert (n_pieces, shelf.n_missed - n_pieces) == (-(-20 * RATE // unit), 1)
    # A change within the frames that prime the next piece is heard by both.
    sound[5 * unit - 100] += 0.01
    _joined(tmp_path / f"c{suffix}", sound, settings, Piecework(shelf, 2))
    assert shelf.n_missed - n_pieces == 3
    assert again != (tmp_path / f"c{suffix}").read_bytes()


def test_each_piece_is_fed_its_frames_with_what_stands_round_them() -> None:
    """Against slices of the whole, for many lengths and sizes of blocks."""
    joining = Joining(
        muxer="adts",
        options=(),
        frame_samples=8,
        piece_frames=5,
        priming_frames=2,
        silence_frames=9,
        cycle_frames=1,
        cycle_rates=frozenset(),
        sample_rates=frozenset(),
    )
    for n_frames in range(170):
        sound = np.arange(n_frames, dtype=np.float32)[:, None]
        for size in (1, 7, 40, 1_000):
            pieces = list(fed_pieces(_blocks(sound, size), joining))
            assert [piece.number for piece in pieces] == list(range(max(1, -(-n_frames // 40))))
            for piece in pieces:
                first = max(piece.number * 40 - 16, 0)
                stop = n_frames if piece.last else piece.number * 40 + 72
                fed = np.concatenate([np.zeros((0, 1), np.float32), *piece.blocks])
                assert np.array_equal(fed, sound[first:stop])
                assert piece.skip_frames == (2 if piece.number else 0)
                assert piece.last == (piece is pieces[-1])


def test_a_key_holds_all_that_decides() -> None:
    settings = _settings(".mp3")
    sound = _sound(1_000)
    told = Fed(0, (sound,), 0, last=False)
    longer = (np.zeros((5, 1), np.float32), sound)
    keys = [
        piece_key(told, settings),
        piece_key(replace(told, last=True), settings),
        piece_key(replace(told, skip_frames=1), settings),
        piece_key(replace(told, blocks=(sound * np.float32(0.5),)), settings),
        piece_key(replace(told, blocks=longer), settings),
        piece_key(replace(told, blocks=(*longer[::-1],)), settings),
        piece_key(told, replace(settings, bitrate_kbps=128)),
        piece_key(told, replace(settings, sample_rate=44_100)),
        piece_key(told, replace(settings, coding=replace(settings.coding, options=()))),
    ]

    assert len(set(keys)) == len(keys)
    # Neither a piece's number nor how its silence is cut into blocks decides.
    silence = np.zeros((9, 1), np.float32)
    one, two = ((silence, sound), (silence[:4], silence[4:], sound))
    assert piece_key(Fed(1, one, 0, last=False), settings) == piece_key(Fed(2, two, 0, last=False), settings)


def test_a_key_tells_encoders_apart_that_may_make_other_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another build of the same version, and another processor of the same kind of machine."""
    settings, told = _settings(".m4a"), Fed(0, (_sound(1_000),), 0, last=False)
    keys = {piece_key(told, settings)}
    assert keys == {piece_key(told, settings)}
    with monkeypatch.context() as other:
        other.setattr(ffmpeg, "build", lambda: "another")
        keys.add(piece_key(told, settings))
    with monkeypatch.context() as other:
        other.setattr(piecework, "processor", lambda: "older")
        keys.add(piece_key(told, settings))
    assert len(keys) == 3
    assert piecework.processor()


def test_builds_are_told_apart_by_what_they_say_and_by_their_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A script that the system runs as a program, each in its own language.
    windows = sys.platform == "win32"
    suffix, begin, more = (".bat", "@echo off", "rem") if windows else ("", "#!/bin/sh", "#")
    found = set()
    for name, said, end in (("a", "9 gcc", ""), ("b", "9 gcc", ""), ("c", "9 ccc", ""), ("d", "9 gcc", more)):
        path = tmp_path / f"{name}{suffix}"
        path.write_text(f"{begin}\necho ffmpeg version {said}\n{end}", encoding="utf-8")
        path.chmod(0o755)
        monkeypatch.setattr(ffmpeg, "program", lambda path=path: str(path))
        found.add(ffmpeg.build.__wrapped__())
    assert len(found) == 3


def _crc16(*parts: bytes) -> int:
    check = Crc16()
    for part in parts:
        check.add(part)
    return check.value


def test_check_sum_against_a_published_value_and_in_parts() -> None:
    """CRC-16/ARC of "123456789" is 0xBB3D (catalogue of parametrised CRC algorithms; value from memory)."""
    assert _crc16(b"123456789") == 0xBB3D
    assert _crc16() == _crc16(b"") == 0
    data = binascii.unhexlify("00ff10a7") * 9_001
    for cut in (0, 1, 2, 3, 500, 32_767, len(data)):
        assert _crc16(data[:cut], data[cut:]) == _crc16(data)


def test_check_sum_of_long_data_is_that_of_dividing_bit_by_bit() -> None:
    """Lengths on both sides of that at which the data begins to be folded, and of twice that."""
    for n_bytes in (32_766, 32_767, 32_768, 65_534, 70_001):
        data = np.random.default_rng(n_bytes).bytes(n_bytes)
        rest = 0
        for byte in data:
            rest ^= byte
            for _ in range(8):
                rest = rest >> 1 ^ (0xA001 if rest & 1 else 0)
        assert _crc16(data[:40_000], data[40_000:]) == rest


def test_a_broken_stream_is_refused() -> None:
    for suffix in (".mp3", ".m4a"):
        with pytest.raises(DeliveryError, match="broken at byte 0 of 20"):
            split_frames(bytes(20), _settings(suffix).joining)


def test_no_sound_is_an_error_for_people_and_leaves_nothing(tmp_path: Path) -> None:
    for suffix in (".mp3", ".m4a"):
        for blocks in ([], [np.zeros((0, 1), np.float32)]):
            with pytest.raises(DeliveryError, match="there is no sound to encode"):
                media.encode(tmp_path / f"none{suffix}", blocks, sample_rate=RATE)
    assert list(tmp_path.iterdir()) == []


def _told(path: Path) -> tuple[object, ...]:
    """Return what PyAV and mutagen read of an M4A file: packets, chapters, length, delay, tags."""
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        packets = [(p.pts, p.dts, p.duration) for p in container.demux(stream) if p.size]
        chapters = [
            (row["start"] * row["time_base"], row["end"] * row["time_base"], row["metadata"]["title"])
            for row in container.chapters()
        ]
        facts = (stream.duration, stream.start_time, stream.time_base, container.duration, stream.profile)
    tags = mutagen.File(path).tags
    return packets, chapters, facts, {name: tags[name] for name in tags if name != "\xa9too"}


@pytest.mark.parametrize("n_frames", [2, 1_024, 1_025, 100 * 1_024 + 5, 94 * 1_024, 30 * RATE + 7])
def test_m4a_in_pieces_tells_what_the_file_of_one_encoder_tells(n_frames: int, tmp_path: Path) -> None:
    """Each packet's place, length, delay, chapters, tags, cover, by two readers; decoded by a third."""
    sound, settings = _sound(n_frames), _settings(".m4a")
    length_ms = n_frames // 48
    chapters = [Chapter(0, length_ms // 2, "One"), Chapter(length_ms // 2, length_ms, "Zwei – ü")]
    picture = io.BytesIO()
    Image.new("RGB", (64, 64), "teal").save(picture, "PNG")
    told = Metadata({"title": "T", "comment": "C"}, chapters if length_ms > 1 else [], picture.getvalue())
    options = mp4_options(tmp_path, told)
    blocks = [CountedBlocks([sound], 1), CountedBlocks([sound], 1)]
    write_joined(tmp_path / "a.m4a", blocks[0], settings, Piecework(n_encoders=2), options)
    write_lossy(tmp_path / "b.m4a", blocks[1], settings.coding, RATE, settings.bitrate_kbps, options)

    ours, theirs = _told(tmp_path / "a.m4a"), _told(tmp_path / "b.m4a")
    for ours_part, theirs_part in zip(ours, theirs, strict=True):
        assert ours_part == theirs_part
    assert len(_heard(tmp_path / "a.m4a")) == n_frames
    rates = [mutagen.File(tmp_path / name).info.bitrate for name in ("a.m4a", "b.m4a")]
    # Read from the file's own account of itself; the two encodes differ by a few bytes in a frame.
    assert rates[0] == pytest.approx(rates[1], rel=0.02)
    assert {path.name for path in tmp_path.iterdir()} == {"a.m4a", "b.m4a", "cover.png", "metadata.txt"}


def test_a_day_of_sound_fits_an_m4a(tmp_path: Path) -> None:
    """By the tables alone: a plan may last 24 h, and 31 bits count 12 h of samples at 48,000 Hz."""
    n_samples = 24 * 3600 * RATE
    settings, sound = _settings(".m4a"), _sound(4_096)
    chapters = [Chapter(0, 12 * 3_600_000, "Day"), Chapter(12 * 3_600_000, 24 * 3_600_000, "Night")]
    stream = tmp_path / "one.adts"
    coding = replace(settings.coding, muxer="adts")
    write_lossy(stream, CountedBlocks([sound], 1), coding, RATE, settings.bitrate_kbps)
    first = split_frames(stream.read_bytes(), settings.joining)[:1]
    template, payload = tmp_path / "template.m4a", tmp_path / "frames.aac"
    options = mp4_options(tmp_path, Metadata({"title": "T"}, chapters))
    _wrap_adts(template, first, settings, options, movie_hz(RATE, n_samples))
    n_units = n_samples // 1_024 + 2
    with payload.open("wb") as file:
        file.truncate(4 * n_units)
    fill(tmp_path / "day.m4a", template, payload, FrameTables(np.full(n_units, 4), 1_024, n_samples))
    with av.open(str(tmp_path / "day.m4a")) as container:
        assert container.streams.audio[0].duration == n_samples
        assert container.duration == pytest.approx(24 * 3600 * 1_000_000, abs=100)
        assert [row["end"] * row["time_base"] for row in container.chapters()] == [12 * 3600, 24 * 3600]


def test_encoders_have_ended_when_the_file_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No thread goes on in a folder that the caller is about to remove."""
    before = threading.active_count()

    def full(_: bytes) -> bytes:
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr(joined, "adts_payload", full)
    sound = CountedBlocks(_blocks(_sound(30 * RATE)), 1)
    with pytest.raises(OSError, match="No space left") as caught:
        write_joined(tmp_path / "a.m4a", sound, _settings(".m4a"), Piecework(n_encoders=2))
    assert threading.active_count() == before, caught


def test_a_program_that_cannot_be_run_is_told_with_kept_pieces_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing() -> str:
        raise RuntimeError("none")

    for name in ("program", "build"):
        cached = getattr(ffmpeg, name)
        monkeypatch.setattr(ffmpeg, name, cached.__wrapped__)
    monkeypatch.setattr("imageio_ffmpeg.get_ffmpeg_exe", missing)
    with pytest.raises(DeliveryError, match="no ffmpeg program"):
        write_joined(
            tmp_path / "a.mp3",
            CountedBlocks([_sound(RATE)], 1),
            _settings(".mp3"),
            Piecework(ClipStore(tmp_path)),
        )
