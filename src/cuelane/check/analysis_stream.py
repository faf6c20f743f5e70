"""Mono sound brought to the rate that is measured in, without the work where there is none."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import soxr

Signal = npt.NDArray[np.float32]

# Chosen: longer than any filter here reaches back, so that after so many zeros only zeros are in it.
REST_S = 1.0


class AnalysisStream:
    """Resamples a stream, and passes over digital silence, which is most of a track.

    Once the filter has had nothing but zeros for a second, more of them would come out as zeros and leave it
    as it is. So whole cycles, the shortest stretch that has whole numbers of frames at both rates, are
    counted instead of filtered, and no frame comes earlier or later than it would. ``n_filtered`` counts the
    frames that were filtered.
    """

    def __init__(self, rate_in: int, rate_out: int) -> None:
        """Resample from `rate_in` to `rate_out`, both in Hz."""
        self._stream = soxr.ResampleStream(rate_in, rate_out, 1, dtype="float32", quality="HQ")
        common = math.gcd(rate_in, rate_out)
        self._cycle_in, self._cycle_out = rate_in // common, rate_out // common
        self._n_rest = round(REST_S * rate_in)
        self._n_zeros = 0
        self.n_filtered = 0

    def push(self, block: Signal, *, last: bool = False) -> Signal:
        """Return what comes out after the next samples; shapes (n_in,) and (n_out,)."""
        silent = not block.any()
        n_cycles = len(block) // self._cycle_in if silent and self._n_zeros >= self._n_rest else 0
        self._n_zeros = self._n_zeros + len(block) if silent else 0
        passed = np.zeros(n_cycles * self._cycle_out, np.float32)
        left = block[n_cycles * self._cycle_in :]
        if n_cycles and not len(left) and not last:
            return passed
        self.n_filtered += len(left)
        made = np.asarray(self._stream.resample_chunk(left, last=last), dtype=np.float32)
        return np.concatenate([passed, made]) if n_cycles else made
