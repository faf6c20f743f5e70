"""The lowest and highest sample over equal stretches of a track, found in one pass, for its picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError

N_POINTS = 2400


def envelope_of(
    blocks: Iterable[npt.NDArray[np.floating]], n_frames: int, n_points: int = N_POINTS
) -> list[tuple[float, float]]:
    """Return (lowest, highest) of `n_points` equal stretches of a stream; memory does not grow with it.

    Parameters
    ----------
    blocks : arrays of shape (n,) or (n, n_channels), full scale 1.0; channels are taken together.
    n_frames : samples that the whole picture stands for; samples after them are ignored, and stretches that
        the stream does not reach are (0.0, 0.0). A track of fewer samples than `n_points` gives one point a
        sample.

    Raises
    ------
    SignalError : `n_frames` or `n_points` is not positive, or a block has more than two dimensions.
    """
    if n_frames < 1 or n_points < 1:
        raise SignalError(
            f"envelope_of wants n_frames and n_points of at least 1, got {n_frames}, {n_points}"
        )
    n_points = min(n_points, n_frames)
    edges = np.arange(n_points + 1, dtype=np.int64) * n_frames // n_points
    lowest = np.full(n_points, np.inf)
    highest = np.full(n_points, -np.inf)
    at = 0
    for block in blocks:
        if block.ndim not in (1, 2):
            raise SignalError(f"envelope_of wants shape (n,) or (n, n_channels), got {block.shape}")
        length = min(len(block), n_frames - at)
        if length <= 0:
            continue
        first = int(np.searchsorted(edges, at, side="right")) - 1
        last = int(np.searchsorted(edges, at + length, side="left"))
        cuts = np.maximum(edges[first:last] - at, 0)
        # Channel by channel, since NumPy is slow along so short an axis.
        for sound in block[np.newaxis, :length] if block.ndim == 1 else block[:length].T:
            lowest[first:last] = np.minimum(lowest[first:last], np.minimum.reduceat(sound, cuts))
            highest[first:last] = np.maximum(highest[first:last], np.maximum.reduceat(sound, cuts))
        at += length
    heard = np.isfinite(lowest) & np.isfinite(highest)
    lowest[~heard] = highest[~heard] = 0.0
    return [(float(low), float(high)) for low, high in zip(lowest, highest, strict=True)]


def full_height(envelope: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return `envelope` with its largest value at 1.0: a picture shows where sound is, not how loud."""
    largest = max((max(abs(low), abs(high)) for low, high in envelope), default=0.0)
    return [(low / largest, high / largest) for low, high in envelope] if largest > 0 else list(envelope)
