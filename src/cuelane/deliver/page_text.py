"""The words of the page: what an interval is called, the tally, the facts and the cue list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cuelane.base.roles import ROLES
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.base.units import format_clock, to_ms
from cuelane.deliver.outline import KIND_WORDS, Outline, round_word
from cuelane.deliver.page_facts import grades_of, needs_of
from cuelane.web.page_parts import plain

ROLE_WORDS: Mapping[str, str] = {name: role.word for name, role in ROLES.items()}


@dataclass(frozen=True)
class CueView:
    sample: int
    clock: str
    role: str
    text: str
    grade: str


@dataclass(frozen=True)
class ExerciseView:
    letter: str
    name: str
    needs: tuple[str, ...]
    sets: int
    work_ms: int
    by_side_ms: Mapping[str, int]

    @property
    def time(self) -> str:
        return format_clock(self.work_ms)

    @property
    def sides(self) -> str:
        return ", ".join(f"{side} {format_clock(ms)}" for side, ms in sorted(self.by_side_ms.items()))


def capital(text: str) -> str:
    """Return `text` with its first letter a capital, the rest as written."""
    return text[:1].upper() + text[1:]


def time_in_words(time_ms: int) -> str:
    """Return ``2.5 s``, ``40 s``, ``2 min 30 s`` or ``1 h 5 min``; from 10 s on to the nearest second."""
    if time_ms < 10_000 and time_ms % 1000:
        return f"{(time_ms + 50) // 100 / 10:.1f} s"
    seconds = (time_ms + 500) // 1000
    hours, minutes, seconds = seconds // 3600, seconds // 60 % 60, seconds % 60
    parts = [(hours, "h"), (minutes, "min"), (seconds if not hours else 0, "s")]
    return " ".join(f"{value} {unit}" for value, unit in parts if value) or "0 s"


def interval_name(row: ScheduledInterval) -> str:
    """Return what a person calls an interval: its exercise and side; a talk's block; else its kind."""
    if row.kind == "work" and row.exercise:
        side = f", {plain(row.side)}" if row.side else ""
        return capital(plain(row.exercise)) + side
    if row.kind == "talk" and plain(row.block):
        return plain(row.block)
    return KIND_WORDS[row.kind]


def interval_place(schedule: Schedule, row: ScheduledInterval, outline: Outline) -> str:
    """Return where an interval stands: its block, its round, its set."""
    section = next((s for s in outline.sections if s.start_sample <= row.start_sample < s.end_sample), None)
    parts = [plain(row.block)] if plain(row.block) else []
    if row.round is not None:
        last = max((r.round or 0 for r in section.intervals), default=0) if section else 0
        unit = round_word(section.intervals if section else (row,))
        parts.append(f"{unit} {row.round} of {last}" if last > 1 else f"{unit} {row.round}")
    if row.set_index is not None and outline.sets > 1:
        parts.append(f"set {row.set_index + 1} of {outline.sets}")
    return ", ".join(parts)


def voice_credit(schedule: Schedule) -> str:
    """Return whose voice it is and under which licence, as one run of sentences; nothing if unknown."""
    voice = schedule.extra.get("voice")
    parts = [voice.get(key) for key in ("name", "credit", "licence")] if isinstance(voice, dict) else [voice]
    told = [plain(text).rstrip(". ") for text in parts if isinstance(text, str) and plain(text)]
    return f"Voice: {'. '.join(told)}." if told else ""


def tally_rows(outline: Outline) -> list[tuple[str, str]]:
    """Return the few numbers that stand under the title."""
    rows = [("Length", format_clock(outline.length_ms))]
    if outline.work_ms:
        rows.append(("Work", time_in_words(outline.work_ms)))
    if outline.rest_ms:
        rows.append(("Rest", time_in_words(outline.rest_ms)))
    if outline.change_ms:
        rows.append(("Changes", time_in_words(outline.change_ms)))
    if outline.sets:
        rows.append(("Sets", str(outline.sets)))
    if outline.breaths:
        rows.append(("Breaths", str(outline.breaths)))
    if outline.length_ms:
        rows.append(("Open for music", f"{100 * outline.open_ms // outline.length_ms} %"))
    return rows


def cue_views(schedule: Schedule) -> list[CueView]:
    """Return every cue in order of time."""
    grades = grades_of(schedule)
    return [
        CueView(
            cue.onset_sample,
            format_clock(to_ms(cue.onset_sample, schedule.sample_rate)),
            ROLE_WORDS.get(cue.role, capital(plain(cue.role))),
            plain(cue.text or ""),
            grades.get(cue.id, ""),
        )
        for cue in schedule.cues
    ]


def exercise_views(schedule: Schedule, outline: Outline) -> list[ExerciseView]:
    """Return the exercises with letter, equipment, sets and time."""
    needs = needs_of(schedule)
    return [
        ExerciseView(
            row.letter,
            capital(row.name),
            needs.get(row.name, ()),
            row.sets,
            row.work_ms,
            row.by_side_ms,
        )
        for row in outline.exercises
    ]
