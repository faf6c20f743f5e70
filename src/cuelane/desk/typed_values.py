"""What a person types into a field of the desk's form, as the plan holds it.

People of four of the desk's languages write a decimal comma. So does nobody in a plan, where a comma parts
the items of a list: ``22,5s`` typed for one time, or among several, is 22.5 s, not 22 s and 5 s.
"""

from __future__ import annotations

import re
from typing import Any

from ruamel.yaml import YAML

from cuelane.desk.edits import EditError
from cuelane.desk.words import Said

# One figure after the comma, and no space: tenths. Two are the next item of a list typed without spaces.
_TENTHS = re.compile(r"(?<![\d,])(\d+),(\d)(?![\d,])")
_DECIMAL = re.compile(r"(\d+),(\d+)(\s*[a-zA-Z]*)")


def typed(kind: str, text: str) -> Any:
    """Return what a person typed into a field of `kind`, as the plan holds it.

    Raises
    ------
    EditError : it is no YAML, where YAML is asked for.
    """
    text = " ".join(text.split()) if kind != "yaml" else text.strip()
    match kind:
        case "whole" | "number" | "duration":
            return _number(_DECIMAL.sub(r"\1.\2\3", text) if _DECIMAL.fullmatch(text) else text)
        case "yes":
            return text == "true"
        case "names":
            return [part.strip() for part in text.split(",") if part.strip()]
        case "durations":
            text = _TENTHS.sub(r"\1.\2", text)
            return [_number(part.strip()) for part in text.split(",") if part.strip()]
        case "rounds":
            parts = [_number(part.strip()) for part in text.split(",") if part.strip()]
            return parts[0] if len(parts) == 1 else parts
        case "yaml":
            return _from_yaml(text)
    return text


def _number(text: str) -> int | float | str:
    """Return a number where the text is one and writing it as a number changes nothing."""
    for kind in (int, float):
        try:
            value = kind(text)
        except ValueError:
            continue
        if str(value) == text:
            return value
    return text


def _from_yaml(text: str) -> Any:
    try:
        return YAML(typ="safe", pure=True).load(text)
    except Exception as error:  # ruamel raises several kinds for text that is no YAML.
        raise EditError(Said("wrong.not_yaml")) from error
