"""What the exercises of a recorded class are called: each set's name as it is said there."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.words.word_lists import lists_of, plain

_NAMING = ("announce", "setup", "preview")
_FROM_REST = ("preview", "announce", "setup")
# Chosen: longer runs of words are sentences about an exercise; in letters, for words run together.
_MOST_WORDS = 4
# Chosen: see above.
_LONGEST = 60
# Chosen: words that a recogniser heard a little differently are one; of two names, one word is farther apart.
_ALIKE = 0.7


def _judged(found: re.Match[str]) -> list[str]:
    """Return the words of a name that must be a part of one: a "press" that another word begins is a move."""
    before = found["before"].split()
    return before if before or found["second"] else found["move"].split()


class ExerciseNames:
    """One language's words by which a name is told from what stands around it."""

    def __init__(self, language: str = "en") -> None:
        lists: Mapping[str, list[str]] = lists_of(language)["names"]  # type: ignore[assignment]
        leads = "|".join(sorted(lists["lead"], key=len, reverse=True))
        moves = "|".join(lists["move"])
        self._lead = re.compile(rf"^(?:(?:{leads})(?:\s+|$))+")
        self._name = re.compile(
            rf"^(?P<before>(?:\S+ ){{0,{_MOST_WORDS - 1}}}?)(?P<move>(?:{moves})(?: (?:{moves})(?= |$))?)"
            rf"(?P<second> and (?:{'|'.join(lists['second'])})(?= |$))?(?= |$)"
        )
        self._no_part = frozenset(lists["no_part"])

    def in_text(self, text: str, purpose: str) -> str | None:
        """Return the exercise that `text` begins by naming, in lower case; None if it names none."""
        if purpose not in _NAMING:
            return None
        head = re.split(r"[.,;:!?]", text.strip(), maxsplit=1)[0]
        for part in (head, text) if purpose != "announce" else (text,):
            words = self._lead.sub("", plain(part))
            found = self._name.match(words)
            if found and len(found[0]) <= _LONGEST and not self._no_part & set(_judged(found)):
                return found[0]
        words = self._lead.sub("", plain(text))
        # What is nothing but a name needs no word that is known.
        is_name = purpose == "announce" and 0 < len(words.split()) <= _MOST_WORDS
        return words if is_name and len(words) <= _LONGEST else None

    def begins_with(self, text: str, name: str) -> bool:
        """Return whether `text` begins with an exercise's name, and so can stand for it."""
        return f"{self._lead.sub('', plain(text))} ".startswith(f"{name} ")

    def of_sets(self, sets: Sequence[int], cues: Sequence[CutCue]) -> list[str | None]:
        """Return the name of each set, None where none is said; `sets` are the indices of their intervals."""
        found = [next(self._said(cues, sets, number), None) for number in range(len(sets))]
        return _alike_as_one(found)

    def _said(self, cues: Sequence[CutCue], sets: Sequence[int], number: int) -> Iterator[str]:
        inside = [cue for cue in cues if cue.interval == sets[number]]
        before = sets[number - 1] + 1 if number else 0
        rest = [cue for cue in cues if before <= cue.interval < sets[number]]
        for purpose in ("announce", "setup"):
            for cue in inside[:3]:
                name = self.in_text(cue.text, purpose) if cue.purpose == purpose else None
                if name:
                    yield name
        for cue in reversed(rest):
            name = self.in_text(cue.text, cue.purpose) if cue.purpose in _FROM_REST else None
            if name:
                yield name


def _alike_as_one(names: Sequence[str | None]) -> list[str | None]:
    """Return `names`, those that are nearly the same as the one among them that is said most often."""
    often = Counter(name for name in names if name)
    chosen: dict[str, str] = {}
    for name in sorted(often, key=lambda name: (-often[name], len(name), name)):
        near = (kept for kept in dict.fromkeys(chosen.values()) if _is_alike(name, kept, often))
        chosen[name] = next(near, name)
    return [chosen[name] if name else None for name in names]


def _is_alike(name: str, kept: str, often: Counter[str]) -> bool:
    """Return whether two names are one: each word heard a little differently, or a word run on once."""
    mine, its = name.split(), kept.split()
    if len(its) > 1 and len(mine) > len(its) and often[name] == 1:
        mine = mine[: len(its)]
    ratios = [difflib.SequenceMatcher(None, *pair).ratio() for pair in zip(mine, its, strict=False)]
    return len(mine) == len(its) and min(ratios) >= _ALIKE
