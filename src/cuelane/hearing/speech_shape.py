"""Gentle shaping of a voice that has to be heard over music; measured, not assumed, to help.

Three things a mixing engineer would do, each kept small: a high-pass that removes what music covers anyway, a
broad boost at the frequencies of consonants, and moderate compression that lifts quiet syllables.
Which strength is used, if any, is chosen by the gain in Speech Intelligibility Index at equal loudness: a
shape that gains too little is not used. Recorded voices are left alone unless somebody asks.

Filters are SciPy's. The strengths are ours (common practice, no source). Shape before trimming: the filters
move no sound, but a quieter first consonant can move the onset as the onset rule sees it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, iirpeak, lfilter, sosfilt, sosfiltfilt

from cuelane.audio.clip import Samples
from cuelane.base.errors import SignalError
from cuelane.hearing.bands import band_powers, full_scale_db_spl, spectrum_levels_db
from cuelane.hearing.masker import programme_powers
from cuelane.hearing.sii import speech_intelligibility_index
from cuelane.meter import clip_loudness_lufs

Array = npt.NDArray[np.float64]

LEAST_GAIN = 0.02
"""A shape is worth using when it raises the mean index by at least this."""

_PRESENCE_HZ, _PRESENCE_Q = 3_000.0, 0.7
_SMOOTHING_HZ = 12.0
_KNEE_LU = 6.0


@dataclass(frozen=True)
class Shape:
    """One strength: the boost at 3 kHz, and the compression ratio from 6 dB under the mean power up."""

    name: str
    high_pass_hz: float
    presence_db: float
    ratio: float


OFF = Shape("off", 0.0, 0.0, 1.0)
GENTLE = Shape("gentle", 90.0, 3.0, 1.5)
CLEAR = Shape("clear", 110.0, 6.0, 2.0)
SHAPES = (OFF, GENTLE, CLEAR)


def shape_speech(samples: npt.NDArray[np.floating], sample_rate: int, shape: Shape) -> Samples:
    """Return a spoken clip shaped, of the same length and the same loudness (BS.1770).

    Parameters
    ----------
    samples : shape (n_frames,), full scale 1.0. Silence comes back as it is.
    """
    if samples.ndim != 1:
        raise SignalError(f"shape_speech wants shape (n_frames,), got {samples.shape}")
    loudness = clip_loudness_lufs(samples, sample_rate)
    if shape == OFF or not np.isfinite(loudness):
        return np.asarray(samples, dtype=np.float32)
    shaped: Array = samples.astype(np.float64)
    if shape.high_pass_hz:
        shaped = sosfilt(butter(2, shape.high_pass_hz, "highpass", fs=sample_rate, output="sos"), shaped)
    if shape.presence_db and sample_rate > 2.5 * _PRESENCE_HZ:
        # The sound plus (gain - 1) times what a resonator of unit gain passes is a bell of that gain.
        peak = lfilter(*iirpeak(_PRESENCE_HZ, _PRESENCE_Q, fs=sample_rate), shaped)
        shaped = shaped + (10 ** (shape.presence_db / 20) - 1) * peak
    if shape.ratio > 1:
        shaped = shaped * _compression_gain(shaped, sample_rate, shape.ratio)
    change_db = loudness - clip_loudness_lufs(shaped, sample_rate)
    return np.asarray(shaped * 10 ** (change_db / 20), dtype=np.float32)


def _compression_gain(samples: Array, sample_rate: int, ratio: float) -> Array:
    """Return the linear gain at each sample; it follows the syllables, not the wave, without delay."""
    smooth = butter(1, _SMOOTHING_HZ, fs=sample_rate, output="sos")
    padding = min(samples.size - 1, sample_rate // 10)
    power = np.maximum(sosfiltfilt(smooth, np.square(samples), padlen=padding), 1e-12)
    level_db = 10 * np.log10(power)
    knee_db = 10 * np.log10(np.square(samples).mean() + 1e-12) - _KNEE_LU
    gain: Array = 10 ** (-(1 - 1 / ratio) * np.maximum(0.0, level_db - knee_db) / 20)
    return gain


@dataclass(frozen=True)
class ShapeChoice:
    """The shape chosen and the mean index over the clips with each shape, by its name."""

    shape: Shape
    mean_sii: dict[str, float]


def choose_shape(
    clips: Sequence[npt.NDArray[np.floating]],
    sample_rate: int,
    *,
    masker_powers: Array | None = None,
    music_level_lu: float = -3.0,
    shapes: Sequence[Shape] = SHAPES,
) -> ShapeChoice:
    """Return the gentlest shape that comes within 0.01 of the best mean SII, or OFF when none gains 0.02.

    Parameters
    ----------
    clips : spoken clips, each shape (n_frames,); silent ones are left out.
    masker_powers : band powers, shape (18,), of the music at the loudness of the speech, full scale as the
        clips' at -20 LUFS; programme-like noise if None.
    music_level_lu : how far the music lies above speech.
    """
    mean_sii: dict[str, float] = {}
    for shape in shapes:
        indexes = []
        for clip in clips:
            loudness = clip_loudness_lufs(clip, sample_rate)
            if np.isfinite(loudness):
                shaped = shape_speech(clip * 10 ** ((-20.0 - loudness) / 20), sample_rate, shape)
                indexes.append(_sii(shaped, sample_rate, masker_powers, music_level_lu))
        mean_sii[shape.name] = float(np.mean(indexes)) if indexes else 0.0
    best = max(mean_sii.values())
    plain = mean_sii.get(OFF.name, 0.0)
    if best - plain < LEAST_GAIN:
        return ShapeChoice(OFF, mean_sii)
    return ShapeChoice(next(shape for shape in shapes if mean_sii[shape.name] >= best - 0.01), mean_sii)


def _sii(samples: Samples, sample_rate: int, masker_powers: Array | None, music_level_lu: float) -> float:
    masker = programme_powers(-20.0) if masker_powers is None else masker_powers
    full_scale_db = full_scale_db_spl(-20.0)
    return speech_intelligibility_index(
        spectrum_levels_db(band_powers(samples, sample_rate), full_scale_db),
        spectrum_levels_db(masker * 10 ** (music_level_lu / 10), full_scale_db),
    )
