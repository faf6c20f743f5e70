"""What may be said instead of words that point at a picture: the class's own lines of the same exercise."""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.role_judge import hints_of
from cuelane.adapt.words.word_lists import plain, singular, word_lists

# Chosen: more are not read.
MOST_PROPOSED = 2
_INSTEAD = ("form", "setup")
# Chosen: a part of the body that both name says most; then a common word of some length.
_BODY, _WORD, _LONG = 3, 1, 4


def proposals(
    cues: Sequence[FoundCue], exercises: Sequence[str | None], language: str = "en"
) -> list[list[str]]:
    """Return for each cue what can be heard instead; nothing for those that need no picture.

    Parameters
    ----------
    cues : of the whole class, kept or not.
    exercises : what is done in each cue's set, None where it is said in none.
    """
    picture = word_lists(language).picture_reason
    usable = [
        (cue, exercise)
        for cue, exercise in zip(cues, exercises, strict=True)
        if not cue.reasons and cue.purpose in _INSTEAD and exercise is not None
    ]
    found = []
    for cue, exercise in zip(cues, exercises, strict=True):
        same = [other for other, its in usable if its == exercise] if picture in cue.reasons else []
        ranked = sorted(same, key=lambda other: (-_alike(cue.text, other.text, language), other.start_s))
        found.append(list(dict.fromkeys(other.text for other in ranked))[:MOST_PROPOSED])
    return found


def _alike(one: str, other: str, language: str) -> int:
    body = hints_of(language)["body"]
    mine, its = set(plain(one).split()), set(plain(other).split())
    parts = {word for word in mine if body.fullmatch(word)}
    near = {singular(word) for word in parts} & {singular(word) for word in its if body.fullmatch(word)}
    return _BODY * len(near) + _WORD * sum(len(word) > _LONG for word in mine & its)
