"""How the sound of two tracks differs: length, level, and what is left when one is taken from the other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cuelane.base.errors import AudioFileError
from cuelane.base.units import to_ms
from cuelane.media import MediaInfo, decode, probe
from cuelane.media.reader import Block, mean_of_channels
from cuelane.meter import Meter
from cuelane.meter.weighting import METERED_RATES

BLOCK_FRAMES = 1 << 18
WEIGHTED_CHANNELS = (1, 2, 3, 5, 6)
"""Numbers of channels that have weights in BS.1770; of others the level is that of their mean."""
SAME_DBFS = -90.0
"""Chosen: a difference below this is less than the last bit of 16, and nobody hears it."""


@dataclass(frozen=True)
class SoundOf:
    """One track's sound."""

    sample_rate: int
    n_channels: int
    n_frames: int
    integrated_lufs: float
    true_peak_dbtp: float


@dataclass(frozen=True)
class SoundChanges:
    """Two tracks' sound.

    ``residual_dbfs`` is the greatest sample of their difference, -inf where they are the same, None where
    they have other lengths, rates or channels and no sample goes with another. ``residual_ms`` is its place.
    """

    before: SoundOf
    after: SoundOf
    residual_dbfs: float | None
    residual_ms: int | None

    @property
    def same(self) -> bool:
        """Whether no listener can tell the two apart."""
        return self.residual_dbfs is not None and self.residual_dbfs < SAME_DBFS


def sound_changes(before: Path, after: Path) -> SoundChanges:
    """Return how the sound of two files differs. Memory does not grow with their length.

    Raises
    ------
    AudioFileError : one of them is no sound that can be read, or of a rate for which loudness has no filter.
    """
    infos = [_probed(path) for path in (before, after)]
    meters = [
        Meter(info.sample_rate, info.n_channels if info.n_channels in WEIGHTED_CHANNELS else 1)
        for info in infos
    ]
    counts = [0, 0]
    peak, at = 0.0, 0
    streams = [
        decode(path, channels=info.n_channels, block_frames=BLOCK_FRAMES)
        for path, info in zip((before, after), infos, strict=True)
    ]
    alike = len({(info.sample_rate, info.n_channels) for info in infos}) == 1
    ends = [False, False]
    while not all(ends):
        blocks = []
        for number, stream in enumerate(streams):
            block = next(stream, None)
            ends[number] = block is None
            if block is not None:
                meters[number].push(_metered(block, meters[number]))
                counts[number] += len(block)
                blocks.append(block)
        if alike and len(blocks) == 2 and len(blocks[0]) == len(blocks[1]):
            apart = np.abs(blocks[0] - blocks[1]).max(axis=1)
            if apart.max() > peak:
                peak, at = float(apart.max()), counts[0] - len(blocks[0]) + int(apart.argmax())
    comparable = alike and counts[0] == counts[1]
    was, now = [_side(*one) for one in zip(infos, meters, counts, strict=True)]
    residual = (20 * math.log10(peak) if peak else -math.inf) if comparable else None
    return SoundChanges(was, now, residual, to_ms(at, infos[0].sample_rate) if comparable and peak else None)


def _probed(path: Path) -> MediaInfo:
    info = probe(path)
    if info.sample_rate not in METERED_RATES:
        low, high = METERED_RATES[0], METERED_RATES[-1]
        raise AudioFileError(
            f"{path}: has a sample rate of {info.sample_rate} Hz; what can be compared is {low} to {high} Hz"
        )
    return info


def _metered(block: Block, meter: Meter) -> Block:
    return block if block.shape[1] == meter.n_channels else mean_of_channels(block)[:, np.newaxis]


def _side(info: MediaInfo, meter: Meter, n_frames: int) -> SoundOf:
    levels = meter.integrated_lufs, meter.true_peak_dbtp
    return SoundOf(info.sample_rate, info.n_channels, n_frames, *levels)
