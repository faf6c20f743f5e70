"""The natural voice: a Piper model, made deterministic.

The model's own randomness is off (both noise scales zero) and every inference runs on one thread: with two,
one line in six came out different in its last bits. Many lines are spoken at once instead, by threads that
share one session. Each sentence is spoken apart, so that the pause between two is ours to set.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import json
import os
import re
import threading
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import audible_span
from cuelane.base.errors import VoiceError
from cuelane.speech.prepare import sentences
from cuelane.speech.voices import NaturalSettings, VoiceDefinition, model_path

Array = npt.NDArray[np.float32]
Words = tuple[tuple[str, float], ...]

_LEAD_MS, _TAIL_MS = 30, 60
_SCALES = (0.4, 2.5)
_PACE_TRIALS = 5
_PACE_TOLERANCE = 0.015
_RAW = re.compile(r"\[\[(.*?)\]\]")


class NaturalVoice:
    """One Piper model, loaded when the first line is spoken."""

    takes_ipa = True
    evens = True

    def __init__(self, voice: VoiceDefinition) -> None:
        assert isinstance(voice.settings, NaturalSettings)
        self._voice = voice
        self._settings = voice.settings
        self._path = model_path(voice)
        self._config_path = Path(f"{self._path}.json")
        if not self._config_path.is_file():
            raise voice.problem(
                "file", f"a Piper model needs its settings beside it: {self._config_path.name}"
            )
        self._lock = threading.Lock()
        self._piper: Any = None

    @property
    def workers(self) -> int:
        affinity = getattr(os, "sched_getaffinity", None)
        return len(affinity(0)) if affinity is not None else os.cpu_count() or 1

    def recipe(self, pace: float) -> Mapping[str, Any]:
        return {
            "engine": "piper",
            "piper": _version("piper-tts"),
            "onnxruntime": _version("onnxruntime"),
            "model": self._settings.model.sha256 or _file_sha256(self._path),
            "config": _file_sha256(self._config_path),
            "speaker": self._settings.model.speaker,
            "pace": self._pace(pace),
            "pause_ms": self._pause_ms(pace),
        }

    def speak(self, prepared: str, pace: float) -> tuple[Array, int, Words]:
        """Return (samples of shape (n_frames,), sample_rate, no words) for a prepared text.

        Raises
        ------
        VoiceError : the engine or the model is missing, wrong, or failed.
        """
        piper = self._loaded()
        sample_rate: int = piper.config.sample_rate
        spoken = []
        for sentence in sentences(prepared):
            self._require_known(sentence, piper.config.phoneme_id_map)
            phonemes = [phoneme for clause in piper.phonemize(sentence) for phoneme in clause]
            if phonemes:
                spoken.append(self._at_pace(piper.phonemes_to_ids(phonemes), self._pace(pace)))
        return join_sentences(spoken, sample_rate, self._pause_ms(pace)), sample_rate, ()

    def _pace(self, pace: float) -> float:
        return round(pace * self._settings.pace, 4)

    def _at_pace(self, phoneme_ids: list[int], pace: float) -> Array:
        """Return a sentence `pace` times as fast as the model speaks it of itself, to 1.5 % if it can be.

        The model rounds every sound up to whole frames, so that a length scale of 0.9 shortens one sentence
        by 1 % and another by 20 %: the right scale is searched for, sentence by sentence.
        """
        plain = self._infer(phoneme_ids, 1.0)
        if pace == 1.0:
            return plain
        wanted = len(plain) / pace
        # Scales known to give too short and too long a sentence, with the lengths they give.
        low, high = (_SCALES[0], 0.0), (_SCALES[1], 2.0 * max(wanted, len(plain)))
        low, high = (low, (1.0, float(len(plain)))) if pace > 1 else ((1.0, float(len(plain))), high)
        scale = 1 - 1.5 * (1 - 1 / pace)
        best = plain
        for _ in range(_PACE_TRIALS):
            audio = self._infer(phoneme_ids, scale)
            if abs(len(audio) - wanted) < abs(len(best) - wanted):
                best = audio
            if abs(len(audio) - wanted) <= wanted * _PACE_TOLERANCE:
                break
            low, high = (low, (scale, len(audio))) if len(audio) > wanted else ((scale, len(audio)), high)
            share = (wanted - low[1]) / max(1.0, high[1] - low[1])
            scale = round(low[0] + (high[0] - low[0]) * min(0.9, max(0.1, share)), 4)
        return best

    def _infer(self, phoneme_ids: list[int], scale: float) -> Array:
        from piper.config import SynthesisConfig

        settings = SynthesisConfig(
            speaker_id=self._settings.model.speaker,
            length_scale=scale * self._piper.config.length_scale,
            noise_scale=0.0,
            noise_w_scale=0.0,
            normalize_audio=False,
        )
        audio = self._piper.phoneme_ids_to_audio(phoneme_ids, settings)
        return np.asarray(audio, dtype=np.float32).reshape(-1)

    def _pause_ms(self, pace: float) -> int:
        return round(self._settings.sentence_pause_ms / self._pace(pace))

    def _require_known(self, sentence: str, known: Mapping[str, Any]) -> None:
        # Piper only logs a phoneme it does not know, and leaves it out.
        for phonemes in _RAW.findall(sentence):
            unknown = sorted({sign for sign in unicodedata.normalize("NFD", phonemes) if sign not in known})
            if unknown:
                raise VoiceError(
                    f"the lexicon's phonemes {phonemes!r} hold {' '.join(unknown)!r}, which the model of "
                    f"voice {self._voice.name} does not know; write them with other IPA signs or use an alias"
                )

    def _loaded(self) -> Any:
        with self._lock:
            if self._piper is None:
                self._piper = self._load()
            return self._piper

    def _load(self) -> Any:
        pinned = self._settings.model.sha256
        if pinned is not None and _file_sha256(self._path) != pinned:
            raise VoiceError(
                f"the model of voice {self._voice.name} is not the one its definition was written for: "
                f"{self._path.name} has another SHA-256 than {self._voice.source.name} says. Install the "
                "package again, or if you changed the model on purpose, put its new hash into the definition."
            )
        try:
            import onnxruntime
            from piper import PiperVoice
            from piper.config import PiperConfig
        except ImportError as error:
            raise VoiceError(
                f"the speech engine is missing ({error}); install it with: pip install piper-tts"
            ) from error
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        try:
            config = PiperConfig.from_dict(json.loads(self._config_path.read_text(encoding="utf-8")))
            session = onnxruntime.InferenceSession(
                str(self._path), sess_options=options, providers=["CPUExecutionProvider"]
            )
        # onnxruntime's errors share no base but Exception.
        except Exception as error:
            raise VoiceError(
                f"{self._path.name} of voice {self._voice.name} is no Piper model that can be loaded: {error}"
            ) from error
        return PiperVoice(session=session, config=config)


def join_sentences(spoken: list[Array], sample_rate: int, pause_ms: int) -> Array:
    """Return sentences one after another, `pause_ms` from the end of one to the onset of the next."""
    parts: list[Array] = []
    last_tail = 0
    for audio in spoken:
        onset, end = audible_span(audio, sample_rate)
        if end <= onset:
            continue
        lead = min(onset, sample_rate * _LEAD_MS // 1000)
        tail = min(len(audio) - end, sample_rate * _TAIL_MS // 1000)
        piece = audio[onset - lead : end + tail].copy()
        ramp = np.linspace(0.0, 1.0, min(len(piece), sample_rate // 200), dtype=np.float32)
        piece[: len(ramp)] *= ramp
        piece[len(piece) - len(ramp) :] *= ramp[::-1]
        if parts:
            gap = sample_rate * pause_ms // 1000 - lead - last_tail
            parts.append(np.zeros(max(0, gap), dtype=np.float32))
        parts.append(piece)
        last_tail = tail
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)


@functools.lru_cache(maxsize=32)
def _file_sha256(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise VoiceError(f"{path.name} cannot be read: {error.strerror or error}") from error


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError as error:
        raise VoiceError(f"the speech engine is missing; install it with: pip install {package}") from error
