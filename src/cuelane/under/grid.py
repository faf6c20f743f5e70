"""A sound on a grid of 10 ms nodes: its K-weighted energy and its true peak in each.

Two sounds that have nothing to do with each other add in energy, and never pass the sum of their peaks. So
the grids of a track and of music say how loud their sum will be, and where it could pass a ceiling, for any
gains, without mixing anything.

This is not a second meter beside :mod:`cuelane.meter`, which reads a stream as a whole and keeps no node's
peak. What can be shared is shared: the filter's response, the interpolation of true peaks and the gate are
the meter's own. K-weighting is applied to the spectrum, which the bands need anyway. With the meter's filter
instead a profile takes a quarter more time (1.46 s instead of 1.16 for 3 minutes of stereo noise in steps of
level, one thread), and its loudness differs by 4e-6 LU; the highest node's peak is the meter's to 1e-7 dB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.meter.gating import gated_loudness_lufs
from cuelane.under.node_peaks import NodePeaks
from cuelane.under.spectra import BandSpectra, hop_frames

Array = npt.NDArray[np.float64]
Row = npt.NDArray[np.float32]

NODES_PER_HOP = 10
HOPS_PER_BLOCK = 4


def node_frames(sample_rate: int) -> int:
    """Return the samples in a node: 10 ms, or a little less where that is no whole number."""
    return sample_rate // 100


@dataclass(frozen=True, eq=False)
class Profile:
    """Per node: ``power``, the mean K-weighted, channel-weighted square, and ``peak``, linear true peak."""

    n_frames: int
    power: Row
    peak: Row


class Profiler:
    """Measures a stream of one or two channels; keeps 12 bytes for every 10 ms and 80 for every 100.

    A node's own energy is exact; the effect of K-weighting on it is taken from the 100 ms around it.
    """

    def __init__(self, sample_rate: int, n_channels: int, node: int | None = None) -> None:
        self._node = node or node_frames(sample_rate)
        self._hop = hop_frames(sample_rate)
        self._spectra = BandSpectra(sample_rate, n_channels)
        self._node_peaks = NodePeaks(self._node, n_channels)
        self._pending = np.zeros((0, n_channels), dtype=np.float32)
        self._powers: list[npt.NDArray[np.float32]] = []
        self.n_frames = 0

    def push(self, block: npt.NDArray[np.floating]) -> None:
        """Take the next samples, shape (n_frames, n_channels)."""
        self.n_frames += len(block)
        sound = np.asarray(block, dtype=np.float32)
        self._spectra.push(sound)
        self._node_peaks.push(sound)
        joined = np.concatenate([self._pending, sound])
        n_nodes = len(joined) // self._node
        self._take_powers(joined[: n_nodes * self._node])
        self._pending = joined[n_nodes * self._node :]

    def _take_powers(self, nodes: npt.NDArray[np.float32]) -> None:
        rows = nodes.reshape(len(nodes) // self._node, self._node * nodes.shape[1])
        self._powers.append(np.einsum("ij,ij->i", rows, rows) / np.float32(self._node))

    def finish(self) -> tuple[Profile, npt.NDArray[np.float32]]:
        """Return the profile of all that was pushed, and its bands by 100 ms (see :class:`BandSpectra`).

        Silence is taken to follow; the last node may be part. The bands have shape (n_hops, 18), mean
        squares.
        """
        n_nodes = -(-self.n_frames // self._node)
        tail = np.zeros((self._node, self._pending.shape[1]), dtype=np.float32)
        tail[: len(self._pending)] = self._pending
        self._take_powers(tail)
        bands, weighting = self._spectra.finish()
        rows = ((2 * np.arange(n_nodes) + 1) * self._node // 2) // self._hop
        power = np.concatenate(self._powers)[:n_nodes] * weighting[rows]
        return Profile(self.n_frames, power, self._node_peaks.finish()[:n_nodes]), bands


def loudness_of_nodes(power: npt.NDArray[np.floating]) -> float:
    """Return the gated loudness (BS.1770) of node powers, shape (n_nodes,), to 10 ms; -inf for silence."""
    return loudness_of_hops(hop_powers(power))


def hop_powers(power: npt.NDArray[np.floating]) -> Array:
    """Return the mean power of each whole 100 ms: shape (n_nodes,) to (n_nodes // 10,)."""
    n_hops = len(power) // NODES_PER_HOP
    hops = power[: n_hops * NODES_PER_HOP].reshape(n_hops, NODES_PER_HOP)
    return np.asarray(hops.mean(axis=1, dtype=np.float64))


def loudness_of_hops(hops: Array) -> float:
    """Return the gated loudness, in LUFS, of the mean power of each 100 ms, shape (n_hops,)."""
    blocks = np.zeros(max(0, len(hops) - HOPS_PER_BLOCK + 1))
    for i in range(HOPS_PER_BLOCK):
        blocks += hops[i : i + len(blocks)] / HOPS_PER_BLOCK
    return gated_loudness_lufs(blocks)
