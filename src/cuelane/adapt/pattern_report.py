"""What a report says of the class as exercises: what was found, what is in the plan, what is not and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from cuelane.adapt.class_shape import ClassShape
from cuelane.adapt.clock import clock
from cuelane.adapt.name_mentions import same_name
from cuelane.adapt.pattern_plan import PatternPlan
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.base.units import format_duration
from cuelane.base.unsafe_text import escape_markdown as plain

NO_PATTERNS = "The class as exercises was not written: {why}."
WITHOUT_SETS = "fewer than two work intervals were found"


def shape_doubts(shape: ClassShape) -> list[str]:
    """Return what is uncertain about a class as exercises, a sentence each."""
    found = []
    if not shape.is_regular:
        found.append(
            "Most sets or rests have lengths of their own, so each keeps its own; change them one by one."
        )
    circuits = [section.shape for section in shape.sections] or [shape]
    guessed = [one for one in circuits if not one.is_named]
    starts = [(one.every_ms, one.work_ms) for one in guessed if one.every_ms is not None]
    for every_ms, work_ms in dict.fromkeys(starts):
        every, work = format_duration(every_ms), format_duration(work_ms)
        found.append(
            f"A set starts every {every}, and no sound ends its work: {work} is a guess. Set work to the "
            "time that the repetitions take, or name it: --work and --rest that make "
            f"{every} together."
        )
    unnamed = len(shape.sets) - shape.named
    if (shape.rounds == 1 or shape.sections) and unnamed:
        found.append(
            f"Called by no name, but by a number: {unnamed} of {len(shape.sets)} sets. Give them names."
        )
    if shape.guessed:
        found.append(
            f"Called by the words that their set begins with: {', '.join(shape.guessed)}. Compare them with "
            "what is done."
        )
    if shape.n_listed:
        found.append(
            "Called as they were listed before the first set or their block, in that order: "
            f"{shape.n_listed} of {len(shape.sets)} sets. Compare the names with what is said in them."
        )
    heard = {
        f'"{one}" for {name}'
        for one, name in zip(shape.heard, shape.names, strict=False)
        if one and not same_name(one, name)
    }
    if heard:
        found.append(
            f"Taken for one exercise, by their sound or their place in the round: {', '.join(sorted(heard))}."
        )
    return found


def pattern_lines(patterns: PatternPlan | None, why: str) -> list[str]:
    """Return the part of the report about the class as exercises, as lines of Markdown."""
    lines = ["", "## As exercises", ""]
    if patterns is None:
        return [*lines, NO_PATTERNS.format(why=plain(why))]
    shape = patterns.shape
    lines.append(_how_it_goes(patterns))
    doubts = shape_doubts(shape)
    lines += ["", *(f"- {plain(doubt)}" for doubt in doubts)] if doubts else []
    lines += ["", "Not in it:", ""]
    lines += [f"- {clock(cue.onset_ms / 1000)} {plain(cue.text)}: {why}" for cue, why in patterns.lines.left]
    return lines if patterns.lines.left else [*lines[:-2], "All that is kept is in it."]


def _how_it_goes(patterns: PatternPlan) -> str:
    """Return what is done, how often and for how long, as a sentence."""
    shape = patterns.shape
    if shape.sections:
        rows = zip(patterns.titles, shape.sections, strict=True)
        return " ".join(f"{title}: {_circuit(section.shape)}" for title, section in rows)
    return _circuit(shape)


def _circuit(shape: ClassShape) -> str:
    start = "" if shape.every_ms is None else f"a set every {format_duration(shape.every_ms)}, "
    work = ", ".join(format_duration(ms) for ms in shape.ladder_ms or [shape.work_ms])
    times = f"{start}{work} of work, {format_duration(shape.rest_ms)} of rest"
    if shape.round_rest_ms is not None:
        times += f", {format_duration(shape.round_rest_ms)} between rounds"
    places = ", ".join(plain(place.exercise) for place in shape.places)
    done = f"{shape.rounds} × ({places})"
    if shape.parts:
        done = ", then ".join(f"{part.n_sets} × {plain(part.exercise)}" for part in shape.parts)
    return f"{done}; {times}."


def role_lines(cues: Sequence[FoundCue], kept: Sequence[bool]) -> list[str]:
    """Return the part of the report about roles that are guesses, as lines of Markdown."""
    rows = [
        f"- {clock(cue.start_s)} {plain(cue.text)}: {cue.purpose}, or {cue.second}"
        for cue, keep in zip(cues, kept, strict=True)
        if keep and not cue.is_sure
    ]
    return ["", "## What lines are for: guesses", "", *rows] if rows else []


def picture_lines(cues: Sequence[FoundCue], proposed: Sequence[Sequence[str]]) -> list[str]:
    """Return the part of the report about what may be said instead of what needs a picture."""
    rows = [
        f"- {clock(cue.start_s)} {plain(cue.text)}: instead, {' or '.join(plain(text) for text in texts)}"
        for cue, texts in zip(cues, proposed, strict=True)
        if texts
    ]
    return ["", "## Instead of what needs a picture", "", *rows] if rows else []


def as_json(patterns: PatternPlan | None, why: str) -> dict[str, Any]:
    """Return what the report as JSON holds of the class as exercises."""
    if patterns is None:
        return {"written": False, "why": why}
    shape = patterns.shape
    return {
        "written": True,
        "uncertain": shape_doubts(shape),
        "rounds": shape.rounds,
        "every_ms": shape.every_ms,
        "work_ms": shape.work_ms,
        "ladder_ms": shape.ladder_ms,
        "rest_ms": shape.rest_ms,
        "round_rest_ms": shape.round_rest_ms,
        "exercises": [asdict(place) for place in shape.places],
        "sections": [
            {
                "title": title,
                "rounds": one.shape.rounds,
                "work_ms": one.shape.work_ms,
                "ladder_ms": one.shape.ladder_ms,
                "rest_ms": one.shape.rest_ms,
                "round_rest_ms": one.shape.round_rest_ms,
                "rest_after_ms": one.rest_ms,
                "exercises": [asdict(place) for place in one.shape.places],
            }
            for title, one in zip(patterns.titles, shape.sections, strict=True)
        ],
        "left": [{"text": cue.text, "at_ms": cue.onset_ms, "why": why} for cue, why in patterns.lines.left],
    }
