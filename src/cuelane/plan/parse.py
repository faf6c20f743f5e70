"""YAML text to a tree of values that know their places.

Only plain YAML 1.2 data passes: no tags, anchors, aliases or merge keys, one document, no key twice, and
limits on depth and number of values. ruamel.yaml parses; the tree is built here from its events, so a plan
that nests or repeats without end stops at its limit and never fills the memory or the stack.

Why not ruamel's composer, whose nodes carry marks too: it was written out in full and measured. A composed
node no longer tells a tag that was written from one that was resolved, the composer calls itself for each
level, and a fault further on leaves no tree behind in which a doubled key could still be reported. So every
promise above needs a hook before or after each node, and its nodes a second walk to ours: as many lines in
all as building the tree here (268 against 273), and 1.15 to 1.4 times the time (a demo plan; 9,000 keys).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    NodeEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from cuelane.base.errors import Mark, PlanError
from cuelane.plan.phrases import quoted
from cuelane.plan.pieces import PARSER_ERRORS, events_in_pieces
from cuelane.plan.source_text import Lines, is_hidden
from cuelane.plan.syntax import BRACES, syntax_problem
from cuelane.plan.tree import Mapping, Node, Scalar, Sequence, resolved

MAX_DEPTH = 24
MAX_VALUES = 50_000

_HIDDEN = "a character that can be neither seen nor spoken stands here (U+{:04X})"
_TAGS = "a plan may not use YAML tags (words that begin with '!')"
_LONGEST_TAG = 10_000
_LONG_TAG = re.compile(rf"(?<!\S)!\S{{{_LONGEST_TAG}}}")
_VERSION = re.compile(r"%YAML[ \t]+(\S+)")


class Budget:
    """How many values may still be read, for a plan and all it includes."""

    def __init__(self, values: int = MAX_VALUES) -> None:
        self.values = values


def parse(lines: Lines, budget: Budget) -> Node:
    """Return the tree of a file's text; problems that leave a tree behind are noted in `lines`.

    Raises
    ------
    PlanError : the text is not YAML that a plan may hold.
    """
    _refuse_hidden(lines)
    _check_directives(lines)
    return _Builder(lines, budget).build()


def _refuse_hidden(lines: Lines) -> None:
    for number, line in enumerate(lines.lines, 1):
        for column, character in enumerate(line, 1):
            if is_hidden(character):
                lines.report(Mark(lines.file, number, column), _HIDDEN.format(ord(character)), "remove it")
                break
    if lines.problems:
        raise PlanError(lines.problems)


def _check_directives(lines: Lines) -> None:
    """Refuse every version of YAML but 1.2, before the parser, which knows only 1.1 and 1.2, sees it.

    So too a tag so long that the parser, which reads one in quadratic time, would take half a minute.
    """
    for number, line in enumerate(lines.lines, 1):
        if len(line) > _LONGEST_TAG and (tag := _LONG_TAG.search(line)):
            raise PlanError(
                [lines.problem(Mark(lines.file, number, tag.start() + 1), _TAGS, "remove the tag")]
            )
    for number, line in enumerate(lines.lines, 1):
        version = _VERSION.match(line)
        if version and version[1] != "1.2":
            mark = Mark(lines.file, number, 1)
            message = f"a plan is YAML 1.2; this file says %YAML {quoted(version[1])[1:-1]}"
            raise PlanError([lines.problem(mark, message, "remove this line")])
        if line.strip() and not line.startswith(("%", "#")):
            return


class _Builder:
    def __init__(self, lines: Lines, budget: Budget) -> None:
        self.lines = lines
        self.budget = budget
        self.stack: list[Sequence | Mapping] = []
        self.keys: list[tuple[str, Mark, bool] | None] = []
        self.root: Node | None = None
        self.first_line = 0

    def mark(self, event: Any) -> Mark:
        line = self.first_line + event.start_mark.line + 1
        return Mark(self.lines.file, line, event.start_mark.column + 1)

    def stop(self, mark: Mark, message: str, hint: str = "") -> PlanError:
        return PlanError([*self.lines.problems, self.lines.problem(mark, message, hint)])

    def build(self) -> Node:
        n_documents = 0
        for event in self.events():
            if isinstance(event, DocumentStartEvent):
                n_documents += 1
                self.check_document(event, n_documents)
            elif isinstance(event, NodeEvent):
                self.check_node(event)
                self.open(event)
            elif isinstance(event, MappingEndEvent | SequenceEndEvent):
                self.stack.pop()
                self.keys.pop()
        if self.root is None:
            raise self.stop(
                Mark(self.lines.file, 1, 1), "this file holds no plan, only comments", "see: cuelane new"
            )
        return self.root

    def events(self) -> Iterator[Event]:
        """Yield the parser's events; whatever it raises on hostile text becomes one problem with a place."""
        for first_line, event in events_in_pieces(self.lines.text) or ():
            self.first_line = first_line
            yield event
        if self.root is not None:
            return
        at = Mark(self.lines.file, 1, 1)
        events = YAML(typ="safe", pure=True).parse(self.lines.text)
        while True:
            try:
                event = next(events)
            except StopIteration:
                return
            except MarkedYAMLError as error:
                raise self.stop(*syntax_problem(self.lines, error)) from error
            except PARSER_ERRORS as error:
                raise self.stop(at, "this cannot be read as YAML from here on") from error
            end = event.end_mark
            at = Mark(self.lines.file, end.line + 1, end.column + 1)
            yield event

    def check_document(self, event: DocumentStartEvent, n_documents: int) -> None:
        if n_documents > 1:
            raise self.stop(self.mark(event), "a plan file holds one plan; a second one starts here at '---'")
        if event.tags:
            at = next((n for n, line in enumerate(self.lines.lines, 1) if line.startswith("%TAG")), 1)
            raise self.stop(
                Mark(self.lines.file, at, 1), "a plan may not declare YAML tags (%TAG)", "remove this line"
            )

    def check_node(self, event: NodeEvent) -> None:
        mark = self.mark(event)
        if isinstance(event, AliasEvent):
            raise self.stop(
                mark, f"a plan may not use YAML aliases (*{event.anchor})", "write the value out here"
            )
        if event.anchor:
            mark = self.prefix_mark(event, f"&{event.anchor}")
            raise self.stop(
                mark, f"a plan may not use YAML anchors (&{event.anchor})", "write the value out where used"
            )
        if getattr(event, "tag", None):
            mark = self.prefix_mark(event, "!")
            raise self.stop(mark, _TAGS, "remove the tag")
        self.budget.values -= 1
        if self.budget.values < 0:
            raise self.stop(
                mark,
                f"a plan and all it includes may hold {MAX_VALUES:,} keys and values; here they are used up",
            )
        if len(self.stack) >= MAX_DEPTH:
            raise self.stop(mark, f"this is nested more than {MAX_DEPTH} levels deep")

    def prefix_mark(self, event: NodeEvent, text: str) -> Mark:
        """Return where an anchor or tag stands: the parser marks it in some cases, the value in others."""
        mark = self.mark(event)
        for line in range(mark.line, max(mark.line - 3, 0), -1):
            written = self.lines.lines[line - 1]
            end = mark.column if line == mark.line and not written.startswith(text, mark.column - 1) else None
            column = mark.column - 1 if line == mark.line and end is None else written.rfind(text, 0, end)
            if column >= 0:
                return Mark(mark.file, line, column + 1)
        return mark

    def open(self, event: NodeEvent) -> None:
        mark = self.mark(event)
        if isinstance(event, ScalarEvent):
            self.place(self.scalar(event, mark), mark)
            return
        node = Sequence(mark) if isinstance(event, SequenceStartEvent) else Mapping(mark)
        self.place(node, mark)
        self.stack.append(node)
        self.keys.append(None)

    def scalar(self, event: ScalarEvent, mark: Mark) -> Scalar:
        text = str(event.value)
        hidden = next((character for character in text if is_hidden(character)), None)
        if hidden is not None:
            self.lines.report(
                mark,
                _HIDDEN.format(ord(hidden)),
                "remove it",
            )
            text = "".join(character for character in text if not is_hidden(character))
        text = " ".join(unicodedata.normalize("NFC", text).split())
        return Scalar(mark, text, resolved(text) if event.implicit[0] else text)

    def place(self, node: Node, mark: Mark) -> None:
        """Put a node where it belongs: the root, a list's next item, or a mapping's next key or value."""
        if not self.stack:
            self.root = node
            return
        parent = self.stack[-1]
        if isinstance(parent, Sequence):
            parent.items.append(node)
            return
        key = self.keys[-1]
        if key is None:
            self.keys[-1] = self.key(parent, node, mark)
            return
        name, key_mark, keep = key
        self.keys[-1] = None
        if keep:
            parent.entries[name] = node
            parent.key_marks[name] = key_mark

    def key(self, parent: Mapping, node: Node, mark: Mark) -> tuple[str, Mark, bool]:
        if not isinstance(node, Scalar):
            raise self.stop(mark, "a key must be a word or words, not a list or a group of keys", BRACES)
        if node.text == "<<":
            raise self.stop(mark, "a plan may not use YAML merge keys (<<)", "write the keys out here")
        first = parent.key_marks.get(node.text)
        if first is not None:
            self.lines.report(
                mark,
                f"{quoted(node.text)} is here a second time; first at line {first.line}, "
                f"column {first.column}",
                "keep one of the two",
            )
        return node.text, mark, first is None
