"""A track encoded in pieces (:mod:`cuelane.media.piecework`) to one file that players take for one encode."""

from __future__ import annotations

import contextlib
import subprocess
from array import array
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from cuelane.base.errors import DeliveryError
from cuelane.base.files import reason
from cuelane.media import ffmpeg
from cuelane.media.counted import CountedBlocks
from cuelane.media.frames import adts_payload
from cuelane.media.info_frame import InfoFrame
from cuelane.media.lossy import NO_METADATA
from cuelane.media.mp4_frames import FrameTables, fill
from cuelane.media.piecework import EncoderSettings, Piecework, joined_pieces

ADTS_TICKS_HZ = 28_224_000
"""The clock of ffmpeg's reader of ADTS: every sample rate of AAC divides it."""


def write_joined(
    path: Path,
    blocks: CountedBlocks,
    settings: EncoderSettings,
    work: Piecework,
    metadata_options: Sequence[str] = NO_METADATA,
) -> None:
    """Write `blocks` to `path`, in pieces. Temporary files go into its folder.

    Raises
    ------
    DeliveryError : an encoder failed, or `blocks` hold no sample. OSError : the disk does not take it.
    """
    # Closed before an error leaves: encoders that go on would write in a folder that is being removed.
    with contextlib.closing(joined_pieces(blocks, settings, path.parent, work)) as made:
        if settings.joining.muxer == "mp3":
            _write_mp3(path, _not_empty(made), blocks)
        else:
            _write_mp4(path, _not_empty(made), blocks, settings, metadata_options)


def _not_empty(pieces: Iterable[list[bytes]]) -> Iterator[list[bytes]]:
    """Give `pieces` on; the first must hold a frame, since the file's header is made after it."""
    first = True
    for frames in pieces:
        if first and not frames:
            raise DeliveryError("there is no sound to encode")
        first = False
        yield frames


def _write_mp4(
    path: Path,
    pieces: Iterable[list[bytes]],
    blocks: CountedBlocks,
    settings: EncoderSettings,
    metadata_options: Sequence[str],
) -> None:
    payload, template = path.with_name("frames.aac"), path.with_name(f"template{path.suffix}")
    first: list[bytes] = []
    sizes = array("I")
    with payload.open("wb") as file:
        for frames in pieces:
            first = first or frames[:1]
            bare = [adts_payload(frame) for frame in frames]
            file.writelines(bare)
            sizes.extend(map(len, bare))
    _wrap_adts(template, first, settings, metadata_options, movie_hz(settings.sample_rate, blocks.n_frames))
    fill(
        path, template, payload, FrameTables(np.array(sizes), settings.joining.frame_samples, blocks.n_frames)
    )
    template.unlink()
    payload.unlink()


def _write_mp3(path: Path, pieces: Iterable[list[bytes]], blocks: CountedBlocks) -> None:
    info: InfoFrame | None = None
    with path.open("wb") as file:
        for frames in pieces:
            if info is None:
                info = InfoFrame(frames[0])
                file.write(bytes(info.n_bytes))
            file.write(b"".join(frames))
            info.add(frames)
        assert info is not None
        file.seek(0)
        file.write(info.written(blocks.n_frames))


def movie_hz(sample_rate: int, n_samples: int) -> int:
    """Return the clock of the whole file: 31 bits must count a track of `n_samples` by it, as ffmpeg has it.

    Its own choice would be the clock of the stream, in which an hour does not fit.
    """
    return sample_rate if n_samples < 1 << 31 else sample_rate // 2


def _wrap_adts(
    path: Path, frames: list[bytes], settings: EncoderSettings, options: Sequence[str], clock_hz: int
) -> None:
    """Put `frames` into MPEG-4; an edit list tells the encoder's delay, since they begin before the sound."""
    unit, tick = settings.joining.frame_samples, ADTS_TICKS_HZ // settings.sample_rate
    stream = path.with_name("first.adts")
    stream.write_bytes(b"".join(frames))
    command = [*ffmpeg.quiet(), "-y", "-f", "aac", "-i", f"file:{stream}", *options, "-c:a", "copy"]
    start = f"(N-1)*{unit * tick}"
    command += ["-bsf:a", f"setts=pts={start}:dts={start}:duration={unit * tick}"]
    command += ["-movie_timescale", str(clock_hz)]
    command += ["-bitexact", "-f", settings.coding.muxer, f"file:{path}"]
    try:
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    except OSError as error:
        raise DeliveryError(f"cannot start the ffmpeg program: {reason(error)}") from error
    stream.unlink()
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise DeliveryError(f"the frames cannot be put into MPEG-4: {said[-1] if said else done.returncode}")
