"""Music to lay under generated classes: of several kinds, some made of steady notes such as beeps are."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from classgen import GeneratedClass
from classgen_speech import SAMPLE_RATE, Array

Wave = npt.NDArray[np.float64]

CHORDS = ((0, 4, 7, 11), (5, 9, 12, 16), (-3, 0, 4, 9), (-5, -1, 2, 7))
PARTIALS = ((1, 1.0), (2, 0.6), (3, 0.4), (5, 0.2))


def music(n_frames: int, seed: int, style: str = "plucked") -> Array:
    """Return music of one of `STYLES`, its bars over and over, RMS 1."""
    loop = STYLES[style](np.random.default_rng(seed))
    whole = np.tile(loop, n_frames // len(loop) + 1)[:n_frames]
    return (whole / np.sqrt((whole**2).mean())).astype(np.float32)


def _plucked(rng: np.random.Generator, *, flat: bool = False) -> Wave:
    """Chords, bass, plucked eighths and drums; `flat` gives the eighths no decay, as beeps have."""
    beat = 60 / float(rng.uniform(96, 140))
    bar_frames = round(4 * beat * SAMPLE_RATE)
    time = np.arange(bar_frames) / SAMPLE_RATE
    root = float(rng.uniform(98, 147))
    bars = []
    for steps in CHORDS:
        notes = [root * 2 * 2 ** (s / 12) for s in steps]
        bar = np.asarray(
            sum(
                g / k * np.sin(2 * np.pi * f * k * time + rng.uniform(0, 6))
                for f in notes
                for k, g in PARTIALS
            )
        )
        bar = bar * 0.25
        for eighth in range(8):
            f = notes[int(rng.integers(4))] * 2
            seconds = beat / 2 * 0.9
            t = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
            shape = np.minimum(1, t / 0.005) * np.minimum(1, (seconds - t) / 0.01)
            pluck = shape * (1.0 if flat else np.exp(-t * 6))
            pluck = pluck * (np.sin(2 * np.pi * f * t) + 0.4 * np.sin(4 * np.pi * f * t))
            _add(bar, 0.8 * pluck, eighth * beat / 2)
        bar += 0.7 * np.sin(2 * np.pi * root * 2 ** (steps[0] / 12) / 2 * time)
        _drums(bar, beat, rng)
        bars.append(bar)
    return np.concatenate(bars)


def _flat(rng: np.random.Generator) -> Wave:
    return _plucked(rng, flat=True)


def _bass(rng: np.random.Generator) -> Wave:
    """A bass line like a metronome, every eighth the same steady note of many partials, and drums."""
    beat = 60 / float(rng.uniform(96, 140))
    root = float(rng.uniform(98, 147))
    bars = []
    for steps in CHORDS:
        bar = np.zeros(round(4 * beat * SAMPLE_RATE))
        for eighth in range(8):
            f = root * 2 ** (steps[0] / 12)
            _add(bar, _note(f, beat / 2 * 0.85, [1 / k for k in range(1, 25)]), eighth * beat / 2)
        _drums(bar, beat, rng)
        bars.append(bar)
    return np.concatenate(bars)


def _pads(rng: np.random.Generator) -> Wave:
    """Sustained chords with slow attacks, a bar each, and nothing else."""
    beat = 60 / float(rng.uniform(60, 96))
    root = float(rng.uniform(98, 147))
    bars = []
    for steps in CHORDS:
        bar = np.zeros(round(4 * beat * SAMPLE_RATE))
        for s in steps:
            note = _note(
                root * 2 * 2 ** (s / 12), 4 * beat, [1, 0.5, 0.4, 0.3, 0.2, 0.15], rise_s=0.3, fall_s=0.3
            )
            _add(bar, note, 0.0)
        bars.append(bar)
    return np.concatenate(bars)


def _hook(rng: np.random.Generator) -> Wave:
    """A lead of steady notes, quarters and eighths and halves, now and then the same one several times."""
    beat = 60 / float(rng.uniform(96, 140))
    root = float(rng.uniform(98, 147))
    bars = []
    for steps in CHORDS:
        bar = np.zeros(round(4 * beat * SAMPLE_RATE))
        at, pitch = 0.0, int(rng.integers(4))
        while at < 4:
            length = min(4 - at, float(rng.choice([0.5, 1, 1, 2])))
            if rng.random() < 0.5:
                pitch = int(rng.integers(4))
            f = root * 4 * 2 ** (steps[pitch] / 12)
            _add(bar, _note(f, length * beat * 0.9, [1, 0.3, 0.1]), at * beat)
            at += length
        for quarter in range(4):
            _add(
                bar, 0.8 * _note(root * 2 ** (steps[0] / 12) / 2, beat * 0.8, [1, 0.5, 0.25]), quarter * beat
            )
        _drums(bar, beat, rng)
        bars.append(bar)
    return np.concatenate(bars)


def _song(rng: np.random.Generator) -> Wave:
    """A lead like the hook's over sixty-four bars; a third of its notes differ from one time to the next."""
    beat = 60 / float(rng.uniform(96, 140))
    root = float(rng.uniform(98, 147))
    lead = [[(at / 2, int(rng.integers(4)), 0.5) for at in range(8)] for _ in CHORDS]
    for bar_notes in lead:
        for index in sorted(rng.choice(7, 3, replace=False), reverse=True):
            at, pitch, length = bar_notes[index]
            bar_notes[index : index + 2] = [(at, pitch, length + 0.5)] if index + 1 < len(bar_notes) else []
    bars = []
    for number in range(64):
        steps = CHORDS[number % 4]
        bar = np.zeros(round(4 * beat * SAMPLE_RATE))
        for at, pitch, length in lead[number % 4]:
            chosen = int(rng.integers(4)) if rng.random() < 0.33 else pitch
            f = root * 4 * 2 ** (steps[chosen] / 12)
            _add(bar, _note(f, length * beat * 0.9, [1, 0.3, 0.1]), at * beat)
        for s in steps[:3]:
            _add(bar, 0.3 * _note(root * 2 ** (s / 12), 4 * beat, [1, 0.5, 0.3, 0.2]), 0.0)
        _drums(bar, beat, rng)
        bars.append(bar)
    return np.concatenate(bars)


STYLES: dict[str, Callable[[np.random.Generator], Wave]] = {
    "plucked": _plucked,
    "flat": _flat,
    "bass": _bass,
    "pads": _pads,
    "hook": _hook,
    "song": _song,
}


def _note(
    frequency_hz: float, seconds: float, gains: list[float], rise_s: float = 0.005, fall_s: float = 0.01
) -> Wave:
    """Return a note of constant level with partials of `gains`."""
    t = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    shape = np.minimum(1, t / rise_s) * np.minimum(1, (seconds - t) / fall_s)
    wave = sum(g * np.sin(2 * np.pi * frequency_hz * (k + 1) * t + k) for k, g in enumerate(gains))
    return np.asarray(shape * wave)


def _add(bar: Wave, wave: Wave, at_s: float) -> None:
    start = round(at_s * SAMPLE_RATE)
    bar[start : start + len(wave)] += wave[: max(0, len(bar) - start)]


def _drums(bar: Wave, beat: float, rng: np.random.Generator) -> None:
    for quarter in range(4):
        t = np.arange(round(0.18 * SAMPLE_RATE)) / SAMPLE_RATE
        _add(
            bar,
            2.0 * np.sin(2 * np.pi * 55 * t * (1 + 0.5 * np.exp(-t * 40))) * np.exp(-t * 18),
            quarter * beat,
        )
        hat = rng.standard_normal(2400) * np.exp(-np.arange(2400) / 500)
        _add(bar, 0.5 * hat, quarter * beat + beat / 2)


def loudness(samples: Array) -> float:
    """Integrated loudness in LUFS by pyloudnorm (BS.1770 gating leaves pauses out)."""
    import pyloudnorm

    return float(pyloudnorm.Meter(SAMPLE_RATE).integrated_loudness(samples.astype(np.float64)))


def with_music(made: GeneratedClass, relative_db: float, seed: int = 1, style: str = "plucked") -> Array:
    """The class with music `relative_db` LU from the loudness of its speech."""
    bed = music(len(made.samples), seed, style)
    gain = loudness(made.speech_only) + relative_db - loudness(bed[: 60 * SAMPLE_RATE])
    return made.samples + bed * np.float32(10 ** (gain / 20))
