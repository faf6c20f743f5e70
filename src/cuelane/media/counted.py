"""Blocks on their way into an encoder: checked, and their frames counted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError
from cuelane.media.reader import Block, all_finite


class CountedBlocks:
    """Passes blocks of shape (n, n_channels) on as contiguous float32; ``n_frames`` counts what has passed.

    Raises
    ------
    SignalError : a block of another shape, or one that is not finite.
    """

    def __init__(self, blocks: Iterable[npt.NDArray[np.floating]], n_channels: int) -> None:
        self._blocks = blocks
        self.n_channels = n_channels
        self.n_frames = 0

    def __iter__(self) -> Iterator[Block]:
        for block in self._blocks:
            if block.ndim != 2 or block.shape[1] != self.n_channels:
                raise SignalError(f"expected blocks of shape (n, {self.n_channels}), got {block.shape}")
            if not all_finite(block):
                raise SignalError("expected finite samples")
            self.n_frames += len(block)
            yield np.ascontiguousarray(block, dtype=np.float32)
