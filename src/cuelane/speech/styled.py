"""Styled voices: one neural model for many speakers, each a small table; offline, the same on every run.

A speaker is a table of styles, 510 rows of 256 numbers in half precision, little-endian: row n is the style
of a sentence of n symbols. The model is an extra, for its size. A plan's own voice may set a pace and a
lexicon, and name a copy of one of the tables that came with cuelane; with another table, the model can be
made to give minutes of sound for a word, at gigabytes of memory.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import re
import threading
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from cuelane.base.cores import n_cores
from cuelane.base.errors import VoiceError
from cuelane.base.ordinary import read_ordinary
from cuelane.speech import french_liaison
from cuelane.speech.definition import (
    Engine,
    EngineSettings,
    FileName,
    StrictModel,
    VoiceDefinition,
    voices_folder,
)
from cuelane.speech.espeak_phonemes import phonemes_of
from cuelane.speech.line_length import known_seconds, knows_lengths
from cuelane.speech.piper_model import join_sentences
from cuelane.speech.prepare import sentences
from cuelane.speech.sound_doubts import sound_doubt
from cuelane.speech.style_model import (
    MAX_SYMBOLS,
    MODEL_SHA256,
    SAMPLE_RATE_HZ,
    StyledModel,
    missing,
)
from cuelane.speech.style_symbols import RULES_VERSIONS, to_symbols

Array = npt.NDArray[np.float32]
Words = tuple[tuple[str, float], ...]

_ROWS, _COLUMNS = 510, 256
_TABLE_BYTES = _ROWS * _COLUMNS * 2
_BREAKS = re.compile(r"(?<=[,;:]) | ")
# What a sentence that came out wrong is tried with next: (signs before, signs after, speed against the one
# asked for). A pause written before or after a short sentence changes how the model sets its ends. None is
# tried first: of 39 words in 20 short cues of the demos, a recogniser understood 36 as they stand (DNSMOS
# 3.07), 35 at 0.9 of the speed (3.11), 34 with a pause before (3.08), 30 said twice and cut (2.88).
RETAKES = (("", "", 1.0), ("", "…", 1.0), ("… ", "", 1.0), ("", "", 0.95), (", ", ",", 0.97))
VERSION = 1
"""Part of every recipe: raise it when the same text would sound otherwise."""


class StyleTable(StrictModel):
    """A speaker's table: a file beside the definition, and its SHA-256."""

    file: FileName
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None
    speed: Annotated[float, Field(ge=0.5, le=2, allow_inf_nan=False)] = 1.0
    """How much quicker every sound is than the model has it: the speaker's own rate, at pace 1."""


class StyledSettings(EngineSettings):
    """A speaker of the styled model. ``phonemes``: the voice of eSpeak NG that turns words into IPA."""

    engine: Literal["styled"]
    style: StyleTable
    phonemes: Literal["en-us", "en-gb-x-rp", "es", "fr", "it", "pt-br"]
    sentence_pause_ms: Annotated[int, Field(ge=50, le=2000)] = 300


class StyledVoice:
    """One speaker; the model is loaded when the first line is spoken, and shared by all of them."""

    takes_ipa = True

    def __init__(self, voice: VoiceDefinition) -> None:
        assert isinstance(voice.settings, StyledSettings)
        self._voice = voice
        self._settings = voice.settings
        self._content = _table_bytes(voice)
        self._style = np.frombuffer(self._content, dtype="<f2").reshape(_ROWS, _COLUMNS).astype(np.float32)
        if not np.isfinite(self._style).all():
            raise voice.problem("file", f"{self._settings.style.file} holds values that are not numbers")

    @property
    def workers(self) -> int:
        return n_cores()

    def recipe(self, pace: float) -> Mapping[str, Any]:
        try:
            versions = {name: importlib.metadata.version(name) for name in ("piper-tts", "onnxruntime")}
        except importlib.metadata.PackageNotFoundError as error:
            raise VoiceError(f"the speech engine is missing; install it with: {missing()}") from error
        return {
            "engine": "styled",
            "version": VERSION,
            **versions,
            "model": MODEL_SHA256,
            "style": hashlib.sha256(self._content).hexdigest(),
            "phonemes": self._settings.phonemes,
            "speed": self._speed(pace),
            "pause_ms": self._pause_ms(pace),
            **({"liaison": french_liaison.VERSION} if self._settings.phonemes == "fr" else {}),
            **({"rules": rules} if (rules := RULES_VERSIONS.get(self._settings.phonemes)) else {}),
            # Which try is kept depends on it.
            **({} if knows_lengths(self._voice) else {"lengths": "unknown"}),
        }

    def speak(self, prepared: str, pace: float) -> tuple[Array, int, Words]:
        """Return (samples of shape (n_frames,), 24 000, no words) for a prepared text.

        Each sentence is checked by rule (see `sound_doubts`) and, where it fails, spoken again with other
        pauses; the last resort is the first try, so that a line that cannot be mended is still said.

        Raises
        ------
        VoiceError : the model or the engine is missing, or a lexicon's phonemes hold a sign it does not know.
        """
        model = _model()
        spoken = [
            self._sentence(model, symbols, seconds, self._speed(pace))
            for sentence in sentences(prepared)
            for symbols, seconds in self._symbols(sentence, pace)
        ]
        return join_sentences(spoken, SAMPLE_RATE_HZ, self._pause_ms(pace)), SAMPLE_RATE_HZ, ()

    def _symbols(self, sentence: str, pace: float) -> Iterator[tuple[str, float | None]]:
        """Yield a sentence's symbols, in parts that the model can take, and about how long each should be.

        That is None for a voice whose definition has no figures of its own.
        """
        phonemes = phonemes_of(sentence, self._settings.phonemes)
        symbols, unknown = to_symbols(phonemes, self._settings.phonemes)
        if unknown and "[[" in sentence:
            raise VoiceError(
                f"the lexicon's phonemes in {sentence[:80]!r} hold {' '.join(unknown)!r}, which the model of "
                f"voice {self._voice.name} does not know; write them with other IPA signs or use an alias"
            )
        symbols = symbols.strip()
        whole_s = known_seconds(sentence, self._voice, pace)
        each_s = None if whole_s is None else whole_s / max(1, len(symbols))
        longest = MAX_SYMBOLS - 4
        while len(symbols) > longest:
            breaks = [match.end() for match in _BREAKS.finditer(symbols, 0, longest)]
            at = breaks[-1] if breaks else longest
            yield symbols[:at].strip(), None if each_s is None else each_s * at
            symbols = symbols[at:].strip()
        if symbols:
            yield symbols, None if each_s is None else each_s * len(symbols)

    def _sentence(self, model: StyledModel, symbols: str, expected_s: float | None, speed: float) -> Array:
        first: Array | None = None
        for before, after, slower in RETAKES:
            tried = f"{before}{symbols}{after}"
            audio = model.infer(tried, self._style, speed * slower)
            if not sound_doubt(audio, SAMPLE_RATE_HZ, tried, expected_s):
                return audio
            first = audio if first is None else first
        assert first is not None
        return first

    def _speed(self, pace: float) -> float:
        return round(self._pace(pace) * self._settings.style.speed, 4)

    def _pace(self, pace: float) -> float:
        return round(pace * self._settings.pace, 4)

    def _pause_ms(self, pace: float) -> int:
        return round(self._settings.sentence_pause_ms / self._pace(pace))


_LOCK = threading.Lock()


def _model() -> StyledModel:
    # functools.cache alone would let two threads load it at once.
    with _LOCK:
        return _loaded()


@functools.cache
def _loaded() -> StyledModel:
    return StyledModel()


def _table_bytes(voice: VoiceDefinition) -> bytes:
    settings = voice.settings
    assert isinstance(settings, StyledSettings)
    path: Path = voice.path_of(settings.style.file, "file")
    try:
        content = read_ordinary(path, _TABLE_BYTES + 1)
    except OSError as error:
        raise voice.problem(
            "file", f"{settings.style.file} cannot be read: {error.strerror or error}"
        ) from error
    if len(content) != _TABLE_BYTES:
        raise voice.problem(
            "file",
            f"{settings.style.file}: expected a table of {_ROWS} x {_COLUMNS} half-precision numbers, "
            f"{_TABLE_BYTES} bytes; got {len(content)}",
        )
    digest = hashlib.sha256(content).hexdigest()
    if not voice.own and digest not in _own_digests():
        raise voice.problem(
            "file",
            f"{settings.style.file}: a plan's voice can use a copy of a table in cuelane's voices/styles, "
            "and this is none of them",
        )
    if settings.style.sha256 not in (None, digest):
        raise VoiceError(
            f"the style of voice {voice.name} is not the one its definition was written for: "
            f"{path.name} has another SHA-256 than {voice.source.name} says"
        )
    return content


@functools.cache
def _own_digests() -> frozenset[str]:
    tables = (voices_folder() / "styles").glob("*.f16")
    return frozenset(hashlib.sha256(read_ordinary(path, _TABLE_BYTES)).hexdigest() for path in tables)


ENGINE = Engine(
    name="styled",
    about="neural, many speakers; offline, an extra",
    settings=StyledSettings,
    load=StyledVoice,
    missing=missing,
)
