"""A sound on a grid of 10 ms nodes: its K-weighted energy and its true peak in each.

Two sounds that have nothing to do with each other add in energy, and never pass the sum of their peaks. So
the grids of a track and of music say how loud their sum will be, and where it could pass a ceiling, for any
gains, without mixing anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.meter.gating import gated_loudness_lufs
from cuelane.under.peaks import NodePeaks
from cuelane.under.spectra import Spectra, hop_frames

Array = npt.NDArray[np.float64]

NODES_PER_BLOCK = 40
NODES_PER_HOP = 10


def node_frames(sample_rate: int) -> int:
    """Return the samples in a node: 10 ms, or a little less where that is no whole number."""
    return sample_rate // 100


@dataclass(frozen=True, eq=False)
class Profile:
    """Per node: ``power``, the mean K-weighted, channel-weighted square, and ``peak``, linear true peak."""

    n_frames: int
    power: Array
    peak: Array


class Profiler:
    """Measures a stream of one or two channels; keeps 12 bytes for every 10 ms and 80 for every 100.

    A node's own energy is exact; how K-weighting changes it is that of the 100 ms around it.
    """

    def __init__(self, sample_rate: int, n_channels: int, node: int | None = None) -> None:
        self._node = node or node_frames(sample_rate)
        self._hop = hop_frames(sample_rate)
        self._spectra = Spectra(sample_rate, n_channels)
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
        rows = nodes.reshape(len(nodes) // self._node, -1)
        self._powers.append(np.einsum("ij,ij->i", rows, rows) / np.float32(self._node))

    def finish(self) -> tuple[Profile, npt.NDArray[np.float32]]:
        """Return the profile of all that was pushed, and its bands by 100 ms (see :class:`Spectra`).

        Silence is taken to follow; the last node may be part.
        """
        n_nodes = -(-self.n_frames // self._node)
        tail = np.zeros((self._node, self._pending.shape[1]), dtype=np.float32)
        tail[: len(self._pending)] = self._pending
        self._take_powers(tail)
        bands, weighting = self._spectra.finish()
        rows = ((2 * np.arange(n_nodes) + 1) * self._node // 2) // self._hop
        power = np.concatenate(self._powers)[:n_nodes] * weighting[rows]
        peak = self._node_peaks.finish()[:n_nodes].astype(np.float64)
        return Profile(self.n_frames, power, peak), bands


def loudness_of_nodes(power: Array) -> float:
    """Return the gated loudness (BS.1770) of node powers, to the grid's 10 ms; -inf for silence."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    starts = np.arange(0, len(power) - NODES_PER_BLOCK + 1, NODES_PER_HOP)
    return gated_loudness_lufs((total[starts + NODES_PER_BLOCK] - total[starts]) / NODES_PER_BLOCK)
