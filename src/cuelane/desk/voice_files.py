"""Which files say how a voice speaks: a length counts as long as they are what they were."""

from __future__ import annotations

from pathlib import Path

from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.recorded import RecordedSettings
from cuelane.speech.voices import find_voice


def files_of_voice(voice: VoiceDefinition) -> list[Path]:
    """Return a voice's definition, its lexicon and its index, and those of the voice that stands in for it.

    Raises
    ------
    CuelaneError : one of them cannot be found.
    """
    found: list[Path] = []
    while voice.source not in found:
        found.append(voice.source)
        settings = voice.settings
        if settings.lexicon is not None:
            found.append(voice.path_of(settings.lexicon, "lexicon"))
        if isinstance(settings, RecordedSettings):
            found.append(voice.path_of(settings.index, "index"))
            voice = find_voice(settings.fallback, voice.plan_folder)
    return list(dict.fromkeys(found))
