"""The words of a line and of what was heard, made alike, so that only what sounds different counts.

A recogniser that writes freely may write "log in" for "login", "two" for "to", "4" for "four". English words
are therefore compared by their phones, as espeak's rules give them; those of other languages by their letters
without accents. A light recogniser hears nothing but the script's own words, and needs none of this.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from itertools import pairwise

from cuelane.base.language import load_language
from cuelane.recording.pronouncing import phones, spoken_words

_WORDS = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?|\d+")
# Chosen: the most words that one may be written as.
_MOST_JOINED = 3


def words_of(text: str, language: str) -> list[str]:
    """Return the words of `text` as they are said: lower case, numbers below a hundred in words."""
    if language.startswith("en"):
        return spoken_words(text)
    found: list[str] = []
    for word in _WORDS.findall(text.lower().replace("’", "'")):
        if word.isdigit() and len(word) <= 2:
            found += _WORDS.findall(load_language(language).number(int(word)).lower())
        else:
            found.append(word)
    return found


class LineKeys:
    """Makes words into keys: equal where they sound alike, and joined or parted as `lines` write them."""

    def __init__(self, lines: Sequence[str], language: str) -> None:
        self._english = language.startswith("en")
        self._joined: dict[str, str] = {}
        self._parted: dict[str, list[str]] = {}
        for line in lines:
            words = words_of(line, language)
            self._joined |= {word: self._key(word) for word in words}
            self._parted |= {a + b: [self._key(a), self._key(b)] for a, b in pairwise(words)}

    def __call__(self, words: Sequence[str]) -> list[str]:
        """Return the keys of `words`; more or fewer where a line writes them as several words, or as one."""
        out: list[str] = []
        at = 0
        while at < len(words):
            for n in range(min(_MOST_JOINED, len(words) - at), 1, -1):
                whole = "".join(words[at : at + n])
                if whole in self._joined:
                    out.append(self._joined[whole])
                    at += n
                    break
            else:
                word = words[at]
                known = word in self._joined or word not in self._parted
                out += [self._key(word)] if known else self._parted[word]
                at += 1
        return out

    def _key(self, word: str) -> str:
        if self._english:
            return phones(word).replace(" ", "")
        letters = unicodedata.normalize("NFKD", word)
        return "".join(char for char in letters if not unicodedata.combining(char))
