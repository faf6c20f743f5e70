"""The program's own spoken words, by language. A language is one TOML file in ``languages/``."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from cuelane.base.errors import UsageError

_PLACEHOLDER = re.compile(r"\{(\w+)\}")
_SENTENCE = re.compile(r"(?:^|[.!?] )\w")


class Language:
    """The words of one language pack; :meth:`say` fills a phrase's placeholders."""

    def __init__(self, code: str, pack: dict[str, Any]) -> None:
        self.code = code
        self._pack = pack

    def phrase(self, section: str, key: str) -> str:
        """Return a phrase as the pack has it."""
        return str(self._pack[section][key])

    def phrases(self, section: str, key: str) -> list[str]:
        """Return a list of phrases as the pack has it."""
        return [str(text) for text in self._pack[section][key]]

    def say(self, section: str, key: str, **values: str) -> str:
        """Return a phrase with its placeholders filled, each sentence beginning with a capital."""
        # Not str.format, and all at once: a name in a plan may hold braces.
        text = _PLACEHOLDER.sub(lambda match: values.get(match[1], match[0]), self.phrase(section, key))
        return _SENTENCE.sub(lambda match: match[0].upper(), text)

    def side(self, side: str) -> str:
        """Return the word for ``left`` or ``right``."""
        return self.phrase("sides", side)

    def number(self, value: int) -> str:
        """Return a whole number from 0 to 99 in words, where num2words has the language; else in digits."""
        from num2words import num2words

        if value > 99:
            return str(value)
        try:
            return str(num2words(value, lang=self.code))
        except NotImplementedError:
            # Engines read figures in their own language.
            return str(value)

    def listing(self, items: list[str]) -> str:
        """Return ``a``, ``a and b`` or ``a, b and c``."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.phrase('preview', 'and')} {items[-1]}"

    def time_left(self, left_ms: int, length_ms: int) -> str:
        """Return the call for `left_ms` left of an interval of `length_ms`; whole seconds only."""
        if left_ms * 2 == length_ms:
            return self.phrase("time", "half")
        seconds = left_ms // 1000
        if seconds == 60:
            return self.phrase("time", "minute")
        if seconds % 60 == 0:
            return self.say("time", "minutes", n=self.number(seconds // 60))
        return self.say("time", "seconds", n=self.number(seconds))


def available_languages() -> list[str]:
    """Return the codes of the languages that ship with the program."""
    folder = resources.files("cuelane") / "languages"
    names = [entry.name for entry in folder.iterdir()]
    return sorted(name[:-5] for name in names if name.endswith(".toml") and "_" not in name)


@cache
def load_language(code: str) -> Language:
    """Return the language pack `code`, such as ``en``; a regional code falls back to its language.

    Raises
    ------
    UsageError : there is no such pack.
    """
    base = code.split("-")[0].lower()
    known = available_languages()
    if base not in known:
        raise UsageError(f"no words for language {code!r}; there are: {', '.join(known)}")
    text = (resources.files("cuelane") / "languages" / f"{base}.toml").read_text(encoding="utf-8")
    return Language(base, tomllib.loads(text))
