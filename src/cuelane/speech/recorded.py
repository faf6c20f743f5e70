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
import tomllib
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cuelane.base.errors import AudioFileError, Mark, PlanError, Problem, VoiceError
from cuelane.base.units import SAMPLE_RATE
from cuelane.media import decode
from cuelane.speech.voices import RecordedSettings, VoiceDefinition

MAX_CLIPS = 10_000
MAX_LENGTH_S = 120

_MAX_INDEX_BYTES = 4_000_000
_MAX_FILE_BYTES = 200_000_000


class _IndexModel(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class RecordedClip(_IndexModel):
    """One recording: its words, its file beside the index, its wanted difference in loudness."""

    text: Annotated[str, Field(min_length=1, max_length=600)]
    file: Annotated[str, Field(min_length=1, max_length=400)]
    gain_db: Annotated[float, Field(ge=-2, le=2, allow_inf_nan=False)] = 0.0


class Index(_IndexModel):
    """What a folder of recordings holds, and whom to thank."""

    clips: Annotated[list[RecordedClip], Field(max_length=MAX_CLIPS)]
    credit: Annotated[str, Field(max_length=2000)] = ""
    licence: Annotated[str, Field(max_length=2000)] = ""


@dataclass(frozen=True)
class ClipRecording:
    """A file that holds a text, and the hash of its bytes."""

    path: Path
    sha256: str
    gain_db: float


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
        if path.stat().st_size > _MAX_INDEX_BYTES:
            raise ValueError(f"an index may have {_MAX_INDEX_BYTES} bytes at most")
        content = path.read_text(encoding="utf-8")
        written = json.loads(content) if path.suffix == ".json" else tomllib.loads(content)
        return Index.model_validate(written)
    except ValidationError as error:
        problems = []
        for one in error.errors():
            where = ".".join(str(part) for part in one["loc"]) or "the index"
            problems.append(Problem(Mark(str(path), 1, 1), f"{where}: {one['msg']}"))
        raise PlanError(problems) from error
    except (OSError, ValueError, RecursionError) as error:
        raise PlanError([Problem(Mark(str(path), 1, 1), f"cannot be read: {error}")]) from error


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
        path = (self._folder / clip.file).resolve()
        if not path.is_relative_to(self._voice.root.resolve()):
            raise self._voice.problem("file", f"{clip.file!r} lies outside {self._voice.root}")
        try:
            if path.stat().st_size > _MAX_FILE_BYTES:
                return f"{clip.file} is larger than {_MAX_FILE_BYTES // 1_000_000} MB"
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            return f"{clip.file} cannot be read ({error.strerror or error})"
        return ClipRecording(path, digest, clip.gain_db)

    @property
    def _folder(self) -> Path:
        assert isinstance(self._voice.settings, RecordedSettings)
        return (self._voice.source.parent / self._voice.settings.index).parent


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
            if n_frames > MAX_LENGTH_S * SAMPLE_RATE:
                raise VoiceError(
                    f"{path.name} is longer than {MAX_LENGTH_S} s; one line belongs in each file"
                )
    except AudioFileError as error:
        raise VoiceError(f"{path.name} cannot be used as a recording: {error}") from error
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.float32)
