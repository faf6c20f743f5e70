"""The type size at which the printed card fills one page and does not run onto a second.

The estimate is in lines of text: widths follow from the page's, so a larger type wraps sooner. It is kept
on the safe side; a session with more rows than a page can hold at the smallest size runs on to a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

# The shorter and the narrower of A4 (297 x 210 mm) and Letter (279 x 216 mm), less the margins in print.css.
PAGE_HEIGHT_MM = 279.4 - 22
PAGE_WIDTH_MM = 210.0 - 24
MM_PER_POINT = 25.4 / 72
SAFETY = 0.95
LARGEST_PT, SMALLEST_PT = 12.0, 6.0
TALLEST_ROW, LOWEST_ROW = 3.2, 1.5
LOW_ROW = 2.1
"""Below this height an interval has room for one line only: its name without its length."""

# Advance of an average letter in the usual sans-serif faces, in parts of the type's size.
LETTER_WIDTH = 0.56


def _wrapped(texts: Sequence[str], width_mm: float, point: float) -> int:
    letters = max(8, int(width_mm / (point * MM_PER_POINT * LETTER_WIDTH)))
    return sum(ceil(max(len(text), 1) / letters) for text in texts)


@dataclass(frozen=True)
class CardContent:
    """What stands on the card: texts as they are printed, and the score's rows and staves."""

    title: str
    about: str
    n_rows: int
    n_staves: int
    exercises: Sequence[str]
    facts: Sequence[str]
    cautions: Sequence[str]


def _height_rem(point: float, row: float, content: CardContent) -> float:
    """Return the card's height in multiples of the type's size; the parts follow print.css."""
    head = 3.0 * _wrapped([content.title], PAGE_WIDTH_MM, point * 2.5) + 5.5
    head += 1.4 * _wrapped([content.about], PAGE_WIDTH_MM * 0.8, point) if content.about else 0.0
    score = 2.2 + content.n_rows * (row + 0.35) + 1.0 * content.n_staves
    left = right = cautions = 0.0
    if content.exercises:
        left = 2.6 + 1.6 * _wrapped(content.exercises, PAGE_WIDTH_MM * 0.38, point)
    if content.facts:
        right = 1.8 + 1.5 * _wrapped(content.facts, PAGE_WIDTH_MM * 0.24, point)
    if content.cautions:
        # Two columns; they break between cautions, so that one may stand a caution longer than the other.
        width_mm = PAGE_WIDTH_MM * 0.44
        each = [0.5 + 1.25 * _wrapped([line], width_mm, point * 0.92) for line in content.cautions]
        cautions = 2.2 + (sum(each) + max(each)) / 2
    return head + score + max(left, right) + cautions + 3.4


def card_scale(content: CardContent) -> tuple[float, float]:
    """Return (type size in points, height of a row of the score in type sizes): the largest that fit."""
    room_mm = PAGE_HEIGHT_MM * SAFETY
    point = LARGEST_PT
    while point >= SMALLEST_PT:
        row = TALLEST_ROW
        while row >= LOWEST_ROW:
            if _height_rem(point, row, content) * point * MM_PER_POINT <= room_mm:
                return point, round(row, 2)
            row -= 0.1
            if point > 9.0 and row < 2.2:
                break
        point -= 0.25
    return SMALLEST_PT, LOWEST_ROW
