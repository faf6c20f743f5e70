"""Turns validation errors into problems in the words of the plan: one message a fault, with its place."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from cuelane.base.errors import Mark
from cuelane.base.units import parse_duration_ms
from cuelane.plan import model, parts
from cuelane.plan.phrases import did_you_mean, listing, names, nearest, quoted
from cuelane.plan.source_text import Lines
from cuelane.plan.tree import Mapping, Node, Scalar, Sequence

_NOUNS: dict[type[BaseModel], str] = {
    model.Plan: "a plan",
    model.Exercise: "an exercise",
    model.Entry: "an exercise of a block",
    parts.CueLine: "a spoken line",
    parts.Pips: "pips",
    parts.TalkShare: "talk_share",
    model.ScriptCue: "a cue of a script",
    model.ScriptInterval: "an interval of a script",
    model.Include: "an include",
    model.Say: "a say item",
    model.Pause: "a rest item",
    model.Variant: "a variant",
}

_ELSEWHERE: tuple[tuple[type[BaseModel], str], ...] = (
    (model.Plan, "it is a key of the whole plan: write it at the left edge, beside title"),
    (model.Exercise, "it is a key of an exercise: write it under that one's name, in exercises"),
)
"""Where a key that is unknown in one part belongs, where it is one of another's."""
_MOST_UNKNOWN = 20
_LONGEST_LIST = 200
_ADD = {
    "title": "add a line such as  title: Boathouse legs",
    "session": "add  session:  and below it a list of blocks",
    "exercises": "add a line such as  exercises: [squat, lunge]",
    "work": "add a line such as  work: 40s",
    "block": "add the block's name, such as  block: Main part",
    "intervals": "add  intervals:  and below it a list, each with kind and length",
    "inhale": "add a line such as  inhale: 4s",
    "exhale": "add a line such as  exhale: 6s",
    "cycles": "add a line such as  cycles: 10",
    "length": "add a line such as  length: 40s",
    "kind": "add a line such as  kind: work",
    "text": "add a line such as  text: Keep your heels heavy.",
    "at": "add a line such as  at: 5s",
}


def got(node: Node | None) -> str:
    """Return what came, for the end of a message."""
    if isinstance(node, Sequence):
        return "a list" if node.items else "an empty list"
    if isinstance(node, Mapping):
        return "a group of keys" if node.key_marks else "an empty group"
    if node is None or not node.text:
        return "nothing"
    text = node.text if len(node.text) <= 40 else node.text[:39] + "…"
    if isinstance(node.value, bool | int | float):
        return text
    return f"'{text}'"


def noun(kind: type[BaseModel], pattern: str | None = None) -> str:
    """Return how messages call one of the plan's parts."""
    if pattern:
        return f"a block of pattern {pattern}"
    return _NOUNS.get(kind) or str(getattr(kind, "NOUN", "this"))


def report_unknown_key(
    lines: Lines, node: Mapping, key: str, kind: type[BaseModel], pattern: str | None
) -> None:
    """Note that `key` means nothing where it stands; say what it may have been meant to be."""
    hint = did_you_mean(key, kind.model_fields)
    if not hint and pattern:
        homes = [name for name, block in model.BLOCKS.items() if key in block.model_fields]
        hint = f"it goes with pattern {listing(homes)}" if homes else ""
    if not hint:
        hint = next((where for home, where in _ELSEWHERE if key in home.model_fields), "")
    is_plan = kind is model.Plan
    if kind is model.Entry and not hint:
        hint = _hint_of_entry(node, key)
    if is_plan:
        hint = _hint_by_content(node, key) or hint or _hint_of_block(key, node.entries.get(key))
    if not hint:
        hint = f"keys here: {names(kind.model_fields)}"
    # Many at the left edge are what has lost its place below one key.
    alike = "key of a plan" if is_plan else ""
    message = f"unknown key {quoted(key)} in {noun(kind, pattern)}"
    lines.report(node.key_marks[key], message, hint, alike=alike)


def _hint_of_entry(entry: Mapping, key: str) -> str:
    """Return how to write an exercise of a block, if `key` is its name, or its value is; else ``""``."""
    if "exercise" in entry.key_marks:
        return ""
    value = entry.entries.get(key)
    if not isinstance(value, Scalar) or not value.text:
        return f"if it is an exercise, write  {{exercise: {key}}}"
    try:
        parse_duration_ms(value.text)
    except ValueError:
        return "write an exercise's name behind 'exercise', such as  {exercise: squat, work: 40s}"
    return f"if it is an exercise, write  {{exercise: {key}, work: {value.text}}}"


def meant_key(key: str, node: Node | None) -> str:
    """Return the key of a plan that an unknown `key` is meant to be, by its letters or by what it holds.

    Empty where neither tells it; ``exercises`` for an exercise's name at the left edge, with its words.
    """
    if _is_exercise(node):
        return "exercises"
    if likely := nearest(key, model.Plan.model_fields):
        return likely
    first = next(iter(node.items if isinstance(node, Sequence) else ()), None)
    if isinstance(first, Mapping) and {"block", "pattern"} & first.key_marks.keys():
        return "session"
    bodies = node.entries.values() if isinstance(node, Mapping) else ()
    return "exercises" if _is_exercise(next(iter(bodies), None)) else ""


def _is_exercise(node: Node | None) -> bool:
    fields = model.Exercise.model_fields.keys()
    return isinstance(node, Mapping) and bool(node.key_marks) and node.key_marks.keys() <= fields


def _hint_by_content(plan: Mapping, key: str) -> str:
    """Return what an unknown key at the left edge is for, as what stands below it tells; else ``""``."""
    node = plan.entries.get(key)
    if _is_exercise(node):
        return "if it is an exercise, write it below  exercises:  and further in"
    meant = meant_key(key, node)
    if not meant or nearest(key, model.Plan.model_fields):
        return ""
    things = "blocks" if meant == "session" else meant
    if meant in plan.key_marks:
        return f"{things} stand below it: remove this line if they belong to {quoted(meant)}"
    return f"{things} stand below it: did you mean {quoted(meant)}?"


def _hint_of_block(key: str, node: Node | None) -> str:
    """Return which key of a block an unknown one at the left edge is, or with a list is like; else ``""``."""
    keys = dict.fromkeys(name for block in model.BLOCKS.values() for name in block.model_fields)
    # One word or number may stand for anything, so that there letters which are like others tell little.
    likely = nearest(key, keys) if isinstance(node, Sequence) else key
    if likely not in keys:
        return ""
    question = "" if likely == key else f"did you mean {quoted(likely)}? "
    return f"{question}it is a key of a block: write it further in, below that block's name"


def report_all(
    lines: Lines, error: ValidationError, kind: type[BaseModel], node: Node, pattern: str | None = None
) -> None:
    """Note each fault of a part that was read from `node` as a `kind`."""
    for fault in error.errors(include_url=False, include_input=False):
        if lines.is_full:
            lines.n_unlisted += 1
            continue
        _Fault(lines, fault, kind, node, pattern).report()


class _Fault:
    """One fault: its place found by walking down the tree and the models together."""

    def __init__(
        self, lines: Lines, fault: Any, kind: type[BaseModel], node: Node, pattern: str | None
    ) -> None:
        self.lines, self.kind, self.pattern = lines, kind, pattern
        self.type: str = fault["type"]
        self.context: dict[str, Any] = fault.get("ctx", {})
        about_key = self.type in ("extra_forbidden", "missing")
        # Parts in angle brackets name the form that a value was read as; no person wrote them. The last part
        # of a fault about a key is that key, which a person may have begun with a bracket.
        loc, last = (fault["loc"][:-1], fault["loc"][-1:]) if about_key else (fault["loc"], ())
        path = [part for part in loc if not (isinstance(part, str) and part.startswith("<"))] + [*last]
        self.key = str(path[-1]) if path and isinstance(path[-1], str) else ""
        self.node: Node = node
        self.label, self.item = "", 0
        self.mark: Mark = node.mark
        for part in path[:-1] if about_key else path:
            self.step(part)

    def step(self, part: str | int) -> None:
        if isinstance(part, int):
            if isinstance(self.node, Sequence):
                self.node = self.node.items[part]
                self.mark, self.item = self.node.mark, part + 1
            return
        # A single line or name stands for a group with one key, which nobody wrote.
        if not isinstance(self.node, Scalar):
            self.label, self.item = part, 0
        if part in self.kind.model_fields:
            inner = _model_in(self.kind.model_fields[part].annotation)
            if inner is not None:
                self.kind, self.pattern = inner, None
        if isinstance(self.node, Mapping) and part in self.node.entries:
            self.node = self.node.entries[part]
            self.mark = self.node.mark

    def report(self) -> None:
        if self.type == "extra_forbidden":
            self.report_extra()
        elif self.type == "missing":
            self.report_missing()
        else:
            message, hint = self.words()
            name = f"item {self.item} of {self.label}" if self.item else self.label
            self.lines.report(self.mark, f"{name}: {message}, but got {got(self.node)}", hint)

    def report_extra(self) -> None:
        assert isinstance(self.node, Mapping)
        if not self.is_unquoted_text():
            report_unknown_key(self.lines, self.node, self.key, self.kind, self.pattern)

    def report_missing(self) -> None:
        if not isinstance(self.node, Mapping):
            return
        if self.is_unquoted_text():
            first = next(iter(self.node.key_marks))
            message = f"this was read as a key {quoted(first)} and its value, but a spoken line is expected"
            self.lines.report(self.mark, message, "text that holds ': ' needs quotes")
            return
        fields = self.kind.model_fields
        unknown = list(islice((key for key in self.node.key_marks if key not in fields), _MOST_UNKNOWN))
        # A key without a value, or one that is misspelt, has been reported as such.
        if self.key in self.node.key_marks or any(nearest(key, fields) == self.key for key in unknown):
            return
        entries = self.node.entries
        # A name with its time behind it, which is told how to write it.
        if self.kind is model.Entry and unknown:
            return
        if self.kind is model.Plan and any(meant_key(key, entries.get(key)) == self.key for key in unknown):
            return
        message = f"{noun(self.kind, self.pattern)} needs {quoted(self.key)}, which is missing"
        self.lines.report(self.mark, message, _ADD.get(self.key, ""))

    def is_unquoted_text(self) -> bool:
        """Whether words with a colon became a key and a value where a spoken line should be."""
        fields = parts.CueLine.model_fields
        return (
            self.kind is parts.CueLine
            and isinstance(self.node, Mapping)
            and bool(self.node.key_marks)
            and not any(
                key in fields or nearest(key, fields) for key in islice(self.node.key_marks, _MOST_UNKNOWN)
            )
        )

    def words(self) -> tuple[str, str]:
        """Return what was expected, and a hint, for a value of the wrong kind."""
        context = self.context
        text = self.node.text if isinstance(self.node, Scalar) else ""
        if self.type == "value_error":
            return str(context["error"]), self.time_hint(text)
        if self.type == "literal_error":
            options = [word.strip("'") for word in str(context["expected"]).replace(" or ", ", ").split(", ")]
            options = [{"False": "false", "True": "true"}.get(word, word) for word in options]
            return f"expected {listing(options)}", did_you_mean(text, options) if text else ""
        if self.type in ("string_type", "model_type") and isinstance(self.node, Scalar):
            if self.type == "model_type" and self.kind not in (parts.CueLine, model.Entry):
                return self.expected_group(), ""
            hint = f'to have it as text, put quotes around it: "{text}"' if text else ""
            return "expected text", hint
        if self.type == "model_type":
            return ("expected a line of text" if self.kind is parts.CueLine else self.expected_group()), ""
        if self.type == "list_type" and text:
            return "expected a list", f"put brackets around it: [{text}]" if len(
                text
            ) <= _LONGEST_LIST else ""
        return self.limits(context), self.switch_hint(text)

    def expected_group(self) -> str:
        required = [name for name, info in self.kind.model_fields.items() if info.is_required()]
        if self.kind is parts.Pips:
            return "expected count and spacing, or false for none"
        return f"expected keys such as {', '.join(required or list(self.kind.model_fields)[:2])}"

    def time_hint(self, text: str) -> str:
        if self.label == "calls" and text:
            return "write [] for none" if text.lower() in _WORDS_FOR_NONE else _TIME_LEFT
        return "write 0 for none" if self.label in _MAY_BE_0 and text.lower() in _WORDS_FOR_NONE else ""

    def switch_hint(self, text: str) -> str:
        if self.type != "bool_type":
            return ""
        if text.lower() in ("yes", "on"):
            return "write true"
        return "write false" if text.lower() in ("no", "off") else ""

    def limits(self, context: dict[str, Any]) -> str:
        kind = self.type
        if kind == "string_type":
            return "expected text"
        if kind == "string_too_short":
            return "expected at least one word"
        if kind == "string_too_long":
            return f"expected at most {context['max_length']} characters"
        if kind == "too_short":
            return "expected at least one item"
        if kind == "too_long":
            return f"expected at most {context['max_length']} items"
        if kind == "list_type":
            return "expected a list"
        if kind == "bool_type":
            return "expected true or false"
        if kind in _BOUNDS:
            return f"expected a number {self.bounds()}"
        if kind.startswith("int"):
            return f"expected a whole number {self.bounds()}".rstrip()
        if kind.startswith(("float", "finite")):
            return f"expected a number {self.bounds()}".rstrip()
        return "expected something else here"

    def bounds(self) -> str:
        """Return the range that this key's numbers have."""
        limits: dict[str, float] = {}
        for info in [self.kind.model_fields.get(self.label)]:
            for rule in _rules(info.annotation, info.metadata) if info else ():
                for name in ("ge", "gt", "lt", "le"):
                    if getattr(rule, name, None) is not None:
                        limits[name] = getattr(rule, name)
        if "ge" in limits and "le" in limits:
            return f"from {limits['ge']:g} to {limits['le']:g}"
        if "gt" in limits and "le" in limits:
            return f"above {limits['gt']:g} and at most {limits['le']:g}"
        return ""


_TIME_LEFT = "it is the time left in a set; a call at half of a set says 'Halfway'"
_MAY_BE_0 = ("rest", "round_rest", "change", "settle", "lead_in", "hold", "hold_out")
_WORDS_FOR_NONE = ("none", "no", "nothing", "off", "-")
_BOUNDS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")


def _rules(annotation: Any, metadata: Iterable[Any]) -> list[Any]:
    """Return the range rules of a field, whether pydantic keeps them beside it or inside its type."""
    found = list(metadata)
    for part in get_args(annotation):
        if hasattr(part, "metadata"):
            found += part.metadata
        elif not isinstance(part, type):
            found += _rules(part, ())
    return found


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the one model that a field's type holds, if any."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        if (found := _model_in(part)) is not None:
            return found
    return None
