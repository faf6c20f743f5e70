"""What decides how a line sounds: lines of the same key are spoken once."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from cuelane.session.candidates import Candidate
from cuelane.speech.definition import VoiceDefinition


class Key(NamedTuple):
    """What decides how a line sounds: its words, the pace, and the recording that a script names for it."""

    text: str
    pace: float
    recording: str | None = None


def key_of(candidate: Candidate, voice: VoiceDefinition, pace: float) -> Key:
    """Return what decides how `candidate` sounds, where the voice as a whole speaks at `pace`."""
    if candidate.clip is None:
        return Key(candidate.text, voice.pace_for(candidate.role, pace * candidate.hurry, candidate.manner))
    folder = Path(candidate.mark.file).parent if candidate.mark else Path()
    return Key(candidate.text, 1.0, str(folder / candidate.clip))
