"""How large the printed card may be set so that it fills, and does not leave, one page.

The estimate is in lines of text: widths follow from the page's, so a larger type wraps sooner. It is kept
on the safe side; a session with more rows than a page can hold at the smallest size runs on to a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

# The shorter and the narrower of A4 (297 x 210 mm) and Letter (279 x 216 mm), less the margins in print.css.
PAGE_HEIGHT_MM = 279.4 - 22
PAGE_WIDTH_MM = 210.0 - 24
MM_PER_POINT = 25.4 / 72
SAFETY = 0.95
LARGEST_PT, SMALLEST_PT = 12.0, 6.0
TALLEST_ROW, LOWEST_ROW = 3.2, 1.5
LOW_ROW = 2.1
"""Under this an interval has room for one line: its name without its length."""

# Advance of an average letter in the usual sans-serif faces, in parts of the type's size.
LETTER_WIDTH = 0.56


def _wrapped(texts: Sequence[str], width_mm: float, point: float) -> int:
    letters = max(8, int(width_mm / (point * MM_PER_POINT * LETTER_WIDTH)))
    return sum(ceil(max(len(text), 1) / letters) for text in texts)


def _height_rem(
    point: float,
    row: float,
    *,
    title: str,
    about: str,
    n_rows: int,
    n_staves: int,
    exercises: Sequence[str],
    facts: Sequence[str],
    lines: Sequence[str],
) -> float:
    """Return the card's height in multiples of the type's size; the parts follow print.css."""
    head = 3.0 * _wrapped([title], PAGE_WIDTH_MM, point * 2.5) + 5.5
    head += 1.4 * _wrapped([about], PAGE_WIDTH_MM * 0.8, point) if about else 0.0
    score = 2.2 + n_rows * (row + 0.35) + 1.0 * n_staves
    left = 2.6 + 1.6 * _wrapped(exercises, PAGE_WIDTH_MM * 0.38, point) if exercises else 0.0
    right = 1.8 + 1.5 * _wrapped(facts, PAGE_WIDTH_MM * 0.24, point) if facts else 0.0
    cautions = 0.0
    if lines:
        # Two columns; they break between cautions, so that one may stand a caution longer than the other.
        each = [0.5 + 1.25 * _wrapped([line], PAGE_WIDTH_MM * 0.44, point * 0.92) for line in lines]
        cautions = 2.2 + (sum(each) + max(each)) / 2
    return head + score + max(left, right) + cautions + 3.4


def card_scale(
    *,
    title: str,
    about: str,
    n_rows: int,
    n_staves: int,
    exercises: Sequence[str],
    facts: Sequence[str],
    lines: Sequence[str],
) -> tuple[float, float]:
    """Return (type size in points, height of a row of the score in type sizes): the largest that fit."""
    room_mm = PAGE_HEIGHT_MM * SAFETY
    point = LARGEST_PT
    while point >= SMALLEST_PT:
        row = TALLEST_ROW
        while row >= LOWEST_ROW:
            height = _height_rem(
                point, row, title=title, about=about, n_rows=n_rows, n_staves=n_staves,
                exercises=exercises, facts=facts, lines=lines,
            )  # fmt: skip
            if height * point * MM_PER_POINT <= room_mm:
                return point, round(row, 2)
            row -= 0.1
            if point > 9.0 and row < 2.2:
                break
        point -= 0.25
    return SMALLEST_PT, LOWEST_ROW
