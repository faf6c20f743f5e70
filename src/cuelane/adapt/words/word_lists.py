"""Lists of words by which the kinds of intervals, the roles of cues, and what to leave out are recognised."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import resources

from cuelane.base.roles import Role
from cuelane.lint.pointing import PROPOSE, Pointing, pointing

MARKINGS = ("channel", "aside")


def plain(text: str) -> str:
    """Return `text` in lower case, its words apart by one space, without punctuation but apostrophes."""
    return " ".join(re.findall(r"[\w']+", text.lower().replace("’", "'")))


class WordLists:
    """One language's lists, compiled, and its measure of what points at a picture."""

    def __init__(self, lists: dict[str, dict[str, list[str] | str]], measure: Pointing) -> None:
        self._measure = measure
        self._picture = str(lists["picture"]["reason"])
        self._kinds = {name: _any(rules) for name, rules in lists["kinds"].items()}
        self._roles = {name: _any(rules) for name, rules in lists["roles"].items()}
        self._marks = {name: (_any(lists[name]["always"]), str(lists[name]["reason"])) for name in MARKINGS}

    def kind_votes(self, text: str) -> int:
        """Return how strongly `text` suggests rest (positive) or work (negative)."""
        words = plain(text)
        return len(self._kinds["rest"].findall(words)) - len(self._kinds["work"].findall(words))

    def role(self, text: str, *, in_rest: bool, first: bool) -> Role:
        """Return the role that `text` most likely has."""
        words = plain(text)
        for name, pattern in self._roles.items():
            if pattern.search(words):
                return name  # type: ignore[return-value]
        if in_rest:
            return "preview" if first and len(words.split()) > 3 else "say"
        if first:
            return "announce" if len(words.split()) <= 3 else "setup"
        return "form"

    def reasons(self, text: str) -> tuple[str, ...]:
        """Return why an audio-only listener cannot use `text`; nothing if they can."""
        words = plain(text)
        found = tuple(reason for pattern, reason in self._marks.values() if pattern.search(words))
        # Talk to viewers and asides often point at a picture too; that they are such is the better reason.
        return found or ((self._picture,) if self._measure.score(text) > PROPOSE else ())


def _any(rules: list[str] | str) -> re.Pattern[str]:
    assert isinstance(rules, list)
    return re.compile("|".join(rf"(?:\b(?:{rule})(?:\b|$))" for rule in rules))


def has_word_lists(language: str) -> bool:
    """Return whether there are lists for `language`."""
    return (
        resources.files("cuelane") / "languages" / f"{language.split('-')[0].lower()}_adapt.toml"
    ).is_file()


@cache
def word_lists(language: str = "en") -> WordLists:
    """Return the lists of `language`; English where there are none."""
    folder = resources.files("cuelane") / "languages"
    path = folder / f"{language.split('-')[0]}_adapt.toml"
    if not path.is_file():
        path = folder / "en_adapt.toml"
    return WordLists(tomllib.loads(path.read_text(encoding="utf-8")), pointing(language))
