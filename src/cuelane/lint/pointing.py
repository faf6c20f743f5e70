"""Whether a sentence points at a picture: the one judge for words that are written and words that were said.

A logistic regression over single words, pairs of neighbours and pairs with one word between them, fitted to
sentences written for this project; its table, ``languages/XX_pointing.tsv``, says at its head how it was made
and how well it does. Here the weights are only added up. Two uses need two thresholds:

``PROPOSE``  for a recorded class. It is low: a person decides on every line that is marked, while a line that
             is missed is heard by a listener who cannot use it.
``WARN``     for a plan that is being written. It is high, since a wrong warning does more harm than a missing
             one.

A measure with word classes, word orders and frames in 9,222 weights did better on the same unseen sentences
(286 of 300 found, 5 others marked, against 279 of 299 and 9 of 294), but nobody could read or correct it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from importlib.resources.abc import Traversable
from itertools import pairwise
from math import fsum

PROPOSE = 0.0
WARN = 1.2
"""Log odds. Both were chosen on the development sentences: fitted to none of them, the first finds 334 of 400
and marks 27 of 400 others, the second 287 and 16."""

BIAS = "(bias)"
_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")
_START, _END = "^", "$"
_BETWEEN = "_"
_KEPT = 2_048
# For texts without punctuation. Measured on development sentences, each a pointing one run together with two
# others, fitted to none of them: recall is 0.60 on the whole text, 0.77 with stretches. In order: words
# without punctuation from which a text is cut into stretches; words in a stretch; words from one stretch to
# the next; what is taken off the log odds of a stretch, since it begins and ends anywhere.
_RUNS_ON, _STRETCH, _STRIDE, _STRETCH_LESS = 20, 14, 4, 2.0


@dataclass(frozen=True)
class Token:
    """A word in lower case, and where it stands in its text."""

    text: str
    start: int
    end: int


class Pointing:
    """The judge of one language: above a threshold, a sentence points at a picture."""

    def __init__(self, weights: dict[str, float]) -> None:
        self.weights = weights
        # A plan's lines are judged again at each change of it, and hardly any has changed.
        self._kept_odds = lru_cache(maxsize=_KEPT)(self._odds)

    def score(self, text: str) -> float:
        """Return the log odds that `text` points at a picture: the highest of its parts."""
        return max(self._kept_odds(part) - less for part, less in _parts(text))

    def deciding_span(self, text: str) -> tuple[int, int]:
        """Return where in `text` the word, or pair of neighbours, that adds most begins and ends."""
        tokens = tokens_of(text)
        alone = {token: self.weights.get(token.text, 0.0) for token in tokens}
        spans = {(token.start, token.end): weight for token, weight in alone.items()}
        for one, two in pairwise(tokens):
            pair = self.weights.get(f"{one.text} {two.text}", 0.0)
            spans[one.start, two.end] = alone[one] + alone[two] + pair
        return max(spans, key=lambda span: spans[span], default=(0, 0))

    def _odds(self, text: str) -> float:
        # Exact, since a set has another order in each process, and a sentence may be just at a threshold.
        return fsum([self.weights[BIAS], *(self.weights.get(name, 0.0) for name in features(text))])


@lru_cache(maxsize=64)
def has_judge(language: str) -> bool:
    """Return whether a judge was fitted for `language`: so far, for English only."""
    return _table(language).is_file()


def _table(language: str) -> Traversable:
    return resources.files("cuelane") / "languages" / f"{language.partition('-')[0].lower()}_pointing.tsv"


@cache
def pointing(language: str = "en") -> Pointing:
    """Return the judge of `language`; the English one where there is none, since no other was fitted yet."""
    file = _table(language if has_judge(language) else "en")
    rows = [row for row in file.read_text(encoding="utf-8").splitlines() if not row.startswith("#")]
    return Pointing({name: float(value) for value, name in (row.split("\t") for row in rows)})


def tokens_of(text: str) -> list[Token]:
    """Return the words of `text`, without numbers and punctuation."""
    return [
        Token(found[0].lower().replace("’", "'"), found.start(), found.end())
        for found in _WORD.finditer(text)
    ]


def features(text: str) -> set[str]:
    """Return the words of `text`, its pairs of neighbours and those with any one word (_) between them.

    Its beginning (^) and its end ($) are among the neighbours.
    """
    words = [token.text for token in tokens_of(text)]
    if not words:
        return set()
    row = [_START, *words, _END]
    near = {f"{one} {two}" for one, two in pairwise(row)}
    return {*words, *near, *(f"{one} {_BETWEEN} {two}" for one, two in zip(row, row[2:], strict=False))}


def _parts(text: str) -> list[tuple[str, float]]:
    """Return `text`, and parts of it that may point by themselves, each with what is taken off its log odds.

    The parts are its sentences; where words run on without punctuation, stretches of them.
    """
    sentences = re.split(r"(?<=[.?!])\s+", text.strip())
    if len(sentences) > 1:
        return [(text, 0.0), *((sentence, 0.0) for sentence in sentences)]
    words = text.split()
    if len(words) <= _RUNS_ON or re.search(r"[.,?!;:]", text):
        return [(text, 0.0)]
    starts = range(0, len(words) - _STRETCH + _STRIDE, _STRIDE)
    return [(text, 0.0), *((" ".join(words[at : at + _STRETCH]), _STRETCH_LESS) for at in starts)]
