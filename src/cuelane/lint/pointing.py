"""Whether a sentence points at a picture, weighed by words, by their classes and by frames.

A list of phrases remembers the phrases it was made from. What makes a sentence depend on a picture is
grammar: somebody is told to look, the speaker's own body is the model, or "this", "like so" and "here"
stand for what no word says. So every word has a coarse class, and a sentence is weighed by the words and
classes in it, by neighbours, by the order of telling classes within a clause, and by a few frames.

The weights are those of a logistic regression, fitted to sentences written for this project
(tests/sentences, tests/pointing_fit.py); here they are only added up. On 800 sentences of other writers, half
of them pointing, each measured by weights that were not fitted to it (tests/benchmarks/train_pointing.py):
precision 0.96, recall 0.95; without capitals and punctuation 0.95 and 0.94. Where fewer sentences point,
precision is less: of 269 lines written for plans, which never do, five were marked when first measured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import resources
from re import search, split

from cuelane.lint.word_classes import Classes, Word

BIAS = "(bias)"
_REACH = 4
_MOST_SHOWN = 4
# One pointing sentence run together with two others: recall 0.59 weighed whole, 0.83 with stretches. Of three
# others run together 13 in 100 are marked, with their punctuation 17 (development sentences, fitted to none).
_RUNS_ON, _STRETCH, _STRIDE, _STRETCH_LESS = 20, 14, 4, 2.0
_HELPERS = frozenset({"BE", "DO", "HAVE", "MODAL", "NOT", "WANT", "KNOW", "EXPLAIN", "SEE", "just", "also"})
_PEOPLE = frozenset({"PERSON", "ME", "MINE", "THEY", "THEM"})
_DOING = frozenset({"MOVE", "HOLD", "POINT", "~ing"})
_EDGE = Word("", "^")

Features = dict[str, tuple[int, ...]]


class Pointing:
    """The measure of one language: above 0 where a sentence points at a picture."""

    def __init__(self, classes: Classes, weights: dict[str, float]) -> None:
        self.classes = classes
        self.weights = weights

    def score(self, text: str) -> float:
        """Return the log odds that `text` points at a picture: those of its most telling part."""
        return max(self._weigh(part)[0] - less for part, less in _parts(text))

    def deciding_words(self, text: str) -> tuple[str, ...]:
        """Return the words, at most four, that speak most for it, in the order they are said."""
        weighed = [(self._weigh(part), less) for part, less in _parts(text)]
        (_, words, shares), _ = max(weighed, key=lambda row: row[0][0] - row[1])
        ranked = sorted(range(len(words)), key=lambda n: -shares[n])[:_MOST_SHOWN]
        return tuple(words[n].text for n in sorted(ranked) if shares[n] > max(shares) / 4)

    def _weigh(self, text: str) -> tuple[float, list[Word], list[float]]:
        words = self.classes.words(text)
        shares = [0.0] * len(words)
        total = self.weights.get(BIAS, 0.0)
        for feature, places in features(words, self.classes).items():
            weight = self.weights.get(feature, 0.0)
            total += weight
            for n in places:
                if not words[n].is_stop:
                    shares[n] += weight / len(places)
        return total, words, shares


@cache
def pointing(language: str = "en") -> Pointing:
    """Return the measure of `language`; the English one where there is none."""
    folder = resources.files("cuelane") / "languages"
    code = language.split("-")[0]
    if not (folder / f"{code}_pointing.toml").is_file():
        code = "en"
    lists = tomllib.loads((folder / f"{code}_pointing.toml").read_text(encoding="utf-8"))
    rows = (folder / f"{code}_pointing.tsv").read_text(encoding="utf-8").splitlines()
    weights = {name: float(value) for value, name in (row.split("\t") for row in rows)}
    return Pointing(Classes(lists), weights)


def features(words: list[Word], classes: Classes) -> Features:
    """Return what is weighed in a sentence, each with the places of its words.

    ``w:`` words and pairs of them, ``c:`` classes and pairs of them, ``p:`` telling classes one after
    another in a clause, with others between them or not, ``f:`` frames.
    """
    found: Features = {}
    texts = [_weighed_text(word, classes) for word in words]
    for letter, row in (("w", texts), ("c", [word.kind for word in words])):
        for n, item in enumerate(row):
            found.setdefault(f"{letter}:{item}", (n,))
        for n, (one, other) in enumerate(zip(["^", *row], [*row, "$"], strict=True)):
            found.setdefault(f"{letter}:{one} {other}", tuple(m for m in (n - 1, n) if 0 <= m < len(words)))
    for clause in _clauses(words):
        told = [(n, kind) for n in clause if (kind := _telling(words[n], classes))]
        for at, (n, kind) in enumerate(told):
            for m, other in told[at + 1 : at + 1 + _REACH]:
                found.setdefault(f"p:{kind}~{other}", (n, m))
    for frame, places in _frames(words):
        found.setdefault(f"f:{frame}", places)
    return found


def _frames(words: list[Word]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Yield the frames that neighbours alone do not show."""
    texts = [word.text for word in words]
    verbs: dict[str, int] = {}
    for n, word in enumerate(words):
        before = words[n - 1] if n else _EDGE
        after = words[n + 1] if n + 1 < len(words) else _EDGE
        last = after is _EDGE or after.is_stop
        both = (n - 1, n)
        if before.text == "i" and word.text[0] != "'":
            verbs.setdefault(word.text, n)
        elif "you" in texts[max(0, n - 2) : n] and word.text in verbs and word.kind not in _HELPERS:
            yield "i do it, you do it", (verbs[word.text], n)
        if word.kind == "MY" and "BODY" in (w.kind for w in words[n + 1 : n + 3]):
            yield "my body", (n, n + 1)
        if word.kind == "LOC" and last:
            yield "ends here", (n,)
            if before.kind == "PREP":
                yield "up to here", both
        if word.kind == "DEM" and before.text in ("like", "as"):
            if last or after.text in ("and", "with", "then"):
                yield "like this", both
        elif before.text in ("like", "as", "than") and (word.kind in _PEOPLE or word.text == "i"):
            yield "as somebody", both
            if last:
                yield "as somebody does", both
        if word.text in ("this", "here") and word.text in texts[:n]:
            yield f"{word.text} and {word.text}", (texts.index(word.text), n)
        if word.kind in ("PAST", "~ed"):
            yield "in the past", (n,)
        if before.text == "'m" and word.text.endswith("ing") and word.kind in _DOING:
            yield "i am doing", both


def _weighed_text(word: Word, classes: Classes) -> str:
    """Return the word itself, but for a name, which says no more than that it is one."""
    return "PERSON" if word.kind == "PERSON" and not classes.is_listed(word.text) else word.text


def _telling(word: Word, classes: Classes) -> str:
    return next((name for name in (word.kind, word.text) if name in classes.telling), "")


def _clauses(words: list[Word]) -> Iterator[list[int]]:
    clause: list[int] = []
    for n, word in enumerate(words):
        if word.is_stop:
            yield clause
            clause = []
        else:
            clause.append(n)
    yield clause


def _parts(text: str) -> list[tuple[str, float]]:
    """Return `text`, and parts of it that may point by themselves, each with what is taken off its log odds.

    The parts are its sentences; where words run on without punctuation, stretches of them, which begin and
    end anywhere and so are trusted less.
    """
    sentences = split(r"(?<=[.?!])\s+", text.strip())
    if len(sentences) > 1:
        return [(text, 0.0), *((sentence, 0.0) for sentence in sentences)]
    words = text.split()
    if len(words) <= _RUNS_ON or search(r"[.,?!;:]", text):
        return [(text, 0.0)]
    starts = range(0, len(words) - _STRETCH + _STRIDE, _STRIDE)
    return [(text, 0.0), *((" ".join(words[at : at + _STRETCH]), _STRETCH_LESS) for at in starts)]
