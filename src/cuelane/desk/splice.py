"""Where each value of a YAML text stands, and new text put there: the text side of the edits.

ruamel's composer gives every key and value its place; lines that an edit does not name are never touched.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from ruamel.yaml.scalarstring import DoubleQuotedScalarString, ScalarString, SingleQuotedScalarString

from cuelane.desk.edits import (
    Edit,
    EditError,
    Insert,
    Move,
    Place,
    Remove,
    Rename,
    Set,
    data_of,
    on_data,
    same,
    value_at,
)
from cuelane.desk.places import nodes_of
from cuelane.desk.words import Said

_SHORT = 72
"""A new list of plain words is written on one line up to so many characters; chosen to read well."""


def apply(text: str, edit: Edit) -> str:
    """Return `text` with `edit` made.

    Raises
    ------
    EditError : there is no such place, the text is not YAML, or it is written in a way that this edit would
        take a comment from.
    """
    before = data_of(text)
    wanted = on_data(before, edit)
    # A part that lies inside brackets is written anew from the outermost bracket on.
    root = nodes_of(text)
    outer = _bracketed(root, edit.path, inside=isinstance(edit, Insert | Move))
    if outer is not None:
        node = _at(root, outer)
        written = text[node.start_mark.index : node.end_mark.index]
        if "#" in re.sub(r'"[^"]*"|\'[^\']*\'', "", written):
            raise EditError(Said("wrong.in_brackets"))
        made = _splice(text, node.start_mark.index, node.end_mark.index, _flow(value_at(wanted, outer)))
    else:
        try:
            made = _TextEdit(text, root).made(edit, wanted)
        except EditError:
            raise
        except (IndexError, ValueError) as error:
            # Such as a key without a colon, which only a person who knows YAML well writes.
            raise EditError(Said("wrong.only_text")) from error
    if not same(data_of(made), wanted):
        raise EditError(Said("wrong.only_text"))
    return made


def _child(node: Node, step: str | int) -> Node | None:
    if isinstance(node, MappingNode):
        for key, value in node.value:
            if key.value == step:
                return value  # type: ignore[no-any-return]
    elif isinstance(node, SequenceNode) and isinstance(step, int) and 0 <= step < len(node.value):
        return node.value[step]  # type: ignore[no-any-return]
    return None


def _at(root: Node, path: Place) -> Node:
    node = root
    for step in path:
        found = _child(node, step)
        if found is None:
            raise EditError(Said("wrong.gone"))
        node = found
    return node


def _bracketed(root: Node, path: Place, *, inside: bool) -> Place | None:
    """Return the path of the outermost bracketed collection that holds `path` (or is it, if `inside`)."""
    node: Node | None = root
    for length in range(len(path) + inside):
        if isinstance(node, MappingNode | SequenceNode) and node.flow_style:
            return path[:length]
        node = _child(node, path[length]) if node is not None and length < len(path) else None
    return None


def _is_empty(node: Node) -> bool:
    """Tell whether a value is not written at all, as after ``squat:`` alone."""
    return isinstance(node, ScalarNode) and bool(node.start_mark.index == node.end_mark.index)


def _splice(text: str, start: int, end: int, new: str) -> str:
    return text[:start] + new + text[end:]


def _writer(*, flow: bool) -> YAML:
    writer = YAML(typ="rt", pure=True)
    writer.width = 1_000_000
    writer.allow_unicode = True
    writer.default_flow_style = flow
    # Else a mapping of one key loses its braces in a list, and a lone one is dumped in a list.
    writer.brace_single_entry_mapping_in_flow_sequence = True
    writer.indent(mapping=2, sequence=4, offset=2)
    return writer


def _flow(value: Any) -> str:
    """Return `value` on one line, in brackets if it is a collection."""
    stream = io.StringIO()
    _writer(flow=True).dump([_in_quotes(value)], stream)
    return stream.getvalue().strip()[1:-1]


def _in_quotes(value: Any) -> Any:
    """Return `value` with quotes around texts that the writer leaves bare, though in brackets none may be."""
    if isinstance(value, dict):
        return {_in_quotes(key): _in_quotes(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_in_quotes(one) for one in value]
    if isinstance(value, str) and not isinstance(value, ScalarString) and value.startswith(("?", ":")):
        return DoubleQuotedScalarString(value)
    return value


def _is_plain_list(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str | int | float) for item in value)


def _block(key: str | None, value: Any, column: int) -> str:
    """Return lines of `key: value`, or of a list's item where `key` is None, for a given column."""
    if _is_plain_list(value) and len(_flow(value)) <= _SHORT:
        head = _flow([key])[1:-1] + ": " if key is not None else "- "
        return " " * column + head + _flow(value) + "\n"
    stream = io.StringIO()
    if key is not None:
        _writer(flow=False).dump({key: value}, stream)
        lines = stream.getvalue().splitlines(keepends=True)
    else:
        _writer(flow=False).dump([value], stream)
        # A list at the outermost level is itself written at its offset.
        lines = [line[2:] for line in stream.getvalue().splitlines(keepends=True)]
    return "".join(" " * column + line if line.strip() else line for line in lines)


def _quoted_alike(value: Any, style: str | None) -> Any:
    if isinstance(value, str) and style == '"':
        return DoubleQuotedScalarString(value)
    if isinstance(value, str) and style == "'":
        return SingleQuotedScalarString(value)
    return value


class _TextEdit:
    """Makes one edit in the text of a document that is written in lines."""

    def __init__(self, text: str, root: Node) -> None:
        self.text = text if text.endswith("\n") else text + "\n"
        self.root = root

    def made(self, edit: Edit, wanted: Any) -> str:
        match edit:
            case Set(path, value, order):
                return self._set(path, value, order)
            case Remove(path):
                return self._remove(path)
            case Insert(path, index, value):
                return self._insert(path, index, value)
            case Move(path, index, to):
                return self._move(path, index, to)
            case Rename(path, name):
                key, _ = self._entry(path)
                return _splice(self.text, key.start_mark.index, key.end_mark.index, _flow(name))

    def _entry(self, path: Place) -> tuple[Node, Node]:
        """Return the key and the value of a mapping's entry."""
        parent = _at(self.root, path[:-1])
        for key, value in parent.value if isinstance(parent, MappingNode) else ():
            if key.value == path[-1]:
                return key, value
        raise EditError(Said("wrong.gone"))

    def _end(self, node: Node) -> int:
        """Return the place after a value's last character, its comment and line end not counted."""
        if isinstance(node, ScalarNode):
            end: int = node.end_mark.index
            if node.style in ("|", ">"):
                while end > 0 and self.text[end - 1] in " \n":
                    end -= 1
            return end
        if not isinstance(node, MappingNode | SequenceNode) or node.flow_style or not node.value:
            return int(node.end_mark.index)
        last = node.value[-1]
        return self._entry_end(*last) if isinstance(node, MappingNode) else self._end(last)

    def _entry_end(self, key: Node, value: Node) -> int:
        """Return the place after an entry; an empty value's own place may be that of whatever comes next."""
        return self._colon(key) if _is_empty(value) else max(self._end(value), self._colon(key))

    def _colon(self, key: Node) -> int:
        return self.text.index(":", key.end_mark.index) + 1

    def _line_start(self, place: int) -> int:
        return self.text.rfind("\n", 0, place) + 1

    def _line_end(self, place: int) -> int:
        """Return the place after the line's end."""
        return self.text.index("\n", place) + 1 if "\n" in self.text[place:] else len(self.text)

    def _with_comments(self, start: int) -> int:
        """Return the start of the lines of comment that stand right above a line."""
        while start > 0:
            above = self._line_start(start - 1)
            if not self.text[above:start].strip().startswith("#"):
                break
            start = above
        return start

    def _item_lines(self, sequence: SequenceNode, index: int) -> tuple[int, int]:
        """Return where an item's lines begin, its comments above included, and end."""
        node = sequence.value[index]
        dash = self._dash(sequence, node)
        return self._with_comments(self._line_start(dash)), self._line_end(self._end(node))

    def _dash(self, sequence: SequenceNode, node: Node) -> int:
        """Return the place of an item's dash."""
        place = self.text.rfind("-", 0, node.start_mark.index + (node.start_mark.index == self._end(node)))
        line = self.text[self._line_start(place) : place]
        if place < 0 or line.strip() or len(line) != sequence.start_mark.column:
            raise EditError(Said("wrong.only_text"))
        return place

    def _set(self, path: Place, value: Any, order: Sequence[str]) -> str:
        parent = _at(self.root, path[:-1])
        old = _child(parent, path[-1])
        if old is None:
            return self._add(parent, path, str(path[-1]), value, order)
        simple = not isinstance(value, dict | list) or _is_plain_list(value) or not value
        if isinstance(parent, MappingNode) and _is_empty(old) and simple:
            at = self._colon(self._entry(path)[0])
            return _splice(self.text, at, at, f" {_flow(value)}")
        if isinstance(old, ScalarNode) and old.style not in ("|", ">") and simple:
            space = "" if self.text[old.start_mark.index - 1 : old.start_mark.index] in (" ", "") else " "
            written = _flow(_quoted_alike(value, old.style))
            return _splice(self.text, old.start_mark.index, old.end_mark.index, space + written)
        if isinstance(parent, SequenceNode):
            dash = self._dash(parent, old)
            lines = _block(None, value, dash - self._line_start(dash))
            return _splice(self.text, self._line_start(dash), self._end(old), lines.rstrip("\n"))
        key, _ = self._entry(path)
        column = key.start_mark.column
        lines = _block(str(path[-1]), value, column).rstrip("\n")
        return _splice(self.text, key.start_mark.index, self._entry_end(key, old), lines[column:])

    def _add(self, parent: Node, path: Place, key: str, value: Any, order: Sequence[str]) -> str:
        """Add a key to a mapping: before the first that comes later in `order`, else at its end."""
        if not isinstance(parent, MappingNode):
            if isinstance(parent, ScalarNode) and parent.value in ("", "null", "~") and len(path) > 1:
                return self._set(path[:-1], {key: value}, ())
            raise EditError(Said("wrong.gone"))
        entries = parent.value
        column = entries[0][0].start_mark.column
        lines = _block(key, value, column)
        later = set(order[order.index(key) + 1 :]) if key in order else set()
        for place, (other, _) in enumerate(entries):
            # The first key of an item shares its line with the dash, so nothing is put before it.
            if other.value in later and (place or column == 0):
                at = self._with_comments(self._line_start(other.start_mark.index))
                return _splice(self.text, at, at, lines)
        last_key, last = entries[-1]
        at = self._line_end(self._entry_end(last_key, last))
        return _splice(self.text, at, at, lines)

    def _remove(self, path: Place) -> str:
        parent = _at(self.root, path[:-1])
        if len(parent.value) == 1 and len(path) > 1:
            return self._set(path[:-1], [] if isinstance(parent, SequenceNode) else {}, ())
        if isinstance(parent, SequenceNode):
            start, end = self._item_lines(parent, int(path[-1]))
            return _splice(self.text, start, end, "")
        key, value = self._entry(path)
        start = self._line_start(key.start_mark.index)
        end = self._line_end(self._entry_end(key, value))
        if self.text[start : key.start_mark.index].strip():
            # It shares its line with the dash of an item: the next key takes its place.
            following = self._entry((*path[:-1], parent.value[1][0].value))[0].start_mark.index
            return _splice(self.text, key.start_mark.index, following, "")
        return _splice(self.text, self._with_comments(start), end, "")

    def _sequence(self, path: Place) -> SequenceNode:
        node = _at(self.root, path)
        if not isinstance(node, SequenceNode):
            raise EditError(Said("wrong.gone"))
        return node

    def _insert(self, path: Place, index: int, value: Any) -> str:
        sequence = self._sequence(path)
        dash = self._dash(sequence, sequence.value[0])
        lines = _block(None, value, dash - self._line_start(dash))
        if index < len(sequence.value):
            at = self._item_lines(sequence, index)[0]
        else:
            at = self._item_lines(sequence, len(sequence.value) - 1)[1]
        return _splice(self.text, at, at, lines)

    def _move(self, path: Place, index: int, to: int) -> str:
        sequence = self._sequence(path)
        start, end = self._item_lines(sequence, index)
        if to == index:
            return self.text
        if to < index:
            at = self._item_lines(sequence, to)[0]
            return self.text[:at] + self.text[start:end] + self.text[at:start] + self.text[end:]
        at = self._item_lines(sequence, to)[1]
        return self.text[:start] + self.text[end:at] + self.text[start:end] + self.text[at:]
