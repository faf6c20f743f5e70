"""The recorded voice: a folder of a person's own clips, and an index that says which file holds which words.

``index.toml``, or the same as ``index.json``::

    credit = "Recorded by the instructor."
    clips = [
      {text = "Goblet squat.", file = "goblet-squat.wav"},
      {text = "Knees track over your toes.", file = "knees.m4a", gain_db = -1.0},
    ]

A text matches whatever its case, spacing and punctuation. `gain_db`, from -2 to 2, is by how much a clip is
meant to differ from the one loudness that all clips are brought to.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field, ValidationError

from cuelane.base.errors import AudioFileError, Mark, PlanError, Problem, VoiceError
from cuelane.base.ordinary import OddFileError, open_ordinary, read_ordinary
from cuelane.base.units import SAMPLE_RATE
from cuelane.media import decode
from cuelane.speech.bounded_toml import read_toml
from cuelane.speech.definition import (
    MAX_LINE_S,
    ClipRecording,
    Engine,
    EngineSettings,
    FileName,
    StrictModel,
    VoiceDefinition,
)
from cuelane.speech.settings_faults import faults_of

MAX_CLIPS = 10_000

_MAX_INDEX_BYTES = 4_000_000
_MAX_FILE_BYTES = 200_000_000


class RecordedSettings(EngineSettings):
    """A folder of a person's own recordings; `fallback` is the voice for lines that were not recorded."""

    engine: Literal["recorded"] = "recorded"
    index: FileName = "index.toml"
    fallback: Annotated[str, Field(min_length=1, max_length=80)] = "natural"


class RecordedClip(StrictModel):
    """One recording: its words, its file beside the index, its wanted difference in loudness."""

    text: Annotated[str, Field(min_length=1, max_length=600)]
    file: FileName
    gain_db: Annotated[float, Field(ge=-2, le=2, allow_inf_nan=False)] = 0.0


class Index(StrictModel):
    """What a folder of recordings holds, and whom to thank."""

    clips: Annotated[list[RecordedClip], Field(max_length=MAX_CLIPS)]
    credit: Annotated[str, Field(max_length=2000)] = ""
    licence: Annotated[str, Field(max_length=2000)] = ""


def match_key(text: str) -> str:
    """Return what two texts have in common when only case, spacing or punctuation differ."""
    folded = unicodedata.normalize("NFC", text).casefold().replace("’", "'")
    return " ".join("".join(char if char.isalnum() or char == "'" else " " for char in folded).split())


def read_index(voice: VoiceDefinition) -> Index:
    """Return a recorded voice's index.

    Raises
    ------
    PlanError : missing, not well-formed, or not as described here.
    """
    assert isinstance(voice.settings, RecordedSettings)
    path = voice.path_of(voice.settings.index, "index")
    try:
        written = (
            _read_json(path) if path.suffix == ".json" else read_toml(path, _MAX_INDEX_BYTES, "an index")
        )
        if path.suffix == ".json" and isinstance(written, dict):
            # What `takes` notes of the files it wrote says nothing of the voice.
            written = {key: value for key, value in written.items() if key not in ("files", "seal")}
        return Index.model_validate(written)
    except ValidationError as error:
        faults = faults_of(error, Index, "the index")
        raise PlanError([Problem(Mark(str(path), 1, 1), message) for _, message in faults]) from error


def _read_json(path: Path) -> Any:
    try:
        return json.loads(read_ordinary(path, _MAX_INDEX_BYTES))
    except (OSError, ValueError, RecursionError) as error:
        why = "it is nested too deep" if isinstance(error, RecursionError) else str(error)[:300]
        raise PlanError([Problem(Mark(str(path), 1, 1), f"an index cannot be read: {why}")]) from error


class RecordedVoice:
    """The recordings of one voice, by text."""

    def __init__(self, voice: VoiceDefinition) -> None:
        self._voice = voice
        self.index = read_index(voice)
        self._by_key: dict[str, RecordedClip] = {}
        for clip in self.index.clips:
            # The last take of a line is the one that counts.
            self._by_key[match_key(clip.text)] = clip

    def find(self, text: str) -> ClipRecording | str:
        """Return the recording of `text`, or the reason why there is none."""
        clip = self._by_key.get(match_key(text))
        if clip is None:
            return "no recording of this line"
        try:
            path = self._voice.inside(self._folder / clip.file)
        except OddFileError as error:
            return f"{clip.file[:80]!r} {error}"
        if path is None:
            raise self._voice.problem("file", f"{clip.file!r} lies outside {self._voice.root}")
        try:
            return ClipRecording(path, recording_sha256(path), clip.gain_db)
        except VoiceError as error:
            return str(error)

    @property
    def fallback(self) -> str:
        assert isinstance(self._voice.settings, RecordedSettings)
        return self._voice.settings.fallback

    @property
    def _folder(self) -> Path:
        assert isinstance(self._voice.settings, RecordedSettings)
        return (self._voice.source.parent / self._voice.settings.index).parent


def recording_sha256(path: Path) -> str:
    """Return the hex SHA-256 of a recording's bytes.

    Raises
    ------
    VoiceError : it is lost, too large, or no ordinary file; says what to do.
    """
    try:
        with open_ordinary(path, _MAX_FILE_BYTES) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError as error:
        raise VoiceError(
            f"the recording {path.name} is lost: there is no such file; put it back, or record the line again"
        ) from error
    except OddFileError as error:
        raise VoiceError(f"{path.name} {error}; one line belongs in each recording") from error
    except OSError as error:
        raise VoiceError(f"the recording {path.name} cannot be read ({error.strerror or error})") from error


def read_recording(path: Path) -> npt.NDArray[np.float32]:
    """Return a recording as mono at 48 kHz, shape (n_frames,).

    Raises
    ------
    VoiceError : not audio, or longer than two minutes.
    """
    parts, n_frames = [], 0
    try:
        for block in decode(path, sample_rate=SAMPLE_RATE, channels=1):
            parts.append(block[:, 0])
            n_frames += len(block)
            if n_frames > MAX_LINE_S * SAMPLE_RATE:
                raise VoiceError(
                    f"{path.name} is longer than {MAX_LINE_S:.0f} s; one line belongs in each file"
                )
    except AudioFileError as error:
        raise VoiceError(f"{path.name} cannot be used as a recording: {error}") from error
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)


ENGINE = Engine(
    name="recorded",
    about="a folder of a person's own recordings",
    settings=RecordedSettings,
    load=RecordedVoice,
    missing=lambda: "",
    synthetic=False,
)
