"""Words that messages share: quoting, listing, and the nearest of the words that would have been right."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from itertools import islice

# A hostile plan may hold thousands of names; beyond these a likeness is not looked for, nor all of it shown.
_MOST_OPTIONS = 300
_MOST_LISTED = 20
_LONGEST_WORD = 80


def quoted(text: str) -> str:
    """Return `text` in quotation marks, cut short if it is long."""
    return f"'{text}'" if len(text) <= _LONGEST_WORD else f"'{text[: _LONGEST_WORD - 1]}…'"


def nearest(word: str, options: Iterable[str]) -> str | None:
    """Return the option that `word` is most likely meant to be, or None."""
    if len(word) > _LONGEST_WORD:
        return None
    by_form = {_form(option): option for option in islice(options, _MOST_OPTIONS)}
    found = difflib.get_close_matches(_form(word), by_form, n=1, cutoff=0.6)
    return by_form[found[0]] if found else None


def _form(word: str) -> str:
    return word.casefold().replace("_", " ").replace("-", " ")


def did_you_mean(word: str, options: Iterable[str]) -> str:
    """Return a question with the nearest option, or an empty string."""
    found = nearest(word, options)
    return f"did you mean {quoted(found)}?" if found else ""


def listing(words: Iterable[str]) -> str:
    """Return ``a, b or c``."""
    items = list(words)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} or {items[-1]}"


def names(words: Iterable[str]) -> str:
    """Return ``a, b, c``, and an ellipsis where there are too many to read."""
    items = list(islice(words, _MOST_LISTED + 1))
    return ", ".join(items[:_MOST_LISTED]) + (", …" if len(items) > _MOST_LISTED else "")
