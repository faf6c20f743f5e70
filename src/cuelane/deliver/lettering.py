"""Text drawn with the one font that Pillow carries, accents included.

The same picture must come out on every machine, so no font of the system is used. Pillow's own holds the
unaccented Latin letters; their accents are drawn here as strokes. A script that it does not hold cannot be
lettered: :func:`can_letter` says so, and the caller leaves the words out rather than draw empty boxes.
"""

from __future__ import annotations

import unicodedata
from functools import cache

from PIL import ImageDraw, ImageFont

Font = ImageFont.FreeTypeFont
Colour = tuple[int, int, int]

_REPLACED = str.maketrans(
    {
        "ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "þ": "th", "Þ": "Th",
        "ð": "d\u0335", "đ": "d\u0335", "Đ": "D\u0335", "ł": "l\u0335", "Ł": "L\u0335",
        "ø": "o\u0338", "Ø": "O\u0338",
        "ı": "i", "–": "-", "—": "-", "−": "-", "×": "x", "\u00a0": " ", "\u202f": " ", "‐": "-", "‑": "-",
    }
)  # fmt: skip

# Strokes of each combining mark, in parts of the type's size, from the point over (or under) the letter's
# middle: x to the right, y down.
_ABOVE: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "\u0300": (((-0.09, -0.15), (0.04, -0.04)),),
    "\u0301": (((0.09, -0.15), (-0.04, -0.04)),),
    "\u0302": (((-0.11, -0.04), (0.0, -0.15), (0.11, -0.04)),),
    "\u0303": (((-0.13, -0.06), (-0.06, -0.12), (0.05, -0.07), (0.12, -0.13)),),
    "\u0304": (((-0.11, -0.09), (0.11, -0.09)),),
    "\u0306": (((-0.11, -0.14), (-0.05, -0.06), (0.05, -0.06), (0.11, -0.14)),),
    "\u0307": (((0.0, -0.1), (0.0, -0.08)),),
    "\u0308": (((-0.1, -0.1), (-0.1, -0.08)), ((0.1, -0.1), (0.1, -0.08))),
    "\u030a": (((-0.06, -0.1), (0.0, -0.16), (0.06, -0.1), (0.0, -0.04), (-0.06, -0.1)),),
    "\u030b": (((-0.02, -0.15), (-0.1, -0.04)), ((0.12, -0.15), (0.04, -0.04))),
    "\u030c": (((-0.11, -0.15), (0.0, -0.04), (0.11, -0.15)),),
}
_BELOW: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "\u0323": (((0.0, 0.09), (0.0, 0.11)),),
    "\u0326": (((0.02, 0.06), (-0.05, 0.17)),),
    "\u0327": (((0.0, 0.0), (0.06, 0.09), (0.02, 0.16), (-0.07, 0.16)),),
    "\u0328": (((0.08, 0.0), (0.02, 0.09), (0.07, 0.16), (0.13, 0.14)),),
}
_ACROSS: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "\u0335": (((-0.16, 0.0), (0.16, 0.0)),),
    "\u0338": (((-0.24, 0.24), (0.24, -0.24)),),
}
_MARKS = {**_ABOVE, **_BELOW, **_ACROSS}


@cache
def font_of(size: int) -> Font:
    """Return Pillow's own font at `size` pixels."""
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType; its wheels are built with it")
    return font


@cache
def _has_glyph(letter: str) -> bool:
    font = font_of(40)
    return letter.isspace() or bytes(font.getmask(letter)) != bytes(font.getmask("\U0010fffe"))


def plain_letters(text: str) -> str:
    """Return `text` as letters that the font may hold, each followed by its combining marks."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFC", text).translate(_REPLACED))


def can_letter(text: str) -> bool:
    """Return whether every letter and mark of `text` can be drawn."""
    return all(letter in _MARKS or _has_glyph(letter) for letter in plain_letters(text))


def width_of(text: str, size: int) -> float:
    """Return the width of `text` in pixels; combining marks take none."""
    bare = "".join(letter for letter in plain_letters(text) if letter not in _MARKS)
    return float(font_of(size).getlength(bare))


def draw_text(
    draw: ImageDraw.ImageDraw,
    place: tuple[float, float],
    text: str,
    size: int,
    ink: Colour,
    paper: Colour,
    *,
    weight: int = 0,
) -> None:
    """Draw one line of text, its baseline starting at `place`; `weight` pixels thicken every stroke."""
    font = font_of(size)
    letters = plain_letters(text)
    bare = ""
    for index, letter in enumerate(letters):
        if letter in _MARKS:
            continue
        x = place[0] + font.getlength(bare)
        draw.text((x, place[1]), letter, font=font, fill=ink, anchor="ls", stroke_width=weight)
        bare += letter
        above = 0
        for mark in letters[index + 1 :]:
            if mark not in _MARKS:
                break
            _draw_mark(draw, (x, place[1]), letter, mark, size, ink, paper, weight, above)
            above += mark in _ABOVE


def _draw_mark(
    draw: ImageDraw.ImageDraw,
    place: tuple[float, float],
    letter: str,
    mark: str,
    size: int,
    ink: Colour,
    paper: Colour,
    weight: int,
    above: int,
) -> None:
    left, top, right, bottom = font_of(size).getbbox(letter, anchor="ls")
    x = place[0] + (left + right) / 2
    if mark in _ABOVE:
        if letter in "ij":
            # The mark takes the dot's place.
            top = font_of(size).getbbox("x", anchor="ls")[1]
            box = (
                place[0] + left - weight,
                place[1] - size,
                place[0] + right + weight,
                place[1] + top - weight - 1,
            )
            draw.rectangle(box, fill=paper)
        y = place[1] + top - weight - above * size * 0.14
    else:
        y = place[1] + (bottom if mark in _BELOW else (top + bottom) / 2)
    stroke = max(1, round(size * 0.075) + weight)
    for line in _MARKS[mark]:
        points = [(x + dx * size, y + dy * size) for dx, dy in line]
        draw.line(points, fill=ink, width=stroke, joint="curve")
        for px, py in (points[0], points[-1]):
            draw.ellipse((px - stroke / 2, py - stroke / 2, px + stroke / 2, py + stroke / 2), fill=ink)


def fitted(text: str, width: float, *, largest: int, smallest: int, most_lines: int) -> tuple[int, list[str]]:
    """Return the largest size at which `text` fits `width` in so many lines, and the lines.

    What does not fit at the smallest size is cut, and ends in an ellipsis.
    """
    for size in range(largest, smallest - 1, -4):
        lines = _lines(text, width, size)
        if len(lines) <= most_lines and all(width_of(line, size) <= width for line in lines):
            return size, lines
    lines = []
    for line in _lines(text, width, smallest):
        while width_of(line, smallest) > width:
            cut = next(n for n in range(len(line), 0, -1) if n == 1 or width_of(line[:n], smallest) <= width)
            lines.append(line[:cut])
            line = line[cut:]
        lines.append(line)
    if len(lines) > most_lines:
        lines = lines[:most_lines]
        lines[-1] = lines[-1][:-2].rstrip() + "…"
    return smallest, lines


def _lines(text: str, width: float, size: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and width_of(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
