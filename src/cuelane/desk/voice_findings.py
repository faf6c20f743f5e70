"""What there is to say of how a plan is spoken: of the voice and the language, of lines worth a listen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from cuelane.desk.words import Said
from cuelane.session.candidates import Candidate

Told = tuple[Candidate | None, str | Said, str]
"""The line that it is about, None for the voice; what is told; and more about it, in English."""


def voice_findings(
    notes: Iterable[str], offered: Iterable[Candidate], doubts: Mapping[str, str], failed: Mapping[str, str]
) -> Iterator[Told]:
    """Yield what is to be told, each line once.

    Parameters
    ----------
    notes : what a person should know of the voice for the plan's language, see
        :func:`cuelane.speech.choice.voice_notes`.
    doubts : what a rule hears wrong in a spoken line, by its words, see :mod:`cuelane.speech.sound_doubts`.
    failed : why a line could not be spoken, by its words.
    """
    for note in notes:
        yield None, note, ""
    seen: set[str] = set()
    for candidate in offered:
        text = candidate.text
        if text in seen or not (text in doubts or text in failed):
            continue
        seen.add(text)
        if text in failed:
            yield candidate, Said("spoken.failed", text=text), failed[text]
        else:
            yield candidate, Said("spoken.doubt", text=text), doubts[text]
