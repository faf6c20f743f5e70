"""What people read beside a track, by language: ``languages/XX_page.toml``.

Entries are whole sentences or labels with named slots. From a table of plural categories (``one``, ``other``)
a count chooses, after the Unicode CLDR plural rules that Babel carries.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from babel.numbers import get_decimal_symbol

from cuelane.base.language import locale_of, pack_code, plural_form

_SLOT = re.compile(r"\{(\w+)\}")


class PageWords:
    """The words of one language: ``words("tally.sets", count=3, n="3")``."""

    def __init__(self, code: str, pack: Mapping[str, Any]) -> None:
        self.code = code
        self._pack = pack

    def __call__(self, key: str, *, count: int | None = None, **values: str) -> str:
        """Return an entry with its slots filled, all at once, so that braces in a value are kept."""
        section, _, name = key.partition(".")
        entry = self._pack[section][name]
        if isinstance(entry, dict):
            entry = entry.get(plural_form(self.code, count), entry["other"])
        return _SLOT.sub(lambda match: values.get(match[1], match[0]), str(entry))

    def section(self, name: str) -> dict[str, Any]:
        """Return the entries of a section as the pack has them."""
        return dict(self._pack[name])

    def lines(self, key: str, **values: str) -> list[str]:
        """Return a list of entries with their slots filled."""
        section, _, name = key.partition(".")
        return [
            _SLOT.sub(lambda match: values.get(match[1], match[0]), str(entry))
            for entry in self._pack[section][name]
        ]

    def find(self, section: str, key: str) -> str | None:
        """Return an entry, None where the pack has none."""
        entry = self._pack[section].get(key)
        return None if entry is None else str(entry)

    def decimal(self, value: float, digits: int) -> str:
        """Return a number with so many digits behind the language's decimal sign."""
        return f"{value:.{digits}f}".replace(".", get_decimal_symbol(locale_of(self.code)))

    def time(self, time_ms: int) -> str:
        """Return ``2.5 s``, ``40 s``, ``2 min 30 s`` or ``1 h 5 min``; from 10 s on to the nearest second.

        The symbols are those of the International System of Units, and the same in every language.
        """
        if time_ms < 10_000 and time_ms % 1000:
            return f"{self.decimal((time_ms + 50) // 100 / 10, 1)} s"
        seconds = (time_ms + 500) // 1000
        hours, minutes, seconds = seconds // 3600, seconds // 60 % 60, seconds % 60
        parts = [(hours, "h"), (minutes, "min"), (seconds if not hours else 0, "s")]
        return " ".join(f"{value} {unit}" for value, unit in parts if value) or "0 s"


@cache
def page_words(language: str = "en") -> PageWords:
    """Return the words for `language`, a BCP 47 tag; the English ones where there are none.

    A schedule's file may come from anybody, and names any language.
    """
    code = pack_code(language) or "en"
    file = resources.files("cuelane") / "languages" / f"{code}_page.toml"
    return PageWords(code, tomllib.loads(file.read_text(encoding="utf-8")))
