"""What differs between two texts of a plan, said as its form says it: for who does not read YAML."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import islice
from typing import Any

from cuelane.base.errors import PlanError
from cuelane.desk.edits import ABSENT, Place
from cuelane.desk.forms import ITEM_KEYS, Field
from cuelane.desk.labels import label_of, option_of, pattern_of
from cuelane.desk.words import desk_words
from cuelane.plan import tree
from cuelane.plan.parse import Budget, parse
from cuelane.plan.source_text import MAX_FILE_BYTES, Lines
from cuelane.web.page_parts import plain

MOST_SHOWN = 12
_LONGEST = 160
_KEY_DEPTH = 3
"""``session``, its number, the key."""
_CHOICES = ("sides", "first_side", "coaching", "cautions")
_NAMING_KEYS = tuple(key for key in ITEM_KEYS if key != "block")
_MOST_PAIRS = 1_000_000
"""Chosen: lists of a thousand items each are still compared item by item; it takes their product in time."""
_DEEPEST = 16
"""Chosen: what lies deeper than any part of a plan is shown as a whole."""


@dataclass(frozen=True)
class PlanDifference:
    """One thing that differs: what it is called, and its value in either text, in words; empty for none."""

    what: str
    before: str
    now: str


def differences(before: str, now: str) -> list[PlanDifference]:
    """Return what differs, in the order of the plan, at most 12 things; none where no value does.

    Nor is there any where one of the texts cannot be read, or holds no keys: then the texts must be shown.
    """
    old, new = _data(before), _data(now)
    if not (isinstance(old, dict) and isinstance(new, dict)):
        return []
    found = islice(_changes((), old, new), MOST_SHOWN)
    return [
        PlanDifference(
            _called(place, old if is_now is ABSENT else new), _told(place, was), _told(place, is_now)
        )
        for place, was, is_now in found
    ]


def _data(text: str) -> Any:
    """Return what a text holds, None where it is none that a plan may be: with its limits, and no aliases."""
    if len(text) > MAX_FILE_BYTES:
        return None
    try:
        return tree.plain(parse(Lines("", text), Budget()))
    except PlanError:
        return None


def _changes(place: Place, was: Any, now: Any) -> Iterator[tuple[Place, Any, Any]]:
    """Yield (place, value before, value now) of what differs, as deep as both have the same shape."""
    if type(was) is type(now) and was == now:
        return
    if len(place) < _DEEPEST and isinstance(was, dict) and isinstance(now, dict):
        for key in {**was, **now}:
            yield from _changes((*place, key), was.get(key, ABSENT), now.get(key, ABSENT))
    elif len(place) < _DEEPEST and isinstance(was, list) and isinstance(now, list):
        yield from _of_lists(place, was, now)
    else:
        yield place, was, now


def _of_lists(place: Place, was: list[Any], now: list[Any]) -> Iterator[tuple[Place, Any, Any]]:
    old, new = [_form(item) for item in was], [_form(item) for item in now]
    if len(old) * len(new) > _MOST_PAIRS:
        yield place, was, now
        return
    if sorted(old) == sorted(new):
        # Put into another order, and nothing else.
        yield place, was, now
        return
    for tag, a, b, c, d in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            continue
        for step in range(max(b - a, d - c)):
            first = was[a + step] if a + step < b else ABSENT
            second = now[c + step] if c + step < d else ABSENT
            yield from _changes((*place, c + step if second is not ABSENT else a + step), first, second)


def _form(item: Any) -> str:
    return json.dumps(item, default=str, sort_keys=True)


def _called(place: Place, data: Any) -> str:
    """Return what the value at `place` is called, from the largest part to the smallest."""
    words: list[str] = []
    here: Any = data
    for depth, step in enumerate(place, 1):
        whole, here = here, _inside(here, step)
        path = place[:depth]
        if depth == 1 and step in ("session", "exercises") and len(place) > 1:
            continue
        if path[0] == "session" and depth == 2:
            words.append(_item(here, int(step)) if isinstance(step, int) else str(step))
        elif path[0] == "exercises" and depth == 2:
            words.append(str(step))
        elif path[0] == "session" and depth == _KEY_DEPTH and step in _NAMING_KEYS and "block" not in whole:
            # A rest is called by its length already, words by what is said.
            continue
        elif isinstance(step, int):
            words.append(str(step + 1))
        else:
            words.append(_label(path))
    return plain(" · ".join(words))


def _inside(here: Any, step: Any) -> Any:
    try:
        return here[step]
    except (KeyError, IndexError, TypeError):
        return None


def _label(path: Place) -> str:
    if path == ("session",):
        return desk_words().compose["session"]
    if path == ("exercises",):
        return desk_words().compose["exercises"]
    if path[-1] == "pattern":
        return desk_words().shelf["pattern"]
    return label_of(Field(path, str(path[-1]), "text", ""))


def _item(item: Any, index: int) -> str:
    """Return what a part of the session is called: its kind and its name."""
    words = desk_words().compose
    kind = next((key for key in ITEM_KEYS if isinstance(item, dict) and key in item), "yaml")
    title = _told((), item[kind]) if kind != "yaml" else ""
    return f"{words[f'kind_{kind}']} {title or index + 1}"


def _chosen(place: Place, value: str) -> str:
    """Return a value as its choice is called at the form; anything that is no choice as it is."""
    key = str(place[-1]) if place else ""
    if key == "pattern":
        return pattern_of(value)
    return option_of(value, Field(place, key, "choice", "")) if key in _CHOICES else value


def _told(place: Place, value: Any) -> str:
    """Return a value in words, cut short; empty for what is not there."""
    text = _whole(place, value)
    return plain(text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…")


def _whole(place: Place, value: Any) -> str:
    if value is ABSENT or value is None:
        return ""
    if isinstance(value, bool):
        return "✓" if value else desk_words().compose["off"]
    if isinstance(value, list):
        items = enumerate(islice(value, 40))
        if place == ("session",):
            return ", ".join(_item(item, index) for index, item in items)
        return ", ".join(_whole((*place, index), item) for index, item in items)
    if not isinstance(value, dict):
        return _chosen(place, str(value))
    if "text" in value and len(value) == 1:
        return str(value["text"])
    if len(place) == 2 and place[0] == "session":
        return _item(value, int(place[1]) if isinstance(place[1], int) else 0)
    pairs = islice(value.items(), 12)
    return "; ".join(f"{_label((*place, key))}: {_whole((*place, key), one)}" for key, one in pairs)
