"""Digital sound in the one-third octave bands of the Speech Intelligibility Index, and as levels at the ear.

Calibration. A digital level becomes a sound pressure level by one convention: speech at the track's speech
loudness stands for speech at normal vocal effort, 62.35 dB SPL overall (ANSI S3.5-1997, table 3). The two are
tied through K-weighting: the standard's normal-effort spectrum, read as a BS.1770 meter would read it, has
that speech loudness. A clip of equal loudness but another spectrum then has levels of its own in the bands,
and music that is so many LU above or below speech lies as many decibels above or below it. Louder listening
raises both together and changes the index little, since here the music masks the speech, not the threshold of
hearing.

Stereo is heard with one ear at a time: bands are means over channels, and a mono sound in two channels is as
loud as that mono sound.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
from scipy.fft import next_fast_len, rfft

from cuelane.base.errors import SignalError
from cuelane.hearing.sii import ONE_THIRD_OCTAVE
from cuelane.meter.gating import loudness_of_power
from cuelane.meter.weighting import k_weighting_sos

Array = npt.NDArray[np.float64]

N_BANDS = len(ONE_THIRD_OCTAVE.centre_hz)
FRAMES_PER_SECOND = 10

_EXACT_CENTRES_HZ = 1000 * 10 ** (np.arange(-8, 10) / 10)
EDGES_HZ = 1000 * 10 ** ((np.arange(-8, 11) - 0.5) / 10)
_WIDTH_DB = 10 * np.log10(0.2316 * ONE_THIRD_OCTAVE.centre_hz)


def band_powers(samples: npt.NDArray[np.floating], sample_rate: int) -> Array:
    """Return the mean square of a mono sound in each band, shape (18,), full scale 1.0.

    Parameters
    ----------
    samples : shape (n_frames,). Taken whole, unwindowed: its ends should be quiet, as a clip's are.
    """
    if samples.ndim != 1:
        raise SignalError(f"band_powers wants shape (n_frames,), got {samples.shape}")
    if not samples.size:
        return np.zeros(N_BANDS)
    n_fft = next_fast_len(max(samples.size, sample_rate // 10), real=True)
    power: Array = np.square(np.abs(rfft(samples.astype(np.float64), n_fft)))
    power[1:] *= 2
    bands: Array = _between_edges(power[np.newaxis, :] / (n_fft * samples.size), sample_rate / n_fft)[0]
    return bands


def _between_edges(power: Array, bin_hz: float) -> Array:
    """Sum spectra (n, n_bins) into bands; a bin on an edge is shared in proportion."""
    total = np.concatenate([np.zeros((len(power), 1)), np.cumsum(power, axis=1)], axis=1)
    # Bin k holds the power from (k - 1/2) to (k + 1/2) times its width.
    place = np.clip(EDGES_HZ / bin_hz + 0.5, 0, total.shape[1] - 1)
    below = np.minimum(place.astype(np.int64), total.shape[1] - 2)
    at_edges = total[:, below] + (place - below) * (total[:, below + 1] - total[:, below])
    return np.asarray(np.diff(at_edges, axis=1))


class BandFrames:
    """Follows the band powers of a stream in frames of 100 ms, one row of 18 each; 26 kB a minute."""

    def __init__(self, sample_rate: int, n_channels: int) -> None:
        self.sample_rate = sample_rate
        self._n_fft = 1 << (sample_rate // 8).bit_length()
        self._hop = sample_rate // FRAMES_PER_SECOND
        window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(self._n_fft) / self._n_fft)
        self._window = (window / np.sqrt(np.square(window).sum())).astype(np.float32)
        # The first window is centred on the first hop.
        self._pending = np.zeros((n_channels, (self._n_fft - self._hop) // 2), dtype=np.float32)
        self._rows: list[npt.NDArray[np.float32]] = []

    def push(self, block: npt.NDArray[np.floating]) -> None:
        """Take the next samples, shape (n_frames, n_channels)."""
        self._pending = np.concatenate([self._pending, block.T.astype(np.float32)], axis=1)
        n_ready = (self._pending.shape[1] - self._n_fft) // self._hop + 1
        if n_ready <= 0:
            return
        windows = np.lib.stride_tricks.sliding_window_view(self._pending, self._n_fft, axis=1)
        for first in range(0, n_ready, 64):
            taken = windows[:, first * self._hop : min(first + 64, n_ready) * self._hop : self._hop]
            spectra = rfft(taken * self._window, axis=2)
            power = np.square(spectra.real) + np.square(spectra.imag)
            power = 2 / self._n_fft * power.mean(axis=0)
            bands = _between_edges(power.astype(np.float64), self.sample_rate / self._n_fft)
            self._rows.append(bands.astype(np.float32))
        self._pending = self._pending[:, n_ready * self._hop :]

    def powers(self) -> npt.NDArray[np.float32]:
        """Return what has been read so far, shape (n_frames_of_100_ms, 18), silence taken to follow."""
        tail = BandFrames.__new__(BandFrames)
        tail.__dict__ = {**self.__dict__, "_rows": []}
        tail.push(np.zeros((self._n_fft, self._pending.shape[0])))
        rows = [*self._rows, *tail._rows]
        return np.concatenate(rows) if rows else np.zeros((0, N_BANDS), dtype=np.float32)


@functools.cache
def _k_gain_power(sample_rate: int = 48_000) -> Array:
    turn = np.exp(-2j * np.pi * _EXACT_CENTRES_HZ / sample_rate)
    response = np.ones(N_BANDS, dtype=np.complex128)
    for b0, b1, b2, a0, a1, a2 in k_weighting_sos(sample_rate):
        response *= (b0 + b1 * turn + b2 * turn**2) / (a0 + a1 * turn + a2 * turn**2)
    return np.asarray(np.square(np.abs(response)))


def band_loudness_lufs(powers: Array) -> float:
    """Return the K-weighted loudness of what lies in the bands, shape (18,); bass below them is left out."""
    return loudness_of_power(float((powers * _k_gain_power()).sum()))


def full_scale_db_spl(speech_loudness_lufs: float) -> float:
    """Return the dB SPL of a mean square of 1.0, when speech of this loudness is normal vocal effort."""
    speech_db = ONE_THIRD_OCTAVE.normal_speech_db + _WIDTH_DB
    return band_loudness_lufs(10 ** (speech_db / 10)) - speech_loudness_lufs


def spectrum_levels_db(powers: npt.NDArray[np.floating], full_scale_db: float) -> Array:
    """Return equivalent spectrum levels, dB SPL per hertz, of band powers of shape (18,)."""
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(powers.astype(np.float64)) - _WIDTH_DB + full_scale_db)
