"""A text in the words that a voice will say. Apart from speaking, which needs what is slow to import."""

from __future__ import annotations

from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.lexicon import Lexicon, read_lexicon
from cuelane.speech.prepare import prepare


def spoken_words(text: str, voice: VoiceDefinition) -> str:
    """Return `text` in the words that `voice` will say; empty if there is nothing to say."""
    return prepare(text, voice.language, lexicon_of(voice), lambda lexeme: lexeme.alias)


def lexicon_of(voice: VoiceDefinition) -> Lexicon | None:
    """Return a voice's lexicon, if it has one. Raises PlanError where that cannot be read."""
    if voice.settings.lexicon is None:
        return None
    return read_lexicon(voice.path_of(voice.settings.lexicon, "lexicon"))
