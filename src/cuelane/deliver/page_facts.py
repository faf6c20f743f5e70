"""What the page says of a session's facts and room, read from a schedule's further keys.

Anybody may have written a schedule file, so a key that is absent or of another type is ignored, and no error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from cuelane.base.page_words import PageWords, page_words
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
            words = page_words(schedule.language)
            told = words("score.from", clock=_clock_s(first / 1000)) if first is not None else ""
            rows.append((item, told))
    return rows


def fact_rows(schedule: Schedule, outline: Outline) -> list[Fact]:
    """Return what is worth knowing about the session and is not under its title already."""
    facts, words = schedule.extra.get("facts"), page_words(schedule.language)
    rows: list[Fact] = []
    if outline.work_ms and outline.effective_ms != outline.work_ms:
        rows.append(Fact(words("facts.effective"), format_clock(outline.effective_ms), True))
    if outline.work_ms and outline.rest_ms:
        ratio = words("facts.ratio_value", n=words.decimal(outline.work_ms / outline.rest_ms, 1))
        rows.append(Fact(words("facts.ratio"), ratio, True))
    left, right = number(facts, "left_ms") or 0, number(facts, "right_ms") or 0
    if left or right:
        both = words("facts.sides_value", left=_clock_s(left / 1000), right=_clock_s(right / 1000))
        rows.append(Fact(words("facts.sides"), both, True))
    for item, first in equipment_rows(schedule):
        needed = words("facts.needs_value", item=item, since=first) if first else item
        rows.append(Fact(words("facts.needs"), needed))
    rows.append(Fact(words("facts.cues"), str(len(schedule.cues))))
    rows.append(Fact(words("facts.open"), _open(outline, words)))
    talk = part(facts, "talk")
    longest, longest_at = outline.longest_talk_ms / 1000, outline.longest_talk_at_ms / 1000
    rows.append(Fact(words("facts.talk"), _stretch(longest, longest_at, words)))
    quiet, quiet_at = number(talk, "longest_without_talk_s"), number(talk, "longest_without_talk_at_s")
    if quiet is not None and quiet_at is not None:
        rows.append(Fact(words("facts.quiet"), _stretch(quiet, quiet_at, words)))
    rows += _room_rows(part(schedule.extra, "room"), words)
    rows += _energy_rows(part(facts, "energy"), words)
    return rows


def _open(outline: Outline, words: PageWords) -> str:
    clock = format_clock(outline.open_ms)
    if not outline.length_ms:
        return clock
    return words("facts.open_value", time=clock, share=str(outline.open_percent))


def _stretch(length_s: float, at_s: float, words: PageWords) -> str:
    return words("facts.stretch", length=f"{words.decimal(length_s, 1)} s", clock=_clock_s(at_s))


def _level(level_lu: float, words: PageWords) -> str:
    if abs(level_lu) < 0.5:
        return words("facts.as_loud")
    return words("facts.louder" if level_lu > 0 else "facts.quieter", n=f"{abs(level_lu):.0f}")


def _room_rows(room: Mapping[str, Any], words: PageWords) -> list[Fact]:
    rows: list[Fact] = []
    for key, name in (
        ("good_to_lu", "good"),
        ("understood_to_lu", "understood"),
        ("pips_heard_to_lu", "pips_heard"),
    ):
        level = number(room, key)
        if level is not None:
            rows.append(Fact(words(f"facts.{name}"), _level(level, words)))
    return rows


def _energy_rows(energy: Mapping[str, Any], words: PageWords) -> list[Fact]:
    kcal, mass = number(energy, "kcal"), number(energy, "body_mass_kg")
    if kcal is None or mass is None:
        return []
    told = "; ".join(plain(energy[key]) for key in ("edition", "formula") if energy.get(key))
    caution = plain(energy.get("caution", ""))
    n_decimals = len(f"{mass:g}".partition(".")[2])
    value = words("facts.energy_value", kcal=f"{kcal:.0f}", mass=words.decimal(mass, n_decimals))
    parts = [value, told, caution]
    return [Fact(words("facts.energy"), ". ".join(text.rstrip(".") for text in parts if text) + ".")]


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
