"""Why a cue is where it is, or was left out, in the desk's language.

A schedule gives its reasons in English. A language's table, ``languages/XX_why.toml``, is therefore by the
English sentence, with a slot for each number in it, and one for the reason that another is added to.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from cuelane.desk.words import DEFAULT_LANGUAGE, desk_words

_SLOTS = {"why": r".+", "s": r"\d+\.\d", "n": r"\d+", "m": r"\d+"}
_SLOT = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Reason:
    """A reason in words, and the BCP 47 tag of their language."""

    text: str
    language: str


def reason_in_words(english: str) -> Reason:
    """Return a schedule's reason in the language of the request; as it is where that has no words for it."""
    code = desk_words().code
    found = None if code == DEFAULT_LANGUAGE else _worded(english, code)
    return Reason(english, DEFAULT_LANGUAGE) if found is None else Reason(found, code)


def _worded(english: str, code: str) -> str | None:
    """Return a reason in a language that has a table; None where it is not in there."""
    whole, with_slots = _table(code)
    if english in whole:
        return whole[english]
    for pattern, put in with_slots:
        match = pattern.fullmatch(english)
        if match is None:
            continue
        values = {slot: desk_words(code).decimal(value) for slot, value in match.groupdict().items()}
        if "why" in values:
            inner = _worded(match["why"], code)
            if inner is None:
                return None
            values["why"] = inner
        return _filled(put, values)
    return None


def _filled(text: str, values: dict[str, str]) -> str:
    return _SLOT.sub(lambda slot: values[slot[1]], text)


@cache
def _table(code: str) -> tuple[dict[str, str], list[tuple[re.Pattern[str], str]]]:
    """Return the reasons of a language's table by their English, and those with slots by what they match."""
    file = resources.files("cuelane") / "languages" / f"{code}_why.toml"
    entries = tomllib.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}
    whole = {english: str(put) for english, put in entries.items() if not _SLOT.search(english)}
    with_slots = [(_matching(english), str(put)) for english, put in entries.items() if english not in whole]
    return whole, with_slots


def _matching(english: str) -> re.Pattern[str]:
    """Return what matches a sentence with any values in its slots."""
    parts = _SLOT.split(english)
    return re.compile(
        "".join(f"(?P<{part}>{_SLOTS[part]})" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    )
