"""Music files laid out along a session: matched in loudness, joined by equal-power crossfades.

Silence at a file's ends is left out. Every file is read once to measure it and once to play it, in blocks;
the measurement kept in memory grows by 0.1 MB a minute.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from cuelane.hearing.bands import N_BANDS
from cuelane.media import decode
from cuelane.under.grid import Profile, node_frames
from cuelane.under.song import Song

Array = npt.NDArray[np.float64]
Block = npt.NDArray[np.float32]
End = Literal["loop", "stop"]

CROSSFADE_S = 4.0
FIRST_FADE_S = 0.5
LAST_FADE_S = 0.05
MOST_GAIN_DB = 24.0
_PART = 10_000


@dataclass(frozen=True, eq=False)
class SongPlacement:
    """A song in the session: nodes are the session's. Fades are in nodes; ``gain`` is linear."""

    song: Song
    start_node: int
    fade_in: int
    fade_out: int
    gain: float

    @property
    def end_node(self) -> int:
        return self.start_node + self.song.n_nodes

    def fade(self, nodes: Array) -> Array:
        """Return the fades' linear gain at places in nodes from the placement's start; 0 to 1, shape as
        `nodes`."""
        gain = np.ones(nodes.shape)
        if self.fade_in:
            gain *= np.sin(np.pi / 2 * np.clip(nodes / self.fade_in, 0, 1))
        if self.fade_out:
            gain *= np.sin(np.pi / 2 * np.clip((self.song.n_nodes - nodes) / self.fade_out, 0, 1))
        return gain


def covered_nodes(song: Song, sample_rate: int) -> int:
    """Return the nodes of a session that a song covers at least, the longest crossfade taken off."""
    return song.n_nodes - min(round(CROSSFADE_S * sample_rate / node_frames(sample_rate)), song.n_nodes // 3)


def lay_out(
    songs: Sequence[Song],
    n_nodes: int,
    loudness_lufs: float,
    sample_rate: int,
    end: End,
    *,
    most_peak_dbtp: float = np.inf,
) -> Bed:
    """Return the songs in order from the session's start, each at `loudness_lufs`, until its end.

    Parameters
    ----------
    end : ``loop`` begins again with the first song as often as needed, ``stop`` plays each once.
    most_peak_dbtp : a song whose usual peaks would pass this is played softer than the others.
    """
    node_s = node_frames(sample_rate) / sample_rate
    placements: list[SongPlacement] = []
    start, fade_in = 0, round(FIRST_FADE_S / node_s)
    index = 0
    while start < n_nodes and (end == "loop" or index < len(songs)):
        song = songs[index % len(songs)]
        following = songs[(index + 1) % len(songs)] if end == "loop" or index + 1 < len(songs) else None
        if following is None:
            fade_out = round(LAST_FADE_S / node_s)
        else:
            # A third at most, so that no node ever lies in two crossfades.
            fade_out = min(round(CROSSFADE_S / node_s), song.n_nodes // 3, following.n_nodes // 3)
        gain_db = min(loudness_lufs - song.loudness_lufs, most_peak_dbtp - song.usual_peak_dbtp, MOST_GAIN_DB)
        placements.append(
            SongPlacement(song, start, min(fade_in, song.n_nodes // 3), fade_out, 10 ** (gain_db / 20))
        )
        start, fade_in, index = start + song.n_nodes - fade_out, fade_out, index + 1
    return Bed(tuple(placements), n_nodes, sample_rate)


@dataclass(frozen=True, eq=False)
class Bed:
    """All the music of a session, before it is lowered for any event."""

    placements: tuple[SongPlacement, ...]
    n_nodes: int
    sample_rate: int

    @property
    def peak_dbtp(self) -> float:
        """The highest of the songs' usual peaks, as they are played."""
        return max(
            20 * float(np.log10(placed.gain)) + placed.song.usual_peak_dbtp for placed in self.placements
        )

    @property
    def _closing(self) -> int:
        return min(round(CROSSFADE_S * self.sample_rate / node_frames(self.sample_rate)), self.n_nodes // 3)

    def closing(self, nodes: Array) -> Array:
        """Return the gain of the fade that ends the music with the session, at places in session nodes.

        0 to 1, shape as `nodes`.
        """
        if not self._closing:
            return np.ones(nodes.shape)
        return np.asarray(np.sin(np.pi / 2 * np.clip((self.n_nodes - nodes) / self._closing, 0, 1)))

    def profile(self, n_channels: int) -> Profile:
        """Return the bed on the session's nodes, played in so many channels: energies add, peaks at most."""
        power, peak = np.zeros(self.n_nodes, np.float32), np.zeros(self.n_nodes, np.float32)
        for placed in self.placements:
            weight = n_channels / placed.song.n_channels
            length = min(placed.end_node, self.n_nodes) - placed.start_node
            for first in range(0, length, _PART):
                last = min(first + _PART, length)
                at = slice(placed.start_node + first, placed.start_node + last)
                of_song = slice(placed.song.first_node + first, placed.song.first_node + last)
                # A node's peak takes the larger of the gains at its two ends.
                gains = placed.gain * placed.fade(np.arange(first, last + 1, dtype=np.float64))
                squares = np.square(gains)
                power[at] += placed.song.profile.power[of_song] * (squares[:-1] + squares[1:]) * (weight / 2)
                peak[at] += placed.song.profile.peak[of_song] * np.maximum(gains[:-1], gains[1:])
        last_nodes = slice(self.n_nodes - self._closing, self.n_nodes)
        closing = self.closing(np.arange(last_nodes.start, last_nodes.stop, dtype=np.float64))
        power[last_nodes] *= closing**2
        peak[last_nodes] *= closing
        return Profile(self.n_nodes * node_frames(self.sample_rate), power, peak)

    def band_powers(self, start_sample: int, end_sample: int) -> Array:
        """Return the bed's mean square in each band, shape (18,), mean over channels, between two samples."""
        node = node_frames(self.sample_rate)
        hop = self.sample_rate // 10
        total = np.zeros(N_BANDS)
        frames = np.arange(start_sample // hop, -(-end_sample // hop))
        # A frame that only begins or ends inside the span counts for its part.
        inside_span = np.minimum((frames + 1) * hop, end_sample) - np.maximum(frames * hop, start_sample)
        share = inside_span / max(1, end_sample - start_sample)
        for placed in self.placements:
            first = placed.start_node * node
            if first >= end_sample or placed.end_node * node <= start_sample:
                continue
            # Each 100 ms of the session's span, by the song's frame that lies under its middle.
            inside = frames * hop + hop // 2 - first
            frames_in = (inside + placed.song.first_node * node) // hop
            heard = (inside >= 0) & (inside < placed.song.n_nodes * node)
            heard &= frames_in < len(placed.song.bands)
            gains = placed.gain * placed.fade(inside[heard] / node) * self.closing(frames[heard] * hop / node)
            weights = share[heard] * np.square(gains)
            total += weights @ placed.song.bands[frames_in[heard]].astype(np.float64)
        return total

    def blocks(self, n_channels: int, block_nodes: int) -> Iterator[Block]:
        """Yield the bed's sound, shape (block_nodes * node, n_channels), to the session's last node."""
        node = node_frames(self.sample_rate)
        waiting = list(self.placements)
        sounding: list[tuple[SongPlacement, _SongReader]] = []
        try:
            for first in range(0, self.n_nodes, block_nodes):
                last = min(first + block_nodes, self.n_nodes)
                block = np.zeros(((last - first) * node, n_channels), dtype=np.float32)
                while waiting and waiting[0].start_node < last:
                    placed = waiting.pop(0)
                    sounding.append((placed, _SongReader(placed.song, self.sample_rate, n_channels)))
                for placed, reader in sounding:
                    begin, stop = max(first, placed.start_node), min(last, placed.end_node)
                    sound = reader.read((stop - begin) * node)
                    target = block[(begin - first) * node :][: len(sound)]
                    inside = begin - placed.start_node
                    if inside < placed.fade_in or stop > placed.end_node - placed.fade_out:
                        # Linear between nodes of 10 ms: a sine for each sample would take longer than
                        # decoding.
                        ends = placed.gain * placed.fade(np.arange(inside, inside + (stop - begin) + 1.0))
                        gain = np.interp(np.arange(len(sound)) / node, np.arange(len(ends)), ends)
                        target += sound * gain.astype(np.float32)[:, np.newaxis]
                    else:
                        target += sound * np.float32(placed.gain)
                if last > self.n_nodes - self._closing:
                    at = np.arange(len(block)) / node + first
                    block *= self.closing(at).astype(np.float32)[:, np.newaxis]
                for placed, reader in sounding:
                    if placed.end_node <= last:
                        reader.close()
                sounding = [(placed, reader) for placed, reader in sounding if placed.end_node > last]
                yield block
        finally:
            for _, reader in sounding:
                reader.close()


class _SongReader:
    """Reads a song's sound from its first sounding node on, in any lengths; silence after its end."""

    def __init__(self, song: Song, sample_rate: int, n_channels: int) -> None:
        self._n_channels = n_channels
        self._blocks = decode(song.path, sample_rate=sample_rate, channels=n_channels)
        self._kept: list[Block] = []
        self._n_kept = 0
        self.read(song.first_node * node_frames(sample_rate))

    def read(self, n_frames: int) -> Block:
        while self._n_kept < n_frames:
            block = next(self._blocks, None)
            if block is None:
                block = np.zeros((n_frames - self._n_kept, self._n_channels), dtype=np.float32)
            self._kept.append(block)
            self._n_kept += len(block)
        joined = np.concatenate(self._kept) if self._kept else np.zeros((0, self._n_channels), np.float32)
        self._kept, self._n_kept = [joined[n_frames:]], len(joined) - n_frames
        return joined[:n_frames]

    def close(self) -> None:
        if hasattr(self._blocks, "close"):
            self._blocks.close()
