"""Which files say how a voice speaks: a length counts as long as they are what they were."""

from __future__ import annotations

from pathlib import Path

from cuelane.base.errors import CuelaneError
from cuelane.desk.named_files import stays_inside
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.recorded import RecordedSettings, read_index
from cuelane.speech.voices import find_voice, voice_places


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


def watched_files(voice: VoiceDefinition) -> list[Path]:
    """Return those files and the recordings, whether they are there or not: one that is missing may come."""
    found: list[Path] = []
    while voice.source not in found:
        found.append(voice.source)
        settings = voice.settings
        if settings.lexicon is not None:
            found += _beside(voice.source, settings.lexicon)
        if isinstance(settings, RecordedSettings):
            found += _beside(voice.source, settings.index)
            found += _recordings(voice, settings)
            try:
                voice = find_voice(settings.fallback, voice.plan_folder)
            except CuelaneError:
                # It is told of where a line needs it.
                found += voice_places(settings.fallback, voice.plan_folder)
    return list(dict.fromkeys(found))


def _recordings(voice: VoiceDefinition, settings: RecordedSettings) -> list[Path]:
    index = voice.source.parent / settings.index
    try:
        return [path for clip in read_index(voice).clips for path in _beside(index, clip.file)]
    except CuelaneError:
        return []


def _beside(source: Path, name: str) -> list[Path]:
    return [source.parent / name] if stays_inside(name) else []
