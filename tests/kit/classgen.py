"""Generated classes with known truth: two voices, beeps of several kinds, captions with the usual faults.

Everything is drawn from one seed. Nothing here comes from the program under test.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from classgen_speech import SAMPLE_RATE, Array, Spoken, formant, natural, prepare_formant

SETUPS = {
    "goblet squat": "Goblet squat. Weight held at your chest.",
    "reverse lunge": "Reverse lunge. Left leg goes back first.",
    "hip hinge": "Hip hinge. Push your hips back to the wall behind you.",
    "plank": "Plank. Elbows under your shoulders, squeeze your legs.",
    "bridge": "Bridge. Feet flat on the floor and lift your hips.",
    "bent over row": "Bent over row. Pull your elbows past your ribs.",
}
FORM = (
    "Keep your heels heavy.",
    "Knees track over your toes.",
    "Long neck, soft shoulders.",
    "Press the floor away.",
    "Slow on the way down.",
    "If that hurts, make it smaller.",
    "For more, hold at the bottom.",
    "Ten seconds left.",
    "Great work, stay with it.",
    "Almost there, keep breathing.",
)
RESTS = (
    "And rest. Shake it out.",
    "Take a rest and breathe.",
    "Rest now, have some water.",
    "Recover. Deep breath in and out.",
)
SCREEN = ("Watch how my knee moves here.", "You can see it from the side like this.")
CHANNEL = ("Hit the subscribe button before you go.",)
OPENING = "Hello everyone and welcome to this class."


@dataclass(frozen=True)
class BeepKind:
    """A countdown: `count` short tones `spacing_s` apart, then a long one on the boundary."""

    name: str
    frequency_hz: float
    short_s: float
    long_frequency_hz: float
    long_s: float
    count: int = 3
    spacing_s: float = 1.0
    partials: tuple[float, ...] = (1.0,)


KINDS = (
    BeepKind("sine", 1000.0, 0.10, 1000.0, 0.50),
    BeepKind("two", 880.0, 0.15, 1760.0, 0.40, partials=(1.0, 0.3)),
    BeepKind("buzz", 660.0, 0.20, 660.0, 0.80, partials=(1.0, 0.0, 0.5, 0.0, 0.3)),
    BeepKind("high", 2093.0, 0.08, 2093.0, 0.35, count=4, spacing_s=0.8),
    BeepKind("low then high", 740.0, 0.12, 1480.0, 0.60, count=2, spacing_s=1.0, partials=(1.0, 0.2, 0.1)),
)
SINGLE = BeepKind("single", 1320.0, 0.0, 1320.0, 0.60, count=0)


@dataclass(frozen=True)
class TrueWord:
    text: str
    onset_s: float
    end_s: float


@dataclass(frozen=True)
class TrueInterval:
    kind: str
    start_s: float
    end_s: float
    cut_s: float = 0.0


@dataclass
class GeneratedClass:
    samples: Array
    intervals: list[TrueInterval]
    beeps: list[tuple[float, float, float]]
    """(onset_s, length_s, frequency_hz)"""
    words: list[TrueWord]
    phrases: list[tuple[str, float, float]]
    """(text, onset_s, end_s)"""
    kind: BeepKind
    speech_only: Array = field(repr=False, default_factory=lambda: np.zeros(0, np.float32))

    @property
    def boundaries_s(self) -> list[float]:
        return [self.intervals[0].start_s, *(interval.end_s for interval in self.intervals)]


def tone(kind: BeepKind, *, long: bool) -> Array:
    """One beep with 5 ms raised-cosine edges, peak about 0.2."""
    seconds = kind.long_s if long else kind.short_s
    frequency = kind.long_frequency_hz if long else kind.frequency_hz
    n_frames = round(seconds * SAMPLE_RATE)
    time = np.arange(n_frames) / SAMPLE_RATE
    wave = sum(gain * np.sin(2 * np.pi * frequency * (k + 1) * time) for k, gain in enumerate(kind.partials))
    edge = round(0.005 * SAMPLE_RATE)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    wave[:edge] *= ramp
    wave[-edge:] *= ramp[::-1]
    return (0.2 * wave / sum(kind.partials)).astype(np.float32)


def _lay(track: Array, wave: Array, at: int) -> None:
    """Add `wave` to `track` at sample `at`."""
    track[at : at + len(wave)] += wave[: max(0, len(track) - at)]


def generate(
    seed: int,
    *,
    kind: BeepKind = KINDS[0],
    voice: Callable[[str], Spoken] | None = None,
    work_s: float = 30.0,
    rest_s: float = 15.0,
    n_sets: int = 8,
    cut: bool = False,
    doorbell: bool = True,
    screen: bool = False,
    noise_dbfs: float = -62.0,
    speech_gain: float = 1.0,
) -> GeneratedClass:
    """Return a class of `n_sets` work intervals with rests between, and talk before and after.

    With `cut`, a stretch is missing from one work interval, as where a video was edited.
    """
    rng = np.random.default_rng(seed)
    speak = voice or natural
    if speak is formant:
        prepare_formant([*SETUPS.values(), *FORM, *RESTS, *SCREEN, *CHANNEL, OPENING])
    lead = 9.0 + float(rng.uniform(0, 3))
    total = lead + n_sets * work_s + (n_sets - 1) * rest_s + 12.0
    speech = np.zeros(round(total * SAMPLE_RATE), np.float32)
    beeps_track = np.zeros_like(speech)
    words: list[TrueWord] = []
    phrases: list[tuple[str, float, float]] = []

    def say(text: str, at_s: float) -> float:
        spoken = speak(text)
        start = round(at_s * SAMPLE_RATE)
        _lay(speech, spoken.samples * np.float32(speech_gain), start)
        words.extend(
            TrueWord(w.text, (start + w.onset_sample) / SAMPLE_RATE, (start + w.end_sample) / SAMPLE_RATE)
            for w in spoken.words
        )
        phrases.append((text, words[-len(spoken.words)].onset_s, words[-1].end_s))
        return at_s + len(spoken.samples) / SAMPLE_RATE

    at = say(OPENING, 0.8)
    say(CHANNEL[0] if screen else FORM[2], at + 0.7)
    beeps: list[tuple[float, float, float]] = []

    def countdown(boundary_s: float) -> None:
        for index in range(kind.count):
            onset = boundary_s - (kind.count - index) * kind.spacing_s
            _lay(beeps_track, tone(kind, long=False), round(onset * SAMPLE_RATE))
            beeps.append((onset, kind.short_s, kind.frequency_hz))
        _lay(beeps_track, tone(kind, long=True), round(boundary_s * SAMPLE_RATE))
        beeps.append((boundary_s, kind.long_s, kind.long_frequency_hz))

    intervals: list[TrueInterval] = []
    now = lead
    names = list(SETUPS)
    form_order = list(rng.permutation(len(FORM)))
    countdown(now)
    for index in range(n_sets):
        room = now + work_s - kind.count * kind.spacing_s - 0.4
        at = say(SETUPS[names[index % len(names)]], now + kind.long_s + float(rng.uniform(0.3, 1.0)))
        while True:
            at += float(rng.uniform(1.2, 6.0))
            text = FORM[form_order[len(phrases) % len(FORM)]]
            if screen and rng.random() < 0.25:
                text = SCREEN[int(rng.integers(len(SCREEN)))]
            if at + len(speak(text).samples) / SAMPLE_RATE > room:
                break
            at = say(text, at)
        intervals.append(TrueInterval("work", now, now + work_s))
        now += work_s
        countdown(now)
        if index < n_sets - 1:
            say(RESTS[int(rng.integers(len(RESTS)))], now + kind.long_s + float(rng.uniform(0.2, 0.8)))
            intervals.append(TrueInterval("rest", now, now + rest_s))
            now += rest_s
            countdown(now)
    say(FORM[8], now + kind.long_s + 1.0)

    samples = speech + beeps_track
    if doorbell:
        _lay(samples, _doorbell(), round((intervals[2].start_s + work_s * 0.55) * SAMPLE_RATE))
    made = GeneratedClass(samples, intervals, beeps, words, phrases, kind, speech)
    if cut:
        made = _cut(made, 4)
    made.samples = made.samples + _pink(len(made.samples), rng) * np.float32(10 ** (noise_dbfs / 20))
    return made


def _doorbell() -> Array:
    time = np.arange(round(0.9 * SAMPLE_RATE)) / SAMPLE_RATE
    bell = lambda f: np.sin(2 * np.pi * f * time) * np.exp(-time * 4)  # noqa: E731
    wave = np.concatenate([bell(659.3)[: SAMPLE_RATE // 2], bell(523.3)])
    return (0.1 * wave).astype(np.float32)


def _pink(n_frames: int, rng: np.random.Generator) -> Array:
    """Noise whose power falls by 3 dB an octave, RMS 1 (made in blocks of 2^20)."""
    parts = []
    for _ in range(0, n_frames, 1 << 20):
        spectrum = np.fft.rfft(rng.standard_normal(1 << 20))
        spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
        spectrum[:3] = 0
        block = np.fft.irfft(spectrum)
        parts.append(block / np.sqrt((block**2).mean()))
    return np.concatenate(parts)[:n_frames].astype(np.float32)


def _cut(made: GeneratedClass, index: int) -> GeneratedClass:
    """Take a stretch with no word in it out of one interval, and move all that follows."""
    interval = made.intervals[index]
    edges = [interval.start_s + 1.2]
    for _, onset, end in made.phrases:
        if interval.start_s < onset < interval.end_s:
            edges.extend((onset, end))
    edges.append(interval.end_s - made.kind.count * made.kind.spacing_s - 0.2)
    gaps = sorted(((b - a, a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)), reverse=True)
    length, start, end = gaps[0]
    start, end = start + 0.1, end - 0.1
    length = end - start
    a, b = round(start * SAMPLE_RATE), round(end * SAMPLE_RATE)
    moved = lambda t: t - length if t > start else t  # noqa: E731
    return replace(
        made,
        samples=np.concatenate([made.samples[:a], made.samples[b:]]),
        speech_only=np.concatenate([made.speech_only[:a], made.speech_only[b:]]),
        intervals=[
            TrueInterval(i.kind, moved(i.start_s), moved(i.end_s), length if k == index else 0.0)
            for k, i in enumerate(made.intervals)
        ],
        beeps=[(moved(t), n, f) for t, n, f in made.beeps],
        words=[TrueWord(w.text, moved(w.onset_s), moved(w.end_s)) for w in made.words],
        phrases=[(text, moved(a), moved(b)) for text, a, b in made.phrases],
    )


def in_a_room(samples: Array, seed: int = 3) -> Array:
    """As a phone hears it across a small hall: band-limited, early reflections, 0.35 s of tail."""
    from scipy.signal import butter, oaconvolve, sosfilt

    rng = np.random.default_rng(seed)
    time = np.arange(round(0.5 * SAMPLE_RATE)) / SAMPLE_RATE
    tail = rng.standard_normal(len(time)) * 10 ** (-3 * time / 0.35)
    tail *= np.sqrt(0.5 / (tail**2).sum())
    tail[: round(0.002 * SAMPLE_RATE)] = 0
    tail[0] = 1.0
    for delay_ms, gain in ((4.2, 0.4), (7.1, -0.3), (11.3, 0.25)):
        tail[round(delay_ms * SAMPLE_RATE / 1000)] += gain
    wet = oaconvolve(samples, tail.astype(np.float32))[: len(samples)]
    sos = butter(2, [300, 6000], "bandpass", fs=SAMPLE_RATE, output="sos")
    wet = sosfilt(sos, wet) + rng.standard_normal(len(samples)) * 1e-3
    return np.asarray(np.tanh(wet), np.float32)


def write_video(path: Path, samples: Array, scratch: Path) -> None:
    """Write an mp4 with a moving picture and AAC sound."""
    import imageio_ffmpeg
    import soundfile

    soundfile.write(scratch, samples, SAMPLE_RATE, subtype="PCM_16")
    program = imageio_ffmpeg.get_ffmpeg_exe()
    picture = ["-f", "lavfi", "-i", "testsrc=size=160x90:rate=5", "-i", str(scratch), "-shortest"]
    codecs = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac", "-b:a", "96k"]
    run = [program, "-v", "error", "-y", *picture, *codecs, str(path)]
    subprocess.run(run, check=True, stdin=subprocess.DEVNULL)
