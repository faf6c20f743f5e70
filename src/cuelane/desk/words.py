"""The words of the desk itself, by language: one TOML file each, ``languages/XX_desk.toml``.

Each request is answered in one language, see :mod:`cuelane.desk.spoken_in`; all that is worded meanwhile, in
whichever thread, is worded in that one.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib import resources
from pathlib import PurePath
from typing import Any

from babel.numbers import get_decimal_symbol

from cuelane.base.errors import Problem, UsageError
from cuelane.base.files import reason
from cuelane.base.language import locale_of, pack_code, plural_form

DEFAULT_LANGUAGE = "en"
_OPTION = re.compile(r"^--[a-z][a-z-]*: ")
_SLOT = re.compile(r"\{(\w+)\}")
_language: ContextVar[str] = ContextVar("desk_language", default=DEFAULT_LANGUAGE)


class WordsOfSection:
    """One section's words, as ``words.copy`` or ``words["copy"]``; a dictionary has a `copy` of its own."""

    def __init__(self, words: Mapping[str, Any]) -> None:
        self._words = words

    def __getitem__(self, key: str) -> str:
        return str(self._words[key])

    def __getattr__(self, key: str) -> str:
        try:
            return str(self._words[key])
        except KeyError as error:
            raise AttributeError(key) from error


class DeskWords:
    """The desk's words in one language: ``words.top.undo``, or ``words("hear.speaking", count=3, n=3)``.

    From an entry with plural categories (``one``, ``other``) a count chooses, after the Unicode CLDR.
    """

    def __init__(self, code: str, pack: Mapping[str, Mapping[str, Any]]) -> None:
        self.code = code
        self._pack = pack

    def __getattr__(self, section: str) -> WordsOfSection:
        try:
            return WordsOfSection(self._pack[section])
        except KeyError as error:
            raise AttributeError(section) from error

    def __call__(self, key: str, *, count: int | None = None, **values: object) -> str:
        """Return an entry with its slots filled, all at once, so that braces in a value are kept."""
        section, _, name = key.partition(".")
        entry = self._pack[section][name]
        if isinstance(entry, Mapping):
            entry = entry.get(plural_form(self.code, count), entry["other"])
        return _SLOT.sub(
            lambda match: self._shown(values[match[1]]) if match[1] in values else match[0], str(entry)
        )

    def _shown(self, value: object) -> str:
        return self.decimal(f"{value:g}") if isinstance(value, float) else str(value)

    def decimal(self, number: str) -> str:
        """Return a number, written with a point, with the language's own decimal sign."""
        return number.replace(".", get_decimal_symbol(locale_of(self.code)))

    def find(self, section: str, key: str) -> str:
        """Return a word, empty where the pack has none."""
        return str(self._pack.get(section, {}).get(key, ""))

    def flat(self) -> dict[str, str]:
        """Return all words by ``section.key`` or ``section.key.one``, for the page's script."""
        found: dict[str, str] = {}
        for section, keys in self._pack.items():
            for key, entry in keys.items():
                forms = entry.items() if isinstance(entry, Mapping) else [("", entry)]
                found |= {f"{section}.{key}{'.' if form else ''}{form}": text for form, text in forms}
        return found


class Said:
    """A sentence of the desk that is worded when it is shown, in the language of whoever looks at it then.

    What is kept from one request to another, such as a plan's findings, must not be kept in one language.
    """

    def __init__(self, key: str, *, count: int | None = None, **values: object) -> None:
        self._key, self._count, self._values = key, count, values

    def __str__(self) -> str:
        return desk_words()(self._key, count=self._count, **self._values)


def is_worded(error: BaseException) -> bool:
    """Tell whether an error is told in the desk's own words; else its words are English."""
    return bool(error.args) and isinstance(error.args[0], Said)


def language_of(text: str | Said) -> str:
    """Return the language of what is worded by the desk, or else by the rest of the program."""
    return desk_words().code if isinstance(text, Said) else DEFAULT_LANGUAGE


def told(error: BaseException) -> dict[str, str]:
    """Return an error as a page is told it: its message, and the language of that."""
    if isinstance(error, OSError):
        error = UsageError(refused_by_system(error))
    if is_worded(error):
        return {"error": str(error), "lang": desk_words().code}
    return {"error": without_options(str(error)), "lang": DEFAULT_LANGUAGE}


def refused_by_system(error: OSError) -> Said:
    """Return what a person is told where the disk, or the system, does not do what it is asked."""
    where = f"{os.fsdecode(error.filename)}: " if isinstance(error.filename, str | bytes) else ""
    return Said("wrong.system", why=f"{where}{reason(error)}")


def problems_told(problems: Iterable[Problem]) -> str:
    """Return what is wrong in files, each with where it stands, in a line."""
    return "; ".join(
        f"{PurePath(one.mark.file).name}, line {one.mark.line}: {one.message}" for one in problems
    )


def without_options(message: str) -> str:
    """Return a message that is worded for the command line without its options, which a page has not."""
    return _OPTION.sub("", message).replace(
        "choose another name, or replace it with --force",
        "give that file another name first, so that it is not lost",
    )


def desk_words(language: str | None = None) -> DeskWords:
    """Return the desk's words in `language`, a BCP 47 tag, or in that of the request that is answered.

    English where there are none.
    """
    return _words_of(pack_code(_language.get() if language is None else language) or DEFAULT_LANGUAGE)


@contextmanager
def in_language(code: str) -> Iterator[None]:
    """Word all that is done within in a language that has a pack."""
    before = _language.set(code)
    try:
        yield
    finally:
        _language.reset(before)


@cache
def _words_of(code: str) -> DeskWords:
    file = resources.files("cuelane") / "languages" / f"{code}_desk.toml"
    if not file.is_file():
        return _words_of(DEFAULT_LANGUAGE)
    return DeskWords(code, tomllib.loads(file.read_text(encoding="utf-8")))
