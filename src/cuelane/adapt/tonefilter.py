"""How much a recording looks, at each moment, like a tone of given pitch and length between two silences.

The score is a normalised correlation: the energy of the best-fitting tone over all energy in a band around
it, counted over the tone and a guard on both sides. 1 is a lone tone, phase does not matter, and a longer or
shorter tone scores less for sounding in a guard or falling short.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cuelane.adapt.listening import LISTEN_RATE
from cuelane.adapt.recording import Recording

Array = npt.NDArray[np.float32]

DOWN = 16
SCORE_RATE = LISTEN_RATE // DOWN
"""Scores a second: one a millisecond."""

_HALF_BAND_HZ = 160.0
_N_TAPS = 16 * DOWN + 1
_LONGEST_GUARD_S = 0.25
_BLOCK = 60 * LISTEN_RATE


def baseband(recording: Recording, frequency_hz: float, start: int, end: int) -> npt.NDArray[np.complex64]:
    """Return the band around `frequency_hz` shifted to 0 Hz, at 1 kHz, for 16 kHz samples `start` to `end`.

    `start` is a multiple of 16. Value k belongs to sample ``start + 16 k``.
    """
    from scipy.signal import firwin, upfirdn

    half = _N_TAPS // 2
    samples = recording.low_frames(start - half, end + half)
    if start < half:
        samples = np.concatenate([np.zeros(half - start, np.float32), samples])
    phase = np.exp(-2j * np.pi * frequency_hz / LISTEN_RATE * np.arange(len(samples))).astype(np.complex64)
    taps = firwin(_N_TAPS, _HALF_BAND_HZ, fs=LISTEN_RATE).astype(np.float32)
    full = upfirdn(taps, samples * phase, 1, DOWN)
    first = 2 * half // DOWN
    return np.asarray(full[first : first + max(0, end - start) // DOWN], dtype=np.complex64)


def tone_scores(recording: Recording, frequency_hz: float, length_s: float) -> Array:
    """Return the score, 0 to 1, for a tone that begins at each millisecond of `recording`."""
    parts = []
    for start in range(0, recording.n_listen // DOWN * DOWN, _BLOCK):
        parts.append(_scores_of(recording, frequency_hz, length_s, start))
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _scores_of(recording: Recording, frequency_hz: float, length_s: float, start: int) -> Array:
    length = round(length_s * SCORE_RATE)
    guard = round(min(length_s, _LONGEST_GUARD_S) * SCORE_RATE)
    margin = (guard + 4) * DOWN
    begin = start - margin
    end = min(start + _BLOCK, recording.n_listen // DOWN * DOWN)
    band = baseband(recording, frequency_hz, max(0, begin), end + margin + length * DOWN)
    lead = (start - max(0, begin)) // DOWN
    band = np.concatenate([np.zeros(guard + 4 - lead, np.complex64), band])
    n_scores = (end - start) // DOWN
    short = n_scores + 2 * guard + length + 8 - len(band)
    band = np.concatenate([band, np.zeros(max(0, short), np.complex64)])
    sums = np.concatenate([[0], np.cumsum(band, dtype=np.complex128)])
    energy = np.concatenate([[0], np.cumsum(np.abs(band) ** 2, dtype=np.float64)])
    # Index guard + 4 + k of the band is the moment that score k stands for.
    at = np.arange(n_scores) + guard + 4
    tone = np.abs(sums[at + length] - sums[at]) ** 2 / length
    inside = energy[at + length + guard] - energy[at - guard]
    # The floor keeps digital silence, where both sums are rounding noise, from scoring.
    floor = (length + 2 * guard) * 1e-9
    return np.asarray(tone / (inside + floor), dtype=np.float32)
