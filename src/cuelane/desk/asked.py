"""What the page asks for, as edits of the plan: a press of a button can mean several, made as one step."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from cuelane.base.language import pack_code
from cuelane.desk.edits import (
    ABSENT,
    Edit,
    EditError,
    Insert,
    Move,
    Place,
    Remove,
    Rename,
    Set,
    data_of,
    set_in,
    value_at,
)
from cuelane.desk.forms import all_fields, key_order, plan_fields
from cuelane.desk.typed_values import typed
from cuelane.desk.words import Said, desk_words
from cuelane.plan.starter import starter_plan

MOST_EDITS = 100
_MOST_ITEMS, _INDEX = 10**9, re.compile(r"[0-9]{1,9}")
"""Far more than a list of a plan holds; what is larger is no index."""
_NAMING_KEYS = ("exercise", "exercises", "to", "leave_out")
_LINE_KEYS = ("text", "rounds", "from_round", "to", "at", "must", "weight", "allow")


class BadRequestError(Exception):
    """The page asked for something that makes no sense."""


def edits_asked(rows: Any, data: Any) -> list[Edit]:
    """Return the edits that a page's request names, for a plan that holds `data`.

    Raises
    ------
    BadRequestError : the request is not one that the desk's page makes.
    EditError : what it names is not there.
    """
    if not isinstance(rows, list) or not 0 < len(rows) <= MOST_EDITS:
        raise BadRequestError(f"edits must be a list of 1 to {MOST_EDITS}")
    found: list[Edit] = []
    for row in rows:
        if not isinstance(row, dict):
            raise BadRequestError("an edit must be an object")
        found += _edits(row, data)
    return found


def was_there(was: Any) -> Any:
    """Return the value that the page saw at a place before it was changed."""
    if not isinstance(was, dict) or was.get("absent"):
        return ABSENT
    return _value(was)


def place_of(data: Any, name: Any) -> Place:
    """Return the place that a page names, as a JSON Pointer without its first slash or as a list of steps."""
    if isinstance(name, list):
        steps = name
    elif isinstance(name, str):
        steps = [step.replace("~1", "/").replace("~0", "~") for step in name.split("/")]
    else:
        raise BadRequestError("a place must be a text or a list")
    if len(steps) > 16 or not all(type(step) in (str, int) for step in steps):
        raise BadRequestError("a place must be keys and indices")
    place: list[str | int] = []
    here = data
    for step in steps:
        if isinstance(here, list) and _INDEX.fullmatch(str(step)):
            step = int(step)
        place.append(step)
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            here = None
    return tuple(place)


def _edits(row: Mapping[str, Any], data: Any) -> Iterator[Edit]:
    if row.get("op") == "add":
        yield from _added(row, data)
        return
    place = place_of(data, row.get("at", row.get("place")))
    if not place:
        raise BadRequestError("a place must be named")
    match row.get("op"):
        case "set":
            yield _set(place, _value(row), row.get("kind"), data)
        case "remove":
            yield Remove(place)
        case "insert":
            yield Insert(place, _index(row, "index"), row.get("value"))
        case "move":
            yield Move(place, _index(row, "index"), _index(row, "to"))
        case "copy":
            index = place[-1]
            if not isinstance(index, int):
                raise BadRequestError("only what stands in a list can be copied")
            yield Insert(place[:-1], index + 1, copy.deepcopy(_there(data, place)))
        case "append":
            yield _appended(place, " ".join(str(row.get("typed", "")).split()), data)
        case "wish":
            yield from _wish(place, str(row.get("key")), row.get("value"), data)
        case "wishes":
            yield Set(place, {"text": _there(data, place), "must": False})
        case "times":
            yield Set(place, {"exercise": _there(data, place), "work": "40s"})
        case "rename":
            yield from _renamed(place, " ".join(str(row.get("name", "")).split()), data)
        case other:
            raise BadRequestError(f"there is no edit called {other!r}")


def _value(row: Mapping[str, Any]) -> Any:
    if "kind" not in row:
        return row.get("value")
    kind = str(row["kind"])
    return typed("text" if kind in ("line", "entry") else kind, str(row.get("typed", "")))


def _index(row: Mapping[str, Any], key: str) -> int:
    value = row.get(key)
    if type(value) is not int or not 0 <= value < _MOST_ITEMS:
        raise BadRequestError(f"{key} must be a whole number")
    return value


def _there(data: Any, place: Place) -> Any:
    try:
        return value_at(data, place)
    except (KeyError, IndexError, TypeError) as error:
        raise EditError(Said("wrong.gone")) from error


def _set(place: Place, value: Any, kind: Any, data: Any) -> Edit:
    """Return the edit that gives a place its value; the words of a line with wishes stand one step deeper."""
    try:
        there = value_at(data, place)
    except (KeyError, IndexError, TypeError):
        there = None
    if isinstance(there, dict) and kind == "line":
        return Set((*place, "text"), value)
    if isinstance(there, dict) and kind == "entry":
        return Set((*place, "exercise"), value)
    if kind == "line" and value == "":
        return Remove(place)
    if len(place) > 1 and place[-2] in _group_keys() and _holds_nothing(data, place[:-1]):
        return Set(place[:-1], {place[-1]: value}, key_order(place[:-2]))
    return Set(place, value, key_order(place[:-1]))


@cache
def _group_keys() -> frozenset[str]:
    """Return the keys that hold a group of others, whose fields are shown before the plan has the group."""
    return frozenset(one.label for one in all_fields(plan_fields({})) if one.kind in ("group", "switch"))


def _holds_nothing(data: Any, place: Place) -> bool:
    try:
        return value_at(data, place) is None
    except (KeyError, IndexError, TypeError):
        return True


def _appended(place: Place, text: str, data: Any) -> Edit:
    """Return the edit that adds a line, or an entry, to what stands at a key; nothing may stand there yet."""
    if not text:
        raise BadRequestError("there is nothing to add")
    try:
        there = value_at(data, place)
    except (KeyError, IndexError, TypeError):
        there = None
    if there is None or there == [] or there in ("standard", "none", False):
        return Set(place, [text] if place[-1] == "exercises" else text, key_order(place[:-1]))
    if isinstance(there, list):
        return Insert(place, len(there), text)
    return Set(place, [there, text])


def _wish(place: Place, key: str, value: Any, data: Any) -> Iterator[Edit]:
    """Return the edits that give a line a wish, or take it from it where `value` is None."""
    if key not in _LINE_KEYS[1:]:
        raise BadRequestError(f"a line has no wish called {key!r}")
    line = _there(data, place)
    if isinstance(line, dict):
        if value is not None:
            yield Set((*place, key), value, _LINE_KEYS)
        elif len(line) == 2 and key in line and "text" in line:
            yield Set(place, line["text"])
        else:
            yield Remove((*place, key))
    elif value is not None:
        yield Set(place, {"text": line, key: value})


def _renamed(place: Place, name: str, data: Any) -> Iterator[Edit]:
    """Return the edits that give an exercise another name, wherever the plan speaks of it."""
    if not name:
        raise BadRequestError("a name is needed")
    old = place[-1]
    # What speaks of it first: a line of its own may, and stands at its old name until that is changed.
    for part in ("session", "exercises", "variants") if place[0] == "exercises" else ():
        yield from _mentions((part,), data.get(part), old, name)
    yield Rename(place, name)


def _mentions(place: Place, here: Any, old: Any, name: str) -> Iterator[Edit]:
    """Return the edits for each place that names an exercise: at a key, in a list there, or swapped."""
    items = here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ()
    for step, value in items:
        key = place[-1] if isinstance(step, int) else step
        if value == old and (key in _NAMING_KEYS or place[-1] == "swap"):
            yield Set((*place, step), name)
        elif isinstance(value, dict | list):
            yield from _mentions((*place, step), value, old, name)
        if step == old and place[-1] == "swap":
            yield Rename((*place, step), name)


def _added(row: Mapping[str, Any], data: Any) -> Iterator[Edit]:
    """Return the edits that add a part of the session, or an exercise, ready to be changed."""
    session = data.get("session") if isinstance(data, dict) else None
    exercises = data.get("exercises") if isinstance(data, dict) else None
    exercises = exercises if isinstance(exercises, dict) else {}
    language = _language_of(data)
    kind = row.get("kind")
    if kind == "exercise":
        name = " ".join(str(row.get("name", "")).split())
        if not name:
            raise BadRequestError("a name is needed")
        if name in exercises:
            raise EditError(Said("wrong.there_already", name=name))
        body = {"setup": f"{name[:1].upper()}{name[1:]}."}
        yield from set_in(data, "exercises", {name: body}, key_order(()))
        return
    new: dict[str, Any]
    match kind:
        case "say":
            new = {"say": desk_words(language).new["say"]}
        case "rest":
            new = {"rest": "30s"}
        case "include":
            new = {"include": str(row.get("name", ""))}
        case "block":
            starter = data_of(starter_plan(str(row.get("pattern", "")), "New", language))
            new = next(item for item in starter["session"] if "block" in item)
            named = {
                name: body
                for name, body in starter.get("exercises", {}).items()
                if name not in exercises and _speaks_of(new, name)
            }
            yield from set_in(data, "exercises", named, key_order(()))
        case other:
            raise BadRequestError(f"nothing is called {other!r}")
    if isinstance(session, list) and session:
        yield Insert(("session",), len(session), new)
    else:
        yield Set(("session",), [new], key_order(()))


def _language_of(data: Any) -> str:
    """Return the language in which a plan is written, English where it names none that is known."""
    tag = data.get("language") if isinstance(data, dict) else None
    return pack_code(str(tag)) or "en" if tag else "en"


def _speaks_of(here: Any, name: str) -> bool:
    if isinstance(here, dict | list):
        return any(_speaks_of(value, name) for value in (here.values() if isinstance(here, dict) else here))
    return bool(here == name)
