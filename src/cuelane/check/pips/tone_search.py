"""Pips: a tone of known pitch and length, found anywhere and then measured.

The sound is shifted so that the pitch lies at zero and cut to ±150 Hz round it; a pip is then a bump of
constant phase. Its score is the normalised correlation with such a bump that has silence before and after
it, as long as itself (at most 0.2 s): a longer tone or a held note fills that silence and scores low.

The onset comes from the top of the correlation's magnitude, which is symmetric whatever the edges' shape,
and then from the carrier: all pips of a kind are the same wave, so their common phase, learnt from the file
itself, places each of them within its cycle. Nothing is assumed about the phase a renderer starts with.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.fft import fft, ifft, rfft
from scipy.ndimage import maximum_filter1d

from cuelane.check.correlate import Signal, vertex
from cuelane.check.intake import ANALYSIS_RATE, SILENCE

# Chosen: holds the edges of a pip of 10 ms rise; wider lets music in, narrower blurs onsets.
HALF_BAND_HZ = 150.0
# Chosen: longer reaches the next pip of a close countdown, shorter lets held notes in.
LONGEST_GUARD_S = 0.2
# Chosen: near the raised-cosine edges of common pips; the onset does not depend on it.
EDGE_S = 0.008
# Chosen: 8 s at once; longer costs memory, shorter transforms the overlap again and again.
SEGMENT = 1 << 17
# Chosen, in Hz: more than the band's 300, so that nothing is lost; more costs time.
COARSE_RATE = 500
# Chosen, lower than for a pip that is measured, since the coarse search must not lose any.
MIN_COARSE_SCORE = 0.45
# Chosen: peaks closer than this belong to one tone.
MIN_APART_S = 0.06
# Chosen: twenty times the pips of a day; beyond it the least likely are dropped, so that music fills no
# memory.
MOST_TONES = 200_000

Complex = npt.NDArray[np.complexfloating]


@dataclass(frozen=True, order=True)
class PipKind:
    """What makes two pips alike: pitch and length."""

    frequency_hz: float
    length_s: float


@dataclass(frozen=True, order=True)
class Tone:
    """A tone found: its onset in seconds of the file, its score, and its level against full scale."""

    time_s: float
    score: float
    kind: PipKind
    amplitude: float = 0.0
    phase: float = 0.0


def guard_s(kind: PipKind) -> float:
    """Return how much silence a pip's template has on each side, in seconds."""
    return min(kind.length_s, LONGEST_GUARD_S)


@functools.lru_cache(maxsize=64)
def _band_filter(
    n: int, frequency_hz: float, n_out: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.float32], Complex]:
    """Return (bins of the sound, where they go, their weights, the phase rotation) for :func:`band_of`."""
    per_bin = ANALYSIS_RATE / n
    centre = round(frequency_hz / per_bin)
    half = int(HALF_BAND_HZ / per_bin)
    bins = np.arange(-half, half + 1)
    bins = bins[(centre + bins > 0) & (centre + bins < n // 2 + 1)]
    weight = np.cos(np.pi / 2 * np.clip((np.abs(bins) / half - 0.8) / 0.2, 0, 1)) ** 2 * (2 * n_out / n)
    # The nearest bin is not the pitch itself: a phase rotation removes the rest.
    left = frequency_hz - centre * per_bin
    turn = np.exp(-2j * np.pi * left * np.arange(n_out) * (n / n_out / ANALYSIS_RATE))
    return centre + bins, bins % n_out, weight.astype(np.float32), turn.astype(np.complex64)


def band_of(spectrum: Complex, n: int, frequency_hz: float, n_out: int) -> Complex:
    """Return the band round `frequency_hz` at zero frequency, shape (n_out,), complex, for `n` samples of
    sound.

    `spectrum` is the sound's at 16 kHz, shape (n // 2 + 1,).
    """
    bins, places, weight, turn = _band_filter(n, frequency_hz, n_out)
    out = np.zeros(n_out, dtype=np.complex64)
    out[places] = spectrum[bins] * weight
    return np.asarray(ifft(out) * turn)


def _scores(band: Complex, n_tone: int, n_guard: int) -> tuple[npt.NDArray[np.float64], Complex]:
    """Return (score, sum) of a tone of `n_tone` samples that begins at each sample of `band`."""
    pad = np.concatenate([np.zeros(n_guard), band, np.zeros(n_tone + n_guard)])
    total = np.concatenate([[0], np.cumsum(pad, dtype=np.complex128)])
    power = np.concatenate([[0.0], np.cumsum(np.square(np.abs(pad)), dtype=np.float64)])
    n = len(band)
    inner = total[n_guard + n_tone : n_guard + n_tone + n] - total[n_guard : n_guard + n]
    span = n_tone + 2 * n_guard
    energy = power[span : span + n] - power[:n]
    floor = max(1e-6 * float(energy.max(initial=0.0)), 1e-9 * span)
    return np.abs(inner) / np.sqrt(np.maximum(energy, floor) * n_tone), inner


class ToneSearch:
    """Listens to the 16 kHz sound and collects every tone of the given kinds."""

    def __init__(self, kinds: list[PipKind]) -> None:
        self.tones: list[Tone] = []
        self._kinds = sorted(set(kinds))
        self._margin = int(max((k.length_s + 2 * guard_s(k) + 0.1 for k in kinds), default=0) * ANALYSIS_RATE)
        self._size = SEGMENT
        while self._size < 6 * self._margin:
            self._size *= 2
        self._waiting: list[Signal] = [np.zeros(self._margin, np.float32)]
        self._n_waiting = self._margin
        self._start = -self._margin

    def push(self, block: Signal) -> None:
        """Take the next samples, shape (n,), 16 kHz mono, full scale 1.0."""
        if not self._kinds:
            return
        self._waiting.append(block)
        self._n_waiting += len(block)
        if self._n_waiting >= self._size:
            self._search(np.concatenate(self._waiting), self._size)

    def finish(self) -> None:
        if self._kinds:
            self._search(
                np.concatenate([*self._waiting, np.zeros(self._margin, np.float32)]), self._margin + 1
            )
        self.tones.sort()

    def _search(self, sound: Signal, at_least: int) -> None:
        while len(sound) >= at_least:
            piece = sound[: self._size]
            if len(piece) < self._size:
                piece = np.concatenate([piece, np.zeros(self._size - len(piece), np.float32)])
            self._look(piece)
            sound = sound[self._size - 2 * self._margin :]
            self._start += self._size - 2 * self._margin
        self._waiting, self._n_waiting = [sound.copy()], len(sound)

    def _look(self, sound: Signal) -> None:
        if float(np.abs(sound).max()) < SILENCE:
            return
        n_out = self._size * COARSE_RATE // ANALYSIS_RATE
        spectrum = rfft(sound)
        bands: dict[float, Complex] = {}
        for kind in self._kinds:
            if kind.frequency_hz not in bands:
                bands[kind.frequency_hz] = band_of(spectrum, len(sound), kind.frequency_hz, n_out)
            n_tone = max(1, round(kind.length_s * COARSE_RATE))
            score, inner = _scores(bands[kind.frequency_hz], n_tone, round(guard_s(kind) * COARSE_RATE))
            apart = int(MIN_APART_S * COARSE_RATE)
            top = np.flatnonzero(
                (score >= MIN_COARSE_SCORE) & (score >= maximum_filter1d(score, 2 * apart + 1))
            )
            step = ANALYSIS_RATE // COARSE_RATE
            first, last = self._margin // step, (self._size - self._margin) // step
            for at in top[(top >= first) & (top < last)]:
                place = vertex(score, int(at))
                time_s = self._start / ANALYSIS_RATE + place / COARSE_RATE
                self.tones.append(Tone(time_s, float(score[at]), kind, float(abs(inner[at])) / n_tone))
        if len(self.tones) > MOST_TONES:
            self.tones.sort(key=lambda tone: -tone.score)
            del self.tones[MOST_TONES // 2 :]


def template(kind: PipKind) -> npt.NDArray[np.complex64]:
    """Return the pip at 16 kHz as a complex tone with raised-cosine edges, from its first sample on;
    shape (n,)."""
    n = round(kind.length_s * ANALYSIS_RATE)
    edge = min(int(EDGE_S * ANALYSIS_RATE), n // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / max(edge, 1))
    level = np.concatenate([ramp, np.ones(n - 2 * edge), ramp[::-1]])
    return np.asarray(
        np.exp(2j * np.pi * kind.frequency_hz * np.arange(n) / ANALYSIS_RATE) * level, np.complex64
    )


@functools.lru_cache(maxsize=64)
def _pattern(kind: PipKind, n: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.complex128], float]:
    """Return (bins of a transform of `n` samples round the pitch, template there times the band, energy)."""
    tone = template(kind)
    bins = np.arange(
        max(1, int((kind.frequency_hz - HALF_BAND_HZ) * n / ANALYSIS_RATE)),
        min(n // 2, int((kind.frequency_hz + HALF_BAND_HZ) * n / ANALYSIS_RATE) + 1),
    )
    away = np.abs(bins * ANALYSIS_RATE / n - kind.frequency_hz) / HALF_BAND_HZ
    weight = np.cos(np.pi / 2 * np.clip((away - 0.8) / 0.2, 0, 1)) ** 2
    return bins, np.conj(fft(tone, n)[bins]) * weight, float(np.square(np.abs(tone)).sum())


FINE_RATE = 4_000
"""Chosen, in Hz: the rate at which a band is searched before the top is placed between its samples."""
# Chosen: a parabola through three points so close is exact to far below a sample.
FINE_STEP_S = 2e-5


def measure(
    sound: Signal, first_s: float, kind: PipKind, low_s: float, high_s: float, sample_rate: int
) -> Tone | None:
    """Return the best pip of `kind` whose onset lies in [low_s, high_s], by envelope alone.

    `sound`, shape (n,), is at 16 kHz, full scale 1.0, and begins at `first_s` of the file; it must reach a
    guard beyond the range. `sample_rate` is the schedule's: a pip's middle lies half way between its first
    sample and its last.
    """
    step = ANALYSIS_RATE // FINE_RATE
    n = -(-len(sound) // 2048) * 2048
    bins, pattern, own = _pattern(kind, n)
    band_bins = rfft(sound, n)[bins]
    # Shifted down by whole bins, the band fits a quarter of the rate, and its magnitudes are the same.
    n_out = n // step
    spectrum = np.zeros((2, n_out), dtype=np.complex128)
    spectrum[0, (bins - bins[0]) % n_out] = band_bins * pattern
    weight = np.abs(pattern) / np.maximum(np.abs(pattern), 1e-30)
    spectrum[1, (bins - bins[0]) % n_out] = band_bins * weight
    found, band = ifft(spectrum, axis=1) / step * 1.0
    n_tone, n_guard = kind.length_s * FINE_RATE, guard_s(kind) * FINE_RATE
    power = np.concatenate([[0.0], np.cumsum(np.square(np.abs(band)), dtype=np.float64)])
    low = max(int(np.ceil(n_guard)), int((low_s - first_s) * FINE_RATE))
    high = min(int(len(sound) / step - n_tone - n_guard), int((high_s - first_s) * FINE_RATE) + 1)
    if high - low < 3:
        return None
    at = np.arange(low, high)
    energy = power[at + round(n_tone + n_guard)] - power[at - round(n_guard)]
    # The stretch's own loudest moment must not hide a soft pip: the floor is absolute.
    energy = np.maximum(energy * step, 1e-10 * n_tone * step)
    size = np.abs(found[low:high])
    score = size / np.sqrt(energy * own)
    top = int(np.argmax(score))
    # The score depends on the guards, so the time is taken from the correlation's own peak nearby.
    span = max(2, int(n_tone) // 8)
    left = max(0, top - span)
    crest = left + int(np.argmax(size[left : top + span + 1]))
    place_s = (low + crest) / FINE_RATE
    products = band_bins * pattern / n
    for reach_s in (0.5 / FINE_RATE, FINE_STEP_S):
        times = place_s + reach_s * np.array([-1.0, 0.0, 1.0])
        turns = np.exp(2j * np.pi * np.outer(times, bins * ANALYSIS_RATE / n))
        values = (turns * products).sum(axis=1)
        place_s = float(times[1] + (vertex(np.square(np.abs(values)), 1) - 1) * reach_s)
    value = complex((np.exp(2j * np.pi * place_s * bins * ANALYSIS_RATE / n) * products).sum())
    # The template's own phase rotates with its place; without that, what is left is the pip's phase at its
    # onset.
    onset_s = place_s - 0.5 / ANALYSIS_RATE + 0.5 / sample_rate
    return Tone(first_s + onset_s, float(score[top]), kind, abs(value) / own * 2, float(np.angle(value)))


def by_carrier(tones: list[Tone], min_agreement: float = 0.7) -> list[Tone]:
    """Return `tones` (all of one kind) moved to where the carrier has the phase they share.

    Where phases do not agree, the tones are not copies of one wave, and the envelope's times stand.
    """
    if len(tones) < 2:
        return tones
    weight = np.array([tone.score for tone in tones]) ** 4
    vectors = weight * np.exp(1j * np.array([tone.phase for tone in tones]))
    mean = vectors.sum() / weight.sum()
    if abs(mean) < min_agreement:
        return tones
    common = float(np.angle(mean))
    moved = []
    for tone in tones:
        turn = float(np.angle(np.exp(1j * (tone.phase - common))))
        moved.append(replace(tone, time_s=tone.time_s - turn / (2 * np.pi * tone.kind.frequency_hz)))
    return moved
