"""A plan read in pieces: the same tree, the same errors, whatever is typed into it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.events import (
    Event,
    MappingEndEvent,
    ScalarEvent,
    SequenceEndEvent,
    StreamEndEvent,
    StreamStartEvent,
)

from cuelane.base.errors import Mark, PlanError
from cuelane.plan import parse as parsing
from cuelane.plan import pieces
from cuelane.plan.load import load_plan
from cuelane.plan.parse import Budget, parse
from cuelane.plan.source_text import Lines
from cuelane.plan.starter import PATTERNS, starter_plan
from cuelane.plan.tree import Node, Scalar, Sequence
from keystrokes import TYPING, typed_into
from plan_text import FULL_PLAN

DEMOS = sorted((Path(__file__).parents[1] / "demo").glob("*.yaml"))
TEXTS = [FULL_PLAN, *(path.read_text(encoding="utf-8") for path in DEMOS)]
TEXTS += [starter_plan(one, "Test") for one in PATTERNS]


def read(text: str) -> Any:
    """Return the tree of a text and the problems noted with it, or the problems that stop it."""
    lines = Lines("p.yaml", text)
    try:
        return without_empty_places(parse(lines, Budget())), lines.problems
    except PlanError as error:
        return error.problems


def without_empty_places(node: Node) -> Node:
    """Return the tree with no place for values that are not there: no message names it, but the key's."""
    if isinstance(node, Scalar):
        return replace(node, mark=Mark("", 0, 0)) if node.text == "" else node
    if isinstance(node, Sequence):
        return replace(node, items=list(map(without_empty_places, node.items)))
    entries = {key: without_empty_places(value) for key, value in node.entries.items()}
    return replace(node, entries=entries)


def loaded(text: str) -> Any:
    """Return what a whole plan is loaded as, or its problems."""
    try:
        plan = load_plan(Path("p.yaml"), text=text).plan
    except PlanError as error:
        return error.problems
    return plan, [part.mark for part in (*plan.session, *plan.exercises.values())]


def event_text(event: Event) -> str | None:
    return event.value if isinstance(event, ScalarEvent) and event.style is None else None


def whole(way: Callable[[str], Any], text: str) -> Any:
    """Return what `way` makes of a text that is read as a whole."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parsing, "events_in_pieces", lambda _: None)
        return way(text)


def plain(event: Event, first_line: int = 0) -> tuple[Any, ...]:
    """Return what an event says and where it begins; some kinds of list have no style and are no flow.

    Where a group ends, and where a value is that is not there, the parser says by what comes next.
    """
    mark = event.start_mark
    keys = ("value", "anchor", "style", "implicit")
    is_somewhere = not isinstance(event, MappingEndEvent | SequenceEndEvent) and event_text(event) != ""
    return (
        type(event).__name__, (first_line + mark.line, mark.column) if is_somewhere else (),
        bool(getattr(event, "flow_style", False)),
        *(getattr(event, key, None) for key in keys),
    )  # fmt: skip


@pytest.mark.parametrize("text", TEXTS)
def test_a_plan_is_read_in_pieces_as_it_is_as_a_whole(text: str) -> None:
    """Every event, at its place; and each of its exercises is a piece, so that one letter reads one."""
    found = pieces.events_in_pieces(text)
    assert found is not None
    whole = [
        event
        for event in YAML(typ="safe", pure=True).parse(text)
        if not isinstance(event, StreamStartEvent | StreamEndEvent)
    ][:-1]
    assert [plain(one, line) for line, one in found] == [plain(other) for other in whole]
    cut = pieces.pieces_of(text)
    assert "".join(piece.text for piece in cut) == text
    assert [piece.start for piece in cut] == [text.index(piece.text, piece.start) for piece in cut]
    # The entries of `exercises` begin two spaces in, in all of these texts; some plans have none.
    exercises = len(text.partition("\nexercises:")[0])
    begins = [entry.start() for entry in re.finditer(r"(?m)^ {2}[^\s#-]", text) if entry.start() > exercises]
    assert begins or "\nexercises:" not in text
    for piece in cut:
        assert sum(piece.start <= at < piece.start + len(piece.text) for at in begins) <= 1


@given(st.sampled_from(TEXTS), TYPING)
@example(FULL_PLAN, [(FULL_PLAN.index("closing"), 0, '"')])
@example(FULL_PLAN, [(FULL_PLAN.index("closing"), 0, "x: [\n")])
def test_whatever_is_typed_reads_the_same(text: str, edits: list[tuple[int, int, str]]) -> None:
    """The same tree with the same places, or the same problems."""
    changed = typed_into(text, edits)
    assert read(changed) == whole(read, changed)
    assert loaded(changed) == whole(loaded, changed)


def test_reading_again_after_one_letter_reads_one_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything else is known."""
    text = next(text for text in TEXTS if "Ferry" in text)
    read(text)
    asked: list[str] = []
    parse_whole = YAML.parse

    def counted(self: YAML, stream: Any) -> Any:
        asked.append(stream)
        return parse_whole(self, stream)

    monkeypatch.setattr(YAML, "parse", counted)
    at = text.index(".\n", text.index("form:"))
    read(text[:at] + " now" + text[at:])
    assert len(asked) == 1
    assert len(asked[0]) < len(text) / 4


def test_what_is_kept_is_bounded() -> None:
    """A thousand pieces, none of them long."""
    read_pieces = []
    kept = pieces.kept_by_piece(lambda text: read_pieces.append(text))
    for n in (*range(1_025), 1_024, 0):
        kept(f"{n}: x")
    assert read_pieces == [f"{n}: x" for n in (*range(1_025), 0)]
    for _ in range(2):
        kept("x" * 4_097)
    assert read_pieces[-2:] == ["x" * 4_097] * 2
    assert pieces.pieces_of("a: b\n" * 40_000) == ()


@pytest.mark.parametrize("odd", ["\t", "\r", "\0", "\x85", "\u2028", "\u2029", "\ufeff"])
def test_a_text_with_a_character_that_pieces_may_read_otherwise_is_not_cut(odd: str) -> None:
    """A tab, and what some readers take for the end of a line: such a text is read as a whole."""
    plain_text = "title: Two words\nlanguage: en\n"
    assert len(pieces.pieces_of(plain_text)) == 2
    for text in (plain_text.replace(" w", f" {odd}w"), plain_text + odd, odd + plain_text):
        assert pieces.pieces_of(text) == ()
