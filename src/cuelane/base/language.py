"""The program's own spoken words, by language. A language is one TOML file in ``languages/``."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from importlib import resources
from typing import Any

import babel.dates  # noqa: F401  (what reading a locale's data imports, on whichever thread that is)
from babel.core import Locale
from num2words import CONVERTER_CLASSES, num2words

from cuelane.base.errors import UsageError

_PLACEHOLDER = re.compile(r"\{(\w+)\}")
# Where a sentence begins: opening quotes and marks may come before its first letter.
_BEGINS = re.compile(r"(?:^|[.!?…]\s+)[\"'“‘«¿¡(]*$")


_NAMES_SIDE = re.compile(r"\{side(?:_\w+)?\}")


class Inflected(str):
    """A word with its other forms by name: ``{side_f}`` is the form ``f`` of what ``{side}`` is."""

    forms: Mapping[str, str]

    def __new__(cls, text: str, forms: Mapping[str, str]) -> Inflected:
        """Return `text` with its `forms`."""
        made = super().__new__(cls, text)
        made.forms = forms
        return made


def _value(name: str, values: Mapping[str, str]) -> str | None:
    """Return what stands for a placeholder: a value, or a form of one."""
    if name in values:
        return values[name]
    base, _, form = name.rpartition("_")
    word = values.get(base)
    return word.forms.get(form, word) if isinstance(word, Inflected) else None


def _insert(text: str, values: Mapping[str, str]) -> str:
    """Return `text` with its placeholders filled, and no capital added."""
    return _PLACEHOLDER.sub(lambda match: _value(match[1], values) or match[0], text)


def names_side(text: str) -> bool:
    """Return whether a line of a plan names the side that a set is done on, in any form of the word."""
    return _NAMES_SIDE.search(text) is not None


def fill(text: str, values: Mapping[str, str]) -> str:
    """Return `text` with its placeholders filled; what begins a sentence there begins with a capital.

    All at once, so that braces in a value are kept; a placeholder without a value stays as it is.
    """
    parts, at = [], 0
    for match in _PLACEHOLDER.finditer(text):
        parts.append(text[at : match.start()])
        value = _value(match[1], values)
        value = match[0] if value is None else value
        parts.append(value[:1].upper() + value[1:] if _BEGINS.search("".join(parts)) else value)
        at = match.end()
    return "".join([*parts, text[at:]])


class Language:
    """The words of one language pack; :meth:`say` fills a phrase's placeholders.

    An entry of a pack is a whole sentence (or several), never a part of one, since another grammar orders
    parts otherwise. It is a text, a list of texts that say the same (spoken in rotation), or a table of
    plural categories (``one``, ``other``) of either, for a count.
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
            entry = entry.get(plural_form(self.code, count), entry["other"])
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
        """Return the word for ``left`` or ``right``, with its forms."""
        forms = {form: str(words[side]) for form, words in self._pack["sides"]["forms"].items()}
        return Inflected(self.phrase("sides", side), forms)

    def side_forms(self) -> list[str]:
        """Return the names of the forms that the words for the sides have, such as ``f``."""
        return list(self._pack["sides"]["forms"])

    def number(self, value: int) -> str:
        """Return a whole number from 0 to 99 in words, where num2words has the language; else in digits.

        With its forms, where the pack has rules for them: the same word with another gender.
        """
        text = _in_words(value, self.code) if value <= 99 else str(value)
        rules = self._pack.get("numbers", {}).get("forms", {})
        return Inflected(text, {form: _changed(text, changes) for form, changes in rules.items()})

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
        listed = _insert(self.phrase("lists", how), values)
        for pattern, put in self._pack["lists"]["euphony"]:
            listed = re.sub(pattern, put, listed, flags=re.I)
        return listed

    def duration(self, length_ms: int) -> str:
        """Return a length in words, such as ``one minute thirty seconds``: the nearest second, halves up.

        What is less than one is told as one second: nothing lasts zero seconds.
        """
        # Not round, which takes 40.5 s for 40 and 41.5 s for 42.
        seconds = max(1, (length_ms + 500) // 1000) if length_ms else 0
        whole = dict(zip(("minutes", "seconds"), divmod(seconds, 60), strict=True))
        # Not fill, which would begin each with a capital.
        told = {
            unit: _insert(self._forms("durations", unit, whole[unit])[0], {"n": self.number(whole[unit])})
            for unit in [unit for unit, count in whole.items() if count] or ["seconds"]
        }
        return (
            _insert(self.phrase("durations", "both"), told) if len(told) == 2 else next(iter(told.values()))
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
        return _changed(thing, self._pack["lists"]["definite"])

    def inside(self, text: str) -> str:
        """Return a sentence as it stands inside another: without its capital, if its first word loses it."""
        first = (text.split() or [""])[0]
        keeps = first != first.capitalize() or any(
            re.fullmatch(entry, first) for entry in self.phrases("lists", "keeps_capital")
        )
        return text if keeps else text[:1].lower() + text[1:]


def _changed(text: str, rules: Sequence[Sequence[str]]) -> str:
    """Return `text` changed by the first of `rules`, pairs of a regular expression and what it becomes."""
    for pattern, put in rules:
        changed, times = re.subn(pattern, put, text, count=1, flags=re.I)
        if times:
            return changed
    return text


@cache
def locale_of(code: str) -> Locale:
    """Return what Babel knows (Unicode CLDR) of a language that has a pack."""
    return Locale.parse(code, sep="-")


def plural_form(code: str, count: int | None) -> str:
    """Return the CLDR plural category of a count in a language: ``one``, ``other`` and so on."""
    return "other" if count is None else str(locale_of(code).plural_form(count))


@lru_cache(maxsize=256)
def pack_code(tag: str) -> str | None:
    """Return the pack that a BCP 47 tag finds, None for none.

    A pack without a region speaks for all of its regions (en-GB, es-MX); one with a region speaks for that
    one, and for the language where no region is asked for (pt finds pt-BR, pt-PT finds nothing).
    """
    known = {code.lower(): code for code in available_languages()}
    wanted = tag.lower()
    base = wanted.split("-")[0]
    alone = [code for low, code in known.items() if low.split("-")[0] == base and wanted == base]
    return known.get(wanted) or known.get(base) or (alone[0] if alone else None)


@cache
def available_languages() -> list[str]:
    """Return the BCP 47 codes of the languages that ship with the program."""
    folder = resources.files("cuelane") / "languages"
    names = [entry.name for entry in folder.iterdir()]
    return sorted(name[:-5] for name in names if name.endswith(".toml") and "_" not in name)


@cache
def own_names() -> dict[str, str]:
    """Return by its code what each language is called in itself.

    Babel knows too, but reads all that it knows of a language for it: for six a tenth of a second.
    """
    text = (resources.files("cuelane") / "languages" / "_names.toml").read_text(encoding="utf-8")
    return {str(code): str(name) for code, name in tomllib.loads(text).items()}


@cache
def load_language(code: str) -> Language:
    """Return the language pack that a tag finds (see `pack_code`), such as ``en`` for ``en-GB``.

    Raises
    ------
    UsageError : there is no such pack.
    """
    found = pack_code(code)
    if found is None:
        known = ", ".join(available_languages())
        raise UsageError(f"no words for language {code!r}; there are: {known}")
    text = (resources.files("cuelane") / "languages" / f"{found}.toml").read_text(encoding="utf-8")
    return Language(found, tomllib.loads(text))


@lru_cache(maxsize=1_024)
def _in_words(value: int, code: str) -> str:
    # Its names have an underscore, and it falls back to the language, two letters, by itself.
    named = code.replace("-", "_")
    if named not in CONVERTER_CLASSES and named[:2] not in CONVERTER_CLASSES:
        # Engines read figures in their own language.
        return str(value)
    return str(num2words(value, lang=named))
