"""How much a recording resembles, at each moment, a tone of given pitch and length between two silences.

The score is a normalised correlation: the energy of the best-fitting tone over all energy in a band around
it, counted over the tone and a guard on both sides. A lone tone scores 1 whatever its phase; a longer tone
scores less because it sounds in a guard, a shorter one because it does not fill its place.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.fft import ifft, rfft
from scipy.signal import firwin

from cuelane.recording.decode import Recording
from cuelane.recording.recogniser import LISTEN_RATE

Array = npt.NDArray[np.float32]
Complex = npt.NDArray[np.complex64]

# Chosen: to one score a millisecond, from 16 kHz.
DOWN = 16
SCORE_RATE = LISTEN_RATE // DOWN
"""Scores a second: one a millisecond."""

# Chosen: wide enough for the edges of tones of 50 ms, narrow enough to leave most music outside.
_HALF_BAND_HZ = 160.0
_N_TAPS = 16 * DOWN + 1
# Chosen: longer guards lose countdowns whose tones are close, shorter ones let held notes in.
_LONGEST_GUARD_S = 0.25
_BLOCK = 60 * LISTEN_RATE
_LEAD = 2 * LISTEN_RATE
# Derived: 65.5 s at 16 kHz, a minute with the lead before it and the longest tone with its guards after it.
_N_FFT = 1 << 20


class ToneSpectra:
    """The spectra of a recording's minutes, from which the band around any pitch is quickly computed.

    With `keep` they are held once made: 4 MB for each minute, for a search over many pitches of a recording
    of bounded length.
    """

    def __init__(self, recording: Recording, *, keep: bool = False) -> None:
        self._recording = recording
        self._kept: dict[int, Complex] | None = {} if keep else None
        self.n_scores = recording.n_listen // DOWN

    def bands(self, frequency_hz: float) -> Iterator[tuple[int, Complex]]:
        """Yield (number of scores, band) for each minute: the band around `frequency_hz` at 0 Hz, at 1 kHz.

        The band is complex, shape (65536,), full scale 1.0. It begins 2 s before the minute's first score and
        goes on for some seconds after its last.
        """
        for start in range(0, self.n_scores * DOWN, _BLOCK):
            spectrum = self._kept.get(start) if self._kept is not None else None
            if spectrum is None:
                spectrum = self._spectrum(start)
                if self._kept is not None:
                    self._kept[start] = spectrum
            yield min(_BLOCK // DOWN, self.n_scores - start // DOWN), _band(spectrum, frequency_hz)

    def _spectrum(self, start: int) -> Complex:
        block = np.zeros(_N_FFT, np.float32)
        begin = start - _LEAD
        samples = self._recording.low_frames(begin, begin + _N_FFT)
        offset = max(0, -begin)
        block[offset : offset + len(samples)] = samples
        return np.asarray(rfft(block), dtype=np.complex64)


@cache
def _response() -> Array:
    """Return the band's filter at each of its frequencies, from half the score rate below to half above."""
    half = _N_TAPS // 2
    taps = np.zeros(_N_FFT)
    taps[: half + 1] = (centred := firwin(_N_TAPS, _HALF_BAND_HZ, fs=LISTEN_RATE))[half:]
    taps[-half:] = centred[:half]
    n_band = _N_FFT // DOWN
    right = np.fft.rfft(taps).real[: n_band // 2 + 1]
    return np.concatenate([right[: n_band // 2], right[:0:-1]]).astype(np.float32) / np.float32(DOWN)


def _band(spectrum: Complex, frequency_hz: float) -> Complex:
    n_band = _N_FFT // DOWN
    half = n_band // 2
    centre = round(frequency_hz * _N_FFT / LISTEN_RATE)
    band = np.zeros(n_band, np.complex64)
    above = spectrum[centre : centre + half]
    band[: len(above)] = above
    # Of frequencies below 0 there is nothing in the filter's band for any pitch that is looked for.
    below = spectrum[max(0, centre - half) : centre]
    band[n_band - len(below) :] = below
    return np.asarray(ifft(band * _response(), overwrite_x=True), dtype=np.complex64)


def tone_scores(recording: Recording | ToneSpectra, frequency_hz: float, length_s: float) -> Array:
    """Return the score, 0 to 1, of a tone that begins at each millisecond of `recording`; shape (n_ms,)."""
    spectra = recording if isinstance(recording, ToneSpectra) else ToneSpectra(recording)
    parts = [_scores_of(n_scores, band, length_s) for n_scores, band in spectra.bands(frequency_hz)]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def band_of(recording: Recording, frequency_hz: float) -> Complex:
    """Return the band around `frequency_hz`, moved to 0 Hz, of a recording's first minute.

    Shape (n_ms,), at most 60,000, complex, full scale 1.0.
    """
    n_scores, band = next(ToneSpectra(recording).bands(frequency_hz))
    return band[_LEAD // DOWN : _LEAD // DOWN + n_scores]


def _scores_of(n_scores: int, band: Complex, length_s: float) -> Array:
    length = round(length_s * SCORE_RATE)
    guard = round(min(length_s, _LONGEST_GUARD_S) * SCORE_RATE)
    band = band[_LEAD // DOWN - guard : _LEAD // DOWN + n_scores + length + guard]
    sums = np.concatenate([[0], np.cumsum(band, dtype=np.complex128)])
    energy = np.concatenate([[0], np.cumsum(np.abs(band) ** 2, dtype=np.float64)])
    at = np.arange(n_scores) + guard
    tone = np.abs(sums[at + length] - sums[at]) ** 2 / length
    inside = energy[at + length + guard] - energy[at - guard]
    # The floor keeps digital silence, where both sums are rounding noise, from scoring.
    floor = (length + 2 * guard) * 1e-9
    return np.asarray(tone / (inside + floor), dtype=np.float32)
