"""The program's own spoken words, by language. A language is one TOML file in ``languages/``."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from num2words import num2words

from cuelane.base.errors import UsageError

_PLACEHOLDER = re.compile(r"\{(\w+)\}")
# Where a sentence begins: opening quotes and marks may come before its first letter.
_BEGINS = re.compile(r"(?:^|[.!?…]\s+)[\"'“‘«¿¡(]*$")


def fill(text: str, values: Mapping[str, str]) -> str:
    """Return `text` with its placeholders filled; what begins a sentence there begins with a capital.

    All at once, so that braces in a value are kept; a placeholder without a value stays as it is.
    """
    parts, at = [], 0
    for match in _PLACEHOLDER.finditer(text):
        parts.append(text[at : match.start()])
        value = values.get(match[1], match[0])
        parts.append(value[:1].upper() + value[1:] if _BEGINS.search("".join(parts)) else value)
        at = match.end()
    return "".join([*parts, text[at:]])


class Language:
    """The words of one language pack; :meth:`say` fills a phrase's placeholders.

    An entry of a pack is a whole sentence (or several), never a part of one, since another grammar orders
    parts otherwise. It is a text, a list of texts that say the same (spoken in rotation), or a table of
    ``one`` and ``other`` of either, for a count.
    """

    def __init__(self, code: str, pack: dict[str, Any]) -> None:
        self.code = code
        self._pack = pack

    def phrase(self, section: str, key: str) -> str:
        """Return a phrase as the pack has it, the first of its forms."""
        return self._forms(section, key, None)[0]

    def phrases(self, section: str, key: str) -> list[str]:
        """Return a list of phrases as the pack has it."""
        return [str(text) for text in self._pack[section][key]]

    def _forms(self, section: str, key: str, count: int | None) -> list[str]:
        entry = self._pack[section][key]
        if isinstance(entry, dict):
            entry = entry["one" if count in self._pack["numbers"]["one"] else "other"]
        return [str(text) for text in (entry if isinstance(entry, list) else [entry])]

    def say(
        self,
        section: str,
        key: str,
        *,
        turn: int = 0,
        usual: bool = False,
        count: int | None = None,
        **values: str | None,
    ) -> str:
        """Return a phrase with its placeholders filled, each that begins a sentence with a capital.

        Of several forms it is number `turn`, from the first again after the last; with `usual` the first
        comes two times in three, and the others in turn. Forms with a placeholder whose value is None are
        passed over. `count` chooses between ``one`` and ``other``.
        """
        forms = self._forms(section, key, count)
        absent = {name for name, value in values.items() if value is None}
        usable = [form for form in forms if not absent & set(_PLACEHOLDER.findall(form))] or forms
        filled = {name: value for name, value in values.items() if value is not None}
        if usual and len(usable) > 1:
            turn = 1 + turn // 3 % (len(usable) - 1) if turn % 3 == 2 else 0
        return fill(usable[turn % len(usable)], filled)

    def side(self, side: str) -> str:
        """Return the word for ``left`` or ``right``."""
        return self.phrase("sides", side)

    def number(self, value: int) -> str:
        """Return a whole number from 0 to 99 in words, where num2words has the language; else in digits."""
        return _in_words(value, self.code) if value <= 99 else str(value)

    def ordinal(self, value: int) -> str | None:
        """Return the word for a place in an order, None past those that the pack has."""
        words = self._pack["numbers"]["ordinals"]
        return str(words[value - 1]) if 1 <= value <= len(words) else None

    def listing(self, items: Sequence[str], how: str = "and") -> str:
        """Return ``a``, ``a and b`` or ``a, b and c``; for things in order, `how` is ``then``."""
        if len(items) < 2:
            return "".join(items)
        separator = self.phrase("lists", "separator")
        # Not say, which would begin it with a capital.
        values = {"items": separator.join(items[:-1]), "last": items[-1]}
        return _PLACEHOLDER.sub(lambda match: values.get(match[1], match[0]), self.phrase("lists", how))

    def duration(self, length_ms: int) -> str:
        """Return a length in words, such as ``one minute thirty seconds``; to the nearest second."""
        minutes, seconds = divmod(round(length_ms / 1000), 60)
        parts = [("minutes", minutes)] if minutes else []
        parts += [("seconds", seconds)] if seconds or not minutes else []
        # Not fill, which would begin each with a capital.
        return " ".join(
            self._forms("durations", unit, value)[0].replace("{n}", self.number(value))
            for unit, value in parts
        )

    def durations(self, lengths_ms: Sequence[int]) -> str:
        """Return lengths in order, such as ``twenty, thirty, then forty seconds``."""
        seconds = [length_ms // 1000 for length_ms in lengths_ms]
        if all(length_ms % 1000 == 0 for length_ms in lengths_ms) and all(2 <= one < 60 for one in seconds):
            listed = self.listing([self.number(one) for one in seconds], "then")
            # Not fill, which would begin it with a capital.
            return self.phrase("durations", "several").replace("{items}", listed)
        return self.listing([self.duration(length_ms) for length_ms in lengths_ms], "then")

    def count_of(self, length_ms: int) -> str | None:
        """Return how far one counts in a length, such as ``four``; None where it is no count of seconds."""
        return self.number(length_ms // 1000) if length_ms % 1000 == 0 and length_ms else None

    def definite(self, thing: str) -> str:
        """Return the name of a thing that has been spoken of, as "the bell" of "one bell"."""
        bare = re.sub(self.phrase("lists", "indefinite"), "", thing, flags=re.I)
        return _PLACEHOLDER.sub(lambda match: bare, self.phrase("lists", "definite"))

    def inside(self, text: str) -> str:
        """Return a sentence as it stands inside another: without its capital, if its first word loses it."""
        first = (text.split() or [""])[0]
        keeps = first != first.capitalize() or any(
            re.fullmatch(entry, first) for entry in self.phrases("lists", "keeps_capital")
        )
        return text if keeps else text[:1].lower() + text[1:]


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


@lru_cache(maxsize=1_024)
def _in_words(value: int, code: str) -> str:
    try:
        return str(num2words(value, lang=code))
    except NotImplementedError:
        # Engines read figures in their own language.
        return str(value)
