"""The description to paste where a track is published, in Markdown that also reads well as plain text.

Timestamps stand alone at the start of their lines, the first at 0:00 and in rising order: the form that
hosts of audio and video turn into links (common practice, no source). Each text of the plan is escaped,
so that nothing in it becomes a heading, a link or HTML. Escapes are CommonMark's: a backslash before
ASCII punctuation (CommonMark 0.31, section 2.4).
"""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock, to_ms
from cuelane.base.unsafe_text import escape_markdown
from cuelane.deliver.outline import Outline, Section, outline_of, round_word
from cuelane.deliver.page_facts import equipment_rows, texts
from cuelane.deliver.page_text import ExerciseView, capital, exercise_views, time_in_words, voice_credit
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
    outline = outline_of(schedule)
    parts = [f"# {escape_markdown(schedule.title) or 'Session'}", _what_it_is(outline)]
    words = about or schedule.extra.get("description")
    if words:
        parts.insert(1, escape_markdown(words))
    exercises = exercise_views(schedule, outline)
    needs = [escape_markdown(item) for item, _ in equipment_rows(schedule)]
    if needs:
        parts.append(f"You need: {', '.join(needs)}.")
    if exercises:
        rows = [f"- {escape_markdown(row.name)}: {_sets(row.sets)}, {_time(row)}" for row in exercises]
        parts.append("## Exercises\n\n" + "\n".join(rows))
    structure = [_structure(section, schedule.sample_rate) for section in outline.sections]
    if structure:
        parts.append("## Structure\n\n" + "\n".join(structure))
    stamps = _timestamps(_starts(schedule, chapters, outline))
    if stamps:
        parts.append("## Timestamps\n\n" + "  \n".join(stamps))
    cautions = texts(schedule.extra, "cautions")
    if cautions:
        parts.append("## Before you begin\n\n" + "\n".join(f"- {escape_markdown(line)}" for line in cautions))
    if hearing:
        parts.append("## Safe listening\n\n" + escape_markdown(hearing))
    parts.append("## Credits\n\n" + "\n".join(f"- {line}" for line in _credits(schedule)))
    return "\n\n".join(part for part in parts if part) + "\n"


def _time(row: ExerciseView) -> str:
    """Return an exercise's time in words, since hosts turn ``0:30`` into a link to that place."""
    sides = [f"{escape_markdown(side)} {time_in_words(ms)}" for side, ms in sorted(row.by_side_ms.items())]
    return time_in_words(row.work_ms) + (f" ({', '.join(sides)})" if sides else "")


def _sets(count: int) -> str:
    return f"{count} set" if count == 1 else f"{count} sets"


def _what_it_is(outline: Outline) -> str:
    made_of = []
    if outline.work_ms:
        made_of.append(f"{time_in_words(outline.work_ms)} of work in {_sets(outline.sets)}")
    if outline.rest_ms:
        made_of.append(f"{time_in_words(outline.rest_ms)} of rest")
    if outline.change_ms:
        made_of.append(f"{time_in_words(outline.change_ms)} for changes")
    if outline.breaths:
        made_of.append(f"{outline.breaths} guided breaths")
    text = f"A voice-guided session of {time_in_words(outline.length_ms)}"
    text += f": {', '.join(made_of)}." if made_of else "."
    if outline.length_ms:
        share = 100 * outline.open_ms // outline.length_ms
        text += f" No music: {share} % of the time is left open for your own."
    return text


def _structure(section: Section, sample_rate: int) -> str:
    length = time_in_words(to_ms(section.end_sample - section.start_sample, sample_rate))
    names = dict.fromkeys(capital(plain(row.exercise)) for row in section.intervals if row.exercise)
    rounds = f", {section.rounds} {round_word(section.intervals)}s" if section.rounds > 1 else ""
    listed = f": {', '.join(escape_markdown(name) for name in names)}" if names else ""
    return f"- {escape_markdown(section.title) or 'Talk'} ({length}{rounds}){listed}"


def _starts(schedule: Schedule, chapters: Sequence[Chapter], outline: Outline) -> list[tuple[int, str]]:
    if chapters:
        return [(chapter.start_ms, chapter.title) for chapter in chapters]
    return [(to_ms(part.start_sample, schedule.sample_rate), part.title) for part in outline.sections]


def _timestamps(starts: Sequence[tuple[int, str]]) -> list[str]:
    """Return ``M:SS title`` lines; a host ignores a list that does not start at 0:00 or repeats a second."""
    lines: list[str] = []
    last = -1
    for start_ms, title in starts:
        second = start_ms // 1000 if lines else 0
        if second > last:
            lines.append(f"{format_clock(second * 1000)} {escape_markdown(title) or 'Session'}")
            last = second
    return lines


def _credits(schedule: Schedule) -> list[str]:
    lines = []
    if schedule.extra.get("author"):
        lines.append(f"Session: {escape_markdown(schedule.extra['author'])}")
    if credit := voice_credit(schedule):
        lines.append(escape_markdown(credit))
    lines.append("Made with cuelane")
    return lines
