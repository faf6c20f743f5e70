"""What there is to say of how a plan is spoken: of the voice and the language, of lines worth a listen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

from cuelane.desk.words import Said
from cuelane.session.candidates import Candidate

Told = tuple[Candidate | None, str | Said, str]
"""The line that it is about, None for the voice; what is told; and more about it, in English."""

_MANY = 3
"""Chosen: so many lines that fail for one reason are told as one."""


def voice_findings(
    notes: Iterable[str], offered: Iterable[Candidate], doubts: Mapping[str, str], failed: Mapping[str, str]
) -> Iterator[Told]:
    """Yield what is to be told, each line once; what keeps many from being spoken is told of the voice.

    Parameters
    ----------
    notes : what a person should know of the voice for the plan's language, see
        :func:`cuelane.speech.choice.voice_notes`.
    doubts : what a rule hears wrong in a spoken line, by its words, see :mod:`cuelane.speech.sound_doubts`.
    failed : why a line could not be spoken, by its words.
    """
    for note in notes:
        yield None, note, ""
    offered = list(offered)
    reasons = Counter(_why(text, failed) for text in {one.text for one in offered} if text in failed)
    shared = {why for why, n in reasons.items() if n >= _MANY}
    for why in shared:
        yield None, Said("spoken.failed_many", n=reasons[why]), why
    seen: set[str] = set()
    for candidate in offered:
        text = candidate.text
        if text in seen or not (text in doubts or text in failed):
            continue
        seen.add(text)
        if text in failed:
            if _why(text, failed) in shared:
                continue
            yield candidate, Said("spoken.failed", text=text), failed[text]
        else:
            yield candidate, Said("spoken.doubt", text=text), doubts[text]


def _why(text: str, failed: Mapping[str, str]) -> str:
    """Return why a line could not be spoken, without its own words."""
    return failed[text].replace(f" {text!r}", "", 1)
