"""The true peak of each node of a stream."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cuelane.meter.products import product
from cuelane.meter.true_peak import HALF_LENGTH, REACH, interpolation_matrix

Block = npt.NDArray[np.float32]

_OVERSAMPLING = 4
_LONGEST_STRIDE = 24
_MOST_PRODUCTS = 480_000
"""Chosen: so many products at once, so that they stay in the processor's cache."""


class NodePeaks:
    """Follows a stream of (n_frames, n_channels) blocks; one linear peak for every `node` frames.

    A node's peak is the highest of its samples and of the points after each of them, as
    :class:`cuelane.meter.TruePeak` reads them.
    """

    def __init__(self, node: int, n_channels: int) -> None:
        stride = next(length for length in range(_LONGEST_STRIDE, 0, -1) if node % length == 0)
        self._node, self._stride, self._n_channels = node, stride, n_channels
        self._matrix = interpolation_matrix(_OVERSAMPLING, stride).astype(np.float32)
        self._batch = max(1, _MOST_PRODUCTS // (self._matrix.size * (node // stride)))
        # A point depends on 11 samples before its own and 12 after.
        self._pending = np.zeros((HALF_LENGTH - 1, n_channels), dtype=np.float32)
        self._peaks: list[Block] = []

    def push(self, block: Block) -> None:
        """Take the next samples, shape (n_frames, n_channels), full scale 1.0."""
        joined = np.concatenate([self._pending, block])
        n_nodes = max(0, (len(joined) - REACH + 1) // self._node)
        self._pending = joined[n_nodes * self._node :]
        if n_nodes:
            self._peaks.append(self._of(joined[: n_nodes * self._node + REACH - 1], n_nodes))

    def finish(self) -> Block:
        """Return the peaks of all nodes, the last one perhaps part, silence taken to follow; linear,
        shape (n_nodes,)."""
        self.push(np.zeros((self._node + HALF_LENGTH, self._n_channels), dtype=np.float32))
        return np.concatenate(self._peaks)

    def _of(self, joined: Block, n_nodes: int) -> Block:
        own = joined[HALF_LENGTH - 1 :][: n_nodes * self._node].reshape(n_nodes, -1)
        peaks: Block = np.abs(own).max(axis=1)
        per_node, width = self._node // self._stride, self._stride + REACH - 1
        for channel in np.ascontiguousarray(joined.T):
            windows = np.lib.stride_tricks.sliding_window_view(channel, width)[:: self._stride]
            for first in range(0, n_nodes, self._batch):
                last = min(first + self._batch, n_nodes)
                if channel[first * self._node : last * self._node + REACH - 1].any():
                    here = peaks[first:last]
                    taken = np.ascontiguousarray(windows[first * per_node : last * per_node])
                    # Whole nodes to a row, since NumPy is slow at the maxima of short ones.
                    between = product(taken, self._matrix).reshape(last - first, -1)
                    np.maximum(here, between.max(axis=1), out=here)
                    np.maximum(here, -between.min(axis=1), out=here)
        return peaks
