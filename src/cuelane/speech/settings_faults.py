"""What is wrong in a file of a voice, in words of our own: where, what was expected, what came."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from itertools import groupby, islice
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

_MOST_FAULTS = 20
_LONGEST_GOT = 60

# What a text has to look like is said by an example; a pattern says it to few.
_EXAMPLES = {
    "language": "a language's tag, such as en or pt-BR",
    "sha256": "64 figures and letters from a to f",
    "voice": "a name of a voice",
}
_KINDS = {
    "string_type": "text in quotes",
    "string_too_short": "at least {min_length} character",
    "string_too_long": "at most {max_length} characters",
    "list_type": "a list",
    "dict_type": "a group of keys",
    "model_type": "a group of keys",
    "model_attributes_type": "a group of keys",
    "bool_type": "true or false",
    "finite_number": "a number",
    "too_short": "at least {min_length} in it",
    "too_long": "at most {max_length} in it",
    "literal_error": "{expected}",
    "greater_than": "a number above {gt:g}",
    "greater_than_equal": "a number from {ge:g} on",
    "less_than": "a number below {lt:g}",
    "less_than_equal": "a number up to {le:g}",
}


def faults_of(error: ValidationError, kind: type[BaseModel], whole: str) -> list[tuple[tuple[str, ...], str]]:
    """Return for each fault, the first 20, the names of the keys that lead to it, and the message.

    Parameters
    ----------
    kind : what the file was read as.
    whole : what the file is, for a fault of all of it, such as ``the index``.
    """
    found = []
    for fault in islice(error.errors(include_url=False), _MOST_FAULTS):
        loc = fault["loc"]
        keys = tuple(part[:80] for part in loc if isinstance(part, str))
        found.append((keys, f"{_place(loc) or whole}: {_told(fault, kind)}"))
    return found


def _place(loc: tuple[int | str, ...]) -> str:
    """Return a place such as ``model.file``, or ``file of item 3 of clips``, counted from 1."""
    parts: list[str] = []
    for is_item, run in groupby(loc, lambda part: isinstance(part, int)):
        named = [f"item {part + 1}" if isinstance(part, int) else part[:80] for part in run]
        parts += named if is_item else [".".join(named)]
    return " of ".join(reversed(parts))


def _told(fault: Mapping[str, Any], kind: type[BaseModel]) -> str:
    type_, context = fault["type"], fault.get("ctx", {})
    if type_ == "missing":
        return "is missing; add it"
    if type_ == "extra_forbidden":
        known = _keys(kind, fault["loc"][:-1])
        near = difflib.get_close_matches(str(fault["loc"][-1])[:80], known, 1)
        return f"is no key here; {f'did you mean {near[0]!r}?' if near else 'keys: ' + ', '.join(known)}"
    if type_ == "string_pattern_mismatch":
        name = next((part for part in reversed(fault["loc"]) if isinstance(part, str)), "")
        expected = _EXAMPLES.get(name, f"text that fits {context['pattern']}")
    elif type_ in _KINDS:
        expected = _KINDS[type_].format(**context)
    elif type_.startswith("int"):
        expected = "a whole number"
    elif type_.startswith("float"):
        expected = "a number"
    else:
        # A rule of our own, in words of its own.
        return str(fault["msg"])
    return f"expected {expected}, but got {_got(fault['input'])}"


def _got(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a group of keys"
    if value is None:
        return "nothing"
    if isinstance(value, int) and abs(value) >= 10**_LONGEST_GOT:
        # Python writes out no number of more than 4,300 figures.
        return "a far larger number"
    text = str(value) if len(str(value)) <= _LONGEST_GOT else str(value)[: _LONGEST_GOT - 1] + "…"
    return repr(text) if isinstance(value, str) else text


def _keys(kind: type[BaseModel], loc: tuple[int | str, ...]) -> list[str]:
    """Return the keys that a part of a file may have."""
    for part in loc:
        field = kind.model_fields.get(part) if isinstance(part, str) else None
        kind = (_model_in(field.annotation) if field is not None else None) or kind
    return list(kind.model_fields)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part)) is not None), None)
