"""K-weighting at any sample rate.

The standard prints coefficients for 48 kHz only. They are the bilinear transform of two analogue sections, a
high shelf and a high-pass, whose corner, gain and Q below give the printed tables back to 1e-9. The printed
high-pass numerator (1, -2, 1) is not normalised, which lifts the pass band by 0.0435 dB at 48 kHz; other
rates are scaled to the same lift. What remains is the bilinear transform's own warp of the shelf: a 1 kHz
tone reads 0.02 LU low at 22.05 kHz and 0.20 LU low at 8 kHz.

Source: ITU-R BS.1770-5, Annex 1, tables 1 and 2 (value from a secondary source; the analogue figures from
memory, held to the tables by a test).
"""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.signal import sosfilt

from cuelane.base.errors import SignalError

Array = npt.NDArray[np.float64]

_SHELF_HZ, _SHELF_DB, _SHELF_Q, _SHELF_BAND_POWER = (
    1681.974450955533,
    3.999843853973347,
    0.7071752369554196,
    0.4996667741545416,
)
_HIGH_PASS_HZ, _HIGH_PASS_Q = 38.13547087602444, 0.5003270373238773

METERED_RATES = range(8_000, 384_001)
"""Hz: the shelf needs its 1.7 kHz well below half the sample rate."""

STEP = 1 << 13
"""Silence is looked for in stretches of so many samples, about as long as the filter takes to decay."""


@functools.lru_cache(maxsize=16)
def _coefficients(sample_rate: int) -> tuple[tuple[float, ...], ...]:
    warp = math.tan(math.pi * _SHELF_HZ / sample_rate)
    high = 10 ** (_SHELF_DB / 20)
    band = high**_SHELF_BAND_POWER
    scale = 1 + warp / _SHELF_Q + warp * warp
    shelf = (
        (high + band * warp / _SHELF_Q + warp * warp) / scale,
        2 * (warp * warp - high) / scale,
        (high - band * warp / _SHELF_Q + warp * warp) / scale,
        1.0,
        2 * (warp * warp - 1) / scale,
        (1 - warp / _SHELF_Q + warp * warp) / scale,
    )
    warp = math.tan(math.pi * _HIGH_PASS_HZ / sample_rate)
    scale = 1 + warp / _HIGH_PASS_Q + warp * warp
    printed_warp = math.tan(math.pi * _HIGH_PASS_HZ / 48_000)
    lift = (1 + printed_warp / _HIGH_PASS_Q + printed_warp * printed_warp) / scale
    high_pass = (
        lift,
        -2 * lift,
        lift,
        1.0,
        2 * (warp * warp - 1) / scale,
        (1 - warp / _HIGH_PASS_Q + warp * warp) / scale,
    )
    return shelf, high_pass


def k_weighting_sos(sample_rate: int) -> Array:
    """Return the K-weighting filter as second-order sections, shape (2, 6): high shelf, then high-pass.

    Raises
    ------
    SignalError : `sample_rate` outside `METERED_RATES`.
    """
    if sample_rate not in METERED_RATES:
        raise SignalError(f"K-weighting wants a sample rate from 8000 to 384000 Hz, got {sample_rate}")
    return np.array(_coefficients(sample_rate))


def k_weight(samples: npt.NDArray[np.floating], sample_rate: int) -> Array:
    """Return `samples`, shape (n_frames,) or (n_frames, n_channels), K-weighted along time, from rest."""
    if samples.ndim not in (1, 2):
        raise SignalError(f"k_weight wants shape (n_frames,) or (n_frames, n_channels), got {samples.shape}")
    if samples.size == 0:
        return np.zeros(samples.shape)
    filtered = sosfilt(k_weighting_sos(sample_rate), samples.astype(np.float64), axis=0)
    return np.asarray(filtered, dtype=np.float64)


class KWeighting:
    """K-weights a stream, block after block.

    In silence the filter's state decays to denormal numbers, over which a processor takes many times as long.
    So a state below -500 dBFS is set to zero, and silence from there on costs nothing.

    Two channels are filtered as one complex signal. Each step of a filter waits for the one before, so both
    together take little longer than one (stereo at 9.7 ns a frame against 13.4).
    """

    def __init__(self, sample_rate: int, weights: Array) -> None:
        """Begin at rest; `weights`, shape (n_channels,), holds the factor on each channel's energy."""
        self._sos = k_weighting_sos(sample_rate)
        self._weights = weights
        pairs = range(0, len(weights), 2)
        self._states: list[npt.NDArray[Any]] = [
            np.zeros((2, 2), dtype=np.complex128 if first + 1 < len(weights) else np.float64)
            for first in pairs
        ]

    @property
    def is_at_rest(self) -> bool:
        """Whether silence as input would give silence as output."""
        return not any(state.any() for state in self._states)

    def energy(self, block: npt.NDArray[np.floating]) -> Array:
        """Return the squares of the next samples after weighting, shape (n_frames,), summed over channels by
        their weights; `block` has shape (n_frames, n_channels)."""
        energy = np.zeros(len(block))
        sounding = [bool(block[start : start + STEP].any()) for start in range(0, len(block), STEP)]
        step = 0
        while step < len(sounding):
            first = step
            step += 1
            while sounding[first] and step < len(sounding) and sounding[step]:
                step += 1
            if sounding[first] or not self.is_at_rest:
                span = slice(first * STEP, step * STEP)
                for i in range(len(self._states)):
                    self._add_energy(energy[span], block[span], i)
        return energy

    def _add_energy(self, energy: Array, block: npt.NDArray[np.floating], i: int) -> None:
        kind = np.float32 if block.dtype == np.float32 else np.float64
        channels = np.ascontiguousarray(block[:, 2 * i : 2 * i + 2], dtype=kind)
        signal: npt.NDArray[Any] = channels[:, 0]
        if channels.shape[1] == 2:
            signal = channels.view(np.result_type(kind, np.complex64))[:, 0]
        weighted, after = sosfilt(self._sos, signal, zi=self._states[i])
        parts = after.view(np.float64)
        parts[np.abs(parts) < 1e-25] = 0.0
        self._states[i] = after
        squares = np.square(weighted.view(np.float64)).reshape(len(block), -1)
        for channel, weight in enumerate(self._weights[2 * i : 2 * i + 2]):
            energy += squares[:, channel] if weight == 1.0 else squares[:, channel] * weight
