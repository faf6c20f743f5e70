"""The Speech Intelligibility Index: how much of speech is audible over a masker, from 0 to 1.

Source: ANSI S3.5-1997, one-third octave procedure (values from a secondary source: the tables as
three open implementations hold them, which agree). Only normal vocal effort is kept: in every copy found, the
200 Hz value for raised effort breaks the curve.

All levels are equivalent *spectrum levels*, dB SPL per hertz at the ear's reference point, one for each band.
Over 0.75 is good communication, under 0.45 poor (informative note of the standard; value from memory).
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError

Array = npt.NDArray[np.float64]

GOOD = 0.75
POOR = 0.45
NO_NOISE_DB = -50.0


@dataclass(frozen=True, eq=False)
class Procedure:
    """The bands of one procedure: centre frequencies, importance, normal speech and internal noise levels.

    ``spreads`` says that masking spreads to higher bands. The program uses one procedure; the tests give the
    octave one too, since published results of it hold the arithmetic that both share.
    """

    name: str
    centre_hz: Array
    importance: Array
    normal_speech_db: Array
    internal_noise_db: Array
    spreads: bool

    @functools.cached_property
    def centre_db(self) -> Array:
        """Ten times the logarithm of each centre frequency in Hz, shape (n_bands,)."""
        return np.asarray(10 * np.log10(self.centre_hz))

    @functools.cached_property
    def below(self) -> Array:
        """1 where a column's band lies below the row's, else 0; shape (n_bands, n_bands)."""
        return np.tri(len(self.centre_hz), k=-1)

    @functools.cached_property
    def octaves_up(self) -> Array:
        """How far above each column's upper edge each row's centre lies, in octaves; 0 where it does not.

        Shape (n_bands, n_bands).
        """
        centre = self.centre_hz
        return np.asarray(self.below * 3.32 * np.log10(0.89 * centre[:, np.newaxis] / centre))


def _row(text: str) -> Array:
    row = np.array(text.split(), dtype=np.float64)
    row.setflags(write=False)
    return row


ONE_THIRD_OCTAVE = Procedure(
    name="one-third octave",
    centre_hz=_row("160 200 250 315 400 500 630 800 1000 1250 1600 2000 2500 3150 4000 5000 6300 8000"),
    importance=_row(
        ".0083 .0095 .0150 .0289 .0440 .0578 .0653 .0711 .0818 .0844 .0882 .0898 .0868 .0844 .0771 .0527"
        " .0364 .0185"
    ),
    normal_speech_db=_row(
        "32.41 34.48 34.75 33.98 34.59 34.27 32.06 28.30 25.01 23.00 20.15 17.32 13.18 11.55 9.33 5.31"
        " 2.59 1.13"
    ),
    internal_noise_db=_row(
        ".6 -1.7 -3.9 -6.1 -8.2 -9.7 -10.8 -11.9 -12.5 -13.5 -15.4 -17.7 -21.2 -24.2 -25.9 -23.6 -15.8 -7.1"
    ),
    spreads=True,
)


def masking_spectrum_db(
    noise_db: Array, speech_db: Array | None = None, procedure: Procedure = ONE_THIRD_OCTAVE
) -> Array:
    """Return the equivalent masking spectrum level Z of each band (clause 5.4).

    Parameters
    ----------
    noise_db, speech_db : spectrum levels, shape (n_bands,). Speech masks itself 24 dB down; without it, only
        the noise masks.
    """
    if not procedure.spreads:
        return np.array(noise_db, dtype=np.float64)
    masker = noise_db if speech_db is None else np.maximum(noise_db, speech_db - 24)
    slope = -80 + 0.6 * (masker + procedure.centre_db - 6.353)
    # Row i takes the spread of every band below it.
    spread = masker + slope * procedure.octaves_up
    masking = 10 * np.log10(10 ** (0.1 * noise_db) + (procedure.below * 10 ** (0.1 * spread)).sum(axis=1))
    masking[0] = masker[0]
    return np.asarray(masking)


def speech_intelligibility_index(
    speech_db: npt.ArrayLike,
    noise_db: npt.ArrayLike | None = None,
    threshold_db: npt.ArrayLike | None = None,
    *,
    procedure: Procedure = ONE_THIRD_OCTAVE,
    importance: npt.ArrayLike | None = None,
) -> float:
    """Return the SII of speech over a masker, 0 to 1.

    Parameters
    ----------
    speech_db, noise_db : equivalent spectrum levels, dB SPL, shape (n_bands,); no noise is -50 dB.
    threshold_db : hearing threshold level of each band, dB HL; 0 is normal hearing.
    importance : another band importance function, for particular speech material.

    Raises
    ------
    SignalError : another number of bands than the procedure has, or a level that is no number.
    """
    bands = len(procedure.centre_hz)
    speech = _levels(speech_db, bands, "speech")
    noise = _levels(np.full(bands, NO_NOISE_DB) if noise_db is None else noise_db, bands, "noise")
    threshold = _levels(np.zeros(bands) if threshold_db is None else threshold_db, bands, "threshold")
    weight = procedure.importance if importance is None else _levels(importance, bands, "importance")
    masking = masking_spectrum_db(noise, speech, procedure)
    # The standard takes the larger of the two, not their power sum.
    disturbance = np.maximum(masking, procedure.internal_noise_db + threshold)
    distortion = np.clip(1 - (speech - procedure.normal_speech_db - 10) / 160, 0, 1)
    audibility = distortion * np.clip((speech - disturbance + 15) / 30, 0, 1)
    return float((weight * audibility).sum())


def _levels(values: npt.ArrayLike, bands: int, name: str) -> Array:
    levels = np.asarray(values, dtype=np.float64)
    if levels.shape != (bands,) or np.isnan(levels).any():
        raise SignalError(f"{name} levels want {bands} numbers, got shape {levels.shape}")
    # -inf (a band with nothing in it) would make NaN of a difference, inf of a product.
    return np.clip(levels, -200.0, 300.0)


def highest_masker_gain_db(
    speech_db: Array,
    noise_db: Array,
    target: float,
    *,
    lowest_db: float = -60.0,
    highest_db: float = 60.0,
) -> float | None:
    """Return the largest gain (dB) that may be given to the masker while the SII stays at `target` or above.

    As :func:`highest_gain_db` does; the SII falls steadily as the masker rises. Both spectra are levels in
    dB SPL per hertz, shape (18,).
    """

    def enough(gain_db: float) -> bool:
        return speech_intelligibility_index(speech_db, noise_db + gain_db) >= target

    return highest_gain_db(enough, lowest_db, highest_db)


def highest_gain_db(
    enough: Callable[[float], bool], lowest_db: float = -60.0, highest_db: float = 60.0
) -> float | None:
    """Return the largest gain (dB) for which `enough` holds; it must hold for every smaller gain as well.

    To 0.01 dB, never above the exact answer; `highest_db` if that is enough, None if not even `lowest_db` is.
    """
    if enough(highest_db):
        return highest_db
    if not enough(lowest_db):
        return None
    low, high = lowest_db, highest_db
    while high - low > 0.01:
        middle = (low + high) / 2
        low, high = (middle, high) if enough(middle) else (low, middle)
    return low
