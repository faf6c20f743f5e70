"""Words taken apart, each with a coarse class: a body part, a word of looking, a name, an ending ..."""

from __future__ import annotations

import re
from typing import NamedTuple

_TOKEN = re.compile(r"[a-z0-9]+(?:'[a-z]+)?|[.,?!;:]", re.IGNORECASE)
_CONTRACTION = re.compile(r"(?P<word>.+?)(?P<rest>n't|'(?:s|m|re|ve|ll|d))")
_ODD_CONTRACTIONS = {"can't": "can", "won't": "will", "shan't": "shall"}
_ENDINGS = ("ing", "ed", "ly", "s")


class Word(NamedTuple):
    """A word in lower case, and its class; punctuation is a word of class ``|``, a question mark of ``?``."""

    text: str
    kind: str

    @property
    def is_stop(self) -> bool:
        return self.kind in "|?"


class Classes:
    """The coarse classes of one language's words, as its ``XX_pointing.toml`` lists them."""

    def __init__(self, lists: dict[str, object]) -> None:
        self.telling = _words(lists["telling"])
        self._own = _words(lists["own"])
        self._names = _words(lists["names"])
        self._names_by_capital = _words(lists["names_that_are_words"])
        self._no_names = _words(lists["capitals_that_are_no_names"])
        listed = lists["classes"]
        assert isinstance(listed, dict)
        # A word listed twice has the class that lists it first.
        self._kinds: dict[str, str] = {
            word: kind for kind, words in reversed(listed.items()) for word in _words(words)
        }

    def words(self, text: str) -> list[Word]:
        """Return the words of `text`, contractions taken apart, with the punctuation between them."""
        found: list[Word] = []
        begins = True
        for match in _TOKEN.finditer(text.replace("’", "'").replace("-", " ")):
            token = match.group()
            if not token[0].isalnum():
                found.append(Word("?", "?") if token == "?" else Word("|", "|"))
                begins = token in ".?!"
                continue
            first, *rest = _taken_apart(token.lower())
            named = self._is_name(token, first, begins)
            found.append(Word(first, "PERSON" if named else self._kind(first)))
            found += [Word(part, self._kind(part)) for part in rest]
            begins = False
        while found and found[-1].text == "|":
            found.pop()
        return found

    def is_listed(self, word: str) -> bool:
        """Return whether `word` is in a class by itself, not by its capital, ending or digits."""
        return word in self._kinds

    def _kind(self, word: str) -> str:
        if word in self._kinds:
            return self._kinds[word]
        if word in self._own:
            return word
        if word.isdigit():
            return "NUM"
        return next((f"~{end}" for end in _ENDINGS if word.endswith(end) and len(word) > 3), "~")

    def _is_name(self, token: str, word: str, begins: bool) -> bool:
        capital = token[0].isupper() and not begins
        if word in self._names and (capital or word not in self._names_by_capital):
            return True
        return capital and not token.isupper() and word not in self._no_names and word not in self._kinds


def _words(listed: object) -> frozenset[str]:
    return frozenset(str(listed).split())


def _taken_apart(word: str) -> list[str]:
    if word in _ODD_CONTRACTIONS:
        return [_ODD_CONTRACTIONS[word], "n't"]
    match = _CONTRACTION.fullmatch(word)
    return [match["word"], match["rest"]] if match else [word]
