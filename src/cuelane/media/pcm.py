"""Blocks of samples to WAV and FLAC, 24-bit PCM, by libsndfile, at most 65,536 frames a call."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from cuelane.base.errors import DeliveryError, SignalError
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import PcmCoding
from cuelane.media.reader import Block
from cuelane.media.sound_target import sound_target

WRITE_FRAMES = 65_536
MAX_RIFF_BYTES = 0xFFFF_FFFF - (64 << 20)
"""Of samples in a WAV. Chosen: beside them go tags, and a mark and a label for each event of a session."""

FULL_SCALE_24 = 8_388_608.0


def write_pcm(
    path: Path,
    blocks: CountedBlocks,
    coding: PcmCoding,
    sample_rate: int,
    n_frames: int | None,
    tags: Mapping[str, str],
) -> None:
    """Write `blocks` to `path`, with `tags` as RIFF INFO has them; a WAV that passes 4 GiB as RF64.

    Raises
    ------
    OSError : the disk does not take it.
    DeliveryError : libsndfile refuses it.
    SignalError : a WAV passes 4 GiB and `n_frames` did not say so.
    """
    n_channels, container = blocks.n_channels, coding.container
    if container == "WAV" and (n_frames or 0) * n_channels * 3 > MAX_RIFF_BYTES:
        container = "RF64"
    try:
        with (
            sound_target(path) as target,
            soundfile.SoundFile(
                target, "w", samplerate=sample_rate, channels=n_channels, format=container, subtype="PCM_24"
            ) as file,
        ):
            for name, value in tags.items():
                setattr(file, name, value)
            for block in blocks:
                # libsndfile scales floats by 2**23 - 1; whole numbers keep the 24-bit grid exactly.
                for start in range(0, len(block), WRITE_FRAMES):
                    file.write(to_pcm24(block[start : start + WRITE_FRAMES]))
                if container == "WAV" and blocks.n_frames * n_channels * 3 > MAX_RIFF_BYTES:
                    raise SignalError("a WAV over 4 GiB needs n_frames, so that it can be written as RF64")
    except soundfile.SoundFileError as error:
        raise DeliveryError(f"{path.name}: cannot be written: {error}") from error


def to_pcm24(block: Block) -> npt.NDArray[np.int32]:
    """Return `block` as 24-bit values, nearest and clipped, in the upper bits of int32; same shape."""
    if not block.any():
        return np.zeros(block.shape, dtype=np.int32)
    whole = np.rint(block.astype(np.float64) * FULL_SCALE_24)
    return np.clip(whole, -FULL_SCALE_24, FULL_SCALE_24 - 1).astype(np.int32) << 8
