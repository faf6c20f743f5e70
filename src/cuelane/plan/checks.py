"""Checks that the parts of a plan agree with one another, once each part is right by itself."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from pathlib import Path

from pydantic import BaseModel

from cuelane.base.errors import Mark
from cuelane.base.language import available_languages, load_language, pack_code
from cuelane.base.units import format_duration
from cuelane.plan.build import Parts
from cuelane.plan.model import (
    Entry,
    Exercise,
    ExerciseBlock,
    Ladder,
    OnTheMinute,
    Script,
    ScriptCue,
    ScriptInterval,
)
from cuelane.plan.own_folder import file_inside
from cuelane.plan.parts import OTHER_SIDE, REST, CueLine
from cuelane.plan.phrases import did_you_mean, names, quoted
from cuelane.plan.source_text import Lines
from cuelane.plan.values import LEAST_LENGTH_MS

PLACEHOLDERS = ("side", "other_side")
LEAST_HALF_MS = 2_000

_BETWEEN = "the block's rest comes between rounds, and its change between two exercises"
_RESTS_INSTEAD = {
    **dict.fromkeys(("build-up", "build-up-and-down", "build-down"), _BETWEEN),
    "on-the-minute": "what the work leaves of every is rest",
    "flow": "the block's change is the time between two movements",
}

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}|[{}]")


def check(lines: Lines, parts: Parts, folder: Path) -> None:
    """Note in `lines` whatever does not agree in one plan file; `folder` is where that file lies."""
    start = Mark(lines.file, 1, 1)
    seen: set[Mark] = set()
    slots = placeholders(parts.head.language if parts.head is not None else "en")
    for item in parts.session:
        if isinstance(item, ExerciseBlock):
            _check_block(lines, parts, item, start, seen)
        elif isinstance(item, Script):
            _check_script(lines, item, folder, start)
    _check_names(lines, parts)
    for exercise in parts.exercises.values():
        if exercise is not None:
            for line in cue_lines(exercise):
                _check_placeholders(lines, line, slots, has_sides=exercise.sides != "none")
                _check_to(lines, parts, line, start, has_sides=exercise.sides != "none")
                _check_clip(lines, line, folder, start)
    for part in (*parts.session, parts.head):
        for line in cue_lines(part):
            _check_placeholders(lines, line, slots, has_sides=False)
            _check_clip(lines, line, folder, start)
    if parts.head is not None and pack_code(parts.head.language) is None:
        known = available_languages()
        message = f"language: there are no words for {quoted(parts.head.language)} yet"
        lines.report(parts.head.mark_of("language") or start, message, f"there are: {', '.join(known)}")


def check_voice(lines: Lines, parts: Parts, known: Collection[str]) -> None:
    """Note in `lines` a voice that is not one of those `known`; only the outermost plan's voice speaks."""
    if parts.voice is not None and parts.voice.text and parts.voice.text not in known:
        hint = did_you_mean(parts.voice.text, known) or f"there are: {names(sorted(known))}"
        message = f"voice: there is no voice called {quoted(parts.voice.text)}"
        lines.report(parts.voice.mark, message, hint)


def cue_lines(part: BaseModel | None) -> Iterator[CueLine]:
    """Yield the lines that stand directly in a part of a plan: an exercise, a session item, a plan."""
    for key in type(part).model_fields if part is not None else ():
        value = getattr(part, key)
        if isinstance(value, list):
            yield from (line for line in value if isinstance(line, CueLine))


def _check_names(lines: Lines, parts: Parts) -> None:
    """Note each exercise that a block names and the plan lacks: once, where it is first named."""
    if parts.names_unsure:
        return
    missing = {name: marks for name, marks in parts.named.items() if name not in parts.exercises}
    if missing and not parts.exercises:
        message = f"the plan has no 'exercises' that say what these are: {names(map(quoted, missing))}"
        lines.report(next(iter(missing.values()))[0], message, "add  exercises:  with each name as a key")
        return
    for name, marks in missing.items():
        others = f", but it is named {len(marks)} times" if len(marks) > 1 else ""
        hint = ""
        if not lines.is_full:
            several = [part.strip() for part in name.split(",")]
            hint = did_you_mean(name, parts.exercises) or f"there are: {names(parts.exercises)}"
            if len(several) > 1 and set(several) <= set(parts.exercises):
                hint = f"put brackets around a list: [{name}]"
        lines.report(marks[0], f"there is no exercise {quoted(name)} in 'exercises'{others}", hint)


def _check_to(lines: Lines, parts: Parts, line: CueLine, start: Mark, *, has_sides: bool) -> None:
    """Note a `to` that names an exercise which can never follow, or another side where there is none."""
    if line.to is None or line.to == REST or line.to in parts.exercises:
        return
    if line.to == OTHER_SIDE:
        if not has_sides:
            message = "to: this exercise has no other side"
            lines.report(line.mark_of("to") or start, message, "write  sides: each  for one that has both")
        return
    if parts.names_unsure:
        return
    known = [*parts.exercises, REST, *([OTHER_SIDE] if has_sides else [])]
    hint = did_you_mean(line.to, known) or f"there are: {names(known)}"
    lines.report(line.mark_of("to") or start, f"to: there is no exercise {quoted(line.to)}", hint)


def times_of(
    block: ExerciseBlock, entry: Entry, exercise: Exercise | None
) -> tuple[list[int], BaseModel, int, BaseModel]:
    """Return an entry's work times and settle time in ms, each with the part of the plan that sets it."""
    work: list[int] = block.work if isinstance(block.work, list) else [block.work]
    work_from: BaseModel = block
    settle, settle_from = block.settle, block
    settle_part: BaseModel = settle_from
    for part in (exercise, entry):
        if part is not None and part.work is not None:
            work, work_from = [part.work], part
        if part is not None and part.settle is not None:
            settle, settle_part = part.settle, part
    return work, work_from, settle, settle_part


def _check_block(lines: Lines, parts: Parts, block: ExerciseBlock, start: Mark, seen: set[Mark]) -> None:
    if isinstance(block, Ladder) and len(block.rest) not in (1, len(block.work)):
        message = (
            f"rest: expected one duration for all rounds or {len(block.work)}, one for each of the rounds in "
            f"'work', but there are {len(block.rest)}"
        )
        lines.report(block.mark_of("rest") or start, message)
    for entry in block.exercises:
        _check_times(lines, block, entry, parts.exercises.get(entry.exercise), start, seen)
        if entry.rest is not None and block.pattern in _RESTS_INSTEAD:
            message = f"rest: no rest follows a single exercise in a block of pattern {block.pattern}"
            hint = f"leave it out; {_RESTS_INSTEAD[block.pattern]}"
            lines.report(entry.mark_of("rest") or start, message, hint)


def _check_times(
    lines: Lines, block: ExerciseBlock, entry: Entry, exercise: Exercise | None, start: Mark, seen: set[Mark]
) -> None:
    work, work_from, settle_ms, settle_from = times_of(block, entry, exercise)

    def report(part: object, key: str, message: str) -> None:
        mark = part.mark_of(key) or start  # type: ignore[attr-defined]
        if mark not in seen:
            seen.add(mark)
            lines.report(mark, message)

    name = entry.exercise
    shortest_ms = min(work)
    half = exercise is not None and exercise.sides == "each"
    if half and shortest_ms < 2 * LEAST_HALF_MS:
        report(
            work_from,
            "work",
            f"work: {quoted(name)} is done on each side in turn, so it needs at least "
            f"{format_duration(2 * LEAST_HALF_MS)}, but has {format_duration(shortest_ms)}",
        )
    elif settle_ms and settle_ms >= (shortest_ms // 2 if half else shortest_ms):
        whole = f"half of its work of {format_duration(shortest_ms)}" if half else "its work of "
        whole += "" if half else format_duration(shortest_ms)
        report(
            settle_from,
            "settle",
            f"settle: {format_duration(settle_ms)} leaves {quoted(name)} no time, for it takes up {whole}",
        )
    left_ms = block.every - max(work) if isinstance(block, OnTheMinute) else LEAST_LENGTH_MS
    if isinstance(block, OnTheMinute) and left_ms < LEAST_LENGTH_MS:
        left = "no rest" if left_ms <= 0 else f"only {format_duration(left_ms)} of rest"
        report(
            work_from,
            "work",
            f"work: {quoted(name)} works for {format_duration(max(work))}, which leaves {left} before the "
            f"next start, every {format_duration(block.every)}",
        )


def _check_script(lines: Lines, block: Script, folder: Path, start: Mark) -> None:
    for interval in block.intervals:
        length = format_duration(interval.length)
        if interval.settle and interval.settle >= interval.length:
            message = f"settle: {format_duration(interval.settle)} takes up the whole interval of {length}"
            lines.report(interval.mark_of("settle") or start, message)
        _check_script_cues(lines, interval, folder, start)


def _check_script_cues(lines: Lines, interval: ScriptInterval, folder: Path, start: Mark) -> None:
    for cue in interval.cues:
        if cue.at >= interval.length:
            message = (
                f"at: {format_duration(cue.at)} is not inside its interval, which lasts "
                f"{format_duration(interval.length)}"
            )
            lines.report(cue.mark_of("at") or start, message)
        _check_clip(lines, cue, folder, start)
        _check_text(lines, cue.text, cue.mark_of("text") or start, PLACEHOLDERS, has_sides=False)


def _check_clip(lines: Lines, line: CueLine | ScriptCue, folder: Path, start: Mark) -> None:
    """Note a recording that is not there, or lies outside the plan's folder."""
    if line.clip is None:
        return
    mark = line.mark_of("clip") or start
    if mark.file != lines.file and Path(mark.file).parent.resolve() != folder.resolve():
        # A recording is looked for beside the file that names it, and only what is beside the plan is safe.
        message = "clip: a series in another folder than its plan cannot name a recording"
        lines.report(mark, message, "give the plan itself that variant")
        return
    problem = file_inside(folder, folder, line.clip)
    if isinstance(problem, tuple):
        lines.report(mark, f"clip: {problem[0]}", problem[1])


def placeholders(language: str) -> tuple[str, ...]:
    """Return what may stand in braces in a plan's lines: the sides, in every form that a language has."""
    forms = load_language(language).side_forms() if pack_code(language) else []
    return (*PLACEHOLDERS, *(f"{name}_{form}" for form in forms for name in PLACEHOLDERS))


def _check_placeholders(lines: Lines, line: CueLine, slots: tuple[str, ...], *, has_sides: bool) -> None:
    _check_text(lines, line.text, line.mark_of("text"), slots, has_sides=has_sides)


def _cut_slot(text: str, brace: re.Match[str], slot: str) -> bool:
    """Tell whether a placeholder `slot` lacks its other brace where a lone one stands."""
    if brace[0] == "{":
        return re.match(rf"{slot}\b", text[brace.end() :]) is not None
    return re.search(rf"\b{slot}$", text[: brace.start()]) is not None


def _check_text(
    lines: Lines, text: str, mark: Mark | None, slots: tuple[str, ...], *, has_sides: bool
) -> None:
    start = mark or Mark(lines.file, 1, 1)
    for match in _PLACEHOLDER.finditer(text):
        # The column is exact where the text is on one line and written without escapes.
        written = lines.lines[start.line - 1] if start.line <= len(lines.lines) else ""
        found = written.find(match[0], start.column - 1)
        place = Mark(start.file, start.line, found + 1) if found >= 0 else start
        if match[1] is None:
            # A placeholder that is not closed, or not opened: the longest name that fits.
            cut = [slot for slot in slots if _cut_slot(text, match, slot)]
            hint = f"write {{{max(cut, key=len)}}}" if cut else "remove it"
            lines.report(place, f"a stray {quoted(match[0])} in spoken text", hint)
            return
        if match[1] not in slots:
            there_are = [f"{{{slot}}}" for slot in slots]
            known = " and ".join(there_are) if len(there_are) == 2 else names(there_are)
            hint = did_you_mean(match[1], slots) or f"there are: {known}"
            lines.report(place, f"unknown placeholder {quoted(match[0])}", hint)
        elif not has_sides:
            message = f"{quoted(match[0])} can be used only in the words of an exercise that has sides"
            lines.report(place, message, "give the exercise  sides: alternate  or  sides: each")
