"""What the words of one line show: that they name a side, or are not words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache

from cuelane.base.language import load_language

# Signs that are read in more than one way or left out, numbers with what stands after them, capitals that may
# be spelt out, and words cut short.
_NOT_WORDS = re.compile(
    r"""\d+(?:[.,:/]\d+)*\s?(?:kg|lbs?|cm|mm|km|ft|mins?|secs?|rpm|bpm|°[CF]?|%|[smhx"'′″])?(?![^\W\d_])
    | \d+\w*
    | \b(?:e\.g|i\.e|approx|incl|ca)\.(?!\w) | \b(?:etc|vs|mins?|secs?|max)\.(?=\s+[a-z\d])
    | \b(?:etc|vs|kg|lbs|cm|rpm|bpm)\b
    | \bw/o?\b
    | \b[A-Z][A-Z0-9&]+s?\b
    | [%°&@\#+=<>^~*_|\\/€$£×÷½¼¾⅓⅔→←↑↓•]+
    | [\U0001F000-\U0001FAFF\u2600-\u27BF]+""",
    re.VERBOSE,
)
_SAID_AS_THEY_ARE = {"OK", "AM", "PM", "TV"}


@cache
def patterns(language: str, name: str) -> re.Pattern[str]:
    """Return one expression for a list of the language pack's [lint] table."""
    return re.compile(
        "|".join(f"(?:{entry})" for entry in load_language(language).phrases("lint", name)), re.I
    )


def found(text: str, language: str, name: str) -> Iterator[str]:
    """Yield what list `name` of the language pack finds in `text`, without what its `honest` list excepts."""
    honest = patterns(language, f"{name}_honest")
    plain = honest.sub(lambda match: "\0" * len(match[0]), text.replace("’", "'"))
    for match in patterns(language, name).finditer(plain):
        yield text[match.start() : match.end()].strip(" .!?,")


def not_words(text: str) -> list[str]:
    """Return the parts of `text` that a voice may say in an unexpected way, in order."""
    return [
        match[0].strip()
        for match in _NOT_WORDS.finditer(text)
        if match[0] not in _SAID_AS_THEY_ARE and match[0].strip()
    ]


def how_spoken(text: str, spoken_as: Callable[[str], str] | None) -> str:
    """Return how `text` will be said where that is known to differ from how it is written, else nothing."""
    if spoken_as is None:
        return ""
    said = spoken_as(text)
    if not said:
        return "nothing of it would be said"
    return "" if _bare(said) == _bare(text) else f"it will be spoken: “{said}”"


def _bare(text: str) -> str:
    return " ".join(re.sub(r"[^\w\s]", " ", text).casefold().split())
