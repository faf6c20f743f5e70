"""The cover: the same bytes each time, small, its title legible and its pattern the session's own."""

from __future__ import annotations

import io
import string
import unicodedata
from dataclasses import replace

import pytest
from PIL import Image, ImageChops

import pagesession
from cuelane.base.schedule import Schedule
from cuelane.deliver import cover
from cuelane.deliver.cover import draw_cover
from cuelane.deliver.lettering import SEMIBOLD, can_letter, fitted, font_of, letterable, width_of


def opened(png: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(png))
    image.load()
    return image


def near(image: Image.Image, colour: tuple[int, int, int], box: tuple[int, int, int, int]) -> int:
    """Return how many pixels of `box` are within a few levels of `colour`."""
    part = image.convert("RGB").crop(box)
    far = ImageChops.difference(part, Image.new("RGB", part.size, colour)).point(lambda v: 255 * (v > 12))
    red, green, blue = far.split()
    return sum(value == 0 for value in ImageChops.lighter(ImageChops.lighter(red, green), blue).tobytes())


@pytest.mark.parametrize(
    "made", [pagesession.boathouse, pagesession.hostile, lambda: pagesession.long_day(4, 500)]
)
def test_the_same_session_gives_the_same_small_picture(made: object) -> None:
    """Two drawings are equal byte for byte, square, 1400 pixels wide and under 150 kB."""
    schedule = made()  # type: ignore[operator]
    png = draw_cover(schedule)

    assert png == draw_cover(schedule)
    assert opened(png).size == (1400, 1400)
    assert opened(png).format == "PNG"
    assert opened(png).info == {}
    assert len(png) < 150_000


def test_another_session_gives_another_picture() -> None:
    """One interval 10 s longer, or one letter of the title, changes the picture."""
    schedule = pagesession.boathouse()
    last = schedule.intervals[-2]
    longer = replace(last, end_sample=last.end_sample + 480_000)

    assert draw_cover(schedule) != draw_cover(replace(schedule, title="Boathouse leg"))
    assert draw_cover(schedule) != draw_cover(
        replace(schedule, intervals=(*schedule.intervals[:-2], longer, schedule.intervals[-1]))
    )


def test_work_and_rest_take_their_share_of_a_row() -> None:
    """In a row of 40 s work and 20 s rest, two thirds of the length are drawn as work."""
    sketch = pagesession.Sketch("Two to one")
    sketch.interval("work", 40, block="Legs", exercise="squat", number=1)
    sketch.interval("rest", 20, block="Legs", number=1)
    image = opened(draw_cover(sketch.done()))
    inner = cover.SIDE - 2 * cover.MARGIN
    line = next(
        y for y in range(cover.SIDE - cover.MARGIN - 80, 0, -1)
        if near(image, cover.WORK, (0, y, cover.SIDE, y + 1)) > 100
    )  # fmt: skip
    line -= 20

    assert near(image, cover.WORK, (0, line, cover.SIDE, line + 1)) == pytest.approx(inner * 2 / 3, abs=8)
    assert near(image, cover.SHEET, (0, line, cover.SIDE, line + 1)) == pytest.approx(inner / 3, abs=12)


def test_the_title_is_large_and_keeps_to_the_margins() -> None:
    """A short title is set at 180 px; a long one still fits the width, and no ink leaves the margins."""
    for title in (
        "Legs",
        "A morning of slow and steady rowing for people who would rather be in bed",
        "w" * 300,
    ):
        image = opened(draw_cover(replace(pagesession.boathouse(), title=title))).convert("RGB")
        ink = near(image, cover.INK, (cover.MARGIN, cover.MARGIN, cover.SIDE - cover.MARGIN, 420))

        assert ink > 4000
        for side in ((0, 0, cover.MARGIN - 4, 600), (cover.SIDE - cover.MARGIN + 4, 0, cover.SIDE, 600)):
            assert near(image, cover.INK, side) == 0
    assert fitted("Legs", 1180, largest=180, smallest=60, most_lines=3)[0] == 180


LANGUAGES = {
    "en": "Legs – the “easy” way, naïvely: it’s 40 °C",
    "es": "¿Piernas al año? ¡Sí, mañana, pingüino!",
    "fr": "Séance d’été : cœur, œil, çà et là, où l’aïeul hâte",
    "it": "Perché però: più salute già, così, è",
    "pt-BR": "Sessão de força – manhã com avó, pé e você, à noite",
    "de": "Übungen für große Müßiggänger: „Öl“",
}
ACCENTS = "áàâãäåéèêëíìîïóòôõöúùûüçñœßÁÀÂÃÄÅÉÈÊËÍÌÎÏÓÒÔÕÖÚÙÛÜÇÑŒ¿¡«»“”„’–—°łøşčőăĐæ"


@pytest.mark.parametrize("text", LANGUAGES.values(), ids=LANGUAGES)
def test_titles_of_six_languages_are_drawn_whole(text: str) -> None:
    """Every letter stands as written and takes its width, and the cover shows the title's ink."""
    image = opened(draw_cover(replace(pagesession.boathouse(), title=text)))

    assert can_letter(text)
    assert letterable(text) == text
    assert near(image, cover.INK, (cover.MARGIN, cover.MARGIN, cover.SIDE - cover.MARGIN, 420)) > 4000
    for letter in {letter for letter in text if not letter.isascii()}:
        assert width_of(text.replace(letter, ""), 100) < width_of(text, 100)


def test_each_accented_letter_has_its_own_glyph() -> None:
    """No two of them are drawn alike, nor any like its bare letter; decomposed text is drawn composed."""
    font = font_of(60)
    masks = {letter: bytes(font.getmask(letter)) for letter in ACCENTS + string.ascii_letters}

    assert all(can_letter(letter) for letter in ACCENTS)
    assert len(set(masks.values())) == len(masks)
    assert letterable(unicodedata.normalize("NFD", ACCENTS)) == ACCENTS


def test_accents_of_a_line_keep_clear_of_the_line_above() -> None:
    """Descenders do not touch the accents of capitals in the next line, at the cover's line pitch."""
    size = 100
    font = font_of(size, SEMIBOLD)
    deepest = font.getbbox("gjpqyçÇ,;Q", anchor="ls")[3]
    highest = font.getbbox("ÅÄÉÊÑÔÕÜ", anchor="ls")[1]

    assert deepest - highest < round(size * cover.LINE_PITCH)


@pytest.mark.parametrize("text", ["漕艇", "شاطئ", "🏋"])
def test_a_script_without_letters_leaves_the_pattern(text: str) -> None:
    """A title that the font does not hold is left out, not drawn as boxes; the picture is still made."""
    assert not can_letter(text)
    with_title = opened(draw_cover(replace(pagesession.boathouse(), title=text)))
    without = opened(draw_cover(replace(pagesession.boathouse(), title="")))

    assert ImageChops.difference(with_title.convert("RGB"), without.convert("RGB")).getbbox() is None


def test_an_emoji_is_left_out_and_the_words_stay() -> None:
    """A title of words and a picture is lettered without the picture."""
    assert letterable("Legs 🏋️ and  arms") == "Legs and arms"
    schedule = pagesession.boathouse()
    assert draw_cover(replace(schedule, title="Legs 🏋️")) == draw_cover(replace(schedule, title="Legs"))


def test_a_dash_ends_a_line_and_one_more_line_must_make_letters_larger() -> None:
    """A sign alone never begins a line; one line is kept where two would hardly be larger."""
    _, lines = fitted("Strength – calm", 400, largest=100, smallest=60, most_lines=3)
    assert lines == ["Strength –", "calm"]
    size, lines = fitted("Even split", width_of("Even split", 92), largest=100, smallest=20, most_lines=3)
    assert (size, lines) == (92, ["Even split"])


def test_an_empty_schedule_has_a_cover() -> None:
    """A schedule without intervals, or of talk alone, is drawn all the same."""
    talk = pagesession.Sketch("Words")
    talk.interval("talk", 30, block="Words", pips=False)

    for schedule in (Schedule("", "en", 48_000, 48_000, (), ()), talk.done()):
        assert opened(draw_cover(schedule)).size == (1400, 1400)


def test_intervals_may_be_numbered_anyhow() -> None:
    """A schedule from elsewhere may number its intervals as it likes: a cover is drawn by their order."""
    sketch = pagesession.Sketch("Breath")
    for kind in ("in", "hold", "out", "hold"):
        sketch.interval(kind, 5.0, block="Main", pips=False)
    schedule = Schedule("Breath", "en", pagesession.RATE, sketch.now, tuple(sketch.intervals), ())
    odd = tuple(replace(row, index=900 - 7 * row.index) for row in schedule.intervals)
    assert draw_cover(replace(schedule, intervals=odd)) == draw_cover(schedule)
