"""Normalised cross-correlation by FFT, and peaks between the samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Signal = npt.NDArray[np.float32]
Table = npt.NDArray[np.float64]

PRE_EMPHASIS = 0.95
"""Speech falls off with frequency; lifting it back makes the correlation peak a few samples wide."""

_RELATIVE_FLOOR = 1e-6
_ABSOLUTE_FLOOR = 1e-10
"""Per sample, -100 dBFS. Without a floor, digital silence divides rounding noise by rounding noise."""


@dataclass(frozen=True)
class Peak:
    """Where a template fits best: lag in samples of the searched signal, between samples too.

    ``score`` is the normalised correlation in [-1, 1]; ``gain`` the least-squares factor on the template.
    """

    lag: float
    score: float
    gain: float


def pre_emphasise(x: npt.NDArray[np.floating]) -> Signal:
    """Return `x` with each sample less 0.95 of the one before it."""
    out = np.asarray(x, dtype=np.float32).copy()
    out[1:] -= np.float32(PRE_EMPHASIS) * np.asarray(x[:-1], dtype=np.float32)
    return out


def window_energy(x: Signal, n: int) -> Table:
    """Return the energy of every window of `n` samples, never below the floor; shape (len(x) - n + 1,)."""
    total = np.concatenate([[0.0], np.cumsum(np.square(x, dtype=np.float64))])
    energy = total[n:] - total[:-n]
    floor = max(_RELATIVE_FLOOR * float(energy.max(initial=0.0)), _ABSOLUTE_FLOOR * n)
    return np.asarray(np.maximum(energy, floor))


def correlation(x: Signal, template: Signal) -> Signal:
    """Return the plain correlation at every lag where `template` lies inside `x`."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(len(x), real=True)
    spectrum = rfft(x, n) * np.conj(rfft(template, n))
    return np.asarray(irfft(spectrum, n)[: len(x) - len(template) + 1], dtype=np.float32)


def scores(x: Signal, template: Signal) -> tuple[Signal, Table, float]:
    """Return (correlation, normalised correlation, template energy) at every whole lag."""
    energy = float(np.dot(template.astype(np.float64), template))
    plain = correlation(x, template)
    return plain, plain / np.sqrt(window_energy(x, len(template)) * max(energy, 1e-30)), energy


def vertex(y: npt.NDArray[np.floating], at: int) -> float:
    """Return the top of the parabola through ``y[at - 1 : at + 2]``, within half a sample of `at`."""
    if not 0 < at < len(y) - 1:
        return float(at)
    before, here, after = float(y[at - 1]), float(y[at]), float(y[at + 1])
    bend = before - 2 * here + after
    return at + (float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0)


def best(x: Signal, template: Signal, first: int = 0, last: int | None = None) -> Peak:
    """Return the best fit of `template` in `x` with its first sample in ``[first, last)``."""
    plain, normal, energy = scores(x, template)
    span = normal[first:last]
    at = first + int(np.argmax(span))
    return Peak(vertex(normal, at), float(normal[at]), float(plain[at]) / max(energy, 1e-30))


def delayed(template: Signal, fraction: float) -> Signal:
    """Return `template` later by `fraction` of a sample, -0.5 to 0.5, one zero longer on each side.

    Taking a cue out of a sound, or reading its level, half a sample off leaves half of its treble behind.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(len(template) + 64, real=True)
    padded = np.concatenate([np.zeros(1, np.float32), template, np.zeros(n - len(template) - 1, np.float32)])
    turn = np.exp(-2j * np.pi * np.arange(n // 2 + 1) * (fraction / n))
    return np.asarray(
        irfft(rfft(padded) * turn.astype(np.complex64), n)[: len(template) + 2], dtype=np.float32
    )
