"""Fingerprints made alike in loudness, and how alike two moments of them are by chance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]


def evened(seen: Array, first: int, past: int, least: float) -> Array:
    """Return `seen`, shape (n, 64), each step divided by the norm of those around it.

    They are the ones from `first` to before `past`, counted from it; `least` is the least that the sum of
    their squares is taken for.
    """
    power = np.concatenate([[0.0], np.cumsum(np.einsum("nb,nb->n", seen, seen, dtype=np.float64))])
    at = np.arange(len(seen))
    around = power[np.clip(at + past, 0, len(seen))] - power[np.clip(at + first, 0, len(seen))]
    return np.asarray(seen / np.sqrt(np.maximum(around, least))[:, None], dtype=np.float32)


def alike_by_chance(frames: Array, lags: Sequence[int], window: int) -> float:
    """Return the standard deviation of how alike two windows of `frames`, shape (n, 64), are by chance.

    It is told by windows that are `lags` frames apart, the mean of all; 0 where there are too few frames.
    """
    if len(frames) <= max(lags) + window:
        return 0.0
    products = (np.einsum("nb,nb->n", frames[:-lag], frames[lag:], dtype=np.float64) for lag in lags)
    return float(np.mean([np.convolve(one, np.ones(window), "valid").std() for one in products]))
