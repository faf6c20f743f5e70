"""Which voice speaks a plan that names none, and what there is to say of a voice and a plan's language."""

from __future__ import annotations

import sys
from pathlib import Path

from cuelane.speech.definition import AIM_CHARACTER_MATCH, Recordings, VoiceDefinition
from cuelane.speech.engines import engine_of, load_voice
from cuelane.speech.system import SystemSettings
from cuelane.speech.voices import find_voice, readable_voices

# For each language the first of these that is installed. English has a natural voice that needs no extra.
_FIRST_CHOICES = {
    "en": ("natural",),
    "es": ("encina", "system-es"),
    "fr": ("mirabelle", "system-fr"),
    "it": ("betulla", "system-it"),
    "pt": ("jacaranda", "system-pt"),
    "de": ("system-de",),
}


def default_voice(language: str) -> str:
    """Return the name of the voice for a plan in `language`, such as ``pt-BR``, that names none."""
    names = _FIRST_CHOICES.get(_base(language), ("natural",))
    installed = (name for name in names if not engine_of(find_voice(name)).missing())
    return next(installed, names[-1])


def voice_notes(voice: VoiceDefinition, language: str, *, chosen: bool, fell_back: bool = False) -> list[str]:
    """Return what a person should know of `voice` for a plan in `language`.

    Parameters
    ----------
    chosen : the plan or the command names it; else it is the default.
    fell_back : some lines have no recording, and another voice speaks them.
    """
    speaks = voice
    if not engine_of(voice).synthetic:
        recordings = load_voice(voice)
        if not fell_back or not isinstance(recordings, Recordings):
            return []
        speaks = find_voice(recordings.fallback, voice.plan_folder)
        if not engine_of(speaks).synthetic:
            return []
    if _base(speaks.language) != _base(language):
        found = f"the voice {speaks.name} speaks {speaks.language}, and the plan is in {language}"
        others = _voices_for(language, voice.plan_folder)
        return [f"{found}: its words will be said wrongly. Voices for it: {others or 'none here'}"]
    notes = _set_by_hand(speaks)
    first = find_voice(_FIRST_CHOICES.get(_base(language), ("natural",))[0])
    if not chosen and speaks.name != first.name:
        how = engine_of(first).missing()
        better = f"for a natural one, in the folder of cuelane: {how}"
        notes.append(f"spoken by the computer's own voice{_understood(speaks)}; {better}")
    return notes


def _understood(voice: VoiceDefinition) -> str:
    """Return how far a voice of the computer's was understood, where it is the one that was measured."""
    measured = voice.settings.measured
    if sys.platform != "linux" or measured is None or measured.character_match >= AIM_CHARACTER_MATCH:
        return ""
    return f" (a recogniser understood {measured.character_match:.0%} of its letters)"


def _set_by_hand(voice: VoiceDefinition) -> list[str]:
    """Return a note where the computer's own voice is the one it is set to, of whatever language."""
    settings = voice.settings
    if not isinstance(settings, SystemSettings) or _base(voice.language) == "en":
        return []
    if sys.platform in settings.voice_ids:
        return []
    return [f"spoken by the voice that this computer is set to; make sure that it speaks {voice.language}"]


def _voices_for(language: str, plan_folder: Path | None) -> str:
    found = []
    for voice in readable_voices(plan_folder)[0]:
        if _base(voice.language) == _base(language) and engine_of(voice).synthetic:
            how = engine_of(voice).missing()
            found.append(f"{voice.name} ({how})" if how else voice.name)
    return ", ".join(found)


def _base(language: str) -> str:
    return language.split("-")[0].lower()
