"""The table of measured voices in the README, made from their definitions."""

from __future__ import annotations

from collections.abc import Iterable

from cuelane.speech.definition import VoiceDefinition

HEAD = [
    "| voice | who | language | cues | DNSMOS | words understood | letters understood | words a minute |",
    "| --- | --- | --- | --- | --- | --- | --- | --- |",
]


def voice_table(voices: Iterable[VoiceDefinition]) -> list[str]:
    """Return the lines of the table, a voice each, by language and then by name."""
    return [*HEAD, *(_row(voice) for voice in sorted(voices, key=lambda one: (one.language[:2], one.name)))]


def _row(voice: VoiceDefinition) -> str:
    measured = voice.settings.measured
    figures = ["not yet", *[""] * 4]
    if measured is not None:
        figures = [
            str(measured.n_cues),
            f"{measured.dnsmos:.2f}",
            f"{measured.recall:.1%}",
            f"{measured.character_match:.1%}",
            f"{measured.words_per_min:.0f}",
        ]
    return "| " + " | ".join([f"`{voice.name}`", voice.title, voice.language, *figures]) + " |"
