"""A square cover, drawn from the session itself: its rounds of work and rest as the page's score shows them.

The same schedule gives the same bytes on every machine with the same Pillow and font: the shapes are whole
pixels, the font comes in a wheel, and the file holds no time and no text.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

from PIL import Image, ImageDraw

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock
from cuelane.deliver.lettering import SEMIBOLD, can_letter, draw_text, fitted, font_of, letterable
from cuelane.deliver.outline import Outline, outline_of, renumbered
from cuelane.deliver.score import Row, ScorePiece, staves_of
from cuelane.web.page_parts import plain

SIDE = 1400
# Chosen: 9 makes the file a fifth smaller in four times the time, and a shelf draws a cover for each class.
_COMPRESSION = 7
MARGIN = 110
LINE_PITCH = 1.15
"""As a multiple of the type's size: descenders do not touch the accents of capitals in the next line."""
MOST_ROWS = 44

PAPER = (244, 240, 230)
INK = (28, 40, 48)
SOFT = (83, 96, 106)
EDGE = (133, 125, 108)
WORK = (29, 92, 86)
SETTLE = (86, 136, 130)
BREATH = (51, 72, 124)
TALK = (239, 226, 196)
SHEET = (255, 253, 248)
PENCIL = (168, 54, 25)


def draw_cover(schedule: Schedule) -> bytes:
    """Return a PNG of 1400 by 1400 pixels, under 150 kB.

    A title in a script that the font does not hold is left out; the pattern and the length remain.
    """
    image = Image.new("RGB", (SIDE, SIDE), PAPER)
    draw = ImageDraw.Draw(image)
    schedule = renumbered(schedule)
    outline = outline_of(schedule)
    top = _letter(draw, plain(schedule.title))
    rows = _rows(schedule, outline)
    _draw_rows(draw, schedule, rows, top, SIDE - MARGIN - 70)
    _foot(draw, outline, page_words(schedule.language))
    return _png(image)


def _letter(draw: ImageDraw.ImageDraw, title: str) -> int:
    """Draw the title; return where the score may begin."""
    y = MARGIN
    if can_letter(title):
        size, lines = fitted(
            letterable(title), SIDE - 2 * MARGIN, weight=SEMIBOLD, largest=180, smallest=60, most_lines=3
        )
        for line in lines:
            y += round(size * LINE_PITCH)
            draw_text(draw, (MARGIN, y - round(size * 0.2)), line, INK, font_of(size, SEMIBOLD))
    y += 38
    draw.rectangle((MARGIN, y, SIDE - MARGIN - 1, y + 7), fill=INK)
    draw.rectangle((MARGIN, y + 13, SIDE - MARGIN - 1, y + 15), fill=INK)
    return y + 70


def _foot(draw: ImageDraw.ImageDraw, outline: Outline, words: PageWords) -> None:
    parts = [format_clock(outline.length_ms)]
    if outline.sets:
        parts.append(words("cover.sets", count=outline.sets, n=str(outline.sets)))
    if outline.work_ms:
        parts.append(words("cover.work", time=words.time(outline.work_ms)))
    elif outline.breaths:
        parts.append(words("cover.breaths", count=outline.breaths, n=str(outline.breaths)))
    draw_text(draw, (MARGIN, SIDE - MARGIN), "  ·  ".join(parts), SOFT, font_of(48))


def _rows(schedule: Schedule, outline: Outline) -> list[tuple[Row, int]]:
    """Return the rows to draw, each with the time that the full width stands for.

    Blocks of talk alone are left out where there is anything else. A session with too many rows to be seen
    apart is cut into rows of equal time instead.
    """
    sections = [s for s in outline.sections if any(row.kind != "talk" for row in s.intervals)]
    staves = staves_of(sections or outline.sections, schedule.sample_rate, page_words(schedule.language))
    rows = [(row, staff.span_samples) for staff in staves for row in staff.rows]
    if len(rows) <= MOST_ROWS:
        return rows
    span = -(-schedule.n_frames // MOST_ROWS)
    cut = []
    for start in range(0, schedule.n_frames, span):
        end = start + span
        pieces = tuple(
            ScorePiece(row, max(row.start_sample, start), min(row.end_sample, end), row.start_sample < start)
            for row in schedule.intervals
            if row.start_sample < end and row.end_sample > start
        )
        if pieces:
            cut.append((Row("", start, pieces[-1].end_sample, pieces), span))
    return cut


def _draw_rows(
    draw: ImageDraw.ImageDraw, schedule: Schedule, rows: Sequence[tuple[Row, int]], top: int, bottom: int
) -> None:
    if not rows:
        return
    pitch = min((bottom - top) // len(rows), 480)
    height = max(6, round(pitch * 0.74))
    long_pips = [pip.onset_sample for pip in schedule.pips if pip.role == "long"]
    for number, (row, span) in enumerate(rows):
        base = bottom - (len(rows) - number - 1) * pitch - (pitch - height)
        scale = (SIDE - 2 * MARGIN) / span
        draw.line((MARGIN, base, SIDE - MARGIN, base), fill=EDGE, width=2)
        for piece in row.pieces:
            x0 = MARGIN + round((piece.start_sample - row.start_sample) * scale)
            x1 = MARGIN + round((piece.end_sample - row.start_sample) * scale)
            after_out = (
                piece.interval.index > 0 and schedule.intervals[piece.interval.index - 1].kind == "out"
            )
            gap = 1 if x1 - x0 < 12 else 4
            _draw_piece(draw, piece, (x0, base - height, max(x0, x1 - gap), base), scale, after_out)
        for at in long_pips:
            if row.start_sample < at <= row.end_sample:
                x = MARGIN + round((at - row.start_sample) * scale)
                draw.rectangle((x - 3, base + 4, x, base + max(6, (pitch - height) // 2)), fill=PENCIL)


def _draw_piece(
    draw: ImageDraw.ImageDraw,
    piece: ScorePiece,
    box: tuple[int, int, int, int],
    scale: float,
    after_out: bool,
) -> None:
    x0, y0, x1, y1 = box
    height = y1 - y0
    low = y0 + round(height * 0.6)
    match piece.interval.kind:
        case "work":
            draw.rectangle(box, fill=WORK)
            settle = 0 if piece.tied else round(piece.interval.settle_samples * scale)
            if settle > 2:
                draw.rectangle((x0, low, min(x1, x0 + settle), y1), fill=SETTLE)
        case "rest":
            draw.rectangle(
                (x0, y0 + height // 2, x1, y1), fill=SHEET, outline=INK, width=3 if height > 30 else 1
            )
        case "change":
            draw.rectangle((x0, y0 + round(height * 0.75), x1, y1), fill=EDGE)
        case "talk":
            draw.rounded_rectangle(
                (x0, y0 + height // 4, x1, y1), min(18, height // 3), fill=TALK, outline=EDGE, width=2
            )
        case "in":
            draw.polygon([(x0, low), (x1, y0), (x1, y1), (x0, y1)], fill=BREATH)
        case "out":
            draw.polygon([(x0, y0), (x1, low), (x1, y1), (x0, y1)], fill=BREATH)
        case _ if after_out:
            draw.rectangle((x0, low, x1, y1), fill=SHEET, outline=BREATH, width=4)
        case _:
            draw.rectangle(box, fill=BREATH)


def _png(image: Image.Image) -> bytes:
    """Return the picture with 64 colours at most: the palette and the shades at the letters' edges."""
    reduced = image.quantize(colors=64, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    buffer = io.BytesIO()
    reduced.save(buffer, format="PNG", compress_level=_COMPRESSION)
    return buffer.getvalue()
