"""Which files say how a voice speaks: a length counts as long as they are what they were."""

from __future__ import annotations

import contextlib
from pathlib import Path

from cuelane.base.errors import CuelaneError
from cuelane.desk.named_files import stays_inside
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.recorded import RecordedSettings, read_index
from cuelane.speech.voices import voice_places, with_fallbacks


def files_of_voice(voice: VoiceDefinition) -> list[Path]:
    """Return a voice's definition, its lexicon and its index, and those of the voice that stands in for it.

    Raises
    ------
    CuelaneError : one of them cannot be found.
    """
    found: list[Path] = []
    for one in with_fallbacks(voice):
        found.append(one.source)
        if one.settings.lexicon is not None:
            found.append(one.path_of(one.settings.lexicon, "lexicon"))
        if isinstance(one.settings, RecordedSettings):
            found.append(one.path_of(one.settings.index, "index"))
    return list(dict.fromkeys(found))


def watched_files(voice: VoiceDefinition) -> list[Path]:
    """Return those files and the recordings, whether they are there or not: one that is missing may come."""
    found: list[Path] = []
    missing: tuple[Path, ...] = ()
    # A voice that cannot be found is told of where a line needs it.
    with contextlib.suppress(CuelaneError):
        for one in with_fallbacks(voice):
            found.append(one.source)
            if one.settings.lexicon is not None:
                found += _beside(one.source, one.settings.lexicon)
            if isinstance(one.settings, RecordedSettings):
                found += _beside(one.source, one.settings.index)
                found += _recordings(one, one.settings)
                missing = voice_places(one.settings.fallback, one.plan_folder)
    return list(dict.fromkeys((*found, *missing)))


def _recordings(voice: VoiceDefinition, settings: RecordedSettings) -> list[Path]:
    index = voice.source.parent / settings.index
    try:
        return [path for clip in read_index(voice).clips for path in _beside(index, clip.file)]
    except CuelaneError:
        return []


def _beside(source: Path, name: str) -> list[Path]:
    return [source.parent / name] if stays_inside(name) else []
