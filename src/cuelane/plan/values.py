"""The kinds of single value a plan holds: durations, names, texts, rounds, dates and activity codes.

Each says by itself what it expects, in words for the person who wrote the plan.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainValidator, StringConstraints, WithJsonSchema

from cuelane.base.units import UNITS, parse_duration_ms

MAX_INTERVAL_MS = 3_600_000
MAX_TEXT = 600
MAX_NAME = 80


def _duration(value: Any) -> int:
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        raise ValueError("expected a duration, such as 40s, 1m30s or 1:30")
    try:
        time_ms = parse_duration_ms(value)
    except ValueError as error:
        raise ValueError(f"expected {error}") from error
    if time_ms > MAX_INTERVAL_MS:
        raise ValueError("expected a duration of at most 1 hour")
    return time_ms


def _positive_duration(value: Any) -> int:
    time_ms = _duration(value)
    if time_ms == 0:
        raise ValueError("expected a duration of more than 0")
    return time_ms


def _length(value: Any) -> int:
    time_ms = _duration(value)
    if time_ms < LEAST_LENGTH_MS:
        raise ValueError(f"expected a duration of at least {LEAST_LENGTH_MS}ms")
    return time_ms


def _break(value: Any) -> int:
    time_ms = _duration(value)
    if 0 < time_ms < LEAST_LENGTH_MS:
        raise ValueError(f"expected 0 or a duration of at least {LEAST_LENGTH_MS}ms")
    return time_ms


def as_list(value: Any) -> Any:
    """Return a list as it is, and anything else as a list of one."""
    return value if isinstance(value, list) else [value]


# What people write where nothing is needed, in every language of a pack: a value is read before its plan's
# language is known.
_NOTHING = {
    "-", "n/a", "none", "nothing", "no equipment", "no kit", "bodyweight", "body weight",
    "nada", "ninguno", "ninguna", "sin material", "sin equipo", "sin equipamiento", "peso corporal",
    "rien", "aucun", "aucun matériel", "sans matériel", "sans équipement", "poids du corps",
    "niente", "nessuno", "nessun attrezzo", "senza attrezzi", "corpo libero", "a corpo libero",
    "nenhum", "nenhum equipamento", "sem equipamento", "sem material", "peso do corpo",
    "nichts", "keine", "keins", "keine geräte", "ohne geräte", "ohne gerät", "körpergewicht", "eigengewicht",
}  # fmt: skip


def _things(value: Any) -> Any:
    """Return a list of things; a lone word that says that there are none is an empty list."""
    given = as_list(value)
    alone = given[0] if len(given) == 1 else None
    return [] if isinstance(alone, str) and alone.strip(" .").lower() in _NOTHING else given


_NUMBER = r"\d+(\.\d+)?"
_CLOCK = r"(\d+:)?\d+:[0-5]\d(\.\d{1,3})?"
# In capitals too: an expression in JSON Schema has no sign for either case.
_UNIT = "|".join("".join(f"[{letter}{letter.upper()}]" for letter in unit) for unit in UNITS)
_PARTS = rf"({_NUMBER}\s*({_UNIT})\s*)+"


def duration_schema(*, zero: bool) -> dict[str, Any]:
    """Return the JSON Schema of a duration as people write it, with or without a duration of 0."""
    least = {"minimum": 0} if zero else {"exclusiveMinimum": 0}
    some = "" if zero else "(?=.*[1-9])"
    return {
        "anyOf": [
            {"type": "string", "pattern": rf"^{some}\s*({_NUMBER}|{_CLOCK}|{_PARTS})\s*$"},
            {"type": "number", **least, "maximum": MAX_INTERVAL_MS // 1000},
        ],
        "description": "A duration of at most an hour: 40s, 1m30s, 1:30 or 90 (seconds).",
        "examples": ["40s", "1m30s", "1:30", 90],
    }


Duration = Annotated[int, PlainValidator(_duration), WithJsonSchema(duration_schema(zero=True))]
"""Milliseconds, 0 to an hour."""

LEAST_LENGTH_MS = 200
"""The least time from one boundary, or one short pip, to the next. Chosen: with less, pips of 100 ms and the
silence between them would not fit; nobody can do anything in an interval so short."""

Length = Annotated[int, PlainValidator(_length), WithJsonSchema(duration_schema(zero=False))]
"""Milliseconds, 200 to an hour: an interval, or from one pip to the next."""

Break = Annotated[int, PlainValidator(_break), WithJsonSchema(duration_schema(zero=True))]
"""Milliseconds, 0 for no interval at all, else 200 to an hour."""

Positive = Annotated[int, PlainValidator(_positive_duration), WithJsonSchema(duration_schema(zero=False))]
"""Milliseconds, 1 to an hour."""


def one_or_list(item: dict[str, Any], **limits: Any) -> WithJsonSchema:
    """Return the JSON Schema of one `item` or a list of them."""
    return WithJsonSchema({"anyOf": [item, {"type": "array", "items": item, **limits}]})


_NAME_SCHEMA = {"type": "string", "minLength": 1, "maxLength": MAX_NAME}

Durations = Annotated[
    list[Positive], BeforeValidator(as_list), Field(max_length=40), one_or_list(duration_schema(zero=False))
]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MAX_TEXT)]
FileName = Annotated[str, StringConstraints(min_length=1, max_length=240)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MAX_NAME)]
Names = Annotated[
    list[Name], BeforeValidator(as_list), Field(max_length=40), one_or_list(_NAME_SCHEMA, maxItems=40)
]
Things = Annotated[
    list[Name], BeforeValidator(_things), Field(max_length=40), one_or_list(_NAME_SCHEMA, maxItems=40)
]
"""Names of equipment, none where a lone word says so."""
Share = Annotated[float, Field(gt=0, le=1, strict=True, allow_inf_nan=False)]


def _rounds(value: Any) -> int | list[int] | str:
    numbers = value if isinstance(value, list) else [value]
    if numbers and all(type(n) is int and 1 <= n <= 999 for n in numbers):
        return value  # type: ignore[no-any-return]
    if isinstance(value, str) and value in ("first", "last", "odd", "even"):
        return value
    raise ValueError("expected a number from 1 to 999, a list of such numbers, or first, last, odd or even")


_ROUND_SCHEMA = {"type": "integer", "minimum": 1, "maximum": 999}
Rounds = Annotated[
    int | list[int] | Literal["first", "last", "odd", "even"],
    PlainValidator(_rounds),
    WithJsonSchema(
        {
            "anyOf": [
                _ROUND_SCHEMA,
                {"type": "array", "items": _ROUND_SCHEMA, "minItems": 1},
                {"enum": ["first", "last", "odd", "even"]},
            ],
            "description": "Which appearances of the exercise: 2, [1, 3], first, last, odd or even.",
            "examples": ["first", 2, [1, 3]],
        }
    ),
]


def _date(value: Any) -> datetime.date:
    if isinstance(value, datetime.date):
        return value
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
        raise ValueError("expected a date, such as 2026-05-31")
    try:
        return datetime.date.fromisoformat(value)
    except ValueError as error:
        raise ValueError("expected a date that is in the calendar, such as 2026-05-31") from error


Date = Annotated[
    datetime.date,
    PlainValidator(_date),
    WithJsonSchema({"type": "string", "format": "date", "pattern": r"^\d{4}-\d\d-\d\d$"}),
]


def _activity(value: Any) -> str:
    code = f"{value:05d}" if type(value) is int else value
    if not isinstance(code, str) or not re.fullmatch(r"\d{5}", code, re.ASCII):
        raise ValueError("expected a code of five digits, such as 02214")
    return code


Activity = Annotated[
    str,
    PlainValidator(_activity),
    WithJsonSchema({"anyOf": [{"type": "string", "pattern": r"^\d{5}$"}, {"type": "integer"}]}),
]
"""A code of the Compendium of Physical Activities: five digits, kept as text for its leading zero."""
