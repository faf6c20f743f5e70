"""Matrix products that stay in the thread that asks for them."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

_Real = TypeVar("_Real", np.float32, np.float64)

ONE_THREAD = 1 << 18
"""Multiplications up to which OpenBLAS, NumPy's library on most machines, starts no threads: its constants
SMP_THRESHOLD_MIN times GEMM_MULTITHREAD_THRESHOLD (values from memory). On two busy cores the true peak of a
minute of stereo noise took 5 to 12 s with larger products, and takes 0.3 to 0.6 s with these."""


def product(rows: npt.NDArray[_Real], matrix: npt.NDArray[_Real]) -> npt.NDArray[_Real]:
    """Return ``rows @ matrix``, shapes (n, k) and (k, m), any real values, a few rows at a time."""
    most = max(1, ONE_THREAD // matrix.size)
    if len(rows) <= most:
        return rows @ matrix
    whole = len(rows) // most * most
    stacked = np.matmul(rows[:whole].reshape(-1, most, rows.shape[1]), matrix).reshape(whole, -1)
    return stacked if whole == len(rows) else np.concatenate([stacked, rows[whole:] @ matrix])
