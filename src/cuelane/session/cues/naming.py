"""How the set that comes is named before it: the pack's phrase for it, or the plan's own preview."""

from __future__ import annotations

import re
from collections.abc import Sequence

from cuelane.base.language import Language
from cuelane.plan.parts import CueLine
from cuelane.session.cues.here import Here, applies, own_lines, side_form, was_said, with_sides
from cuelane.session.model import Interval

NEEDS_FORMS = ("next_needs", "next_side_needs", "next_new", "next_side_new")
"""The phrases of the pack that name what is needed, too."""

# Shorter words are in any sentence.
_LEAST_LETTERS = 3


def next_key(previous: Interval | None, coming: Interval) -> str:
    """Return which of the pack's phrases names `coming` after `previous`."""
    if previous is None:
        return "first" + side_form(coming)
    same = previous.exercise == coming.exercise
    if coming.side and same and side_form(coming) == "_side":
        return "again_side" if previous.side != coming.side else "again_same_side"
    if coming.side:
        return "next" + side_form(coming)
    return "again" if same else "next"


def part_number(here: Here, coming: Interval) -> int:
    """Return which of the session's parts a set belongs to, counted from one."""
    rows = here.arc.session.intervals[: coming.index + 1]
    return len({row.block_index for row in rows if row.is_training})


def part_named(here: Here, coming: Interval) -> str:
    """Return the sentence that tells which part begins with a set, and its name."""
    n = here.words.number(part_number(here, coming))
    return here.words.say("preview", "block", block=coming.block, n=n)


def part_of(coming: Interval) -> tuple[str, int]:
    """Return by what is remembered that the part of a set has been named."""
    return "part", coming.block_index


def untold_previews(here: Here, coming: Interval) -> list[CueLine]:
    """Return the lines of a preview that apply and have not been heard."""
    return [
        line
        for line in own_lines(coming, "preview")
        if applies(line, coming) and not was_said(here, coming, "preview", line)
    ]


def previewed(here: Here, coming: Interval, line: CueLine, key: str) -> str:
    """Return a preview behind words (``coming``, ``new``) that tell it from an order to start now.

    A line that the plan pins to a time, or has a recording of, stands as written.
    """
    text = with_sides(line.text, coming, here.words)
    if line.at is not None or line.clip is not None:
        return text
    return behind_words(here.words, coming, text, key)


def leaves_name_out(coming: Interval, previews: Sequence[CueLine]) -> bool:
    """Return whether `previews` begin with a recording and say less than half of the exercise's name.

    A recording is played as it is, with no name put before it.
    """
    if not previews or previews[0].clip is None or previews[0].at is not None:
        return False
    name, said = (_words(text) for text in (coming.exercise or "", " ".join(line.text for line in previews)))
    # "Heels next" names heel raises, and "sit on the edge" no tuck sits.
    return 2 * sum(word in said or f"{word}s" in said for word in name) < len(name)


def _words(text: str) -> set[str]:
    return {word for word in re.findall(r"[^\W\d_]+", text.lower()) if len(word) >= _LEAST_LETTERS}


def behind_words(words: Language, coming: Interval, text: str, key: str) -> str:
    """Return what is said of `coming` behind words that tell it from an order to start now."""
    name = coming.exercise or ""
    if text.lower().startswith(name.lower()):
        return words.say("preview", key, inner=words.inside(text), text=text)
    return words.say("preview", f"{key}_named", exercise=name, text=text)
