"""Raw speech to a clip's samples: 48 kHz, one loudness, a bounded peak, trimmed to its onset, ends faded.

The mix has room for peaks 13 dB over speech's loudness. Synthetic speech is spikier: its harmonics are nearly
in phase, so that a male vowel peaks once a pitch period, and its first words are the loudest; 19 dB was
measured over 200 coaching lines, 24 dB at worst. Three steps bring that down:

- *dispersion*, for synthetic speech: an all-pass filter round the first formant spreads each pulse over a few
  milliseconds. The spectrum stays as it is; the delays stay under those a listener notices (Blauert and Laws
  1978: 3.2 ms at 500 Hz, 2 ms at 1 kHz, 1 ms at 2 kHz; values from memory). 3 dB at the median.
- *evening*, for synthetic speech: half of a word's difference from the line's loudness is taken away, as
  slowly as words go by, and never more than 6 dB down or 3 dB up.
- *a look-ahead gain* of some milliseconds for the peaks that are left, never a clipped wave: 2 dB at the
  median, 3.5 dB for nine lines of ten, 6 dB at worst.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
import soxr
from scipy.ndimage import minimum_filter1d, uniform_filter1d
from scipy.signal import sosfilt

from cuelane.audio.clip import AUDIBLE_RANGE_DB, WINDOW_MS, Samples, audible_span, quantise24
from cuelane.base.errors import VoiceError
from cuelane.base.levels import REFERENCE_LUFS
from cuelane.base.units import SAMPLE_RATE
from cuelane.meter import k_weight, true_peak_dbtp
from cuelane.meter.gating import OFFSET_LU, gated_loudness_lufs, loudness_of_power

Array = npt.NDArray[np.float64]

CREST_DB = 13.0
TRUE_PEAK_DBTP = REFERENCE_LUFS + CREST_DB

FINISH_VERSION = 1
"""Part of every recipe: raise it when the same raw speech would give other samples."""

_MARGIN = SAMPLE_RATE // 20
_LEAD_IN = SAMPLE_RATE // 2000
_FADE_OUT = SAMPLE_RATE * 8 // 1000
_STEP = SAMPLE_RATE // 1000
_BLOCK_STEPS = 400
_HOLD_STEPS = 4
_BISECTIONS = 14
_PEAK_PASSES = 4
_TRIM_PASSES = 8
_MOST_REDUCTION_DB = 6.0
_WORD_STEPS = 200
_EVENNESS = 0.5
_DOWN_DB, _UP_DB = 6.0, 3.0
# (frequency in Hz, Q) of each second-order all-pass; found by search over 40 coaching lines.
_DISPERSION = ((460.0, 1.6), (675.0, 2.48), (2319.0, 1.35), (2919.0, 2.97), (2986.0, 3.08))


@dataclass(frozen=True)
class Finished:
    """A clip's samples, where its sample 0 was in the raw speech, and the deepest gain cut made to fit it."""

    samples: Samples
    start_s: float
    reduction_db: float


def finish(
    raw: npt.NDArray[np.floating], sample_rate: int, *, synthetic: bool, gain_db: float = 0.0
) -> Finished:
    """Return `raw` as a clip's samples: mono float32 on the 24-bit grid at 48 kHz, sample 0 the onset.

    Parameters
    ----------
    raw : shape (n_frames,), any level.
    synthetic : spread the pulses and even the words. A person's recording is only levelled, unless its
        peaks would have to come down by more than 6 dB.
    gain_db : by how much the clip differs from the reference loudness; its peak bound stays.

    Raises
    ------
    VoiceError : nothing audible, or values that are not numbers.
    """
    speech = np.asarray(raw, dtype=np.float64)
    if speech.ndim != 1 or not np.isfinite(speech).all():
        raise VoiceError("the engine gave something that is not one channel of finite samples")
    if sample_rate != SAMPLE_RATE:
        speech = cast(Array, soxr.resample(speech, sample_rate, SAMPLE_RATE, "HQ"))
    loudness_lufs = REFERENCE_LUFS + gain_db
    onset, end = audible_span(speech, SAMPLE_RATE)
    if end <= onset or np.abs(speech).max() < 1e-5:
        raise VoiceError("the engine gave silence")
    first = max(0, onset - _MARGIN)
    speech = np.concatenate([speech[first : end + _MARGIN], np.zeros(_MARGIN)])
    if synthetic:
        levelled, reduction_db = _level(_even(_disperse(speech)), loudness_lufs)
    else:
        levelled, reduction_db = _level(speech, loudness_lufs)
        if reduction_db > _MOST_REDUCTION_DB:
            levelled, reduction_db = _level(_even(_disperse(speech)), loudness_lufs)
    samples, start = _trim(levelled)
    return Finished(quantise24(samples), (first + start) / SAMPLE_RATE, reduction_db)


def hold_peaks(samples: Samples, ceiling_dbtp: float) -> Samples:
    """Return a clip with its true peak at most `ceiling_dbtp`, by the same slow look-ahead gain as `finish`.

    For a session whose loudness asks for more gain than its clips' peaks allow. A clip that is under the
    ceiling comes back as it is; length and onset never change.

    Parameters
    ----------
    samples : shape (n_frames,), at 48 kHz.
    """
    speech = samples.astype(np.float64)
    over_db = true_peak_dbtp(speech[:, np.newaxis]) - ceiling_dbtp
    held, aim_db = speech, ceiling_dbtp - 0.05
    for _ in range(_PEAK_PASSES):
        if over_db <= 0:
            break
        gain = _hold_down(_peaks(speech), 10 ** (aim_db / 20))
        held = speech * _per_sample(gain, len(speech))
        over_db = true_peak_dbtp(held[:, np.newaxis]) - ceiling_dbtp
        aim_db -= over_db + 0.01
    return samples if held is speech else held.astype(np.float32)


def _trim(speech: Array) -> tuple[Array, int]:
    """Return `speech` cut to its audible span with faded ends, and the sample it now starts at.

    The fades take a little off both ends, so the span is measured again until it is that of what is left.
    """
    start, end = 0, len(speech)
    for _ in range(_TRIM_PASSES):
        onset, audible_end = audible_span(speech[start:end], SAMPLE_RATE)
        cut_start = start + max(0, onset - _LEAD_IN)
        cut_end = min(end, start + audible_end + _FADE_OUT // 2)
        piece = speech[cut_start:cut_end].copy()
        _fade(piece, start + onset - cut_start, _FADE_OUT)
        start, end = cut_start, cut_end
        left, right = audible_span(piece, SAMPLE_RATE)
        if left <= 2 * _LEAD_IN and right >= len(piece) - _FADE_OUT:
            break
        start, end = start + left, start + right
    return piece, start


def _disperse(speech: Array) -> Array:
    sections = []
    for frequency_hz, q in _DISPERSION:
        omega = 2 * np.pi * frequency_hz / SAMPLE_RATE
        alpha, cosine = np.sin(omega) / (2 * q), np.cos(omega)
        a = np.array([1 + alpha, -2 * cosine, 1 - alpha]) / (1 + alpha)
        sections.append(np.concatenate([a[::-1], a]))
    return np.asarray(sosfilt(np.array(sections), speech))


def _even(speech: Array) -> Array:
    """Return `speech` with half of each word's difference from the whole line's loudness taken away."""
    energies = _energies(speech)
    power = energies / _STEP
    for _ in range(3):
        power = uniform_filter1d(power, _WORD_STEPS // 3, mode="constant")
    over_lu = 10 * np.log10(np.maximum(power, 1e-12)) + OFFSET_LU - _loudness_lufs(energies)
    gain_db = np.clip(-_EVENNESS * over_lu, -_DOWN_DB, _UP_DB)
    # Breath and room between words is not speech to be raised.
    gain_db = np.where(over_lu < -10, np.clip(_UP_DB * (over_lu + 25) / 15, 0, gain_db), gain_db)
    gain = 10 ** (uniform_filter1d(gain_db, _WORD_STEPS // 4 + 1, mode="nearest") / 20)
    return speech * _per_sample(gain, len(speech))


def _per_sample(steps: Array, n_frames: int) -> Array:
    """Return a value for each sample, on straight lines between the middles of the 1 ms steps."""
    middles = (np.arange(len(steps)) + 0.5) * _STEP
    return np.asarray(np.interp(np.arange(n_frames), middles, steps))


def _level(speech: Array, loudness_lufs: float) -> tuple[Array, float]:
    """Return `speech` at `loudness_lufs` with its true peak under the ceiling, and the deepest cut in dB.

    Holding down peaks costs loudness, and giving that back raises the peaks again: the gain that does both
    is found by bisection on 1 ms steps of peak and energy, then applied once.
    """
    peaks, energies = _peaks(speech), _energies(speech)
    ceiling_db = TRUE_PEAK_DBTP - 0.05
    for _ in range(_PEAK_PASSES):
        ceiling = 10 ** (ceiling_db / 20)
        low_db = loudness_lufs - _loudness_lufs(energies) - 1.0
        high_db = low_db + 25.0
        for _ in range(_BISECTIONS):
            gain_db = (low_db + high_db) / 2
            held = _hold_down(peaks * 10 ** (gain_db / 20), ceiling) * 10 ** (gain_db / 20)
            if _loudness_lufs(energies * held**2) < loudness_lufs:
                low_db = gain_db
            else:
                high_db = gain_db
        cut = held / 10 ** (gain_db / 20)
        levelled = speech * _per_sample(held, len(speech))
        over_db = true_peak_dbtp(levelled[:, np.newaxis]) - TRUE_PEAK_DBTP
        if over_db <= 0:
            break
        ceiling_db -= over_db + 0.01
    return levelled, max(0.0, float(-20 * np.log10(cut.min())))


def _peaks(speech: Array) -> Array:
    """Return the largest magnitude of each 1 ms, half samples included."""
    n_steps = -(-len(speech) // _STEP)
    double = np.abs(soxr.resample(speech, SAMPLE_RATE, 2 * SAMPLE_RATE, "HQ"))[: 2 * len(speech)]
    return np.asarray(np.pad(double, (0, 2 * n_steps * _STEP - len(double))).reshape(n_steps, -1).max(axis=1))


def _energies(speech: Array) -> Array:
    """Return the K-weighted energy of each 1 ms."""
    n_steps = -(-len(speech) // _STEP)
    energy = np.square(k_weight(speech, SAMPLE_RATE))
    return np.asarray(np.pad(energy, (0, n_steps * _STEP - len(energy))).reshape(n_steps, -1).sum(axis=1))


def _loudness_lufs(energies: Array) -> float:
    """Return what `clip_loudness_lufs` reads, from 1 ms energies of speech with silence round it."""
    total = np.concatenate([[0.0], np.cumsum(energies)])
    window = np.convolve(energies, np.ones(WINDOW_MS), mode="same")
    audible = np.flatnonzero(window >= window.max() * 10 ** (-AUDIBLE_RANGE_DB / 10))
    first, end = int(audible[0]), int(audible[-1]) + 1
    if end - first < _BLOCK_STEPS:
        return loudness_of_power(float(total[end] - total[first]) / ((end - first) * _STEP))
    starts = np.append(np.arange(first, end - _BLOCK_STEPS, 10), end - _BLOCK_STEPS)
    return gated_loudness_lufs((total[starts + _BLOCK_STEPS] - total[starts]) / (_BLOCK_STEPS * _STEP))


def _hold_down(peaks: Array, ceiling: float) -> Array:
    """Return for each 1 ms a smooth gain, at most 1, that keeps `peaks` at or under `ceiling`."""
    gain = np.minimum(1.0, ceiling / np.maximum(peaks, 1e-12))
    # Three running means, and the line between two steps, reach no further than the hold did, so the
    # smoothed gain is nowhere above what is needed.
    gain = minimum_filter1d(gain, 2 * _HOLD_STEPS + 3, mode="nearest")
    for _ in range(3):
        gain = uniform_filter1d(gain, 2 * (_HOLD_STEPS // 3) + 1, mode="nearest")
    return np.asarray(gain)


def _fade(speech: Array, n_in: int, n_out: int) -> None:
    """Fade the ends in place with raised cosines."""
    n_out = min(n_out, len(speech))
    speech[:n_in] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_in) + 0.5) / max(1, n_in))
    speech[len(speech) - n_out :] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(n_out) + 0.5) / n_out)
