"""Tracks made by hand for the checker's tests: voices, pips, music, a room, and faults at known places.

Shares nothing with the renderer: it imports numpy, scipy and soundfile only, and writes the schedule's JSON
itself. Positions are samples; every random choice comes from a seed.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import signal

Wave = npt.NDArray[np.float32]

RATE = 48_000
VOWELS = ((730, 1090, 2440), (530, 1840, 2480), (270, 2290, 3010), (570, 840, 2410), (300, 870, 2240))
"""First three formants in Hz of five vowels (Peterson and Barney 1952, men; value from memory)."""

CUES = (
    "Left leg goes back first.", "Right leg goes back first.", "Rest.", "Round two.", "Round three.",
    "Ten seconds left.", "Twenty seconds left.", "Keep your heels heavy.", "Knees track over your toes.",
    "Weight at your chest, elbows under it.", "Sit down between your heels.", "Half way.",
    "Hinge at the hips and keep the back long.", "At the pips, leave the dumbbell on the bench.",
    "Take three seconds on the way down.", "Put the weight down and use a chair.", "Back to the squat.",
    "Breathe out as you stand.", "Shoulders away from your ears.", "Last one of the round.",
    "Next, the reverse lunge, a long step back.", "Slow is smooth, stay with the count.",
    "Push the floor away.", "Walk it off for a minute.", "Switch sides at the long pip.",
    "Stop if anything hurts.", "Eyes forward, chin level.", "Press through the whole foot.",
    "Shake your arms out.", "That is the session.",
)  # fmt: skip


def _rng(*parts: object) -> np.random.Generator:
    return np.random.default_rng(zlib.crc32(repr(parts).encode()))


def _vowel(rng: np.random.Generator, n: int, f0: float, rate: int) -> npt.NDArray[np.float64]:
    """Return a voiced sound: pulses at a gliding pitch through three moving resonators."""
    pitch = f0 * (1 + np.linspace(0.06, -0.08, n) + 0.01 * rng.standard_normal())
    phase = np.cumsum(pitch) / rate
    pulses = np.diff(np.floor(phase), prepend=0.0) + 0.02 * rng.standard_normal(n)
    start, end = rng.choice(len(VOWELS), 2)
    sound = np.zeros(n)
    halves = np.array_split(np.arange(n), 6)
    for i, (a, b) in enumerate(zip(VOWELS[start], VOWELS[end], strict=True)):
        state = np.zeros(2)
        out = np.empty(n)
        for j, part in enumerate(halves):
            centre = a + (b - a) * j / 5
            r = np.exp(-np.pi * (60 + 40 * i) / rate)
            den = [1, -2 * r * np.cos(2 * np.pi * centre / rate), r * r]
            out[part], state = signal.lfilter([1 - r], den, pulses[part], zi=state)
        sound += out * (1.0, 0.6, 0.35)[i]
    return sound * signal.windows.tukey(n, 0.3)


def _consonant(rng: np.random.Generator, n: int, rate: int) -> npt.NDArray[np.float64]:
    low = rng.uniform(1500, 4500)
    sos = signal.butter(2, [low, min(low * 1.8, rate / 2.2)], "bandpass", fs=rate, output="sos")
    return signal.sosfilt(sos, rng.standard_normal(n)) * signal.windows.tukey(n, 0.5) * 0.25


def speak(text: str, voice: str = "a", rate: int = RATE) -> Wave:
    """Return speech-like sound for `text`: syllables seeded by word, pitch falling over the sentence.

    The same word in two texts sounds alike but not the same, so "left leg" and "right leg" are near twins.
    The first and last samples are audible; the RMS is -20 dBFS.
    """
    words = text.split()
    parts: list[npt.NDArray[np.float64]] = []
    base = 105.0 if voice == "a" else 165.0
    for place, word in enumerate(words):
        rng = _rng(voice, word.lower().strip(".,"))
        f0 = base * (1.12 - 0.25 * place / len(words))
        for _ in range(max(1, len(word.strip(".,")) // 3)):
            parts.append(_consonant(rng, int(rate * rng.uniform(0.03, 0.08)), rate))
            vowel = _vowel(rng, int(rate * rng.uniform(0.12, 0.22)), f0, rate)
            parts.append(vowel / np.sqrt(np.mean(vowel**2)) * rng.uniform(0.6, 1.0) * 0.2)
        gap = 0.18 if word[-1] in ".," and place < len(words) - 1 else 0.02
        parts.append(np.zeros(int(rate * gap)))
    sound = np.concatenate(parts[:-1])
    loudest = np.abs(sound).max()
    audible = np.flatnonzero(np.abs(sound) > loudest * 0.02)
    sound = sound[audible[0] : audible[-1] + 1]
    fade = int(0.003 * rate)
    sound[:fade] *= np.linspace(0.3, 1, fade)
    sound[-fade:] *= np.linspace(1, 0.3, fade)
    return np.asarray(sound * (0.1 / np.sqrt(np.mean(sound**2))), dtype=np.float32)


def pip(frequency_hz: float, n: int, edge_ms: float = 8.0, harmonic: float = 0.0, rate: int = RATE) -> Wave:
    """Return a tone of `n` samples with raised-cosine edges; its first sample is the first not zero."""
    t = np.arange(1, n + 1) / rate
    tone = np.sin(2 * np.pi * frequency_hz * t) + harmonic * np.sin(4 * np.pi * frequency_hz * t)
    edge = int(edge_ms * rate / 1000)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 1) / (edge + 1))
    tone[:edge] *= ramp
    tone[-edge:] *= ramp[::-1]
    return np.asarray(0.12 * tone, dtype=np.float32)


def clip_hash(samples: Wave) -> str:
    """Return the content hash that a schedule names: SHA-256 of little-endian 24-bit PCM."""
    whole = np.clip(np.rint(samples.astype(np.float64) * 2**23), -(2**23), 2**23 - 1).astype("<i4")
    return "sha256:" + hashlib.sha256(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()).hexdigest()


@dataclass(frozen=True)
class Placed:
    """A sound in the track. ``onset`` is where it really is; ``planned`` what the schedule says."""

    id: str
    kind: str
    role: str
    planned: int
    onset: int
    sound: Wave
    text: str | None = None
    frequency_hz: float | None = None
    interval: int = 0
    planned_sound: Wave | None = None


@dataclass
class Track:
    """A session to be rendered: what is heard (``placed``) and what the schedule lists (``planned``)."""

    n_frames: int
    placed: list[Placed] = field(default_factory=list)
    planned: list[Placed] = field(default_factory=list)
    intervals: list[tuple[str, int, int]] = field(default_factory=list)
    rate: int = RATE

    def samples(self) -> Wave:
        """Return the mix, shape (n_frames,); overlaps add, outside events it is exactly zero."""
        out = np.zeros(self.n_frames, dtype=np.float32)
        for item in self.placed:
            first, last = max(0, item.onset), min(self.n_frames, item.onset + len(item.sound))
            if last > first:
                out[first:last] += item.sound[first - item.onset : last - item.onset]
        return out

    def schedule(self) -> str:
        """Return the schedule as JSON text."""
        events = []
        for item in self.planned:
            sound = item.sound
            row: dict[str, object] = {
                "id": item.id, "kind": item.kind, "role": item.role, "interval": item.interval,
                "onset_sample": item.planned, "end_sample": item.planned + len(sound),
            }  # fmt: skip
            if item.kind == "cue":
                row |= {"text": item.text, "clip": clip_hash(sound)}
            else:
                row |= {"frequency_hz": item.frequency_hz}
            events.append(row)
        intervals = [
            {"index": i, "block": "Main", "kind": kind, "round": 1, "exercise": None, "side": None,
             "start_sample": start, "end_sample": end}
            for i, (kind, start, end) in enumerate(self.intervals)
        ]  # fmt: skip
        return json.dumps(
            {"schema": "cuelane.schedule/1", "title": "Test", "language": "en", "sample_rate": self.rate,
             "n_frames": self.n_frames, "intervals": intervals, "events": events, "dropped": []}
        )  # fmt: skip

    def store(self) -> Store:
        """Return the clips that the schedule names."""
        cues = {clip_hash(item.sound): item for item in self.planned if item.kind == "cue"}
        return Store({key: StoredClip(item.text or "", self.rate, item.sound) for key, item in cues.items()})


@dataclass(frozen=True)
class StoredClip:
    text: str
    sample_rate: int
    samples: Wave


@dataclass(frozen=True)
class Store:
    """Stands in for a clip store: gives a clip by its hash."""

    clips: dict[str, StoredClip]

    def by_hash(self, sha256: str) -> StoredClip | None:
        return self.clips.get(sha256)


def session(
    seconds: float = 60.0, seed: int = 0, work_s: float = 14.0, rest_s: float = 8.0, edge_ms: float = 8.0,
    harmonic: float = 0.0, rate: int = RATE, texts: tuple[str, ...] = CUES,
    sounds: dict[str, Wave] | None = None,
) -> Track:  # fmt: skip
    """Return a clean session: alternating work and rest, three short pips and a long one on each boundary."""
    rng = _rng("session", seed)
    said = sounds or {text: speak(text, rate=rate) for text in texts}
    n_frames = int(seconds * rate)
    track = Track(n_frames, rate=rate)
    edge = int(rng.integers(rate // 2, 2 * rate))
    kind = "work"
    bag: list[str] = []

    def add(item_kind: str, role: str, onset: int, sound: Wave, **more: object) -> int:
        label = f"e{len(track.placed) + 1:04d}"
        item = Placed(label, item_kind, role, onset, onset, sound, interval=len(track.intervals), **more)  # type: ignore[arg-type]
        track.placed.append(item)
        return onset + len(sound)

    while True:
        span = int((work_s if kind == "work" else rest_s) * rate)
        end = edge + span
        if end + 2 * rate > n_frames:
            break
        at = edge + int(rng.uniform(0.6, 1.2) * rate)
        while True:
            if not bag:
                bag = [str(text) for text in rng.permutation(list(said))]
            text = bag[-1]
            if at + len(said[text]) > end - int(3.4 * rate):
                break
            bag.pop()
            at = add("cue", "form", at, said[text], text=text) + int(rng.uniform(0.45, 2.5) * rate)
        short_hz, long_hz = (880.0, 1320.0) if kind == "work" else (784.0, 1174.66)
        for k in range(3):
            sound = pip(short_hz, int(0.1 * rate), edge_ms, harmonic, rate)
            add("pip", "short", end - (3 - k) * rate, sound, frequency_hz=short_hz)
        add("pip", "long", end, pip(long_hz, int(0.5 * rate), edge_ms, harmonic, rate), frequency_hz=long_hz)
        track.intervals.append((kind, edge, end))
        edge, kind = end, "rest" if kind == "work" else "work"
    track.placed.sort(key=lambda item: item.onset)
    track.placed = [replace(item, id=f"e{i + 1:04d}") for i, item in enumerate(track.placed)]
    track.planned = list(track.placed)
    return track


def music(n: int, seed: int = 0, rate: int = RATE, flat: bool = False) -> Wave:
    """Return programme-like music, RMS -20 dBFS: bass, chords and drums; `flat` adds steady eighth notes."""
    rng = _rng("music", seed)
    beat = 60 / rng.uniform(96, 150)
    out = np.zeros(n)
    roots = rng.choice([45, 48, 50, 52, 53, 55], 4)

    @cache
    def tone(midi: float, n_frames: int, decay: float) -> npt.NDArray[np.float64]:
        # The same few notes come again in each bar.
        t = np.arange(n_frames) / rate
        f = 440 * 2 ** ((midi - 69) / 12)
        sound = sum(np.sin(2 * np.pi * f * h * t + h) / h**1.3 for h in range(1, 7) if f * h < rate / 2.5)
        return np.asarray(sound * np.exp(-t * decay) * np.minimum(1, t / 0.008))

    def note(midi: float, start: float, length: float, gain: float, decay: float) -> None:
        first, last = int(start * rate), min(n, int((start + length) * rate))
        if last > first:
            out[first:last] += gain * tone(midi, last - first, decay)

    @cache
    def kick(n_frames: int) -> npt.NDArray[np.float64]:
        t = np.arange(n_frames) / rate
        return np.sin(2 * np.pi * 60 * t * np.exp(-t * 8)) * np.exp(-t * 25)

    total = n / rate
    for i in range(int(total / beat) + 1):
        root, at = int(roots[(i // 4) % 4]), i * beat
        note(root - 12, at, beat * 0.9, 0.5, 3.0)
        if i % 2 == 0:
            for third in (0, 4 if root % 2 else 3, 7):
                note(root + 12 + third, at, beat * 2, 0.16, 1.2)
        if flat:
            note(root + 24 + (0, 7)[i % 2], at, beat / 2, 0.25, 0.0)
        for k, gain in enumerate((0.9, 0.25)):
            first = int((at + k * beat / 2) * rate)
            m = min(n - first, int(0.12 * rate))
            if m <= 0:
                continue
            hit = kick(m) if k == 0 else rng.standard_normal(m) * np.exp(-np.arange(m) / rate * 60)
            out[first : first + m] += gain * hit
    return np.asarray(out * (0.1 / np.sqrt(np.mean(out**2))), dtype=np.float32)


def active_rms(x: Wave, rate: int = RATE) -> float:
    """Return the RMS over the 50 ms stretches within 40 dB of the loudest: the level while it sounds."""
    step = rate // 20
    power = np.mean(x[: len(x) // step * step].reshape(-1, step).astype(np.float64) ** 2, axis=1)
    return float(np.sqrt(power[power > power.max() * 1e-4].mean()))


def with_music(x: Wave, over_speech_db: float, seed: int = 0, rate: int = RATE, flat: bool = False) -> Wave:
    """Return `x` with music that is `over_speech_db` louder than it while it sounds; peaks kept under 0.9."""
    bed = music(len(x), seed, rate, flat)
    mixed = x + bed * (active_rms(x, rate) / 0.1 * 10 ** (over_speech_db / 20))
    return np.asarray(mixed * min(1.0, 0.9 / float(np.abs(mixed).max())), dtype=np.float32)


def through_room(x: Wave, seed: int = 0, rate: int = RATE) -> Wave:
    """Return `x` as a phone hears it across a room: 300 to 6000 Hz, 0.35 s tail 3 dB under, -60 dB noise."""
    rng = _rng("room", seed)
    n = int(0.35 * rate)
    t = np.arange(n) / rate
    tail = rng.standard_normal(n) * np.exp(-6.9 * t / 0.35)
    tail[: int(0.012 * rate)] = 0
    for at, gain in ((0.0042, 0.5), (0.0071, -0.4), (0.0113, 0.35)):
        tail[int(at * rate)] = gain * 12
    tail *= 10 ** (-3 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    sos = signal.butter(2, [300, 6000], "bandpass", fs=rate, output="sos")
    heard = signal.oaconvolve(signal.sosfilt(sos, x.astype(np.float64)), tail)[: len(x)]
    heard = np.tanh(heard * (0.5 / np.abs(heard).max())) + 0.001 * 0.5 * rng.standard_normal(len(x))
    return np.asarray(heard, dtype=np.float32)


def skewed(x: Wave, up: int, down: int) -> Wave:
    """Return `x` played on a clock slower by up/down: 20001/20000 makes it 50 ppm longer."""
    return np.asarray(signal.resample_poly(x.astype(np.float64), up, down), dtype=np.float32)


def write(path: Path, x: Wave, rate: int = RATE) -> Path:
    """Write `x` by soundfile in blocks, in the form the suffix names: .wav .flac .mp3 .opus."""
    forms = {".wav": ("WAV", "PCM_24"), ".flac": ("FLAC", "PCM_24"),
             ".mp3": ("MP3", "MPEG_LAYER_III"), ".opus": ("OGG", "OPUS")}  # fmt: skip
    form, subtype = forms[path.suffix]
    more = {"compression_level": 0.9} if path.suffix in (".mp3", ".opus") else {}
    channels = 1 if x.ndim == 1 else x.shape[1]
    with soundfile.SoundFile(path, "w", rate, channels, format=form, subtype=subtype, **more) as file:
        for start in range(0, len(x), 65_536):
            file.write(x[start : start + 65_536])
    return path
