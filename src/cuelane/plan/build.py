"""Turns one file's tree into models, part by part, so that a fault in one part hides none in another."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import islice, pairwise
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from cuelane.base.errors import Mark
from cuelane.base.units import UNITS
from cuelane.plan.messages import got, meant_key, report_all
from cuelane.plan.model import (
    BLOCKS,
    Entry,
    Exercise,
    Include,
    Item,
    Pause,
    Plan,
    Say,
    ScriptInterval,
)
from cuelane.plan.parts import place_parts
from cuelane.plan.phrases import did_you_mean, listing, nearest, quoted
from cuelane.plan.source_text import Lines
from cuelane.plan.tree import Mapping, Node, Scalar, Sequence, plain

_Model = TypeVar("_Model", bound=BaseModel)
_PLACEHOLDER = Pause.model_construct(rest=1)
_HOLDERS = ("session", "exercises", "intervals", "variants", "cues", "form")
_NO_HOLDERS = {key for kind in (Plan, Exercise, Entry, ScriptInterval) for key in kind.model_fields}
_ITEM_KEYS = ("block", "pattern", "include", "say", "rest")
_COMMA = "inside braces a text that holds a comma needs straight quotes around all of it"
_ENDS = (".", "!", "?", "\u201d", "\u2019")
_WHOLE = re.compile(r"[0-9]{1,6}")
_WITH_UNIT = re.compile(rf"[0-9]\s*({'|'.join(UNITS)})", re.IGNORECASE)
_ANY_BLOCK_KEY = {key: None for block in BLOCKS.values() for key in block.model_fields}
_ONLY_BLOCK_KEYS = frozenset(_ANY_BLOCK_KEY) - {
    key for kind in (Include, Say, Pause) for key in kind.model_fields
}


@dataclass
class Parts:
    """What could be read of one file; ``plan`` is None where something in it is wrong."""

    plan: Plan | None = None
    head: Plan | None = None
    """The plan's own keys, without its session and exercises, where those keys are right."""
    session: list[Item | None] = field(default_factory=list)
    exercises: dict[str, Exercise | None] = field(default_factory=dict)
    named: dict[str, list[Mark]] = field(default_factory=dict)
    """Each exercise that blocks name, and where; of blocks that are wrong elsewhere too."""
    voice: Scalar | None = None
    """Who speaks, where the plan says so as text."""
    names_unsure: bool = False
    """The exercises could not be read; then none is reported as missing."""


def build(lines: Lines, tree: Node) -> Parts:
    """Return the models that `tree` holds; every fault is noted in `lines`."""
    parts = Parts()
    if not isinstance(tree, Mapping):
        message = f"a plan is made of keys such as title and session, but this is {got(tree)}"
        lines.report(tree.mark, message, "see: cuelane new")
        return parts
    n_before = len(lines.problems)
    _drop_empty(lines, tree)
    parts.session = _session(lines, tree)
    parts.named = _named(tree)
    voice = tree.entries.get("voice")
    parts.voice = voice if isinstance(voice, Scalar) and isinstance(voice.value, str) else None
    parts.exercises, parts.names_unsure = _exercises(lines, tree)
    data = plain(tree)
    assert isinstance(data, dict)
    if "session" in data:
        data["session"] = [_PLACEHOLDER] * max(1, len(parts.session)) if parts.session else []
        if not isinstance(tree.entries["session"], Sequence):
            data["session"] = [_PLACEHOLDER]
    data["exercises"] = {}
    parts.head = _validated(lines, Plan, tree, data)
    if parts.head is None:
        return parts
    head_keys = {key: node for key, node in tree.entries.items() if key not in ("session", "exercises")}
    place_parts(parts.head, Mapping(tree.mark, head_keys, tree.key_marks), tree.mark)
    if len(lines.problems) == n_before:
        parts.plan = parts.head.model_copy(update={"session": parts.session, "exercises": parts.exercises})
    return parts


def _validated(
    lines: Lines, kind: type[_Model], node: Node, data: object, pattern: str | None = None
) -> _Model | None:
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        report_all(lines, error, kind, node, pattern)
        return None


def _read(
    lines: Lines, kind: type[_Model], node: Node, mark: Mark, pattern: str | None = None
) -> _Model | None:
    found = _validated(lines, kind, node, plain(node), pattern)
    if found is not None:
        place_parts(found, node, mark)
    return found


def _drop_empty(lines: Lines, node: Node, key: str = "") -> None:
    """Note keys and items without a value, and take them out; an exercise may be just its name."""
    if isinstance(node, Sequence):
        for number, item in enumerate(node.items, 1):
            if isinstance(item, Scalar) and item.value is None:
                lines.report(item.mark, f"item {number} of {key or 'this list'} is empty", "remove its '-'")
            else:
                _drop_empty(lines, item, key)
        _refuse_halves(lines, node)
        node.items = [item for item in node.items if not (isinstance(item, Scalar) and item.value is None)]
    elif isinstance(node, Mapping):
        for name, value in list(node.entries.items()):
            if isinstance(value, Scalar) and value.value is None:
                if key == "exercises":
                    node.entries[name] = Mapping(node.key_marks[name])
                    continue
                del node.entries[name]
                mark = node.key_marks[name]
                # Many at the left edge are names that have lost their place below one key.
                alike = "empty key of a plan" if mark.column == 1 and name not in Plan.model_fields else ""
                lines.report(mark, f"{quoted(name)} has no value", _empty_hint(name), alike=alike)
            else:
                _drop_empty(lines, value, name)


def _empty_hint(key: str) -> str:
    """Return what to do about a key without a value."""
    # In braces a comma ends a text; what follows it is read as a key.
    if " " in key or key.endswith(_ENDS):
        return _COMMA
    if key not in _HOLDERS and (key in _NO_HOLDERS or not nearest(key, _HOLDERS)):
        return "give it one, or remove the line"
    hint = "give it one, further in on the lines below, or remove the line"
    return hint if key in _HOLDERS else f"{did_you_mean(key, _HOLDERS)} {hint}"


def _refuse_halves(lines: Lines, node: Sequence) -> None:
    """Note where a decimal comma has made two times of one: ``[22,5s, 30s]`` has three items."""
    for first, second in pairwise(node.items):
        if not (isinstance(first, Scalar) and isinstance(second, Scalar)):
            continue
        is_joined = (
            first.mark.line == second.mark.line
            and second.mark.column == first.mark.column + len(first.text) + 1
            and _WHOLE.fullmatch(first.text)
            and _WITH_UNIT.fullmatch(second.text)
        )
        if is_joined:
            both = f"{first.text},{second.text}"
            message = f"'{both}' may be one time with a decimal comma, or two times"
            point = both.replace(",", ".")
            lines.report(first.mark, message, f"write {point}, or {first.text}s, {second.text}")


def _session(lines: Lines, tree: Mapping) -> list[Item | None]:
    node = tree.entries.get("session")
    if node is None:
        return []
    if not isinstance(node, Sequence):
        message = f"session: expected a list of blocks, but got {got(node)}"
        lines.report(tree.key_marks["session"], message, "begin each block with '- '")
        return []
    return [_item(lines, item) for item in node.items]


def _named(tree: Mapping) -> dict[str, list[Mark]]:
    session = tree.entries.get("session")
    found: dict[str, list[Mark]] = {}
    for item in session.items if isinstance(session, Sequence) else ():
        if not isinstance(item, Mapping) or not {"block", "pattern"} & item.key_marks.keys():
            continue
        listed = item.entries.get("exercises")
        for entry in listed.items if isinstance(listed, Sequence) else [listed]:
            name = entry.entries.get("exercise") if isinstance(entry, Mapping) else entry
            if isinstance(name, Scalar) and isinstance(name.value, str):
                found.setdefault(name.text, []).append(name.mark)
    return found


def _item(lines: Lines, node: Node) -> Item | None:
    if not isinstance(node, Mapping):
        message = f"a session is made of block, include, say and rest items, but this is {got(node)}"
        hint = ""
        if isinstance(node, Scalar) and node.text.endswith((".yaml", ".yml")):
            hint = f"write  - include: {node.text}"
        lines.report(node.mark, message, hint)
        return None
    if "pattern" in node.key_marks or "block" in node.key_marks:
        return _block(lines, node)
    for key, kind in (("include", Include), ("say", Say)):
        if key in node.key_marks:
            return _read(lines, kind, node, node.mark)  # type: ignore[return-value]
    # A block's other keys tell one whose name is misspelt from a rest: both have "rest".
    if not _ONLY_BLOCK_KEYS.isdisjoint(node.key_marks):
        return _block(lines, node)
    if "rest" in node.key_marks:
        return _read(lines, Pause, node, node.mark)
    for key in node.key_marks:
        if hint := did_you_mean(key, _ITEM_KEYS):
            message = f"unknown key {quoted(key)} in a session item"
            lines.report(node.key_marks[key], message, hint, alike="session item")
            return None
    hint = "each item has one of: block (with pattern), include, say, rest"
    message = "it cannot be told what kind of session item this is"
    lines.report(node.mark, message, hint, alike="session item")
    return None


def _block(lines: Lines, node: Mapping) -> Item | None:
    pattern = node.entries.get("pattern")
    if pattern is None:
        unknown = [key for key in node.key_marks if key not in _ANY_BLOCK_KEY]
        for key in unknown:
            hint = did_you_mean(key, _ANY_BLOCK_KEY)
            lines.report(node.key_marks[key], f"unknown key {quoted(key)} in a block", hint)
        misspelt = any(nearest(key, _ANY_BLOCK_KEY) == "pattern" for key in unknown)
        if not misspelt and "pattern" not in node.key_marks:
            hint = f"add a line such as  pattern: circuit  (or {listing(list(BLOCKS)[1:])})"
            lines.report(node.mark, "a block needs 'pattern', which is missing", hint)
        return None
    name = pattern.text if isinstance(pattern, Scalar) else ""
    if name not in BLOCKS:
        hint = did_you_mean(name, BLOCKS) if name else ""
        message = f"pattern: expected {listing(BLOCKS)}, but got {got(pattern)}"
        lines.report(pattern.mark, message, hint)
        for key in node.key_marks:
            if key not in _ANY_BLOCK_KEY:
                hint = did_you_mean(key, _ANY_BLOCK_KEY)
                lines.report(node.key_marks[key], f"unknown key {quoted(key)} in a block", hint)
        return None
    return _read(lines, BLOCKS[name], node, node.mark, name)  # type: ignore[return-value]


def _exercises(lines: Lines, tree: Mapping) -> tuple[dict[str, Exercise | None], bool]:
    node = tree.entries.get("exercises")
    unknown = (key for key in tree.key_marks if key not in Plan.model_fields)
    is_elsewhere = any(meant_key(key, tree.entries.get(key)) == "exercises" for key in islice(unknown, 20))
    if node is None:
        return {}, is_elsewhere or "exercises" in tree.key_marks
    if not isinstance(node, Mapping):
        message = f"exercises: expected the name of each exercise as a key, but got {got(node)}"
        lines.report(tree.key_marks["exercises"], message, "write a name, a ':' and below it what to say")
        return {}, True
    found: dict[str, Exercise | None] = {}
    for name, body in node.entries.items():
        mark = node.key_marks[name]
        found[name] = None
        if not 1 <= len(name) <= 80:
            message = "an exercise's name has at least one word and at most 80 characters"
            lines.report(mark, message)
        elif not isinstance(body, Mapping):
            message = f"exercise {quoted(name)}: expected keys such as setup and form, but got {got(body)}"
            lines.report(body.mark, message, "write  setup:  before the words")
        else:
            found[name] = _read(lines, Exercise, body, mark)
    return found, is_elsewhere
