"""The title of a plan that cannot be read as a whole, as far as its text says it."""

from __future__ import annotations

import re

_TITLE = re.compile(
    r"""^title:[ \t]+(?:"(?P<double>[^"\\\n]+)"|'(?P<single>[^'\n]+)'|"""
    r"""(?P<plain>[^\s"'\[{|>&*!%@`#,?:-][^\n]*?))"""
    r"[ \t]*(?:[ \t]#[^\n]*)?\r?$",
    re.MULTILINE,
)
"""A title on one line, in quotes without escapes or in none. Any other way to write it is left unread."""
_MOST_LETTERS = 200


def written_title(text: str) -> str:
    """Return the title that the first such line of a plan's text gives; empty where none does."""
    found = _TITLE.search(text)
    if found is None:
        return ""
    title = found["double"] or found["single"] or found["plain"]
    return title.strip() if len(title) <= _MOST_LETTERS else ""
