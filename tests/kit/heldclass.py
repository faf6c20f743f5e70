"""Classes of a human voice with every kind of boundary sound, for a benchmark: nothing here is in the tests.

The folder of human sounds, named by CUELANE_HUMAN_SOUNDS, holds ``voice/`` (WAV files, each a phrase) and
``music/`` (Ogg files). No phrase is heard twice in one class: people never say a thing twice in the same way.
Everything is drawn from one seed; seeds under 5,000 are for fitting, the others for figures: they have other
pieces of music, and other pitches, lengths and rooms.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from signal_kinds import KINDS, RATE, Rng, Signal
from signal_rooms import ROOMS

Wave = npt.NDArray[np.float64]

HELD_FROM = 5_000
MUSIC_DB = (None, None, None, -15.0, -10.0, -5.0, 0.0)
EDITS = ("none", "none", "cut", "faster", "slower")
NO_SIGNAL = "none at all"
NAMES = (*KINDS, "voice", NO_SIGNAL)
_NO_SPEECH = ("silence", "beep", "tone", "monkeys", "weasels")


@dataclass(frozen=True)
class HeldClass:
    """A class at 16 kHz with its boundaries in seconds, and the conditions that it stands for.

    ``audible`` says of each boundary whether its sound is there at all.
    """

    seed: int
    samples: npt.NDArray[np.int16]
    boundaries_s: tuple[float, ...]
    audible: tuple[bool, ...]
    kind: str
    room: str
    music_db: float | None
    edit: str
    over_talk: bool
    is_spotty: bool


def folder() -> Path:
    return Path(os.environ["CUELANE_HUMAN_SOUNDS"])


@cache
def _phrases() -> tuple[Wave, ...]:
    found = []
    for path in sorted((folder() / "voice").rglob("*.wav")):
        if any(word in str(path.relative_to(folder())) for word in _NO_SPEECH):
            continue
        wave, rate = soundfile.read(path, dtype="float64")
        heard = np.flatnonzero(np.abs(wave) > 0.02)
        if len(heard) and len(wave) < 8 * rate:
            found.append(soxr.resample(wave[heard[0] : heard[-1] + rate // 20], rate, RATE))
    return tuple(found)


def _music(rng: Rng, n_frames: int, *, held: bool) -> Wave:
    """Return `n_frames` of one piece, over again if it is short; fitting and held seeds have other pieces."""
    pieces = [p for p in sorted((folder() / "music").rglob("*.ogg")) if p.stat().st_size > 700_000]
    wave, rate = soundfile.read(pieces[2 * int(rng.integers(len(pieces) // 2)) + held], dtype="float32")
    mono = wave.mean(axis=1) if wave.ndim == 2 else wave
    heard = soxr.resample(mono[: int(n_frames / RATE * rate)], rate, RATE)
    return np.resize(heard, n_frames).astype(np.float64)


def _lengths(rng: Rng) -> list[float]:
    """Return a class's interval lengths: alternating, all the same, a ladder, or each its own."""
    n_sets = int(rng.integers(5, 9))
    work, rest = float(rng.choice([20, 30, 40, 45])), float(rng.choice([10, 15, 20]))
    shape = rng.random()
    if shape < 0.6:
        return [work, rest] * n_sets
    if shape < 0.75:
        return [work] * (n_sets + 3)
    if shape < 0.9:
        return [length for k in range(n_sets) for length in (20.0 + 5 * (k % 4), rest)]
    return [float(rng.integers(12, 50)) for _ in range(n_sets + 4)]


def _voice_signal(rng: Rng) -> Signal:
    short = [p for p in _phrases() if len(p) < 0.7 * RATE]
    wave = short[int(rng.integers(len(short)))]
    return Signal(lambda _rng: wave / np.abs(wave).max())


def _talk(rng: Rng, n_frames: int, taken: list[tuple[float, float]]) -> Wave:
    """Return speech with pauses that keeps out of `taken`, (start, end) in seconds."""
    out = np.zeros(n_frames)
    order = rng.permutation(len(_phrases()))
    at, number = float(rng.uniform(0.3, 1.5)), 0
    while number < len(order):
        phrase = _phrases()[order[number]]
        end = at + len(phrase) / RATE
        if end * RATE >= n_frames:
            break
        clash = next((stop for start, stop in taken if start < end and stop > at), None)
        if clash is not None:
            at = clash + float(rng.uniform(0.0, 0.4))
            continue
        out[round(at * RATE) : round(at * RATE) + len(phrase)] += phrase
        number += 1
        at = end + float(rng.uniform(0.25, 0.7) if rng.random() < 0.65 else rng.uniform(1.0, 5.0))
    return out


def make(seed: int, kind: str | None = None) -> HeldClass:
    """Return the class drawn with `seed`; without `kind`, kinds follow one another in ``NAMES``."""
    rng = np.random.default_rng(seed)
    kind = kind or NAMES[seed % len(NAMES)]
    room, edit = str(rng.choice(list(ROOMS))), str(rng.choice(EDITS))
    music_db = MUSIC_DB[int(rng.integers(len(MUSIC_DB)))]
    over_talk, is_spotty = bool(rng.random() < 0.3), bool(rng.random() < 0.25)
    times = np.cumsum([float(rng.uniform(8, 20)), *_lengths(rng)])
    n_frames = round((times[-1] + rng.uniform(6, 15)) * RATE)
    signals = np.zeros(n_frames)
    audible = [kind != NO_SIGNAL] * len(times)
    taken: list[tuple[float, float]] = []
    if kind != NO_SIGNAL:
        signal = _voice_signal(rng) if kind == "voice" else KINDS[kind](rng)
        level = 0.35 * 10 ** (float(rng.uniform(-14, 0)) / 20)
        for index, time_s in enumerate(times):
            wave = signal.sound(rng) * level * 10 ** (float(rng.uniform(-2, 2)) / 20)
            start = round((time_s - signal.boundary_s) * RATE)
            if is_spotty and index > 0 and rng.random() < 0.07:
                audible[index] = False
                continue
            double = len(wave) // 1 + round(0.15 * RATE) if is_spotty and rng.random() < 0.07 else None
            for shift in [0] if double is None else [0, double]:
                part = wave[: max(0, n_frames - start - shift)]
                signals[start + shift : start + shift + len(part)] += part
            if not over_talk or rng.random() < 0.6:
                taken.append((start / RATE - 0.15, start / RATE + len(wave) / RATE * 0.8 + 0.1))
    speech = _talk(rng, n_frames, taken)
    loud = np.sqrt((speech[np.abs(speech) > 0.01] ** 2).mean())
    speech *= 0.08 / loud
    mixed = speech + signals
    if music_db is not None:
        bed = _music(rng, n_frames, held=seed >= HELD_FROM)
        mixed += bed * (0.08 * 10 ** (music_db / 20) / np.sqrt((bed**2).mean()))
    mixed, truth = _edited(mixed, times, edit, rng)
    heard = ROOMS[room](mixed, rng)
    whole = np.clip(heard / max(1.0, np.abs(heard).max()) * 32_767, -32_768, 32_767).astype(np.int16)
    return HeldClass(
        seed, whole, tuple(truth.tolist()), tuple(audible), kind, room, music_db, edit, over_talk, is_spotty
    )


def _edited(mixed: Wave, times: Wave, edit: str, rng: Rng) -> tuple[Wave, Wave]:
    """Return the sound and its boundaries after two intervals were shortened, or at another speed."""
    if edit == "cut":
        for index in sorted(rng.choice(len(times) - 1, 2, replace=False), reverse=True):
            length = float(rng.uniform(1.0, 4.0))
            start = float(times[index]) + 3.5
            mixed = np.delete(mixed, slice(round(start * RATE), round((start + length) * RATE)))
            times = np.where(times > start, times - length, times)
    elif edit in ("faster", "slower"):
        by = float(rng.uniform(1.01, 1.06)) ** (1 if edit == "slower" else -1)
        mixed, times = soxr.resample(mixed, 1000, 1000 * by), times * by
    return mixed, np.asarray(times)
