"""Edits of a plan's text that touch nothing but what they change.

A form changes one value, adds a line or moves a block; comments, quotes, order and spacing of all the rest
stay byte for byte (see :mod:`cuelane.desk.splice`). Every edit is made twice, on the text and on the plain
data; text that does not then read as that data is never handed on.

A path names a place: keys of mappings and indices of lists from the outside in.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from cuelane.desk.words import Said
from cuelane.plan.pieces import PARSER_ERRORS, kept_by_piece, pieces_of, reader_of

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


@lru_cache(maxsize=8)
def data_of(text: str) -> Any:
    """Return the plain data of a YAML text: mappings, lists and scalars; for reading only, it is kept.

    Raises EditError where the text is not YAML.
    """
    try:
        found = _data_in_pieces(text)
        return YAML(typ="safe", pure=True).load(text) if found is None else found
    except (YAMLError, ValueError, AssertionError, RecursionError) as error:
        raise EditError(Said("wrong.no_yaml")) from error


def _data_in_pieces(text: str) -> dict[Any, Any] | None:
    """Return the data of a text by its pieces, each read once; None where it must be read as a whole."""
    found: dict[Any, Any] = {}
    heading: Any = None
    for piece in pieces_of(text):
        data = _data_of_piece(piece.text)
        kind = list if piece.role == "item" else dict
        if not isinstance(data, kind):
            return None
        target = found
        if piece.role == "heading":
            heading = next(iter(data))
            if data != {heading: None}:
                return None
        elif piece.role != "entries":
            if found[heading] is None:
                found[heading] = kind()
            target = found[heading]
        if not isinstance(target, kind):
            return None
        if isinstance(target, list):
            target += data
        elif target.keys() & data.keys():
            return None
        else:
            target |= data
    return found or None


@kept_by_piece
def _data_of_piece(text: str) -> Any:
    try:
        reader, given = reader_of(text)
        return reader.load(given)
    except (*PARSER_ERRORS, RecursionError):
        return None


def value_at(data: Any, path: Place) -> Any:
    """Return what stands at `path`; raises KeyError, IndexError or TypeError where nothing does."""
    for step in path:
        data = data[step]
    return data


def on_data(data: Any, edit: Edit) -> Any:
    """Return `data` with `edit` made; what it does not touch is shared with `data`, which stays as it is."""
    try:
        match edit:
            case Set(path, value):
                # What stands with its name alone, such as an exercise, is a group without keys.
                made, parent = _copied_to(data, path[:-1], empty={})
                parent[path[-1]] = copy.deepcopy(value)
            case Remove(path):
                made, parent = _copied_to(data, path[:-1])
                del parent[path[-1]]
            case Insert(path, index, value):
                made, items = _copied_to(data, path)
                items.insert(index, copy.deepcopy(value))
            case Move(path, index, to):
                made, items = _copied_to(data, path)
                if to >= len(items):
                    raise IndexError(to)
                items.insert(to, items.pop(index))
            case Rename(path, name):
                made, parent = _copied_to(data, path[:-1])
                if name in parent and name != path[-1]:
                    raise EditError(Said("wrong.there_already", name=name))
                renamed = [(name if key == path[-1] else key, value) for key, value in parent.items()]
                parent.clear()
                parent.update(renamed)
    except (KeyError, IndexError, TypeError, AttributeError) as error:
        raise EditError(Said("wrong.gone")) from error
    return made


def set_in(data: Any, group: str, values: dict[str, Any], order: tuple[str, ...]) -> list[Set]:
    """Return the edits that put `values` into a group of the plan, which need not be there yet.

    ``order`` is that of the plan's own keys.
    """
    if isinstance(data, dict) and isinstance(data.get(group), dict):
        return [Set((group, key), value) for key, value in values.items()]
    return [Set((group,), values, order)] if values else []


def _copied_to(data: Any, path: Place, empty: Any = None) -> tuple[Any, Any]:
    """Return `data` with each group on the way to `path` copied, and the copy of what stands there.

    `empty` takes the place of a value that is not written.
    """
    made = here = copy.copy(data)
    for step in path:
        here[step] = copy.copy(empty if here[step] is None else here[step])
        here = here[step]
    return made, here


def same(one: Any, other: Any) -> bool:
    """Tell whether two plain values are the same, types included; the order of keys means nothing in YAML."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other)
