"""A track encoded in pieces (:mod:`cuelane.media.piecework`) to one file that players take for one encode."""

from __future__ import annotations

import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path

from cuelane.base.errors import DeliveryError
from cuelane.media import ffmpeg
from cuelane.media.counted import CountedBlocks
from cuelane.media.info_frame import InfoFrame
from cuelane.media.lossy import NO_METADATA
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
    DeliveryError : an encoder failed. OSError : the disk does not take it.
    """
    pieces = joined_pieces(blocks, settings, path.parent, work)
    if settings.joining.muxer == "mp3":
        _write_mp3(path, pieces, blocks)
        return
    stream = path.with_name("joined.adts")
    with stream.open("wb") as file:
        for frames in pieces:
            file.writelines(frames)
    _wrap_adts(path, stream, blocks.n_frames, settings, metadata_options)


def _write_mp3(path: Path, pieces: Iterable[list[bytes]], blocks: CountedBlocks) -> None:
    info: InfoFrame | None = None
    with path.open("wb") as file:
        for frames in pieces:
            if info is None:
                info = InfoFrame(frames[0])
                file.write(bytes(info.n_bytes))
            file.writelines(frames)
            info.add(frames)
        assert info is not None
        file.seek(0)
        file.write(info.written(blocks.n_frames))


def _wrap_adts(
    path: Path, stream: Path, n_frames: int, settings: EncoderSettings, metadata_options: Sequence[str]
) -> None:
    """Put the frames of `stream` into MPEG-4 as they are; an edit list tells the encoder's delay.

    The first frame holds that delay, so it begins one frame before the sound; the last frame ends with it.
    """
    unit, tick = settings.joining.frame_samples, ADTS_TICKS_HZ // settings.sample_rate
    start = f"(N-1)*{unit * tick}"
    length = f"min({unit}\\,{n_frames}-(N-1)*{unit})*{tick}"
    command = [*ffmpeg.quiet(), "-y", "-f", "aac", "-i", f"file:{stream}", *metadata_options, "-c:a", "copy"]
    command += ["-bsf:a", f"setts=pts={start}:dts={start}:duration={length}"]
    command += ["-bitexact", "-movflags", "+faststart", "-f", settings.coding.muxer, f"file:{path}"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise DeliveryError(f"the frames cannot be put into MPEG-4: {said[-1] if said else done.returncode}")
