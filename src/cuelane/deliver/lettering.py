"""Text drawn in Source Sans 3, which an open-licence wheel carries, so that no font of the system is used.

The same picture comes out on every machine with the same font and Pillow. The font holds Latin, Greek and
Cyrillic with their accents; a script that it does not hold cannot be lettered: :func:`can_letter` says so,
and the caller leaves the words out rather than draw empty boxes.
"""

from __future__ import annotations

import io
import unicodedata
from functools import cache
from importlib import resources

from PIL import ImageDraw, ImageFont

Font = ImageFont.FreeTypeFont
Colour = tuple[int, int, int]

REGULAR, SEMIBOLD = 400, 600
"""Weights, on the scale of OpenType's ``wght`` axis."""

LINE_COST = 1 / 8
"""The factor by which one more line must make the letters larger to be used; chosen by eye."""

_NOWHERE = "\U0010fffe"
"""Not a character: a font draws for it what it draws for every character that it does not hold."""


@cache
def _font_file() -> bytes:
    folder = resources.files("fontpkg_source_sans_3") / "files"
    return (folder / "SourceSans3[wght].ttf").read_bytes()


@cache
def font_of(size: int, weight: int = REGULAR) -> Font:
    """Return the font at `size` pixels and `weight`, 200 to 900."""
    # The basic layout, since the other needs a library that not every machine has.
    font = ImageFont.truetype(io.BytesIO(_font_file()), size, layout_engine=ImageFont.Layout.BASIC)
    font.set_variation_by_axes([weight])
    return font


@cache
def _has_glyph(letter: str) -> bool:
    font = font_of(40)
    return letter.isspace() or bytes(font.getmask(letter)) != bytes(font.getmask(_NOWHERE))


def letterable(text: str) -> str:
    """Return `text` composed (NFC), its spaces single, without the emoji and symbols that the font lacks."""
    composed = unicodedata.normalize("NFC", text)
    kept = (
        char
        for char in composed
        if _has_glyph(char) or unicodedata.category(char) not in ("So", "Sk", "Cf", "Cn", "Co", "Mn")
    )
    return " ".join("".join(kept).split())


def can_letter(text: str) -> bool:
    """Return whether `text`, as :func:`letterable` gives it, can be drawn whole, and is not empty."""
    letters = letterable(text)
    return bool(letters) and all(_has_glyph(letter) for letter in letters)


def width_of(text: str, size: int, weight: int = REGULAR) -> float:
    """Return the width of `text` in pixels."""
    return float(font_of(size, weight).getlength(text))


def draw_text(
    draw: ImageDraw.ImageDraw,
    place: tuple[float, float],
    text: str,
    ink: Colour,
    font: Font,
) -> None:
    """Draw one line of text, its baseline starting at `place`."""
    draw.text(place, text, font=font, fill=ink, anchor="ls")


def fitted(
    text: str, width: float, *, weight: int = REGULAR, largest: int, smallest: int, most_lines: int
) -> tuple[int, list[str]]:
    """Return a large size at which `text` fits `width` in at most so many lines, and the lines.

    One more line is used only if it makes the letters an eighth larger. Text that does not fit at the
    smallest size is cut, and ends in an ellipsis.
    """
    best: tuple[float, int, list[str]] | None = None
    fewest = most_lines + 1
    for size in range(largest, smallest - 1, -4):
        lines = _lines(text, width, font_of(size, weight))
        if len(lines) < fewest and all(width_of(line, size, weight) <= width for line in lines):
            fewest = len(lines)
            worth = size * (1 - LINE_COST * (fewest - 1))
            best = max(best, (worth, size, lines)) if best else (worth, size, lines)
    if best:
        return best[1], best[2]
    font = font_of(smallest, weight)
    lines = []
    for line in _lines(text, width, font):
        while font.getlength(line) > width:
            cut = next(n for n in range(len(line), 0, -1) if n == 1 or font.getlength(line[:n]) <= width)
            lines.append(line[:cut])
            line = line[cut:]
        lines.append(line)
    if len(lines) > most_lines:
        lines = lines[:most_lines]
        lines[-1] = lines[-1][:-2].rstrip() + "…"
    return smallest, lines


def _lines(text: str, width: float, font: Font) -> list[str]:
    lines: list[str] = []
    for word in _words(text):
        if lines and font.getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _words(text: str) -> list[str]:
    """Return the words of `text`; a sign that stands alone stays with the word before it."""
    words: list[str] = []
    for word in text.split():
        if words and not any(char.isalnum() for char in word):
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words
