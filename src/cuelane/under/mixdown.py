"""The track and the music beneath it, summed block by block into a file whose peaks stay under a ceiling."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.base.levels import CEILING_DBTP
from cuelane.base.schedule import Schedule
from cuelane.media import Metadata, decode, encode
from cuelane.media.formats import AudioFormat, format_of
from cuelane.meter import Meter
from cuelane.under.ducking import gain_of_nodes
from cuelane.under.gain_plan import MixPlan, plan_mix
from cuelane.under.grid import node_frames
from cuelane.under.playlist import Bed
from cuelane.under.track_sound import TrackSound

Block = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

LOWERED_BEYOND_DB = (0.2, 1.0)
"""Where an encoder's noise adds more than its headroom, the whole is encoded again under a ceiling lower by
the excess and by this much more, since a changed mix has its noise elsewhere; if need be, once more."""

_BLOCK_NODES = 128
"""Chosen: 1.28 s at a time costs NumPy few calls, and is small beside a decoder's own memory."""


def planned_ceiling_dbtp(form: AudioFormat) -> float:
    """Return the peak, dBTP, that a mix may have so that the format's encoder has room for its own noise."""
    return CEILING_DBTP - form.mix_headroom_db


@dataclass(frozen=True, eq=False)
class Mixdown:
    """What goes into one file, apart from the gains.

    Attributes
    ----------
    n_track : channels in which the track is read, 1 or 2.
    n_channels : channels of the file, 1 or 2.
    metadata : tags, chapters and cover of the file.
    """

    track: Path
    n_track: int
    schedule: Schedule
    bed: Bed
    n_channels: int
    metadata: Metadata

    def write(self, path: Path, gains: MixPlan, progress: Progress) -> Meter:
        """Write the sum and return the meter's reading of what a player will decode.

        A lossless file holds what was mixed; a lossy one is decoded again.
        """
        rate, n_frames = self.schedule.sample_rate, self.schedule.n_frames
        lossy = format_of(path).lossy
        meter = Meter(rate, self.n_channels)
        mixed = _followed(self.blocks(gains), n_frames, progress)
        encode(
            path,
            mixed if lossy else _metered(mixed, meter),
            sample_rate=rate,
            n_channels=self.n_channels,
            n_frames=n_frames,
            metadata=self.metadata,
        )
        if lossy:
            for block in decode(path, sample_rate=rate, channels=self.n_channels):
                meter.push(block)
        return meter

    def blocks(self, gains: MixPlan) -> Iterator[Block]:
        """Yield the sum, shape (n, n_channels), exactly as long as the schedule says."""
        rate, n_frames = self.schedule.sample_rate, self.schedule.n_frames
        node = node_frames(rate)
        voice = decode(self.track, sample_rate=rate, channels=self.n_track, block_frames=_BLOCK_NODES * node)
        first = 0
        for music in self.bed.blocks(self.n_channels, _BLOCK_NODES):
            n_nodes = len(music) // node
            nodes = slice(first, first + n_nodes + 1)
            block = _scaled(music, gain_of_nodes(gains.music_db[nodes], node))
            spoken = next(voice, None)
            if spoken is not None and spoken.any():
                n_spoken = min(len(spoken), len(block))
                sound = _scaled(spoken[:n_spoken], gain_of_nodes(gains.track_db[nodes], node)[:n_spoken])
                # Channel by channel, since NumPy is slow along so short an axis.
                for channel in range(self.n_channels):
                    block[:n_spoken, channel] += sound[:, channel % self.n_track]
            yield block[: n_frames - first * node]
            first += n_nodes
        if hasattr(voice, "close"):
            voice.close()


def write_under_ceiling(
    mixdown: Mixdown, path: Path, sound: TrackSound, gains: MixPlan, target_lufs: float, progress: Progress
) -> tuple[MixPlan, Meter]:
    """Write `mixdown`, again and lower where its encoder adds peaks above the ceiling.

    Returns
    -------
    The gains of the file that is kept, and its reading; its peaks may still be over the ceiling, which the
    caller must report.
    """
    form = format_of(path)
    ceiling_dbtp = planned_ceiling_dbtp(form)
    meter = mixdown.write(path, gains, progress)
    for beyond_db in LOWERED_BEYOND_DB if form.lossy else ():
        over_db = meter.true_peak_dbtp - CEILING_DBTP
        if over_db <= 0:
            break
        ceiling_dbtp -= over_db + beyond_db
        gains = plan_mix(
            sound,
            mixdown.bed,
            gains.needs,
            n_channels=mixdown.n_channels,
            target_lufs=target_lufs,
            ceiling_dbtp=ceiling_dbtp,
        )
        meter = mixdown.write(path, gains, progress)
    return gains, meter


def _scaled(block: Block, gain: Block) -> Block:
    """Return `block`, shape (n, n_channels), times `gain`, shape (n,)."""
    if block.shape[1] == 2 and block.flags.c_contiguous:
        # Two channels as one complex number are scaled in a third of the time.
        return (block.view(np.complex64)[:, 0] * gain)[:, np.newaxis].view(np.float32)
    return block * gain[:, np.newaxis]


def _followed(blocks: Iterator[Block], n_frames: int, progress: Progress) -> Iterator[Block]:
    done = 0
    for block in blocks:
        done += len(block)
        progress(done, n_frames)
        yield block


def _metered(blocks: Iterator[Block], meter: Meter) -> Iterator[Block]:
    for block in blocks:
        meter.push(block)
        yield block
