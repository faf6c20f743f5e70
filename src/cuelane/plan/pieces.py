"""A plan's text cut where it can be read in parts, so that typing one line does not mean reading all of them.

The scanner of the YAML reader is most of the time that a plan takes to load. At the desk a plan is read at
each keystroke with one line changed, so the text is cut before each key of the plan, and before each item of
its session and each of its exercises. Each piece is parsed as a document of its own, and the result is kept
under its text. Where the result might differ from that of the whole (several documents, directives, odd line
ends, a piece that is no plain group of keys or items), nothing is cut and the whole is read. So a quotation
or a bracket that runs across a cut is read and reported as in the whole text.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache, wraps
from itertools import pairwise
from typing import Any, Literal, TypeVar

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    Event,
    MappingStartEvent,
    ScalarEvent,
    SequenceStartEvent,
)

PARSER_ERRORS = (
    YAMLError, ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError,
)  # fmt: skip
"""What the parser was seen to raise on hostile text, besides errors of its own with a place."""

_LONGEST_CUT = 128 * 1024
"""Characters; the events of a longer text, held all at once, would fill too much memory."""
_KEPT_PIECES, _LONGEST_KEPT = 1_024, 4_096
"""The most pieces kept, and the most characters of each: some 100 MB in the worst case, 5 MB for a demo."""

_ODD = re.compile(r"[\t\r\0\x85\u2028\u2029\ufeff]|^(?:---|\.\.\.|%)", re.M)
_NAME = r"[^\s#\-?:,\[\]{}&*!|>'\"%@`][^:#]*"
_KEY = re.compile(_NAME + r":(?: |$)")
_HEADING = re.compile(_NAME + r": *(?:#.*)?$")
_DASH = re.compile(r"-(?: |$)")

Role = Literal["entries", "heading", "entry", "item"]


@dataclass(frozen=True)
class Piece:
    """A part of a text, from whole lines: keys of the plan, or a heading with its entries or items after it.

    ``first_line`` counts the lines before it, ``start`` the characters.
    """

    role: Role
    text: str
    first_line: int
    start: int


@lru_cache(maxsize=8)
def pieces_of(text: str) -> tuple[Piece, ...]:
    """Return `text` cut into pieces that make it up in order; none where it is not cut."""
    if len(text) > _LONGEST_CUT or _ODD.search(text):
        return ()
    # Not splitlines, which knows more line ends than YAML.
    lines = [line + "\n" for line in text.split("\n")]
    lines[-1] = lines[-1][:-1]
    starts = [number for number, line in enumerate(lines) if _KEY.match(line)]
    if not starts or any(_content(line) for line in lines[: starts[0]]):
        return ()
    bounds = [0, *starts[1:], len(lines)]
    places = [0]
    for line in lines:
        places.append(places[-1] + len(line))
    pieces: list[Piece] = []
    for key, (first, end) in zip(starts, pairwise(bounds), strict=True):
        inside, begun = _inside(lines, key, end)
        roles: list[Role] = ["heading", *[inside] * len(begun)] if begun else ["entries"]
        for role, (one, following) in zip(roles, pairwise([first, *begun, end]), strict=True):
            pieces.append(Piece(role, text[places[one] : places[following]], one, places[one]))
    return tuple(pieces)


_Read = TypeVar("_Read")


def kept_by_piece(read: Callable[[str], _Read]) -> Callable[[str], _Read]:
    """Return `read`, a function of a piece's text alone, so that it remembers what short pieces gave.

    Its results are shared from then on, and must not be changed.
    """
    kept = lru_cache(maxsize=_KEPT_PIECES)(read)

    @wraps(kept)
    def by_piece(text: str) -> _Read:
        return kept(text) if len(text) <= _LONGEST_KEPT else read(text)

    return by_piece


def _content(line: str) -> str:
    """Return what a line holds, from its first letter on; nothing of a comment."""
    held = line.strip()
    return "" if held.startswith("#") else held


def _inside(lines: list[str], key: int, end: int) -> tuple[Role, list[int]]:
    """Return the lines at which the entries or items below a heading begin, and which they are; or none."""
    if not _HEADING.match(lines[key]):
        return "entry", []
    filled = [number for number in range(key + 1, end) if _content(lines[number])]
    if not filled:
        return "entry", []
    indents = {number: len(lines[number]) - len(lines[number].lstrip(" ")) for number in filled}
    column = indents[filled[0]]
    is_item = _DASH.match(lines[filled[0]], column) is not None
    begins = _DASH if is_item else _KEY
    if (
        min(indents.values()) < column
        or not (is_item or column)
        or not begins.match(lines[filled[0]], column)
    ):
        return "entry", []
    begun = [one for one in filled if indents[one] == column and begins.match(lines[one], column)]
    return ("item" if is_item else "entry"), begun


@dataclass(frozen=True)
class Events:
    """The parser's events of one piece: those of its only group of keys or items, without the ones around."""

    document: Event
    opening: Event
    inside: tuple[Event, ...]
    closing: Event


def events_in_pieces(text: str) -> list[tuple[int, Event]] | None:
    """Return the parser's events from the document's start on, each with the lines before its piece.

    An event's own marks count from its piece. None where the whole must be read.
    """
    pieces = pieces_of(text)
    found = []
    for piece in pieces:
        events = _events(piece.text)
        if events is None or not _is_role(events, piece.role):
            return None
        found.append((piece, events))
    return list(_joined(found)) if found else None


def _joined(found: list[tuple[Piece, Events]]) -> Iterator[tuple[int, Event]]:
    yield 0, found[0][1].document
    yield 0, found[0][1].opening
    inner: tuple[int, Event] | None = None
    for number, (piece, events) in enumerate(found):
        line = piece.first_line
        if piece.role in ("entries", "heading") and inner is not None:
            yield inner
            inner = None
        if piece.role == "heading":
            yield line, events.inside[0]
            following, group = found[number + 1]
            yield following.first_line, group.opening
            continue
        for event in events.inside:
            yield line, event
        if piece.role != "entries":
            inner = line, events.closing
    if inner is not None:
        yield inner
    yield 0, found[0][1].closing


def _is_role(events: Events, role: Role) -> bool:
    """Tell whether a piece read as what it was cut for."""
    if role == "heading":
        value = events.inside[-1]
        bare = isinstance(value, ScalarEvent) and not (
            value.value or value.anchor or value.ctag or value.style
        )
        return bare and len(events.inside) == 2
    return isinstance(events.opening, SequenceStartEvent if role == "item" else MappingStartEvent)


@kept_by_piece
def _events(text: str) -> Events | None:
    """Return the events of a piece, None where it is no plain group of keys or items."""
    every = _every_event(text)
    if every is None or len(every) < 6:
        return None
    _, document, opening, *inside, closing, _, _ = every
    is_group = isinstance(opening, MappingStartEvent | SequenceStartEvent)
    if not is_group or opening.flow_style or opening.anchor or opening.ctag:
        return None
    return Events(document, opening, tuple(inside), closing)


@kept_by_piece
def _every_event(text: str) -> tuple[Any, ...] | None:
    """Return all that the parser tells of a piece, None where it cannot read it."""
    try:
        return tuple(YAML(typ="safe", pure=True).parse(text))
    except PARSER_ERRORS:
        return None


def reader_of(piece: str) -> tuple[YAML, str]:
    """Return what loads or composes a piece, and what it is to be given: no piece is parsed twice.

    Both the plan and the desk read each piece, for its events, its nodes or its data, and to parse it takes
    longer than all the rest. What the parser refuses is given again, so that it is refused again.
    """
    reader = YAML(typ="safe", pure=True)
    events = _every_event(piece)
    if events is None:
        return reader, piece
    reader.Parser = lambda loader: _ParsedBefore(events)
    return reader, ""


class _ParsedBefore:
    """A parser, as the reader's next step uses it, of events that are there already."""

    def __init__(self, events: tuple[Event, ...]) -> None:
        self._events = events
        self._next = 0

    def check_event(self, *kinds: type[Event]) -> bool:
        """Tell whether there is another event, of one of these kinds if any are named."""
        there = self._next < len(self._events)
        return there and (not kinds or isinstance(self._events[self._next], kinds))

    def peek_event(self) -> Event | None:
        """Return the next event, and leave it there."""
        return self._events[self._next] if self._next < len(self._events) else None

    def get_event(self) -> Event | None:
        """Return the next event."""
        event = self.peek_event()
        self._next += 1
        return event

    def dispose(self) -> None:
        """Nothing was opened."""
