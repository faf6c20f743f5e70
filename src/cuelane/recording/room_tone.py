"""Makes the room tones of several recordings alike, so that clips of different days fit together.

A recording's room tone is what sounds in its pauses. The noise of the noisier recording is lowered towards
that of the quieter by a spectral gate: Boll, "Suppression of acoustic noise in speech using spectral
subtraction", IEEE Trans. ASSP 27 (1979), with a floor, so that the noise is lowered by no more than the
difference. Nothing is done to the quietest recording, or where the difference is under 3 dB.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.signal import istft, stft

from cuelane.recording.decode import CLIP_RATE, Recording

Audio = npt.NDArray[np.float32]
Spectrum = npt.NDArray[np.float64]

# Samples, 43 ms at 48 kHz. Chosen: longer tells hum apart better, shorter follows speech better.
WINDOW = 2048
# Chosen: deeper removes more noise and leaves more artefacts.
DEEPEST_DB = 12.0
# Chosen: a smaller difference is left alone, since processing would do more harm than good.
_WORTH_DB = 3.0
# Chosen: a larger value leaves fewer isolated tones of noise but removes more of soft speech.
_OVER_SUBTRACTION = 2.0
# Chosen: more pauses give a steadier mean and take longer to read.
_LISTEN_AT_MOST_S = 30.0
# Chosen: a pause may last as long as the recording; no more of it is read, so that memory is flat.
_OF_ONE_PAUSE_S = _LISTEN_AT_MOST_S


class Sound(Protocol):
    """A stretch of sound between two pauses, in seconds."""

    @property
    def start_s(self) -> float: ...

    @property
    def end_s(self) -> float: ...


def room_tone(recording: Recording, pieces: Sequence[Sound]) -> Spectrum | None:
    """Return the mean power spectrum of the pauses between `pieces`; None if they hold less than a second.

    Shape (1025,), linear power of a windowed FFT, from 0 Hz to 24 kHz.
    """
    total: Spectrum = np.zeros(WINDOW // 2 + 1)
    n_windows = 0
    window = np.hanning(WINDOW)
    for before, after in pairwise(pieces):
        begin = before.end_s + 0.1
        pause = recording.full(begin, min(after.start_s - 0.1, begin + _OF_ONE_PAUSE_S))
        for start in range(0, len(pause) - WINDOW + 1, WINDOW // 2):
            total += np.abs(np.fft.rfft(pause[start : start + WINDOW] * window)) ** 2
            n_windows += 1
        if n_windows * WINDOW / 2 > _LISTEN_AT_MOST_S * CLIP_RATE:
            break
    return total / n_windows if n_windows * WINDOW / 2 > CLIP_RATE else None


def level_db(tone: Spectrum) -> float:
    """Return the level in dB of a :func:`room_tone`, shape (1025,), the bins above 100 Hz summed."""
    return float(10 * np.log10(tone[round(100 * WINDOW / CLIP_RATE) :].sum() + 1e-20))


def soften(samples: Audio, tone: Spectrum, by_db: float) -> Audio:
    """Return `samples` with noise of spectrum `tone` lowered by at most `by_db`.

    `samples` and the result have shape (n,), 48 kHz mono, full scale 1.0; `tone` is :func:`room_tone`'s.
    """
    if by_db < _WORTH_DB:
        return samples
    # scipy scales a spectrum by the window's sum; the tone was taken without.
    scale = np.hanning(WINDOW).sum() ** 2
    _, _, bins = stft(samples, CLIP_RATE, "hann", WINDOW, WINDOW * 3 // 4)
    power = np.abs(bins) ** 2 * scale
    # Power is averaged over neighbouring frames: single bins of noise fluctuate, and gating each alone would
    # be heard as tones ("musical noise").
    smooth = np.apply_along_axis(lambda row: np.convolve(row, np.full(5, 0.2), "same"), 1, power)
    gain = np.sqrt(np.clip(1 - _OVER_SUBTRACTION * tone[:, None] / (smooth + 1e-20), 0, 1))
    gain = np.maximum(gain, 10 ** (-min(by_db, DEEPEST_DB) / 20))
    _, out = istft(bins * gain, CLIP_RATE, "hann", WINDOW, WINDOW * 3 // 4)
    return np.asarray(out[: len(samples)], dtype=np.float32)
