"""The sounds that mark boundaries in recorded classes: thirty-odd kinds, each drawn anew for each class.

A kind is a function of a random generator that returns the sounds of one class: a function that gives each
boundary's sound. Most devices repeat one sound exactly; a hand or a mouth never does, and those kinds differ
from one time to the next. All sounds are mono, 16 kHz, peak about 1, and their first sample is the boundary
unless the kind says how far into the sound the boundary is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Wave = npt.NDArray[np.float64]
Rng = np.random.Generator
RATE = 16_000


class Signal:
    """The sound of one class's boundaries. ``boundary_s`` is how far into the sound the boundary is."""

    def __init__(self, sound: Callable[[Rng], Wave], boundary_s: float = 0.0) -> None:
        self.sound, self.boundary_s = sound, boundary_s


def _time(seconds: float) -> Wave:
    return np.arange(round(seconds * RATE)) / RATE


def _edged(wave: Wave, rise_s: float = 0.004, fall_s: float = 0.006) -> Wave:
    n_rise, n_fall = max(1, round(rise_s * RATE)), max(1, round(fall_s * RATE))
    wave = wave.copy()
    wave[:n_rise] *= np.linspace(0, 1, n_rise)
    wave[-n_fall:] *= np.linspace(1, 0, n_fall)
    return wave / (np.abs(wave).max() + 1e-12)


def _tone(hz: float, seconds: float, partials: tuple[float, ...] = (1.0,)) -> Wave:
    t = _time(seconds)
    pairs = [(k + 1, g) for k, g in enumerate(partials) if (k + 1) * hz < 0.45 * RATE]
    return _edged(np.asarray(sum(g * np.sin(2 * np.pi * hz * k * t) for k, g in pairs)))


def _glide(from_hz: float, to_hz: float, seconds: float) -> Wave:
    hz = np.geomspace(from_hz, to_hz, round(seconds * RATE))
    return _edged(np.sin(2 * np.pi * np.cumsum(hz) / RATE))


def _struck(hz: float, ratios: tuple[float, ...], decay_s: float, seconds: float, rng: Rng) -> Wave:
    """Partials at `ratios` of `hz` that ring down, the higher the sooner."""
    t = _time(seconds)
    wave = np.zeros(len(t))
    for k, ratio in enumerate(ratios):
        if hz * ratio < 0.45 * RATE:
            gain, phase = float(rng.uniform(0.4, 1)), float(rng.uniform(0, 6.28))
            wave += gain * np.exp(-t * (1 + 0.4 * k) / decay_s) * np.sin(2 * np.pi * hz * ratio * t + phase)
    return _edged(wave, 0.001, 0.02)


def _noise(seconds: float, low_hz: float, high_hz: float, rng: Rng) -> Wave:
    n = round(seconds * RATE)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    hz = np.fft.rfftfreq(n, 1 / RATE)
    spectrum *= np.exp(
        -0.5
        * (np.log(np.maximum(hz, 1) / np.sqrt(low_hz * high_hz))) ** 2
        / np.log(np.sqrt(high_hz / low_hz)) ** 2
    )
    return np.asarray(np.fft.irfft(spectrum, n))


def _after(*parts: tuple[float, Wave]) -> Wave:
    """Return sounds laid at their times in seconds."""
    n = max(round(at * RATE) + len(wave) for at, wave in parts)
    out = np.zeros(n)
    for at, wave in parts:
        start = round(at * RATE)
        out[start : start + len(wave)] += wave
    return out / (np.abs(out).max() + 1e-12)


def _same(wave: Wave, boundary_s: float = 0.0) -> Signal:
    return Signal(lambda _rng: wave, boundary_s)


_SQUARE = (1.0, 0.0, 1 / 3, 0.0, 1 / 5, 0.0, 1 / 7, 0.0, 1 / 9)
_SAW = tuple(1 / k for k in range(1, 30))
_BELL = (0.5, 1.0, 1.19, 1.5, 2.0, 2.51, 2.66, 3.01, 4.1)
_GONG = (1.0, 1.47, 1.63, 2.1, 2.55, 2.93, 3.4, 4.15, 5.2)
_BOWL = (1.0, 2.71, 5.15)


def _whistle(hz: float, seconds: float, rng: Rng) -> Wave:
    """A pea whistle: a tone that trembles, with breath in it."""
    t = _time(seconds)
    tremble = 2 * np.pi * float(rng.uniform(24, 40)) * t + float(rng.uniform(0, 6))
    wave = (1 + 0.6 * np.sin(tremble)) * np.sin(2 * np.pi * hz * t + 1.5 * np.sin(tremble))
    return _edged(wave + 0.25 * _noise(seconds, hz * 0.8, hz * 1.3, rng), 0.02, 0.04)


def _clap(rng: Rng) -> Wave:
    wave = _noise(0.12, 700, 2600, rng)
    return _edged(wave * np.exp(-_time(0.12) / 0.018), 0.001, 0.01)


def _countdown(rng: Rng) -> Signal:
    hz, apart = float(rng.uniform(600, 1800)), float(rng.choice([0.8, 1.0]))
    pips = [(k * apart, 0.7 * _tone(hz, 0.12)) for k in range(3)]
    return _same(_after(*pips, (3 * apart, _tone(hz * float(rng.choice([1.0, 1.5, 2.0])), 0.5))), 3 * apart)


def _click(rng: Rng) -> Wave:
    return _edged(_noise(0.03, 1500, 5000, rng) * np.exp(-_time(0.03) / 0.004), 0.0005, 0.005)


KINDS: dict[str, Callable[[Rng], Signal]] = {
    "tone": lambda r: _same(_tone(r.uniform(700, 2500), r.uniform(0.2, 0.5))),
    "tone, short": lambda r: _same(_tone(r.uniform(800, 2800), r.uniform(0.08, 0.14))),
    "tone, long": lambda r: _same(_tone(r.uniform(500, 1500), r.uniform(0.7, 1.1))),
    "tone, low": lambda r: _same(_tone(r.uniform(330, 600), r.uniform(0.3, 0.6))),
    "tone, high": lambda r: _same(_tone(r.uniform(2600, 3300), r.uniform(0.15, 0.4))),
    "two partials": lambda r: _same(_tone(r.uniform(700, 1500), r.uniform(0.2, 0.4), (1, 0.6, 0.3))),
    "square": lambda r: _same(_tone(r.uniform(500, 1200), r.uniform(0.2, 0.5), _SQUARE)),
    "square, low": lambda r: _same(_tone(r.uniform(200, 450), r.uniform(0.3, 0.7), _SQUARE)),
    "buzzer": lambda r: _same(_tone(r.uniform(90, 180), r.uniform(0.5, 1.0), _SAW)),
    "air horn": lambda r: _same(
        _edged(
            sum(_tone(f, 0.8, _SAW) for f in r.uniform(380, 420) * np.array([1.0, 1.26, 1.51])), 0.03, 0.05
        )
    ),
    "watch": lambda r: _same(_after((0, w := _tone(r.uniform(2900, 3300), 0.06)), (0.13, w))),
    "sweep up": lambda r: _same(_glide(r.uniform(400, 700), r.uniform(1500, 2800), r.uniform(0.2, 0.5))),
    "sweep down": lambda r: _same(_glide(r.uniform(1800, 2800), r.uniform(500, 800), r.uniform(0.2, 0.5))),
    "warble": lambda r: _same(
        _after(*[(k * 0.08, _tone(f, 0.08)) for k, f in enumerate([*r.uniform(800, 1600, 2)] * 4)])
    ),
    "whistle, player": lambda r: _same(_whistle(r.uniform(2000, 3100), r.uniform(0.4, 0.8), r)),
    "whistle, live": lambda r: (
        lambda hz: Signal(lambda q: _whistle(hz * q.uniform(0.98, 1.02), q.uniform(0.4, 0.6), q))
    )(r.uniform(2100, 3000)),
    "bell": lambda r: _same(_struck(r.uniform(600, 1200), _BELL, r.uniform(0.3, 0.6), 1.4, r)),
    "bell, three strikes": lambda r: _same(
        _after(
            *[(k * 0.28, w) for w in [_struck(r.uniform(700, 1300), _BELL, 0.3, 1.0, r)] for k in range(3)]
        )
    ),
    "desk bell": lambda r: _same(_struck(r.uniform(1800, 2600), (1.0, 1.02, 2.3), 0.25, 0.9, r)),
    "gong": lambda r: _same(_struck(r.uniform(140, 260), _GONG, r.uniform(0.8, 1.3), 2.6, r)),
    "singing bowl": lambda r: _same(_struck(r.uniform(330, 600), _BOWL, r.uniform(1.0, 1.6), 2.8, r)),
    "triangle": lambda r: _same(_struck(r.uniform(1500, 2200), (1.0, 1.42, 2.13, 3.1), 0.4, 1.2, r)),
    "wood block": lambda r: _same(_struck(r.uniform(600, 1100), (1.0, 2.3, 3.9), 0.03, 0.2, r)),
    "clap, player": lambda r: _same(_clap(r)),
    "clap, live": lambda r: Signal(lambda q: _clap(q)),
    "two claps, live": lambda r: Signal(lambda q: _after((0, _clap(q)), (q.uniform(0.26, 0.3), _clap(q)))),
    "click": lambda r: _same(_click(r)),
    "whoosh": lambda r: _same(_edged(_noise(0.5, 500, 3000, r) * np.exp(-_time(0.5) / 0.15), 0.03, 0.05)),
    "boom": lambda r: _same(
        _edged(
            np.sin(2 * np.pi * np.cumsum(np.geomspace(r.uniform(180, 260), 60, 6400)) / RATE)
            * np.exp(-_time(0.4) / 0.12),
            0.001,
        )
    ),
    "three pips": lambda r: _same(
        _after(
            *[
                (k * d, w)
                for d in [r.uniform(0.18, 0.3)]
                for w in [_tone(r.uniform(800, 2200), 0.1)]
                for k in range(3)
            ]
        )
    ),
    "two tones": lambda r: _same(
        _after((0, _tone(f := r.uniform(900, 1500), 0.25)), (0.25, _tone(f * r.uniform(0.7, 0.85), 0.35)))
    ),
    "chime": lambda r: _same(
        _after(
            *[
                (k * 0.14, _struck(f * q, (1.0, 2.0, 3.0), 0.3, 0.8, r))
                for f in [r.uniform(500, 900)]
                for k, q in enumerate([1, 1.26, 1.5])
            ]
        )
    ),
    "countdown": _countdown,
}
"""By name. "voice" (the same recorded word each time) is added by the maker of classes, which has voices."""
