"""What could stand in a line's place where a warning is about how it is put, not about what it says."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from cuelane.base.language import load_language

How = Literal["side", "other-side", "as-said", "apart", "unnamed", "one-name", "do-first"]
"""In which way the new lines differ: a placeholder for the side, as an engine says it, in several lines,
without the name or with the right one, and what to do before what not to do."""


@dataclass(frozen=True)
class Instead:
    """The texts of the lines, one after the other, that could stand in the place of one line."""

    how: How
    lines: tuple[str, ...]


def by_side(text: str, words: str, language: str) -> Iterator[Instead]:
    """Yield `text` with the side that `words` of it name left to the session; nothing if none is named."""
    pack = load_language(language)
    for how, slot in (("side", "{side}"), ("other-side", "{other_side}")):
        sides = "|".join(re.escape(pack.side(side)) for side in ("left", "right"))
        filled = re.sub(rf"\b(?:{sides})\b", slot, words, flags=re.IGNORECASE)
        if filled != words:
            yield Instead(how, (text.replace(words, filled, 1),))  # type: ignore[arg-type]


def apart(sentences: Sequence[str]) -> tuple[Instead, ...]:
    """Return each sentence as a line of its own; nothing for one."""
    return (Instead("apart", tuple(part.strip() for part in sentences)),) if len(sentences) > 1 else ()


def unnamed(text: str, name: str) -> tuple[Instead, ...]:
    """Return `text` without the name that it begins with; nothing if there is no more to it."""
    rest = re.sub(r"^[\s.!?:,;–-]+", "", text[len(name) :])
    return (Instead("unnamed", (_begun(rest),)),) if rest else ()


def one_name(text: str, head: str, name: str) -> tuple[Instead, ...]:
    """Return `text` with `name` for the `head` that it begins with."""
    return (Instead("one-name", (_begun(name) + text[len(head) :],)),)


def do_first(sentences: Sequence[str]) -> tuple[Instead, ...]:
    """Return the first sentence, which says what not to do, after the others; nothing for one."""
    return (Instead("do-first", (" ".join([*sentences[1:], sentences[0]]),)),) if len(sentences) > 1 else ()


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]
