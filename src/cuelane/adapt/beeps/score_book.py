"""Tone scores of a recording for a search over many pitches and lengths: pooled, and each computed once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from cuelane.adapt.beeps.tone_filter import SCORE_RATE, ToneSpectra, tone_scores
from cuelane.recording.decode import Recording

Array = npt.NDArray[np.float32]

# Chosen: a class has no boundaries closer; less takes bars of music for boundaries.
LEAST_APART_S = 4.0
# Chosen, in ms: coarse enough to search many pitches, fine enough to tell spacings apart.
POOL = 4
# Chosen: half a step of the tone tracks' spacings, so that a proposal's rounding loses no tone.
JITTER_S = 0.016
# Derived: a tone that is off by a whole turn over its length scores 0, by an eighth of one 0.95; so pitches
# that are a quarter of a turn apart are enough.
_STEP = 0.25


class ScoreBook:
    """Tone scores of one recording, pooled to 4 ms, each computed once."""

    def __init__(self, recording: Recording) -> None:
        self._spectra = ToneSpectra(recording, keep=True)
        self._kept: dict[tuple[float, float], Array] = {}

    def pooled(self, frequency_hz: float, length_s: float) -> Array:
        """Return the highest score within 16 ms of each 4 ms step; shape (n,), 0 to 1."""
        length_s = round(length_s, 2)
        step_hz = _STEP / length_s
        key = (round(frequency_hz / step_hz) * step_hz, length_s)
        if key not in self._kept:
            self._kept[key] = pool(tone_scores(self._spectra, *key))
        return self._kept[key]


def pool(scores: Array) -> Array:
    """Return `scores`, shape (n,), one a ms, 0 to 1, at 4 ms steps, each the highest within 16 ms."""
    wide = maximum_filter1d(scores, 2 * round(JITTER_S * SCORE_RATE) + 1)
    return np.asarray(wide[::POOL], dtype=np.float32)


def shifted(scores: Array, by_s: float) -> Array:
    """Return pooled `scores`, shape (n,), moved later by `by_s` seconds (earlier if negative); 0 outside."""
    by = round(by_s * SCORE_RATE / POOL)
    out = np.zeros_like(scores)
    if by >= 0:
        out[by:] = scores[: max(0, len(scores) - by)]
    else:
        out[:by] = scores[-by:]
    return out


def peaks(scores: Array, least: float, apart_s: float = LEAST_APART_S) -> npt.NDArray[np.int64]:
    """Return the places of the highest pooled `scores`, of at least `least`, no two closer than `apart_s`.

    `scores` has shape (n,), 0 to 1, one each 4 ms; the places are indices into it, in order, shape
    (n_peaks,).
    """
    padded = np.concatenate([[0.0], scores, [0.0]])
    places, _ = find_peaks(padded, height=least, distance=max(1, round(apart_s * SCORE_RATE / POOL)))
    return np.asarray(places - 1, dtype=np.int64)
