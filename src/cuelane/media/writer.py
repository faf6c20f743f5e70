"""Blocks of samples to a file a phone plays, with chapters, tags and cover.

Every file is made under a temporary name beside its target, tags included, and renamed when it is whole.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import DeliveryError, SignalError, UsageError
from cuelane.base.files import reason
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import AudioFormat, LossyCoding, TagStyle, format_of
from cuelane.media.joined import write_joined
from cuelane.media.lossy import NO_METADATA, write_lossy
from cuelane.media.metadata import Metadata
from cuelane.media.mp4_metadata import mp4_options
from cuelane.media.pcm import write_pcm
from cuelane.media.piecework import EncoderSettings, Piecework
from cuelane.media.tagging import write_tags


def encode(
    path: Path | str,
    blocks: Iterable[npt.NDArray[np.floating]],
    *,
    sample_rate: int,
    n_channels: int = 1,
    n_frames: int | None = None,
    bitrate_kbps: int | None = None,
    metadata: Metadata | None = None,
    work: Piecework | None = None,
) -> int:
    """Write `blocks` to `path` in the format of its suffix; return the number of frames written.

    The formats are those of :mod:`cuelane.media.formats`. The first sample a player outputs is the first
    sample given.

    Parameters
    ----------
    blocks : arrays of shape (n, n_channels), finite, full scale 1.0.
    n_frames : how many frames will come, if known; a WAV that would pass 4 GiB is then written as RF64.
    bitrate_kbps : in all, for a lossy format; its record's bitrate for each channel if None.
    work : how many encoders run at once, and where their pieces are kept; the bytes are the same with any.

    Raises
    ------
    UsageError : a suffix or sample rate that no encoder takes.
    DeliveryError : the encoder or the disk failed; nothing is left behind and an old file is untouched.
    SignalError : a block of the wrong shape or not finite, `metadata` that no file can hold, or a wrong
        `n_frames`.
    """
    path = Path(path)
    form = format_of(path)
    told = (metadata or Metadata()).checked()
    if isinstance(form.coding, LossyCoding) and sample_rate not in form.coding.sample_rates:
        rates = ", ".join(str(rate) for rate in sorted(form.coding.sample_rates))
        raise UsageError(f"{path}: {form.suffix} cannot hold {sample_rate} Hz; use one of {rates}")
    count = CountedBlocks(blocks, n_channels)
    with _workspace(path) as folder:
        try:
            made = folder / f"sound{form.suffix}"
            _write_sound(made, count, form, sample_rate, n_frames, bitrate_kbps, told, work or Piecework())
            write_tags(made, form.tags, told)
            if n_frames is not None and count.n_frames != n_frames:
                raise SignalError(f"expected {n_frames} frames to write, got {count.n_frames}")
            with made.open("r+b") as file:
                os.fsync(file.fileno())
            made.replace(path)
        except OSError as error:
            raise DeliveryError(f"{path}: cannot be written: {reason(error)}") from error
    return count.n_frames


def _write_sound(
    made: Path,
    blocks: CountedBlocks,
    form: AudioFormat,
    sample_rate: int,
    n_frames: int | None,
    bitrate_kbps: int | None,
    metadata: Metadata,
    work: Piecework,
) -> None:
    """Write the samples, and with them the metadata of those formats that take it only then."""
    if isinstance(form.coding, LossyCoding):
        kbps = bitrate_kbps or form.coding.bitrate_kbps * blocks.n_channels
        options = mp4_options(made.parent, metadata) if form.tags is TagStyle.MP4 else NO_METADATA
        joining = form.coding.joining
        if joining is not None and sample_rate in joining.sample_rates:
            settings = EncoderSettings(form.coding, joining, sample_rate, blocks.n_channels, kbps)
            write_joined(made, blocks, settings, work, options)
        else:
            write_lossy(made, blocks, form.coding, sample_rate, kbps, options)
    else:
        inside = metadata.tags if form.tags is TagStyle.RIFF else {}
        write_pcm(made, blocks, form.coding, sample_rate, n_frames, inside)


@contextlib.contextmanager
def _workspace(path: Path) -> Iterator[Path]:
    """Give a folder beside `path` (so that a rename is atomic), removed at the end with all it holds."""
    try:
        folder = tempfile.TemporaryDirectory(prefix=f".{path.stem[:40]}-", suffix=".partial", dir=path.parent)
    except OSError as error:
        raise DeliveryError(f"{path}: cannot write in its folder: {reason(error)}") from error
    with folder as name:
        yield Path(name)
