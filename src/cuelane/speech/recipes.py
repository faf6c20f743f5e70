"""What decides how a line sounds, as the facts by which the clip store knows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cuelane.audio.store import FORMAT_VERSION
from cuelane.base.levels import REFERENCE_LUFS
from cuelane.base.units import SAMPLE_RATE
from cuelane.speech.definition import ClipRecording, Voice, VoiceDefinition
from cuelane.speech.finish import CREST_DB, FINISH_VERSION
from cuelane.speech.lexicon import Lexeme, Lexicon
from cuelane.speech.prepare import PREPARE_VERSION, prepare

Facts = dict[str, Any]


def synthetic_facts(engine: Voice, pace: float) -> Facts:
    """Return what decides how `engine` sounds at `pace`; with the prepared text it is a clip's recipe."""
    return {**engine.recipe(pace), **_common_facts()}


def recorded_facts(recording: ClipRecording) -> Facts:
    """Return the recipe of a person's own recording as a clip."""
    return {
        "engine": "recorded",
        "file": recording.sha256,
        "gain_db": recording.gain_db,
        **_common_facts(),
    }


def prepared_for(engine: Voice, text: str, voice: VoiceDefinition, lexicon: Lexicon | None) -> str:
    """Return `text` as `engine` is given it; empty if there is nothing to say."""
    return prepare(text, voice.language, lexicon, _say(engine.takes_ipa))


def _common_facts() -> Facts:
    return {
        "store": FORMAT_VERSION,
        "finish": FINISH_VERSION,
        "prepare": PREPARE_VERSION,
        "sample_rate": SAMPLE_RATE,
        "loudness_lufs": REFERENCE_LUFS,
        "crest_db": CREST_DB,
    }


def _say(takes_ipa: bool) -> Callable[[Lexeme], str | None]:
    def say(lexeme: Lexeme) -> str | None:
        if takes_ipa and lexeme.phoneme is not None:
            return f"[[{lexeme.phoneme}]]"
        return lexeme.alias

    return say
