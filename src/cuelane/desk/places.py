"""Which value of a plan a line and a column mean: from a message's place to the field at the form."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, Node, SequenceNode

from cuelane.desk.edits import EditError, Place
from cuelane.desk.words import Said
from cuelane.plan.pieces import PARSER_ERRORS, kept_by_piece, pieces_of, reader_of


@lru_cache(maxsize=4)
def nodes_of(text: str) -> MappingNode:
    """Return the nodes of a text, for reading only. The latest few are kept, since each is asked often.

    Raises EditError where the text is not YAML, or holds no keys.
    """
    try:
        root = YAML(typ="rt", pure=True).compose(text)
    except (YAMLError, ValueError, AssertionError, RecursionError) as error:
        raise EditError(Said("wrong.no_yaml")) from error
    if not isinstance(root, MappingNode):
        raise EditError(Said("wrong.no_keys"))
    return root


def path_at(text: str, line: int, column: int) -> Place:
    """Return the path of the innermost value that is written at a line and column, both from 1."""
    place = (line - 1, column - 1)
    parts = _parts_of(text)
    if parts is None:
        try:
            return _inside(nodes_of(text), place)
        except EditError:
            return ()
    here = next((part for part in reversed(parts) if part.begins <= place), None)
    if here is None:
        return ()
    if here.node is None:
        return here.before
    found = _inside(here.node, (place[0] - here.first_line, place[1]))
    if found and isinstance(found[0], int):
        found = (found[0] + here.index, *found[1:])
    return (*here.before, *found)


def _inside(node: Node, place: tuple[int, int]) -> Place:
    """Return the path from `node` to the innermost value at `place`, a line and a column from 0."""
    path: Place = ()
    seen = {id(node)}
    while True:
        step: tuple[str | int, Node] | None = None
        if isinstance(node, MappingNode):
            for key, value in node.value:
                if _start(key) <= place:
                    step = str(key.value), value
        elif isinstance(node, SequenceNode):
            for index, item in enumerate(node.value):
                # The dash of an item stands before it.
                on_its_line = item.start_mark.line == place[0] and (index == 0 or _start(item) <= place)
                if item.start_mark.line < place[0] or on_its_line:
                    step = index, item
        # An alias of what it stands in would go round in circles.
        if step is None or id(step[1]) in seen:
            return path
        path, node = (*path, step[0]), step[1]
        seen.add(id(node))


def _start(node: Node) -> tuple[int, int]:
    return node.start_mark.line, node.start_mark.column


@dataclass(frozen=True)
class _Part:
    """A piece of a text: the place from which on it counts, the path to it, and its own nodes.

    A heading has no nodes, only a path; ``index`` is how many items of its list come before it.
    """

    begins: tuple[int, int]
    first_line: int
    before: Place
    node: MappingNode | SequenceNode | None
    index: int = 0


@lru_cache(maxsize=4)
def _parts_of(text: str) -> tuple[_Part, ...] | None:
    """Return the nodes of a text by the pieces that it is read in; None where it must be read as a whole."""
    parts: list[_Part] = []
    heading: Place = ()
    n_items = 0
    for piece in pieces_of(text):
        node = _nodes_of_piece(piece.text)
        kind = SequenceNode if piece.role == "item" else MappingNode
        if not isinstance(node, kind) or node.flow_style or not node.value:
            return None
        first = node.value[0] if isinstance(node, SequenceNode) else node.value[0][0]
        line, column = _start(first)
        # The dash of a list's first item belongs to it, those of the others to what is before them.
        begins = (piece.first_line + line, 0 if piece.role == "item" and n_items == 0 else column)
        if piece.role == "heading":
            if len(node.value) > 1:
                return None
            heading, n_items = (str(first.value),), 0
            parts.append(_Part(begins, piece.first_line, heading, None))
            continue
        before = () if piece.role == "entries" else heading
        parts.append(_Part(begins, piece.first_line, before, node, n_items))
        n_items += len(node.value) * (piece.role == "item")
    return tuple(parts) or None


@kept_by_piece
def _nodes_of_piece(text: str) -> Node | None:
    try:
        # Where things stand is the same without their comments, which take half of the time.
        reader, given = reader_of(text)
        node: Node | None = reader.compose(given)
    except (*PARSER_ERRORS, RecursionError):
        return None
    return node
