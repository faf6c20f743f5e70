"""A first, coarse look for every cue everywhere: band envelopes, correlated all at once.

The sound becomes 18 band envelopes 100 times a second, compressed and with their slow mean taken away, so
neither level nor steady sound matters much. All cues are searched in a stretch with one matrix product per
frequency of the envelopes: 200 cues in 45 minutes take about a second. Places are good to some 5 ms; what is
found here is measured in the waveform afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, rfft
from scipy.ndimage import uniform_filter1d

from cuelane.check.correlate import Signal
from cuelane.check.intake import ANALYSIS_RATE, SILENCE
from cuelane.check.templates import Template

HOP = ANALYSIS_RATE // 100
# Common practice of speech recognition: frames of 25 ms every 10 ms, at 16 kHz.
WINDOW = 400
# Derived: the next power of two above the window.
N_FFT = 512
# Chosen: more would tell similar cues apart better but cost time; fewer would find less in music.
N_BANDS = 18
# Chosen: what codecs keep and rooms leave of speech.
LOW_HZ, HIGH_HZ = 200.0, 7000.0
# Chosen: half a second; shorter removes words as if they were steady sound, longer leaves slow music in.
MEAN_FRAMES = 51

# Chosen: 20 s at once, a power of two for the transform; longer costs memory.
BLOCK_FRAMES = 2048
# Chosen: 8 s of a cue tell it from all others; more costs time.
LONGEST_FRAMES = 800
# Chosen: more costs memory, fewer leaves the processor waiting for Python.
BLOCKS_AT_ONCE = 4
# Chosen: low, since the coarse search must not lose any; still lower gives more places than there is time
# for.
MIN_SCORE = 0.35
MOST_CANDIDATES = 200_000
"""Chosen: when there are more, the less likely half is dropped, so that a day of music fills no memory."""

Features = npt.NDArray[np.float32]


@dataclass(frozen=True, order=True)
class PhraseHit:
    """A place where a cue may be: its onset in seconds of the file, and how alike it looks there."""

    time_s: float
    score: float
    key: str


def _band_starts() -> npt.NDArray[np.int64]:
    """Return the first bin of each band, and one past the last band's last."""
    edges = np.geomspace(LOW_HZ, HIGH_HZ, N_BANDS + 1)
    return np.ceil(edges * N_FFT / ANALYSIS_RATE).astype(np.int64)


def features(x: Signal) -> Features:
    """Return compressed band envelopes of `x`, shape (n, 18); frame k is centred on sample 160 k."""
    padded = np.concatenate([np.zeros(WINDOW // 2, np.float32), x, np.zeros(WINDOW, np.float32)])
    n = len(x) // HOP
    if n == 0:
        return np.zeros((0, N_BANDS), np.float32)
    window = np.hanning(WINDOW).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][:n]
    starts = _band_starts()
    bands = np.zeros((n, N_BANDS), np.float32)
    sounding = _sounding(padded, n)
    for first in range(0, len(sounding), 2048):
        some = sounding[first : first + 2048]
        spectrum = rfft(frames[some] * window, N_FFT, axis=1)
        inside = spectrum[:, starts[0] : starts[-1]]
        power = inside.real**2 + inside.imag**2
        # Sums by bin, not a matrix product: on small shapes its threads cost more than they save.
        bands[some] = np.add.reduceat(power, starts[:-1] - starts[0], axis=1)
    compressed = np.sqrt(np.sqrt(bands))
    return np.asarray(compressed - uniform_filter1d(compressed, MEAN_FRAMES, axis=0, mode="nearest"))


def _sounding(padded: Signal, n: int) -> npt.NDArray[np.intp]:
    """Return which of `n` frames hold any sound; most of a track is left open."""
    tall = np.abs(padded[: (n + 2) * HOP].reshape(n + 2, HOP)).max(axis=1) > SILENCE
    return np.flatnonzero(tall[:-2] | tall[1:-1] | tall[2:])


def _is_silent(sound: Signal) -> bool:
    """Return whether no sample of `sound` (shape (n,), full scale 1.0) is above what counts as silence."""
    return not bool((np.abs(sound) > SILENCE).any())


class PhraseSearch:
    """Listens to the 16 kHz sound and collects candidates for every template."""

    def __init__(self, templates: list[Template], rate: float = 1.0) -> None:
        self.candidates: list[PhraseHit] = []
        self._templates, self._rate = templates, rate
        self._keys = [template.key for template in templates]
        self._waiting: list[Signal] = []
        self._n_waiting = 0
        self._start = 0
        self._margin = MEAN_FRAMES // 2 + 1
        self._lengths = np.array([self._n_frames(template) for template in templates], dtype=np.int64)
        longest = int(self._lengths.max()) if templates else 1
        self._step = BLOCK_FRAMES - longest
        self._frames = self._step * BLOCKS_AT_ONCE + BLOCK_FRAMES + 2 * self._margin
        self._spectra: npt.NDArray[np.complex64] | None = None
        self._energies = np.zeros((0, N_BANDS), np.float32)

    def _n_frames(self, template: Template) -> int:
        return max(4, min(LONGEST_FRAMES, int(template.length_s * self._rate * ANALYSIS_RATE) // HOP))

    def _prepare(self) -> npt.NDArray[np.complex64]:
        """Return the templates' spectra, made where the search runs: beside the decoding, not before it."""
        if self._spectra is None:
            quiet = np.zeros(self._margin * HOP, np.float32)
            padded = np.zeros((BLOCK_FRAMES, N_BANDS, len(self._templates)), np.float32)
            for i, template in enumerate(self._templates):
                sound = np.concatenate([quiet, template.sound(self._rate), quiet])
                looks = features(sound)[self._margin :][: self._lengths[i]]
                padded[: len(looks), :, i] = looks
            self._energies = np.square(padded).sum(axis=0).T
            self._spectra = np.conj(rfft(padded, axis=0)).astype(np.complex64)
        return self._spectra

    def push(self, block: Signal) -> None:
        """Take the next samples, shape (n,), 16 kHz mono, full scale 1.0."""
        if not self._keys:
            return
        self._waiting.append(block)
        self._n_waiting += len(block)
        if self._n_waiting >= self._frames * HOP:
            self._search(np.concatenate(self._waiting), self._frames * HOP)

    def finish(self) -> None:
        if not self._keys:
            return
        longest = BLOCK_FRAMES - self._step
        tail = np.zeros((longest + 2 * self._margin) * HOP, np.float32)
        self._search(np.concatenate([*self._waiting, tail]), len(tail) + 1)
        self.candidates.sort(key=lambda candidate: (candidate.time_s, candidate.score, candidate.key))

    def _search(self, sound: Signal, at_least: int) -> None:
        """Search `sound` stretch by stretch while `at_least` samples of it remain; keep what is left."""
        done = self._step * BLOCKS_AT_ONCE * HOP
        first = True
        while len(sound) >= at_least or (first and self._start == 0):
            piece = sound[: self._frames * HOP]
            if len(piece) < self._frames * HOP:
                piece = np.concatenate([piece, np.zeros(self._frames * HOP - len(piece), np.float32)])
            self._look(piece)
            sound, first = sound[done:], False
            self._start += done
        self._waiting, self._n_waiting = [sound.copy()], len(sound)

    def _forget(self) -> None:
        if len(self.candidates) > MOST_CANDIDATES:
            self.candidates.sort(key=lambda candidate: -candidate.score)
            del self.candidates[MOST_CANDIDATES // 2 :]

    def _look(self, sound: Signal) -> None:
        """Search one stretch; frame `margin` of it is where the search begins, but for the file's start."""
        if _is_silent(sound):
            # Its features are exactly 0, so no score is above 0: a day of silence costs its decoding.
            return
        templates = self._prepare()
        lead = self._margin if self._start else 0
        looks = features(sound)
        spread = np.maximum(looks.std(axis=0), 1e-6)
        weight = (1.0 / spread**2).astype(np.float32)
        weight /= weight.mean()
        norms = np.sqrt(np.einsum("ij,j->i", self._energies, weight))
        blocks = np.stack(
            [looks[lead + i * self._step :][:BLOCK_FRAMES] for i in range(BLOCKS_AT_ONCE)], axis=1
        )
        n = len(blocks)
        spectra = np.ascontiguousarray(rfft(blocks * weight, BLOCK_FRAMES, axis=0)).astype(np.complex64)
        found = irfft(np.matmul(spectra, templates), BLOCK_FRAMES, axis=0)[: self._step]
        power = np.einsum("ijk,ijk,k->ij", blocks, blocks, weight)
        total = np.concatenate([np.zeros((1, power.shape[1])), np.cumsum(power, axis=0, dtype=np.float64)])
        floor = 1e-4 * float(power.mean()) + 1e-9
        at = np.arange(self._step)[:, np.newaxis]
        ends = np.minimum(at + self._lengths, n)
        energy = (total[ends] - total[np.minimum(at, n)]).astype(np.float32)
        np.maximum(energy, (floor * self._lengths[:, np.newaxis]).astype(np.float32), out=energy)
        np.sqrt(energy, out=energy)
        energy *= norms[:, np.newaxis]
        self._collect(np.asarray(found.transpose(0, 2, 1) / energy), lead)
        self._forget()

    def _collect(self, score: npt.NDArray[np.floating], lead: int) -> None:
        """Keep the local tops of `score`, shape (step, n_templates, n_blocks)."""
        # By flat index: to find many in three dimensions takes ten times as long.
        likely = np.flatnonzero(score[1:-1] >= MIN_SCORE)
        at, which, block = np.unravel_index(likely, score[1:-1].shape)
        value = score[at + 1, which, block]
        top = (value >= score[at, which, block]) & (value > score[at + 2, which, block])
        at, which, block, value = at[top], which[top], block[top], value[top]
        before, after = score[at, which, block], score[at + 2, which, block]
        bend = np.minimum(before - 2 * value + after, -1e-9)
        place = at + 1 + np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
        times = (self._start + (lead + block * self._step + place) * HOP) / ANALYSIS_RATE
        for time_s, likeness, key in zip(times.tolist(), value.tolist(), which.tolist(), strict=True):
            self.candidates.append(PhraseHit(time_s, likeness, self._keys[key]))
