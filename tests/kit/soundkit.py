"""A short session with its clips for the tests of sound, and a matched filter that shares nothing with it."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import signal

import synth
from cuelane.audio.pip_specs import pip_for
from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.meter import clip_loudness_lufs

RATE = 48_000
Wave = npt.NDArray[np.float32]


@cache
def spoken(text: str, rate: int = RATE) -> Wave:
    """Return speech-like sound at -20 LUFS, peaks held under -7 dBFS, its first and last sample audible."""
    raw = synth.speak(text, rate=rate).astype(np.float64)
    for _ in range(6):
        raw *= 10 ** ((-20.0 - clip_loudness_lufs(raw, rate)) / 20)
        raw = 0.44 * np.tanh(raw / 0.44)
    audible = np.flatnonzero(np.abs(raw) > 1e-4)
    sound = np.asarray(np.rint(raw[audible[0] : audible[-1] + 1] * 2**23) / 2**23, dtype=np.float32)
    sound.flags.writeable = False
    return sound


TEXTS = (
    "Weight at your chest, elbows under it.",
    "Knees over your toes.",
    "Ten seconds left.",
    "Back to the squat.",
    "Take three seconds on the way down.",
)


def session(
    seconds: float = 60.0, rate: int = RATE, every_s: float = 5.0
) -> tuple[Schedule, dict[str, Wave]]:
    """Return a schedule and its clips by hash: a cue every few seconds, a countdown into each half minute."""
    n_frames = round(seconds * rate)
    clips: dict[str, Wave] = {}
    events = []
    for number, boundary_s in enumerate(np.arange(14.9, seconds - 1, 15.0)):
        # Onsets on no round number of anything.
        boundary = round(boundary_s * rate) + 3 * number
        for before in (3, 2, 1, 0):
            spec = pip_for("rest" if number % 2 else "work", "short" if before else "long", rate)
            onset = boundary - before * rate
            events.append(
                Event(f"p{number:03d}{before}", "pip", spec.role, 0, onset, onset + spec.n_frames,
                      frequency_hz=spec.frequency_hz)
            )  # fmt: skip
    pips = list(events)
    for number in range(int((seconds - 4) // every_s)):
        text = TEXTS[number % len(TEXTS)]
        onset = round((number * every_s + 0.9) * rate) + 17 * number + 5
        end = onset + len(spoken(text, rate))
        if any(onset - rate // 4 < pip.end_sample and pip.onset_sample < end + rate // 4 for pip in pips):
            continue
        clips[f"sha256:{text}"] = spoken(text, rate)
        events.append(Event(f"c{number:03d}", "cue", "form", 0, onset, end, text=text, clip=f"sha256:{text}"))
    rows = (ScheduledInterval(0, "Legs", "work", 1, "squat", None, 0, n_frames),)
    ordered = tuple(sorted(events, key=lambda event: event.onset_sample))
    return Schedule("A short session", "en", rate, n_frames, rows, ordered), clips


def measured_onset(samples: Wave, template: Wave, expected: int, reach: int) -> int:
    """Return where `template` fits best in `samples` within `reach` of `expected`: a plain matched filter."""
    first = max(0, expected - reach)
    window = samples[first : expected + reach + len(template)].astype(np.float64)
    score = signal.correlate(window, template.astype(np.float64), "valid", method="fft")
    total = np.concatenate([[0.0], np.cumsum(window**2)])
    energy = total[len(template) :] - total[: -len(template)]
    return first + int(np.argmax(score / np.sqrt(energy + 1e-6)))


def own_pip(frequency_hz: float, n_frames: int, rate: int) -> Wave:
    """Return a plain cosine with 6 ms edges, as a template made without the program's tones."""
    edge = np.minimum(1, (np.arange(n_frames) + 0.5) / (0.006 * rate))
    edge = 0.5 - 0.5 * np.cos(np.pi * np.minimum(edge, edge[::-1]))
    return np.asarray(edge * np.cos(2 * np.pi * frequency_hz / rate * np.arange(n_frames)), dtype=np.float32)
