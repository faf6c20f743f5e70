"""Small sessions with known words, pips and places, for the tests of room and under."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

import synth
from cuelane.audio.pip_specs import pip_for
from cuelane.audio.tones import render_pip
from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.meter import clip_loudness_lufs

Wave = npt.NDArray[np.float32]
RATE = 48_000
TEXTS = (
    "Keep your heels heavy.",
    "Take three seconds on the way down.",
    "Shoulders away from your ears.",
    "At the pips, leave the dumbbell on the bench.",
    "Eyes forward, chin level.",
    "Press through the whole foot.",
)


def levelled(samples: npt.NDArray[np.floating], loudness_lufs: float = -20.0) -> Wave:
    """The same mono sound at this loudness."""
    change_db = loudness_lufs - clip_loudness_lufs(samples, RATE)
    return np.asarray(samples * 10 ** (change_db / 20), dtype=np.float32)


def clips(texts: tuple[str, ...] = TEXTS) -> dict[str, Wave]:
    """Speech-like clips at -20 LUFS, peaks held down, by the hash a schedule would name."""
    spoken = [levelled(np.tanh(6 * synth.speak(text))) for text in texts]
    return {synth.clip_hash(samples): samples for samples in spoken}


def session(
    sounds: dict[str, Wave], gap_s: float = 4.0, *, pips: bool = True, texts: tuple[str, ...] = TEXTS
) -> Schedule:
    """One cue after another, `gap_s` between them, and a countdown of four pips at the end."""
    events, at = [], 2 * RATE
    for i, (clip, samples) in enumerate(sounds.items()):
        events.append(
            Event(f"c{i:03d}", "cue", "form", 0, at, at + len(samples), text=texts[i % len(texts)], clip=clip)
        )
        at += len(samples) + round(gap_s * RATE)
    for i in range(4 if pips else 0):
        spec = pip_for("work", "short" if i < 3 else "long")
        events.append(
            Event(f"p{i}", "pip", spec.role, 0, at, at + spec.n_frames, frequency_hz=spec.frequency_hz)
        )
        at += RATE
    n_frames = at + 3 * RATE
    interval = ScheduledInterval(0, "Legs", "work", 1, "squat", None, 0, n_frames)
    return Schedule("Test", "en", RATE, n_frames, (interval,), tuple(events))


def track(schedule: Schedule, sounds: dict[str, Wave], gain_db: float = 0.0) -> Wave:
    """The session's samples, shape (n, 1): each event's sound at its onset, silence elsewhere."""
    samples = np.zeros((schedule.n_frames, 1), dtype=np.float32)
    for event in schedule.events:
        if event.clip is not None:
            sound = sounds[event.clip]
        else:
            assert event.frequency_hz is not None
            sound = render_pip(event.role, event.frequency_hz, event.end_sample - event.onset_sample, RATE)
        samples[event.onset_sample : event.end_sample, 0] += sound
    return np.asarray(samples * 10 ** (gain_db / 20), dtype=np.float32)


def write_music(path: Path, seconds: float, seed: int = 0, level_db: float = 0.0) -> Path:
    """Programme-like music in two different channels."""
    left = synth.music(round(seconds * RATE), seed)
    right = 0.7 * left + 0.3 * synth.music(round(seconds * RATE), seed + 100)
    import soundfile

    soundfile.write(path, np.column_stack([left, right]) * 10 ** (level_db / 20), RATE, subtype="PCM_24")
    return path
