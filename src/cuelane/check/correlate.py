"""Normalised cross-correlation by FFT, and peaks between the samples."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft

Signal = npt.NDArray[np.float32]
Table = npt.NDArray[np.float64]

PRE_EMPHASIS = 0.95
"""Chosen: speech is weaker towards high frequencies; with those lifted, the peak of the correlation is only a
few samples wide."""

# Chosen: -60 dB under the loudest window; higher hides soft cues, lower lets rounding correlate.
_RELATIVE_FLOOR = 1e-6
_ABSOLUTE_FLOOR = 1e-10
"""Chosen, per sample, -100 dBFS. Without a floor, digital silence divides rounding noise by rounding
noise."""


_SPAN, _LOOK, _FINER = 48, 6, 8
"""Chosen: a peak is interpolated from 48 samples on each side, at eighths of a sample within 6 samples."""


@dataclass(frozen=True)
class Peak:
    """Where a template fits best: lag in samples of the searched signal, between samples too.

    ``score`` is the normalised correlation in [-1, 1]; ``gain`` the least-squares factor on the template.
    """

    lag: float
    score: float
    gain: float


def pre_emphasise(x: npt.NDArray[np.floating]) -> Signal:
    """Return `x` with each sample less 0.95 of the one before it; shape (n,) in and out."""
    out = np.asarray(x, dtype=np.float32).copy()
    out[1:] -= np.float32(PRE_EMPHASIS) * np.asarray(x[:-1], dtype=np.float32)
    return out


def energy_of(x: Signal) -> float:
    """Return the sum of squares of `x`, shape (n,). Not by a dot product: its threads cost more than
    they save on one cue."""
    return float(np.square(x, dtype=np.float64).sum())


def window_energy(x: Signal, n: int) -> Table:
    """Return the energy of every window of `n` samples, never below the floor; shape (len(x) - n + 1,)."""
    total = np.concatenate([[0.0], np.cumsum(np.square(x, dtype=np.float64))])
    energy = total[n:] - total[:-n]
    floor = max(_RELATIVE_FLOOR * float(energy.max(initial=0.0)), _ABSOLUTE_FLOOR * n)
    return np.asarray(np.maximum(energy, floor))


@dataclass(frozen=True)
class TemplateSpectra:
    """The transforms of a sound and of a template that is sought in it."""

    sound: npt.NDArray[np.complex64]
    template: npt.NDArray[np.complex64]
    n: int
    n_lags: int

    @classmethod
    def of(cls, x: Signal, template: Signal) -> TemplateSpectra:
        """Return the spectra of `x`, shape (n,), and of `template`, shape (m,), m <= n, at one sample
        rate."""
        n = next_fast_len(len(x), real=True)
        return cls(rfft(x, n), rfft(template, n), n, len(x) - len(template) + 1)

    def correlation(self) -> Signal:
        """Return the plain correlation where the template lies inside the sound; shape (n_lags,)."""
        return self._back(self.sound * np.conj(self.template))

    def correlation_without(self, lag: float, gain: float) -> Signal:
        """Return :meth:`correlation` as it is once `gain` times the template is taken out of the sound.

        `lag`, in samples and between them too, is where the template then begins. Shape (n_lags,); good to
        1 % of what is taken out: enough to see whether anything of its size is left.
        """
        turn = np.arange(self.n // 2 + 1, dtype=np.float32) * np.float32(2 * np.pi * lag / self.n)
        power = np.square(self.template.real) + np.square(self.template.imag)
        power *= np.float32(gain)
        product = self.sound * np.conj(self.template)
        product.real -= power * np.cos(turn)
        product.imag += power * np.sin(turn)
        return self._back(product)

    def _back(self, product: npt.NDArray[np.complex64]) -> Signal:
        return np.asarray(irfft(product, self.n)[: self.n_lags], dtype=np.float32)


def scores(
    x: Signal, template: Signal, spectra: TemplateSpectra | None = None
) -> tuple[Signal, Table, float]:
    """Return (correlation, normalised correlation, template energy), for every whole lag.

    `x` has shape (n,), `template` (m,) with m <= n, both at one sample rate; the first two of the answer have
    shape (n - m + 1,), the second in [-1, 1].
    """
    energy = energy_of(template)
    plain = (spectra or TemplateSpectra.of(x, template)).correlation()
    return plain, plain / np.sqrt(window_energy(x, len(template)) * max(energy, 1e-30)), energy


def vertex(y: npt.NDArray[np.floating], at: int) -> float:
    """Return the top of the parabola through ``y[at - 1 : at + 2]``, within half a sample of `at`.

    `y` has shape (n,); at its ends, or where it does not bend down, the answer is `at`.
    """
    if not 0 < at < len(y) - 1:
        return float(at)
    before, here, after = float(y[at - 1]), float(y[at]), float(y[at + 1])
    bend = before - 2 * here + after
    return at + (float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0)


@functools.lru_cache(maxsize=1)
def _between() -> tuple[Table, Table]:
    """Return (places in samples round a top, weights that give the correlation there)."""
    places = np.arange(-_LOOK * _FINER, _LOOK * _FINER + 1) / _FINER
    apart = places[:, np.newaxis] - np.arange(-_SPAN, _SPAN + 1)[np.newaxis, :]
    return places, np.sinc(apart) * np.cos(np.pi / 2 * np.clip(apart / (_SPAN + _LOOK), -1, 1)) ** 2


def top_between(plain: npt.NDArray[np.floating], at: int) -> tuple[float, float]:
    """Return (place, value) of the correlation's top near sample `at`, read between its samples.

    `plain` has shape (n,); `at` is in 0 to n - 1.

    A cue full of hiss correlates over less than a sample: half a sample off, its side lobe is higher than
    its top, so the neighbourhood is interpolated before the top is chosen.
    """
    places, weights = _between()
    around = np.zeros(2 * _SPAN + 1)
    first, last = max(0, at - _SPAN), min(len(plain), at + _SPAN + 1)
    around[first - at + _SPAN : last - at + _SPAN] = plain[first:last]
    values = np.einsum("ij,j->i", weights, around)
    k = int(np.argmax(values))
    place = vertex(values, k)
    fraction = place - k
    rise = (values[min(k + 1, len(values) - 1)] - values[max(k - 1, 0)]) / 2
    return at + places[0] + place / _FINER, float(values[k] + 0.5 * rise * fraction)


def best(x: Signal, template: Signal, spectra: TemplateSpectra | None = None) -> Peak:
    """Return the best fit of `template`, shape (m,), in `x`, shape (n,), n >= m."""
    plain, normal, energy = scores(x, template, spectra)
    return peak_at(plain, normal, energy, int(np.argmax(normal)))


def peak_at(plain: Signal, normal: Table, energy: float, at: int) -> Peak:
    """Return the top near the whole lag `at`, from what :func:`scores` gave, shape (n_lags,) both."""
    lag, value = top_between(plain, at)
    size = float(plain[at])
    score = float(normal[at]) * (value / size if size > 0 else 1.0)
    return Peak(lag, min(score, 1.0), value / max(energy, 1e-30))


def delayed(template: Signal, fraction: float) -> Signal:
    """Return `template`, shape (n,), later by `fraction` of a sample, -0.5 to 0.5; shape (n + 2,).

    A cue that is subtracted from a sound half a sample off its place leaves half of its treble behind; its
    level would be read wrongly too.
    """
    n = next_fast_len(len(template) + 64, real=True)
    padded = np.concatenate([np.zeros(1, np.float32), template, np.zeros(n - len(template) - 1, np.float32)])
    phase = np.arange(n // 2 + 1, dtype=np.float32) * np.float32(2 * np.pi * fraction / n)
    # Sine and cosine of single precision: an exponential of complex numbers takes five times as long.
    turn = np.empty(len(phase), np.complex64)
    turn.real, turn.imag = np.cos(phase), -np.sin(phase)
    return np.asarray(irfft(rfft(padded) * turn, n)[: len(template) + 2], dtype=np.float32)
