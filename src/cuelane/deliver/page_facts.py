"""What the page says of a session's facts and room, read from a schedule's further keys.

Anybody may have written a schedule file, so a key that is absent or of another type is ignored, and no error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock
from cuelane.deliver.outline import Outline
from cuelane.web.page_parts import plain

# These warnings concern the body of the person who trains; the others are for the plan's author.
FOR_EVERYONE = frozenset({"uneven-sides", "same-load"})


@dataclass(frozen=True)
class Fact:
    """A name and a value; ``on_card`` if they are of use on the printed card."""

    name: str
    value: str
    on_card: bool = False


def part(record: object, key: str) -> Mapping[str, Any]:
    """Return the object under `key`, an empty one if there is none."""
    value = record.get(key) if isinstance(record, Mapping) else None
    return value if isinstance(value, Mapping) else {}


def records(record: object, key: str) -> Iterator[Mapping[str, Any]]:
    """Yield the objects in the list under `key`."""
    value = record.get(key) if isinstance(record, Mapping) else None
    for row in value if isinstance(value, list | tuple) else ():
        if isinstance(row, Mapping):
            yield row


def texts(record: object, key: str) -> list[str]:
    """Return the texts in the list under `key`, each safe on one line."""
    value = record.get(key) if isinstance(record, Mapping) else None
    rows = value if isinstance(value, list | tuple) else ()
    return [plain(row) for row in rows if isinstance(row, str) and plain(row)]


def number(record: object, key: str) -> float | None:
    """Return the finite number under `key`, if it is one."""
    value = record.get(key) if isinstance(record, Mapping) else None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def needs_of(schedule: Schedule) -> dict[str, tuple[str, ...]]:
    """Return the equipment of each exercise, in order of need."""
    found: dict[str, list[str]] = {}
    for thing in records(schedule.extra.get("facts"), "equipment"):
        item = plain(thing.get("item", ""))
        for name in texts(thing, "exercises"):
            if item:
                found.setdefault(name, []).append(item)
    return {name: tuple(items) for name, items in found.items()}


def _clock_s(seconds: float) -> str:
    return format_clock(max(0, round(seconds * 1000)))


def equipment_rows(schedule: Schedule) -> list[tuple[str, str]]:
    """Return each thing needed and when first."""
    rows = []
    for thing in records(schedule.extra.get("facts"), "equipment"):
        first = number(thing, "first_ms")
        item = plain(thing.get("item", ""))
        if item:
            rows.append((item, f"from {_clock_s(first / 1000)}" if first is not None else ""))
    return rows


def fact_rows(schedule: Schedule, outline: Outline) -> list[Fact]:
    """Return what is worth knowing about the session and is not under its title already."""
    facts = schedule.extra.get("facts")
    rows: list[Fact] = []
    if outline.work_ms and outline.effective_ms != outline.work_ms:
        rows.append(Fact("Work after settling in", format_clock(outline.effective_ms), True))
    if outline.work_ms and outline.rest_ms:
        rows.append(Fact("Work to rest", f"{outline.work_ms / outline.rest_ms:.1f} to 1", True))
    left, right = number(facts, "left_ms") or 0, number(facts, "right_ms") or 0
    if left or right:
        rows.append(Fact("Left and right", f"{_clock_s(left / 1000)} and {_clock_s(right / 1000)}", True))
    for item, first in equipment_rows(schedule):
        rows.append(Fact("Needs", f"{item}, {first}" if first else item))
    rows.append(Fact("Cues", str(len(schedule.cues))))
    share = f", {100 * outline.open_ms // outline.length_ms} %" if outline.length_ms else ""
    rows.append(Fact("Open time", format_clock(outline.open_ms) + share))
    longest = f"{outline.longest_talk_ms / 1000:.1f} s"
    rows.append(Fact("Longest talk", f"{longest}, from {format_clock(outline.longest_talk_at_ms)}"))
    talk = part(facts, "talk")
    quiet, quiet_at = number(talk, "longest_without_talk_s"), number(talk, "longest_without_talk_at_s")
    if quiet is not None and quiet_at is not None:
        rows.append(Fact("Longest quiet", f"{quiet:.1f} s, from {_clock_s(quiet_at)}"))
    rows += _room_rows(part(schedule.extra, "room"))
    rows += _energy_rows(part(facts, "energy"))
    return rows


def _level(level_lu: float) -> str:
    if abs(level_lu) < 0.5:
        return "as loud as the voice"
    return f"{abs(level_lu):.0f} LU {'louder' if level_lu > 0 else 'quieter'} than the voice"


def _room_rows(room: Mapping[str, Any]) -> list[Fact]:
    rows: list[Fact] = []
    for key, name in (
        ("good_to_lu", "Every cue is clear over music"),
        ("understood_to_lu", "Every cue is understood over music"),
        ("pips_heard_to_lu", "Every pip is heard over music"),
    ):
        level = number(room, key)
        if level is not None:
            rows.append(Fact(name, f"up to {_level(level)}"))
    return rows


def _energy_rows(energy: Mapping[str, Any]) -> list[Fact]:
    kcal, mass = number(energy, "kcal"), number(energy, "body_mass_kg")
    if kcal is None or mass is None:
        return []
    told = "; ".join(plain(energy[key]) for key in ("edition", "formula") if energy.get(key))
    caution = plain(energy.get("caution", ""))
    parts = [f"about {kcal:.0f} kcal at {mass:g} kg", told, caution]
    return [Fact("Energy", ". ".join(text.rstrip(".") for text in parts if text) + ".")]


def grades_of(schedule: Schedule) -> dict[str, str]:
    """Return, by cue, ``fair`` or ``poor`` where it is not well heard over the music that room assumed."""
    return {
        str(row.get("id")): str(row["grade"])
        for row in records(schedule.extra.get("room"), "cues")
        if row.get("grade") in ("fair", "poor")
    }


def warning_lines(schedule: Schedule) -> list[str]:
    """Return what the facts say of load and balance, for whoever trains."""
    facts = schedule.extra.get("facts")
    codes = texts(facts, "warning_codes")
    return [text for code, text in zip(codes, texts(facts, "warnings"), strict=False) if code in FOR_EVERYONE]
