"""What is said about time: where a work or a rest begins, what is left of it, and how long they last."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.word_lists import any_of, lists_of, plain
from cuelane.recording.pronouncing import spoken_words

Begins = Literal["work", "rest", "either", "half"]

# Chosen: a pause between two phrases is longer, one inside a phrase shorter.
_PAUSE_S = 0.45
_BEGIN: tuple[Begins, Begins] = ("rest", "work")
# Chosen: "go" is said on the boundary or just after it; a call of the rest as it begins or soon after.
_AFTER_S = {"work": 0.1, "rest": 0.4}
# Chosen: how far a boundary may be from where a word puts it. A call of what is left is said less exactly.
# That half has passed is said when there is time for it.
_REACH_S = {"work": 1.2, "rest": 1.5, "either": 2.0, "half": 4.0}
# Chosen: no work or rest is shorter or longer; other numbers before "seconds" count something else.
SHORTEST_SAID_S, LONGEST_SAID_S = 3, 300


@dataclass(frozen=True)
class SaidTime:
    """Something said that puts a boundary at ``at_s``, to within ``reach_s``, and what begins there.

    For ``half`` it is the middle of a work that is there, and no boundary.
    """

    at_s: float
    reach_s: float
    begins: Begins


@dataclass(frozen=True)
class SaidTimes:
    """Every boundary that words speak of, in order, and the lengths of work and of rest that are said.

    ``last_s`` is when it was said that the set then, or the next, is the last of a round or of the class.
    """

    times: tuple[SaidTime, ...]
    work_s: frozenset[int]
    rest_s: frozenset[int]
    last_s: tuple[float, ...] = ()


def said_times(words: Sequence[PlacedWord], language: str = "en") -> SaidTimes:
    """Return what `words`, in order of time, say about boundaries and lengths."""
    lists = lists_of(language)["boundaries"]
    patterns = {name: any_of(rules) for name, rules in lists.items()}
    pace = any_of(lists_of(language)["hints"]["pace"])
    times: list[SaidTime] = []
    last: list[float] = []
    lengths: dict[Begins, set[int]] = {"work": set(), "rest": set()}
    for phrase in phrases(words):
        text = " ".join(plain(word.text) for word in phrase)
        # "In for four seconds" tells how to breathe; places in the text stay as they are.
        text = pace.sub(lambda found: "-" * len(found[0]), text)
        onset_of = _Onsets(phrase)
        number = next(_numbers(text), None)
        if patterns["no_boundary"].search(text):
            continue
        if found := patterns["last_one"].search(text):
            last.append(onset_of(found.start()))
        if number is not None:
            value, at = number
            for begins, own in lengths.items():
                if patterns[f"{begins}_length"].search(text):
                    own.add(value)
            if patterns["left"].search(text) or _is_bare(text, at):
                times.append(SaidTime(onset_of(at) + value, _REACH_S["either"], "either"))
                continue
        if found := patterns["half"].search(text):
            times.append(SaidTime(onset_of(found.start()), _REACH_S["half"], "half"))
            continue
        for begins in _BEGIN:
            found = patterns[f"{begins}_begins"].search(text)
            if found:
                times.append(SaidTime(onset_of(found.start()) - _AFTER_S[begins], _REACH_S[begins], begins))
                break
    return SaidTimes(tuple(times), frozenset(lengths["work"]), frozenset(lengths["rest"]), tuple(last))


def phrases(words: Sequence[PlacedWord]) -> Iterator[list[PlacedWord]]:
    """Yield `words`, in order of time, by what is said in one go: up to a pause or a sentence's end."""
    phrase: list[PlacedWord] = []
    for word in words:
        ends = phrase and (
            word.onset_s - phrase[-1].end_s >= _PAUSE_S or phrase[-1].text.rstrip().endswith((".", "!", "?"))
        )
        if ends:
            yield phrase
            phrase = []
        phrase.append(word)
    if phrase:
        yield phrase


class _Onsets:
    """From a place in a phrase's plain text to the onset of the word that is there, in seconds."""

    def __init__(self, phrase: Sequence[PlacedWord]) -> None:
        self._ends, at = [], 0
        for word in phrase:
            at += len(plain(word.text)) + 1
            self._ends.append((at, word.onset_s))

    def __call__(self, place: int) -> float:
        return next(onset_s for end, onset_s in self._ends if place < end)


@cache
def _number_words() -> dict[str, int]:
    counted = {" ".join(spoken_words(str(n))): n for n in range(SHORTEST_SAID_S, 100)}
    return {**counted, **{str(n): n for n in range(SHORTEST_SAID_S, LONGEST_SAID_S + 1)}}


@cache
def _counted() -> re.Pattern[str]:
    numbers = "|".join(sorted(_number_words(), key=len, reverse=True))
    return re.compile(rf"\b(?:({numbers}) (?:seconds?|secs?)|(a|one|two|three|four|five) minutes?)\b")


def _numbers(text: str) -> Iterator[tuple[int, int]]:
    """Yield (seconds, place) of each stretch of time that `text` names."""
    for found in _counted().finditer(text):
        if found[1]:
            yield _number_words()[found[1]], found.start()
        else:
            minutes = {"a": 1, "one": 1, "two": 2}.get(found[2]) or _number_words()[found[2]]
            yield 60 * minutes, found.start()


def _is_bare(text: str, at: int) -> bool:
    """Return whether `text` is nothing but a stretch of time, such as "okay, ten seconds"."""
    return at <= len("okay and ") and bool(re.fullmatch(r"(\w+ ){1,2}(seconds?|secs?)", text[at:]))
