"""A recording as fingerprints of sound: which bands rise out of what sounds anyway, every 8 ms.

Each band's energy is divided by its own recent mean (per-channel energy normalisation, Wang and others,
ICASSP 2017, as librosa has it), so that steady music and a room's tail weigh little, and an onset weighs the
same at any level.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from cuelane.recording.decode import Recording
from cuelane.recording.recogniser import LISTEN_RATE

Array = npt.NDArray[np.float32]

# Chosen: where a band hardly moves, as above a telephone's, its noise is not made large.
_LEAST_SPREAD = 0.02

# Chosen, as a share of the mean over all directions: what is added to each before it is divided by its power,
# so that what hardly moves is not made large, and a signal that is there often is not what is usual. On five
# fitting classes with music as loud as speech 0.1 to 1 all tell signals from other sounds.
_LEAST_POWER = 0.3
# Derived: keeps what never moves from being divided by nothing.
_NO_POWER = 1e-9

# Chosen: 32 ms every 8 ms at 16 kHz, as the tone tracks have it.
N_FFT, HOP = 512, 128
HOP_S = HOP / LISTEN_RATE
# Chosen: more tell sounds apart better and cost time and memory.
N_BANDS = 64
# Chosen: below lie hum and steps, above what telephones and codecs leave out.
_LOWEST_HZ, _HIGHEST_HZ = 100.0, 7500.0
# Chosen: a minute at once bounds the memory; the lead lets the running means settle.
_BLOCK_S, _LEAD_S = 60.0, 3.0
# Common practice, no source: full scale of 16-bit samples, for which the method's usual constants are made.
_FULL_SCALE = float(1 << 15)


@dataclass(frozen=True)
class UsualBands:
    """What is usual in a recording: each band's mean and spread, and which bands move together.

    Music fills the same bands all the time, so that any two moments of it are alike; apart from what is usual
    they are not, and a sound in bands that are mostly quiet stands out. But any two strokes of a drum, or two
    vowels, still rise in the same bands together. Whitened, what is usual has about as much in each
    direction. A template told by correlation is the best one can do in white noise only, and noise here is
    music and talk (Kay, Fundamentals of Statistical Signal Processing II, 1998, section 4.4; from memory).

    Attributes
    ----------
    mean, spread : shape (64,).
    whitening : (64, 64), symmetric, so that a band stays itself.
    """

    mean: Array
    spread: Array
    whitening: Array

    @classmethod
    def of(cls, prints: Array) -> UsualBands:
        """Return what is usual in `prints`, shape (n, 64)."""
        mean, spread = prints.mean(axis=0), prints.std(axis=0) + np.float32(_LEAST_SPREAD)
        apart = ((prints - mean) / spread).astype(np.float64)
        power, axes = np.linalg.eigh(apart.T @ apart / len(apart))
        whitening = (axes / np.sqrt(power + _LEAST_POWER * power.mean() + _NO_POWER)) @ axes.T
        return cls(mean, spread, whitening.astype(np.float32))

    def apart(self, prints: Array) -> Array:
        """Return by how many spreads `prints`, shape (n, 64), differ from what is usual; the same shape."""
        return np.asarray((prints - self.mean) / self.spread, dtype=np.float32)

    def white(self, prints: Array) -> Array:
        """Return what of `prints`, shape (n, 64), other bands do not lead one to expect; the same shape."""
        return np.asarray(self.apart(prints) @ self.whitening, dtype=np.float32)


@cache
def _bands() -> Array:
    import librosa

    return np.asarray(
        librosa.filters.mel(
            sr=LISTEN_RATE, n_fft=N_FFT, n_mels=N_BANDS, fmin=_LOWEST_HZ, fmax=_HIGHEST_HZ, htk=True
        ),
        dtype=np.float32,
    )


@cache
def band_hz() -> Array:
    """Return the middle of each band in Hz, shape (64,)."""
    import librosa

    edges = librosa.mel_frequencies(N_BANDS + 2, fmin=_LOWEST_HZ, fmax=_HIGHEST_HZ, htk=True)
    return np.asarray(edges[1:-1], dtype=np.float32)


def fingerprints(recording: Recording) -> Array:
    """Return the normalised energy of each band; shape (n_steps, 64), 0 and up, 0 where nothing rises.

    Step k is centred on k * 8 ms.
    """
    import librosa

    parts = []
    at = 0.0
    while at < recording.seconds:
        start = max(0.0, at - _LEAD_S)
        end = min(recording.seconds, at + _BLOCK_S)
        samples = recording.low(start - 0.016, end + 0.016)
        before = np.zeros(0 if start > 0 else round(0.016 * LISTEN_RATE), np.float32)
        samples = np.concatenate([before, samples, np.zeros(N_FFT, np.float32)])
        n = round((end - start) / HOP_S)
        frames = np.lib.stride_tricks.sliding_window_view(samples, N_FFT)[::HOP][:n]
        power = np.abs(np.fft.rfft(frames * np.hanning(N_FFT).astype(np.float32))).astype(np.float32)
        energy = (_FULL_SCALE * power) @ _bands().T
        raised = librosa.pcen(
            energy.T, sr=LISTEN_RATE, hop_length=HOP, gain=0.8, bias=10, power=0.25, time_constant=0.4
        ).T
        parts.append(np.asarray(raised[round((at - start) / HOP_S) :], dtype=np.float32))
        at += _BLOCK_S
    return np.concatenate(parts) if parts else np.zeros((0, N_BANDS), np.float32)
