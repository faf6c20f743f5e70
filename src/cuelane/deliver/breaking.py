"""Breaking a cue's words into captions and lines.

A caption has at most two lines of about 42 characters (common practice for subtitles, no standard). A longer
cue becomes several captions, broken after a sentence if possible, else after a clause, else between words. Of
all divisions into the fewest captions the one with the best breaks is taken; of equal ones, the most even.
"""

from __future__ import annotations

from collections.abc import Sequence

LINE_CHARACTERS = 42
LINES = 2

_AFTER_CLAUSE_COST, _MID_CLAUSE_COST = 400, 2_500
_CAPTION_COST = 100_000
# A caption holds few words in practice; the bound limits the time that a hostile text can cost.
_LONGEST_CAPTION_WORDS = 2 * LINE_CHARACTERS


def split_words(text: str) -> list[str]:
    """Return the words of `text`; one longer than a line is cut into pieces that fit."""
    return [
        word[start : start + LINE_CHARACTERS]
        for word in text.split()
        for start in range(0, len(word), LINE_CHARACTERS)
    ]


def _break_cost(word: str) -> int:
    stripped = word.rstrip("\"')]”’")
    if stripped.endswith((".", "!", "?", "…")):
        return 0
    return _AFTER_CLAUSE_COST if stripped.endswith((",", ";", ":", "–", "—")) else _MID_CLAUSE_COST


def two_lines(words: Sequence[str]) -> str | None:
    """Return `words` as one line, or two of like length; None if they do not fit."""
    whole = " ".join(words)
    if len(whole) <= LINE_CHARACTERS:
        return whole
    best: tuple[float, str] | None = None
    for index in range(1, len(words)):
        first, second = " ".join(words[:index]), " ".join(words[index:])
        if max(len(first), len(second)) <= LINE_CHARACTERS:
            cost = abs(len(first) - len(second)) + _break_cost(words[index - 1]) / 300
            if best is None or cost < best[0]:
                best = (cost, f"{first}\n{second}")
    return best[1] if best else None


def captions_of(words: Sequence[str]) -> list[tuple[int, int]]:
    """Return (first, end) word indices of each caption."""
    cheapest: list[tuple[float, int]] = [(0.0, 0)]
    room = LINES * LINE_CHARACTERS + LINES - 1
    for end in range(1, len(words) + 1):
        choices: list[tuple[float, int]] = []
        length = -1
        for first in range(end - 1, max(-1, end - 1 - _LONGEST_CAPTION_WORDS), -1):
            length += len(words[first]) + 1
            if length > room:
                break
            if two_lines(words[first:end]) is None:
                continue
            cost = cheapest[first][0] + _CAPTION_COST + (room - length) ** 2 / 8
            if end < len(words):
                cost += _break_cost(words[end - 1])
            choices.append((cost, first))
        cheapest.append(min(choices))
    spans: list[tuple[int, int]] = []
    end = len(words)
    while end:
        first = cheapest[end][1]
        spans.append((first, end))
        end = first
    return spans[::-1]
