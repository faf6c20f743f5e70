"""The words of the page: what an interval is called, the tally, the facts and the cue list."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.base.units import format_clock, to_ms
from cuelane.deliver.outline import Outline, Section, are_breaths
from cuelane.deliver.page_facts import grades_of, needs_of
from cuelane.web.page_parts import plain


@dataclass(frozen=True)
class CueView:
    sample: int
    clock: str
    role: str
    """What it is for, and how it is heard over music where that is not well."""
    text: str


@dataclass(frozen=True)
class ExerciseView:
    letter: str
    name: str
    needs: tuple[str, ...]
    sets: int
    work_ms: int
    by_side_ms: Mapping[str, int]
    sides: str
    """The time on each side, as a clock shows it."""

    @property
    def time(self) -> str:
        return format_clock(self.work_ms)


def capital(text: str) -> str:
    """Return `text` with its first letter a capital, the rest as written."""
    return text[:1].upper() + text[1:]


def side_word(side: str | None, words: PageWords) -> str:
    """Return what a side is called; one that is neither left nor right as it stands."""
    return words.find("side", side or "") or plain(side or "")


def interval_name(row: ScheduledInterval, words: PageWords) -> str:
    """Return what a person calls an interval: its exercise and side; a talk's block; else its kind."""
    if row.kind == "work" and row.exercise:
        side = f", {side_word(row.side, words)}" if row.side else ""
        return capital(plain(row.exercise)) + side
    if row.kind == "talk" and plain(row.block):
        return plain(row.block)
    return words(f"kind.{row.kind}")


def interval_place(schedule: Schedule, row: ScheduledInterval, outline: Outline) -> str:
    """Return where an interval stands: its block, its round, its set."""
    words = page_words(schedule.language)
    sections = outline.sections
    at = bisect_right(sections, row.start_sample, key=lambda section: section.start_sample) - 1
    section = sections[at] if at >= 0 and row.start_sample < sections[at].end_sample else None
    parts = [plain(row.block)] if plain(row.block) else []
    if row.round is not None:
        last = section.last_round if section else 0
        unit = "breath" if (section.is_breathing if section else are_breaths([row])) else "round"
        key = f"place.{unit}_of" if last > 1 else f"place.{unit}"
        parts.append(words(key, n=str(row.round), total=str(last)))
    if row.set_index is not None and outline.sets > 1:
        parts.append(words("place.set_of", n=str(row.set_index + 1), total=str(outline.sets)))
    return ", ".join(parts)


def length_of(section: Section, sample_rate: int, words: PageWords) -> str:
    """Return how long a block is, and how many rounds or breaths it has where it has several."""
    length = words.time(to_ms(section.end_sample - section.start_sample, sample_rate))
    if section.rounds < 2:
        return length
    key = "score.length_breaths" if section.is_breathing else "score.length_rounds"
    return words(key, count=section.rounds, length=length, n=str(section.rounds))


def voice_credit(schedule: Schedule) -> str:
    """Return whose voice it is and under which licence, as one run of sentences; nothing if unknown."""
    voice = schedule.extra.get("voice")
    parts = [voice.get(key) for key in ("name", "credit", "licence")] if isinstance(voice, dict) else [voice]
    told = [plain(text).rstrip(". ") for text in parts if isinstance(text, str) and plain(text)]
    return page_words(schedule.language)("description.voice", told=". ".join(told)) if told else ""


def tally_rows(outline: Outline, words: PageWords) -> list[tuple[str, str]]:
    """Return the few numbers that stand under the title."""
    rows = [("length", format_clock(outline.length_ms))]
    for key, time_ms in (("work", outline.work_ms), ("rest", outline.rest_ms), ("change", outline.change_ms)):
        if time_ms:
            rows.append((key, words.time(time_ms)))
    if outline.sets:
        rows.append(("sets", str(outline.sets)))
    if outline.breaths:
        rows.append(("breaths", str(outline.breaths)))
    if outline.length_ms:
        rows.append(("open", words("tally.share", n=str(outline.open_percent))))
    return [(words(f"tally.{key}"), value) for key, value in rows]


def cue_views(schedule: Schedule) -> list[CueView]:
    """Return every cue in order of time."""
    grades, words = grades_of(schedule), page_words(schedule.language)
    return [
        CueView(
            cue.onset_sample,
            format_clock(to_ms(cue.onset_sample, schedule.sample_rate)),
            _role(cue.role, grades.get(cue.id), words),
            plain(cue.text or ""),
        )
        for cue in schedule.cues
    ]


def _role(role: str, grade: str | None, words: PageWords) -> str:
    told = words.find("role", role) or capital(plain(role))
    return words(f"grade.{grade}", role=told) if grade else told


def exercise_views(schedule: Schedule, outline: Outline) -> list[ExerciseView]:
    """Return the exercises with letter, equipment, sets and time."""
    needs, words = needs_of(schedule), page_words(schedule.language)
    return [
        ExerciseView(
            row.letter,
            capital(row.name),
            needs.get(row.name, ()),
            row.sets,
            row.work_ms,
            row.by_side_ms,
            ", ".join(
                words("side.with_time", side=side_word(side, words), time=format_clock(ms))
                for side, ms in sorted(row.by_side_ms.items())
            ),
        )
        for row in outline.exercises
    ]
