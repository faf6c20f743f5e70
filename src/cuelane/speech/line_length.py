"""How long a prepared text should sound, by the figures of a voice's definition."""

from __future__ import annotations

import re

from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.prepare import sentences

_VOWELS = re.compile(r"[aeiouyàáâãäåæèéêëìíîïòóôõöøùúûüýÿœ]+")
_WORD = re.compile(r"[^\W_]+(?:'\w+)?")


def counts(prepared: str) -> tuple[int, int, int, int]:
    """Return how many letters, groups of vowels, commas and sentences a prepared text has."""
    words = [word.lower() for word in _WORD.findall(prepared)]
    return (
        sum(len(word) for word in words),
        sum(max(1, len(_VOWELS.findall(word.removesuffix("e")))) for word in words),
        len(re.findall(r"[,;:]", prepared)),
        len(sentences(prepared)),
    )


def expected_seconds(prepared: str, voice: VoiceDefinition, pace: float = 1.0) -> float:
    """Return about how many seconds `voice` takes for a prepared text; 0 for one with nothing to say.

    Seconds for each letter, group of vowels, comma and sentence, at `pace` times the voice's own.
    """
    figures = voice.settings.estimate
    each = (figures.letter_s, figures.vowel_s, figures.comma_s, figures.sentence_s)
    seconds = sum(figure * n for figure, n in zip(each, counts(prepared), strict=True))
    return seconds / (pace * voice.settings.pace)


def known_seconds(prepared: str, voice: VoiceDefinition, pace: float = 1.0) -> float | None:
    """Return the same, above 0; None where the definition has no figures of its own voice."""
    if not knows_lengths(voice):
        return None
    return expected_seconds(prepared, voice, pace) or None


def knows_lengths(voice: VoiceDefinition) -> bool:
    """Return whether a definition's figures are its own voice's, so that a line can be judged by them."""
    return "estimate" in voice.settings.model_fields_set and not voice.settings.estimate.borrowed
