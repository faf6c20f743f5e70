"""A sound on a grid of 10 ms nodes: its K-weighted energy and its true peak in each.

Two sounds that have nothing to do with each other add in energy, and never pass the sum of their peaks. So
the grids of a track and of music say how loud their sum will be, and where it could pass a ceiling, for any
gains, without mixing anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.meter.gating import channel_weights, gated_loudness_lufs
from cuelane.meter.true_peak import BATCH, REACH, STRIDE, interpolation_matrix
from cuelane.meter.weighting import KWeighting

Array = npt.NDArray[np.float64]

NODES_PER_BLOCK = 40
NODES_PER_HOP = 10


def node_frames(sample_rate: int) -> int:
    """Return the samples in a node: about 10 ms, a whole number of strides of the true-peak filter."""
    return STRIDE * max(1, round(sample_rate / 100 / STRIDE))


@dataclass(frozen=True, eq=False)
class Profile:
    """Per node: ``power``, the mean K-weighted, channel-weighted square, and ``peak``, linear true peak."""

    n_frames: int
    power: Array
    peak: Array

    def scaled(self, gain: float) -> Profile:
        return Profile(self.n_frames, self.power * gain * gain, self.peak * gain)


class Profiler:
    """Builds a :class:`Profile` of a stream; 16 bytes for every 10 ms."""

    def __init__(self, sample_rate: int, n_channels: int) -> None:
        self._node = node_frames(sample_rate)
        self._weighting = KWeighting(sample_rate, n_channels)
        self._weights = channel_weights(n_channels)
        self._matrix = interpolation_matrix(4).astype(np.float32)
        self._energy = np.zeros(0)
        # The filter looks 12 samples back and ahead, so a stride's points lag its samples by 12.
        self._strides = np.zeros((REACH - 1, n_channels), dtype=np.float32)
        self._powers: list[Array] = []
        self._peaks: list[npt.NDArray[np.float32]] = []
        self.n_frames = 0

    def push(self, block: npt.NDArray[np.floating]) -> None:
        """Take the next samples, shape (n_frames, n_channels)."""
        self.n_frames += len(block)
        weighted = self._weighting.filtered(block.astype(np.float64))
        # einsum, since a product this thin is slower on the linear algebra library's threads.
        energy = np.einsum("ij,ij,j->i", weighted, weighted, self._weights)
        joined = np.concatenate([self._energy, energy])
        n_nodes = len(joined) // self._node
        self._powers.append(joined[: n_nodes * self._node].reshape(n_nodes, self._node).mean(axis=1))
        self._energy = joined[n_nodes * self._node :]
        self._take_peaks(block)

    def _take_peaks(self, block: npt.NDArray[np.floating]) -> None:
        joined = np.concatenate([self._strides, block], dtype=np.float32)
        n_strides = (len(joined) - REACH + 1) // STRIDE
        self._strides = joined[n_strides * STRIDE :]
        if not joined.any():
            self._peaks.append(np.zeros(n_strides, dtype=np.float32))
            return
        # A stride's own samples begin half a reach into its window.
        own = np.abs(joined[REACH // 2 - 1 :][: n_strides * STRIDE])
        samples = own.reshape(n_strides, -1).max(axis=1)
        windows = np.lib.stride_tricks.sliding_window_view(joined, STRIDE + REACH - 1, axis=0)[::STRIDE]
        n_channels = joined.shape[1]
        for first in range(0, n_strides, BATCH):
            taken = np.ascontiguousarray(windows[first : min(first + BATCH, n_strides)])
            between = taken.reshape(-1, taken.shape[2]) @ self._matrix
            peaks = np.maximum(between.max(axis=1), -between.min(axis=1)).reshape(-1, n_channels).T
            self._peaks.append(np.maximum.reduce([*peaks, samples[first : first + len(taken)]]))

    def profile(self) -> Profile:
        """Return the profile of all that was pushed, silence taken to follow; the last node may be part."""
        n_frames = self.n_frames
        n_nodes = -(-n_frames // self._node)
        self.push(np.zeros((2 * self._node, len(self._weights))))
        self.n_frames = n_frames
        strides = np.concatenate(self._peaks)
        per_node = self._node // STRIDE
        peak = strides[: n_nodes * per_node].reshape(n_nodes, per_node).max(axis=1)
        # The next node's first stride still holds points of this one.
        peak = np.maximum(peak, strides[per_node : (n_nodes + 1) * per_node : per_node])
        return Profile(n_frames, np.concatenate(self._powers)[:n_nodes], peak.astype(np.float64))


def loudness_of_nodes(power: Array) -> float:
    """Return the gated loudness (BS.1770) of node powers, to the grid's 10 ms; -inf for silence."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    starts = np.arange(0, len(power) - NODES_PER_BLOCK + 1, NODES_PER_HOP)
    return gated_loudness_lufs((total[starts + NODES_PER_BLOCK] - total[starts]) / NODES_PER_BLOCK)
