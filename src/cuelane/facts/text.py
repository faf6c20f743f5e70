"""A session's facts as lines of text for a terminal or a phone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from cuelane.base.units import format_clock, format_duration
from cuelane.facts.talk import USUAL_WORDS_PER_MINUTE

_NAME_COLUMNS = 18


def summary_lines(facts: Mapping[str, Any], *, width: int = 60) -> list[str]:
    """Return the facts (of ``Facts.to_dict``) as lines of at most `width` columns, one fact to a line."""
    lines: list[str] = []
    for name, value in _rows(facts):
        head, indent = name.ljust(_NAME_COLUMNS - 1) + " ", " " * _NAME_COLUMNS
        if len(head) > width // 2:
            # A name so long has lines of its own, or there is no room beside it for a word.
            lines += textwrap.wrap(name, width, break_on_hyphens=False)
            head = indent
        lines += textwrap.wrap(
            value, width, initial_indent=head, subsequent_indent=indent, break_on_hyphens=False
        )
    for code, text in zip(facts["warning_codes"], facts["warnings"], strict=True):
        lines += textwrap.wrap(
            f"note: {text} [{code}]", width, subsequent_indent="      ", break_on_hyphens=False
        )
    return lines


def _rows(facts: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    yield "Total", format_clock(facts["total_ms"])
    if facts["work_ms"]:
        work = format_clock(facts["work_ms"])
        if facts["effective_work_ms"] != facts["work_ms"]:
            work += f", {format_clock(facts['effective_work_ms'])} after settling in"
        yield "Work", work
    if facts["rest_ms"]:
        told = f" (work to rest {_ratio(facts['work_to_rest'])} to 1)" if facts["work_ms"] else ""
        yield "Rest", format_clock(facts["rest_ms"]) + told
    if facts["breath_ms"]:
        yield "Breathing", format_clock(facts["breath_ms"])
    for block in facts["blocks"]:
        yield from _block(block)
    for row in facts["exercises"]:
        yield row["name"], _exercise(row)
    if facts["left_ms"] or facts["right_ms"]:
        yield "Left and right", f"{format_clock(facts['left_ms'])} and {format_clock(facts['right_ms'])}"
    for thing in facts["equipment"]:
        yield "Needs", f"{thing['item']}, first at {format_clock(thing['first_ms'])}"
    if facts["talk"]:
        yield from _talk(facts["talk"])
    if facts["energy"]:
        yield from _energy(facts["energy"])


def _ratio(value: float) -> str:
    """Return a number with two digits that count, or more where it has more before the point."""
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _block(block: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if not block["sets"] and block["rounds"] is None:
        return
    parts = [format_clock(block["length_ms"])]
    if block["rounds"] is not None:
        unit = "breath" if block["pattern"] == "breath" else "round"
        parts.append(_count(block["rounds"], unit))
    if block["sets"]:
        parts.append(_count(block["sets"], "set"))
    yield "Block", f"{block['name']}: {', '.join(parts)}"


def _count(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def _exercise(row: Mapping[str, Any]) -> str:
    text = f"{_count(row['sets'], 'set')}, {format_duration(row['work_ms'])}"
    if row["left_ms"] or row["right_ms"]:
        text += f" (left {format_duration(row['left_ms'])}, right {format_duration(row['right_ms'])})"
    return text


def _talk(talk: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    yield "Open time", f"{format_clock(round(talk['open_s'] * 1000))}, {talk['open_share']:.0%} of the track"
    yield "Longest talk", _stretch(talk["longest_talk_s"], talk["longest_talk_at_s"])
    yield "Longest quiet", _stretch(talk["longest_without_talk_s"], talk["longest_without_talk_at_s"])
    if talk["words_per_minute"] is not None:
        low, high = USUAL_WORDS_PER_MINUTE
        rate = f"{talk['words_per_minute']:.0f} a minute while it speaks"
        yield "Voice", f"{talk['n_words']} words, {rate} (usual, with pauses: {low} to {high})"


def _stretch(length_s: float, at_s: float) -> str:
    return f"{length_s:.1f} s, from {format_clock(round(at_s * 1000))}"


def _energy(energy: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    names = ", ".join(f"{row['name']} ({row['met']:g} MET)" for row in energy["activities"])
    yield (
        "Energy",
        f"about {energy['kcal']:.0f} kcal at {energy['body_mass_kg']:g} kg over "
        f"{format_clock(energy['time_ms'])} of {names}. {energy['edition']}; {energy['formula']}. "
        f"{energy['caution']}",
    )
