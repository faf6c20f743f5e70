"""The JSON beside a Piper model, read as untrusted input: every number in it is bounded.

What these numbers multiply is time and memory: a length scale of a million asks the model for days of sound.
The bounds lie well outside what published voices hold (length scale 0.8 to 2, 16 to 48 kHz, up to 904
speakers, a map of 130 to 260 phonemes; looked at by hand, no standard).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.ordinary import read_ordinary
from cuelane.speech.settings_faults import faults_of

MAX_BYTES = 1_000_000
LEAST_LENGTH_SCALE, MOST_LENGTH_SCALE = 0.25, 4.0

_Id = Annotated[int, Field(ge=0, le=65_535)]
_Sign = Annotated[str, Field(min_length=1, max_length=16)]


class _Loose(BaseModel):
    # Voices carry much else: datasets, dates, quality. It is not looked at.
    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)


class _Audio(_Loose):
    sample_rate: Annotated[int, Field(ge=8_000, le=96_000)]


class _Espeak(_Loose):
    # A voice of eSpeak NG, such as en-us or gmw/en; without dots it leads out of no folder.
    voice: Annotated[str, Field(pattern=r"^[A-Za-z0-9_+-]+(/[A-Za-z0-9_+-]+)?$", max_length=40)]


class _Inference(_Loose):
    noise_scale: Annotated[float, Field(ge=0, le=4, allow_inf_nan=False)] = 0.667
    length_scale: Annotated[
        float, Field(ge=LEAST_LENGTH_SCALE, le=MOST_LENGTH_SCALE, allow_inf_nan=False)
    ] = 1.0
    noise_w: Annotated[float, Field(ge=0, le=4, allow_inf_nan=False)] = 0.8


class PiperFacts(_Loose):
    """What of a model's configuration is used."""

    audio: _Audio
    espeak: _Espeak
    inference: _Inference = _Inference()
    num_symbols: Annotated[int, Field(ge=1, le=65_536)]
    num_speakers: Annotated[int, Field(ge=1, le=20_000)]
    # The other kinds (pinyin, hebrew, japanese, thai) want packages and downloads of their own.
    phoneme_type: Literal["espeak", "text"] = "espeak"
    phoneme_id_map: Annotated[
        dict[_Sign, Annotated[list[_Id], Field(min_length=1, max_length=8)]], Field(max_length=4_096)
    ]
    speaker_id_map: Annotated[dict[str, _Id], Field(max_length=20_000)] = Field(default_factory=dict)
    hop_length: Annotated[int, Field(ge=16, le=4_096)] = 256
    default_speaker_id: _Id = 0
    vowel_clusters: Annotated[list[Annotated[list[_Sign], Field(max_length=8)]], Field(max_length=1_000)] = (
        Field(default_factory=list)
    )


def read_piper_config(path: Path) -> PiperFacts:
    """Return the configuration of a Piper model.

    Raises
    ------
    PlanError : not to be read, too large, not JSON, or beyond the bounds above; with file and key.
    """
    try:
        facts = PiperFacts.model_validate(json.loads(read_ordinary(path, MAX_BYTES)))
    except ValidationError as error:
        faults = faults_of(error, PiperFacts, "the model's settings")
        raise PlanError([_at(path, message) for _, message in faults]) from error
    except (OSError, ValueError, RecursionError) as error:
        why = "nested too deep" if isinstance(error, RecursionError) else str(error)[:300]
        raise PlanError([_at(path, f"the model's settings cannot be read: {why}")]) from error
    # Beginning, end and padding, which every sentence gets.
    missing = [sign for sign in "^$_" if sign not in facts.phoneme_id_map]
    if missing:
        raise PlanError([_at(path, f"phoneme_id_map: {' '.join(missing)} must be in it")])
    if facts.default_speaker_id >= facts.num_speakers:
        raise PlanError([_at(path, f"default_speaker_id: must be under num_speakers, {facts.num_speakers}")])
    return facts


def _at(path: Path, message: str) -> Problem:
    return Problem(Mark(str(path), 1, 1), message)


def as_piper(facts: PiperFacts) -> Any:
    """Return `facts` in the engine's own form."""
    from piper.config import PiperConfig

    return PiperConfig.from_dict(facts.model_dump())
