"""Edits of a plan's text that touch nothing but what they change.

A form changes one value, adds a line or moves a block; comments, quotes, order and spacing of all the rest
stay byte for byte (see :mod:`cuelane.desk.splice`). Every edit is made twice, on the text and on the plain
data; text that does not then read as that data is never handed on.

A path names a place: keys of mappings and indices of lists from the outside in.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

Place = tuple[str | int, ...]


ABSENT = object()
"""The value of a place that is not there."""


class EditError(ValueError):
    """The text cannot be changed so; the message says why, for the person at the form."""


@dataclass(frozen=True)
class Set:
    """Give the value at `path`, whether or not it is there yet.

    ``order`` holds the keys of that mapping in the order in which people are used to see them: a new key is
    put before the first that comes later.
    """

    path: Place
    value: Any
    order: tuple[str, ...] = ()


@dataclass(frozen=True)
class Remove:
    """Take out the key or the item at `path`."""

    path: Place


@dataclass(frozen=True)
class Insert:
    """Put `value` into the list at `path`, before the item that is at `index` now."""

    path: Place
    index: int
    value: Any


@dataclass(frozen=True)
class Move:
    """Bring the item at `index` of the list at `path` to where it stands at `to` afterwards."""

    path: Place
    index: int
    to: int


@dataclass(frozen=True)
class Rename:
    """Give the key at `path` another name."""

    path: Place
    name: str


Edit = Set | Remove | Insert | Move | Rename


def data_of(text: str) -> Any:
    """Return the plain data of a YAML text: mappings, lists and scalars.

    Raises EditError where the text is not YAML.
    """
    try:
        return YAML(typ="safe", pure=True).load(text)
    except (YAMLError, ValueError, AssertionError, RecursionError) as error:
        raise EditError("the text is not YAML at present; mend it in the text first") from error


def value_at(data: Any, path: Place) -> Any:
    """Return what stands at `path`; raises KeyError, IndexError or TypeError where nothing does."""
    for step in path:
        data = data[step]
    return data


def on_data(data: Any, edit: Edit) -> Any:
    """Return a copy of `data` with `edit` made."""
    made = copy.deepcopy(data)
    try:
        match edit:
            case Set(path, value):
                value_at(made, path[:-1])[path[-1]] = copy.deepcopy(value)
            case Remove(path):
                del value_at(made, path[:-1])[path[-1]]
            case Insert(path, index, value):
                value_at(made, path).insert(index, copy.deepcopy(value))
            case Move(path, index, to):
                items = value_at(made, path)
                items.insert(to, items.pop(index))
            case Rename(path, name):
                parent = value_at(made, path[:-1])
                if name in parent and name != path[-1]:
                    raise EditError(f"'{name}' is there already")
                items = [(name if key == path[-1] else key, value) for key, value in parent.items()]
                parent.clear()
                parent.update(items)
    except (KeyError, IndexError, TypeError, AttributeError) as error:
        raise EditError("this is no longer there; it was changed meanwhile") from error
    return made


def same(one: Any, other: Any) -> bool:
    """Tell whether two plain values are the same, types included; the order of keys means nothing in YAML."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)
