"""Any audio or video file to a stream of float32 blocks.

WAV and FLAC are read by libsndfile, everything else by the ffmpeg program through a pipe. Time is counted
in samples from the first one a player would play, never taken from packet times: ffmpeg stamps the first
MP3 packet 1105 samples late although its samples are already trimmed.

Mixing to another number of channels takes the plain mean of all channels, in each output channel.
"""

from __future__ import annotations

import contextlib
import io
import struct
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, cast

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from cuelane.base.errors import AudioFileError
from cuelane.base.memory import keep_freed_memory
from cuelane.media import ffmpeg, media_limits
from cuelane.media.container_bytes import sign_of_damage
from cuelane.media.media_limits import require_file
from cuelane.media.named_sound import named_sound

Block = npt.NDArray[np.float32]
Damage = Callable[[str], None]

PACKET_FRAMES = 1 << 15
READ_BYTES = 1 << 18
"""The decoder writes a packet at a time; handling small ones costs more than decoding them."""
DAMAGE_STEP_FRAMES = 4_096
"""Chosen: at most so much sound is lost before a place where a file is damaged; as long as FLAC's frames."""
MOST_AT_ONCE_FRAMES = 262_144
"""Chosen: 32 channels of it take 34 MB."""

keep_freed_memory()

_MAGIC = {b"RIFF": "wav", b"RF64": "wav", b"fLaC": "flac"}


def decode(
    path: Path | str,
    *,
    sample_rate: int | None = None,
    channels: int | None = 1,
    block_frames: int = 65_536,
    on_damage: Damage | None = None,
) -> Iterator[Block]:
    """Yield the sound of `path` as blocks of shape (n, channels), float32, full scale 1.0.

    Every block holds `block_frames` frames but the last. Encoder delay and padding are trimmed as players
    trim them. Memory does not grow with the file.

    Parameters
    ----------
    sample_rate : resample to this rate (Hz); None keeps the file's own.
    channels : mix to this many; None keeps the file's own.
    on_damage : called with one line for each sign that the file is cut short or corrupted; the sound that
        could be read is still yielded.

    Raises
    ------
    AudioFileError : missing, not a file, not audio, no sound in it, or larger than
        :mod:`cuelane.media.media_limits` allows.
    """
    path = Path(path)
    require_file(path)
    notice: Damage = on_damage or (lambda _line: None)
    if (sign := sign_of_damage(path)) is not None:
        notice(sign)
    source = _native(path, notice, block_frames)
    native_rate, n_channels = next(source)
    assert isinstance(native_rate, int)
    assert isinstance(n_channels, int)
    target = sample_rate or native_rate
    blocks = _remixed(_finite(_arrays(source), notice), channels)
    if target != native_rate:
        blocks = _resampled(blocks, native_rate, target, channels or n_channels)
    yield from rechunk(blocks, block_frames)


def decode_at_own_rate(
    path: Path | str, *, most_channels: int, block_frames: int = 65_536
) -> tuple[int, int, Generator[Block, None, None]]:
    """Return the sample rate of `path`, its number of channels, and its sound as :func:`decode` yields it.

    A block has shape (n, n_channels). A file of more than `most_channels` is mixed to that many. Raises as
    :func:`decode` does.
    """
    path = Path(path)
    require_file(path)
    source = _native(path, lambda _line: None, block_frames)
    sample_rate, n_channels = next(source)
    channels = min(int(n_channels), most_channels)
    blocks = _remixed(_finite(_arrays(source), lambda _line: None), channels)
    return int(sample_rate), channels, rechunk(blocks, block_frames)


def magic(path: Path) -> str | None:
    """Return ``wav`` or ``flac`` by the file's first bytes, else None."""
    try:
        with path.open("rb") as file:
            return _MAGIC.get(file.read(4))
    except OSError as error:
        raise AudioFileError(f"{path}: cannot read this file: {error}") from error


def _native(path: Path, notice: Damage, block_frames: int) -> Iterator[Any]:
    """Yield (sample_rate, n_channels), then arrays (n, n_channels)."""
    if magic(path) is not None:
        try:
            yield from _by_soundfile(path, notice, block_frames)
            return
        except _NotForSoundfileError:
            pass
    yield from _by_ffmpeg(path, notice)


class _NotForSoundfileError(Exception):
    """libsndfile cannot open it (a codec it lacks, or a broken header); ffmpeg may."""


def _by_soundfile(path: Path, notice: Damage, block_frames: int) -> Iterator[Any]:
    try:
        file = soundfile.SoundFile(named_sound(path))
    except soundfile.SoundFileError as error:
        raise _NotForSoundfileError from error
    with file:
        media_limits.require_shape(path, file.samplerate, file.channels)
        if file.frames == 0:
            raise _NotForSoundfileError
        yield file.samplerate, file.channels
        read = 0
        try:
            for block in _frames_of(file, _whole_steps(block_frames)):
                read += len(block)
                media_limits.require_length(path, read, file.samplerate)
                yield block
        except soundfile.SoundFileError:
            for block in _again_in_steps(path, read, notice):
                read += len(block)
                yield block
            return
        if read == 0:
            raise AudioFileError(f"{path}: no sound in it can be decoded")
        if read < file.frames:
            notice(f"cut short: {read} of {file.frames} samples are there")


def _whole_steps(block_frames: int) -> int:
    """Return how many frames to read at once: a small block costs more to ask for than to decode."""
    return DAMAGE_STEP_FRAMES * max(1, min(block_frames, MOST_AT_ONCE_FRAMES) // DAMAGE_STEP_FRAMES)


def _frames_of(file: soundfile.SoundFile, at_once: int) -> Iterator[Block]:
    while len(block := file.read(at_once, dtype="float32", always_2d=True)):
        yield block


def _again_in_steps(path: Path, n_known: int, notice: Damage) -> Iterator[Block]:
    """Yield what a file whose reading failed has after its first `n_known` frames, up to the damage.

    A block that meets damage is lost whole. So the file is read from its start once more, since nobody knows
    whether a damaged one can be sought in, in blocks so small that little is lost.
    """
    read = 0
    with soundfile.SoundFile(named_sound(path)) as file:
        try:
            for block in _frames_of(file, DAMAGE_STEP_FRAMES):
                if len(left := block[max(0, n_known - read) :]):
                    yield left
                read += len(block)
                media_limits.require_length(path, read, file.samplerate)
        except soundfile.SoundFileError as error:
            if read == 0:
                raise AudioFileError(f"{path}: no sound in it can be decoded: {error}") from error
            notice(f"reading stopped after {read / file.samplerate:.1f} s: {error}")


@dataclass
class _Run:
    """What a run of the program gave: its exit status and what it said, once it has ended."""

    shape: tuple[int, int] | None = None
    n_frames: int = 0
    code: int = 0
    lines: list[str] = field(default_factory=list)


def _by_ffmpeg(path: Path, notice: Damage) -> Iterator[Any]:
    quick, whole = _Run(), _Run()
    if ffmpeg.reads_in_a_filter():
        with contextlib.suppress(OSError), path.open("rb") as file:
            yield from _program_output(path, ffmpeg.sound_of_stdin(PACKET_FRAMES), quick, file)
            if quick.n_frames and quick.code == 0 and not quick.lines:
                return
    # If anything was unusual, the file is decoded again in the usual way, which names the cause and goes on
    # after it.
    options = ["-map", "0:a:0", "-vn", "-sn", "-dn", "-map_metadata", "-1"]
    options += ["-af", f"asetnsamples=n={PACKET_FRAMES}:p=0"]
    with ffmpeg.input_file(path) as (opened, file):
        yield from _after(path, quick, whole, _program_output(path, [*opened, *options], whole, file), notice)


def _after(path: Path, quick: _Run, whole: _Run, output: Iterator[Any], notice: Damage) -> Iterator[Any]:
    """Yield what `output` has beyond what the `quick` run gave already; pass its messages to `notice`."""
    shape = next(output, None)
    if shape is None:
        raise AudioFileError(f"{path}: {_cause(whole.lines)}")
    if quick.shape is None:
        yield shape
    elif shape != quick.shape:
        raise AudioFileError(
            f"{path}: its sample rate or number of channels changes within the file; convert it to WAV first"
        )
    n_before = 0
    for block in output:
        left = block[max(0, quick.n_frames - n_before) :]
        n_before += len(block)
        if len(left):
            yield left
    if whole.n_frames == 0:
        raise AudioFileError(f"{path}: {_cause(whole.lines)}")
    for line in whole.lines:
        notice(line)
    if whole.code != 0 and not whole.lines:
        seconds = whole.n_frames / shape[0]
        notice(f"the decoder ended with status {whole.code} after {seconds:.1f} s")


def _program_output(path: Path, options: list[str], run: _Run, source: IO[bytes] | None) -> Iterator[Any]:
    """Yield (sample_rate, n_channels) and then blocks, and note both in `run`."""
    command = [*ffmpeg.quiet(), *options, "-bitexact", "-c:a", "pcm_f32le"]
    command += ["-flush_packets", "0", "-f", "wav", "pipe:1"]
    with ffmpeg.running(command, feed=False, source=source) as (process, said):
        assert process.stdout is not None
        ffmpeg.enlarge_pipe(process.stdout)
        stream = io.BufferedReader(cast(io.RawIOBase, process.stdout), READ_BYTES)
        run.shape = _wav_header(stream)
        if run.shape is not None:
            rate, n_channels = run.shape
            media_limits.require_shape(path, rate, n_channels)
            yield run.shape
            frame_bytes = 4 * n_channels
            left = b""
            while data := stream.read(READ_BYTES):
                data = left + data
                whole = len(data) - len(data) % frame_bytes
                left = data[whole:]
                if whole:
                    block = np.frombuffer(data, dtype="<f4", count=whole // 4).reshape(-1, n_channels)
                    run.n_frames += len(block)
                    media_limits.require_length(path, run.n_frames, rate)
                    yield block.astype(np.float32, copy=False)
        run.code = process.wait()
        run.lines = said.lines()


def _cause(lines: list[str]) -> str:
    text = " ".join(lines)
    if "matches no streams" in text:
        return "holds no sound"
    if "Permission denied" in text:
        return "cannot be read: permission denied"
    if "Invalid data found" in text or "Error opening input" in text or not lines:
        return "not an audio or video file that can be read, or too damaged to be"
    return f"cannot be decoded: {lines[-1]}"


def _wav_header(stream: IO[bytes]) -> tuple[int, int] | None:
    """Read up to the first sample of the WAV that ffmpeg pipes; None if it ends before."""
    if len(_exactly(stream, 12)) < 12:
        return None
    rate = n_channels = 0
    while True:
        head = _exactly(stream, 8)
        if len(head) < 8:
            return None
        name, size = struct.unpack("<4sI", head)
        if name == b"data":
            return rate, n_channels
        body = _exactly(stream, size + size % 2)
        if name == b"fmt ":
            n_channels, rate = struct.unpack_from("<HI", body, 2)


def _exactly(stream: IO[bytes], n_bytes: int) -> bytes:
    data = b""
    while len(data) < n_bytes and (more := stream.read(n_bytes - len(data))):
        data += more
    return data


def _arrays(source: Iterator[Any]) -> Iterator[Block]:
    yield from source


def _finite(blocks: Iterator[Block], notice: Damage) -> Iterator[Block]:
    told = False
    for block in blocks:
        if not all_finite(block):
            if not told:
                notice("holds samples that are not numbers; they are read as silence")
                told = True
            block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
        yield block


def all_finite(block: npt.NDArray[np.floating]) -> bool:
    """Return whether every sample of `block`, of any shape, is finite: a finite sum says so sooner."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = np.sum(block)
    return bool(np.isfinite(total)) or bool(np.isfinite(block).all())


def _remixed(blocks: Iterator[Block], channels: int | None) -> Iterator[Block]:
    for block in blocks:
        if channels is None or block.shape[1] == channels:
            yield block
        else:
            mean = mean_of_channels(block)[:, np.newaxis]
            yield mean if channels == 1 else np.repeat(mean, channels, axis=1)


def mean_of_channels(block: Block) -> Block:
    """Return the mean over the channels of `block`, shape (n, n_channels): shape (n,).

    Channel by channel, since NumPy takes many times as long along an axis of two.
    """
    total = block[:, 0].copy()
    for channel in range(1, block.shape[1]):
        total += block[:, channel]
    if block.shape[1] > 1:
        total /= np.float32(block.shape[1])
    return total


def _resampled(blocks: Iterator[Block], rate_in: int, rate_out: int, n_channels: int) -> Iterator[Block]:
    stream = soxr.ResampleStream(rate_in, rate_out, n_channels, dtype="float32", quality="HQ")
    for block in blocks:
        yield stream.resample_chunk(np.ascontiguousarray(block)).reshape(-1, n_channels)
    empty = np.zeros((0, n_channels), dtype=np.float32)
    yield stream.resample_chunk(empty, last=True).reshape(-1, n_channels)


def rechunk(blocks: Iterator[Block], block_frames: int) -> Generator[Block, None, None]:
    """Yield the same frames in blocks of shape (block_frames, n_channels), the last one shorter."""
    held: list[Block] = []
    n_held = 0
    for block in blocks:
        held.append(block)
        n_held += len(block)
        if n_held < block_frames:
            continue
        joined = held[0] if len(held) == 1 else np.concatenate(held)
        whole = len(joined) - len(joined) % block_frames
        for start in range(0, whole, block_frames):
            yield joined[start : start + block_frames]
        held = [joined[whole:]] if whole < len(joined) else []
        n_held = len(joined) - whole
    if n_held:
        yield np.concatenate(held)
