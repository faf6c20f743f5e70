"""The tree that a plan's YAML is read to: values that know their places in the file."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import Any

from cuelane.base.errors import Mark

_INTEGER = re.compile(r"[-+]?[0-9]{1,18}")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]{1,3})?")
_WORDS: dict[str, bool | None] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}


@dataclass
class Scalar:
    """A single value; ``text`` is as written, ``value`` what YAML 1.2 takes it for."""

    mark: Mark
    text: str
    value: str | int | float | bool | None


@dataclass
class Sequence:
    mark: Mark
    items: list[Node] = field(default_factory=list)


@dataclass
class Mapping:
    """Keys to values; ``key_marks`` says where each key stands."""

    mark: Mark
    entries: dict[str, Node] = field(default_factory=dict)
    key_marks: dict[str, Mark] = field(default_factory=dict)


Node = Scalar | Sequence | Mapping


def plain(node: Node) -> Any:
    """Return the tree as dicts, lists and plain values."""
    if isinstance(node, Scalar):
        return node.value
    if isinstance(node, Sequence):
        return [plain(item) for item in node.items]
    return {key: plain(value) for key, value in node.entries.items()}


def node_of(value: Any, mark: Mark) -> Node:
    """Return plain values as a tree in which everything stands at `mark`: the way back from :func:`plain`."""
    if isinstance(value, dict):
        entries = {key: node_of(inner, mark) for key, inner in value.items()}
        return Mapping(mark, entries, dict.fromkeys(entries, mark))
    if isinstance(value, list):
        return Sequence(mark, [node_of(item, mark) for item in value])
    text = json.dumps(value) if isinstance(value, bool) else "" if value is None else str(value)
    return Scalar(mark, text, value)


def resolved(text: str) -> str | int | float | bool | None:
    """Return a plain scalar's value by YAML 1.2.2, section 10.3.2 (core schema), decimals only."""
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    return text
