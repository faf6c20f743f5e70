"""The description to paste where a track is published, in Markdown that also reads well as plain text.

Timestamps stand alone at the start of their lines, the first at 0:00 and in rising order: the form that
hosts of audio and video turn into links (common practice, no source). Each text of the plan is escaped,
so that nothing in it becomes a heading, a link or HTML. Escapes are CommonMark's: a backslash before
ASCII punctuation (CommonMark 0.31, section 2.4).
"""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock, to_ms
from cuelane.base.unsafe_text import escape_markdown
from cuelane.deliver.outline import Outline, Section, outline_of
from cuelane.deliver.page_facts import equipment_rows, texts
from cuelane.deliver.page_text import (
    ExerciseView,
    capital,
    exercise_views,
    length_of,
    side_word,
    voice_credit,
)
from cuelane.media import Chapter
from cuelane.web.page_parts import plain


def describe(
    schedule: Schedule,
    *,
    chapters: Sequence[Chapter] = (),
    about: str | None = None,
    hearing: str = "",
) -> str:
    """Return the description as Markdown.

    Parameters
    ----------
    chapters : in order; the session's blocks where there are none.
    about : a sentence or two of the instructor's own.
    hearing : safe-listening advice, a paragraph after the cautions.
    """
    outline, words = outline_of(schedule), page_words(schedule.language)
    parts = [
        f"# {escape_markdown(schedule.title) or words('description.session')}",
        _what_it_is(outline, words),
    ]
    own = about or schedule.extra.get("description")
    if own:
        parts.insert(1, escape_markdown(own))
    exercises = exercise_views(schedule, outline)
    needs = [escape_markdown(item) for item, _ in equipment_rows(schedule)]
    if needs:
        parts.append(words("description.needs", items=", ".join(needs)))
    if exercises:
        parts.append(_section("exercises", [f"- {_exercise(row, words)}" for row in exercises], words))
    structure = [_structure(section, schedule.sample_rate, words) for section in outline.sections]
    if structure:
        parts.append(_section("structure", structure, words))
    stamps = _timestamps(_starts(schedule, chapters, outline), words)
    if stamps:
        parts.append(f"## {words('description.timestamps')}\n\n" + "  \n".join(stamps))
    cautions = texts(schedule.extra, "cautions")
    if cautions:
        parts.append(_section("cautions", [f"- {escape_markdown(line)}" for line in cautions], words))
    if hearing:
        parts.append(_section("hearing", [escape_markdown(hearing)], words))
    parts.append(_section("credits", [f"- {line}" for line in _credits(schedule)], words))
    return "\n\n".join(part for part in parts if part) + "\n"


def _section(key: str, lines: Sequence[str], words: PageWords) -> str:
    return f"## {words(f'description.{key}')}\n\n" + "\n".join(lines)


def _exercise(row: ExerciseView, words: PageWords) -> str:
    """Return an exercise, its sets and time: in words, since hosts make a link of ``0:30``."""
    sides = [
        words("side.with_time", side=escape_markdown(side_word(side, words)), time=words.time(ms))
        for side, ms in sorted(row.by_side_ms.items())
    ]
    return words(
        "description.exercise_sides" if sides else "description.exercise",
        count=row.sets,
        name=escape_markdown(row.name),
        n=str(row.sets),
        time=words.time(row.work_ms),
        sides=", ".join(sides),
    )


def _what_it_is(outline: Outline, words: PageWords) -> str:
    made_of = []
    if outline.work_ms:
        time, sets = words.time(outline.work_ms), outline.sets
        made_of.append(words("description.work", count=sets, n=str(sets), time=time))
    if outline.rest_ms:
        made_of.append(words("description.rest", time=words.time(outline.rest_ms)))
    if outline.change_ms:
        made_of.append(words("description.change", time=words.time(outline.change_ms)))
    if outline.breaths:
        made_of.append(words("description.breaths", count=outline.breaths, n=str(outline.breaths)))
    key = "description.what_parts" if made_of else "description.what"
    text = words(key, length=words.time(outline.length_ms), parts=", ".join(made_of))
    if outline.length_ms:
        text += f" {words('description.open', share=str(outline.open_percent))}"
    return text


def _structure(section: Section, sample_rate: int, words: PageWords) -> str:
    names = dict.fromkeys(capital(plain(row.exercise)) for row in section.intervals if row.exercise)
    told = words(
        "description.part_names" if names else "description.part",
        title=escape_markdown(section.title) or words("description.talk"),
        length=length_of(section, sample_rate, words),
        names=", ".join(escape_markdown(name) for name in names),
    )
    return f"- {told}"


def _starts(schedule: Schedule, chapters: Sequence[Chapter], outline: Outline) -> list[tuple[int, str]]:
    if chapters:
        return [(chapter.start_ms, chapter.title) for chapter in chapters]
    return [(to_ms(part.start_sample, schedule.sample_rate), part.title) for part in outline.sections]


def _timestamps(starts: Sequence[tuple[int, str]], words: PageWords) -> list[str]:
    """Return ``M:SS title`` lines; a host ignores a list that does not start at 0:00 or repeats a second."""
    lines: list[str] = []
    last = -1
    for start_ms, title in starts:
        second = start_ms // 1000 if lines else 0
        if second > last:
            told = escape_markdown(title) or words("description.session")
            lines.append(f"{format_clock(second * 1000)} {told}")
            last = second
    return lines


def _credits(schedule: Schedule) -> list[str]:
    lines, words = [], page_words(schedule.language)
    if schedule.extra.get("author"):
        lines.append(words("description.author", author=escape_markdown(schedule.extra["author"])))
    if credit := voice_credit(schedule):
        lines.append(escape_markdown(credit))
    lines.append(words("description.made"))
    return lines
