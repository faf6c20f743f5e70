"""Variants: a named set of changes to a plan, made on what was read before anything is checked.

So a variant is checked as the plan that it makes, and a fault in a value points to where the variant gives
it. Only the plan's own blocks change; what it includes stays as it is.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.base.errors import Mark
from cuelane.plan.build import Parts
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan, Variant
from cuelane.plan.phrases import did_you_mean, names, quoted
from cuelane.plan.source_text import Lines, fail
from cuelane.plan.tree import Mapping, Node, Scalar, Sequence

PLAIN = "plain"
"""How the plan as it is, without a variant, is called where variants are named."""

BLOCK_KEYS = ("work", "rest", "round_rest", "change", "rounds", "settle", "cycles")
"""Keys of a variant that take the place of the same key in every block that gives it."""

OWN_KEYS = (*BLOCK_KEYS, "pace", "leave_out", "swap", "blocks")
HEAD_KEYS = tuple(key for key in Variant.model_fields if key not in OWN_KEYS)
"""Keys of a variant that take the place of the plan's own."""


@dataclass(frozen=True)
class Chosen:
    """A variant to make of a plan: one of its own by name, or one that a series gives.

    ``changes`` is what the series says, ``pace`` how fast it wants the voice; both None for the plan's own.
    ``keys`` are those that the variant gives, where that is known.
    """

    name: str
    changes: Mapping | None = None
    pace: float | None = None
    keys: frozenset[str] = frozenset()


def varied(lines: Lines, tree: Node, chosen: Chosen) -> Node:
    """Return the tree of the plan that a variant makes; what cannot be done is noted in `lines`.

    Raises
    ------
    PlanError : the plan has no such variant.
    """
    if not isinstance(tree, Mapping):
        return tree
    changes = chosen.changes if chosen.changes is not None else _own(lines, tree, chosen.name)
    made = copy.deepcopy(tree)
    for key in HEAD_KEYS:
        _put(made, key, changes)
    blocks = list(_blocks(made))
    for block in blocks:
        for key in BLOCK_KEYS:
            if key in block.key_marks:
                _put(block, key, changes)
    _change_named_blocks(blocks, changes)
    _change_exercises(lines, blocks, changes)
    return made


def check_variants(lines: Lines, parts: Parts) -> None:
    """Note each exercise or block that a variant names and the plan lacks."""
    titles = [item.block for item in parts.session if item is not None and hasattr(item, "block")]
    for name, variant in (parts.head.variants if parts.head is not None else {}).items():
        mark = variant.mark or Mark(lines.file, 1, 1)
        if name == PLAIN:
            message = f"a variant cannot be called {quoted(PLAIN)}, which stands for the plan as it is"
            lines.report(mark, message)
        if any("block" in keys for keys in variant.blocks.values()):
            message = f"variant {quoted(name)}: blocks: a block keeps its title"
            lines.report(variant.mark_of("blocks") or mark, message, "leave out the key 'block'")
            return
        named = [
            ("leave_out", "exercise", variant.leave_out, parts.exercises),
            ("swap", "exercise", [*variant.swap, *variant.swap.values()], parts.exercises),
            ("blocks", "block", list(variant.blocks), titles),
        ]
        for key, what, said, known in named:
            if parts.names_unsure and what == "exercise":
                continue
            for one in said:
                if one not in known:
                    hint = did_you_mean(one, known) or f"there are: {names(known)}"
                    message = f"variant {quoted(name)}: {key}: there is no {what} {quoted(one)}"
                    lines.report(variant.mark_of(key) or mark, message, hint)


def variant_lines(loaded: LoadedPlan) -> list[str]:
    """Return a line for each variant of a plan, with what it changes; one that was made is marked."""
    variants = loaded.plan.variants
    if not variants:
        return []
    lines = ["", "Variants"]
    for name, variant in variants.items():
        keys = ", ".join(key for key in Variant.model_fields if key in variant.model_fields_set) or "nothing"
        lines.append(f"  {name}: changes {keys}{' (this one)' if name == loaded.variant else ''}")
    return lines


def _own(lines: Lines, tree: Mapping, name: str) -> Mapping:
    variants = tree.entries.get("variants")
    known = list(variants.entries) if isinstance(variants, Mapping) else []
    found = variants.entries.get(name) if isinstance(variants, Mapping) else None
    if isinstance(found, Mapping):
        return found
    mark = tree.key_marks.get("variants", Mark(lines.file, 1, 1))
    hint = did_you_mean(name, known) or (f"there are: {names(known)}" if known else "it has none")
    raise fail(lines.file, f"this plan has no variant {quoted(name)}", hint, mark.line, mark.column)


def _put(into: Mapping, key: str, changes: Mapping) -> None:
    if key in changes.entries:
        into.entries[key] = changes.entries[key]
        into.key_marks[key] = changes.key_marks[key]


def _blocks(tree: Mapping) -> Iterator[Mapping]:
    session = tree.entries.get("session")
    for item in session.items if isinstance(session, Sequence) else ():
        if isinstance(item, Mapping) and "block" in item.key_marks:
            yield item


def _change_named_blocks(blocks: list[Mapping], changes: Mapping) -> None:
    named = changes.entries.get("blocks")
    for title, keys in named.entries.items() if isinstance(named, Mapping) else ():
        for block in blocks:
            given = block.entries.get("block")
            if isinstance(given, Scalar) and given.text == title and isinstance(keys, Mapping):
                for key in keys.key_marks:
                    _put(block, key, keys)


def _change_exercises(lines: Lines, blocks: list[Mapping], changes: Mapping) -> None:
    left_out = _texts(changes.entries.get("leave_out"))
    swaps = changes.entries.get("swap")
    others = swaps.entries if isinstance(swaps, Mapping) else {}
    for block in blocks:
        listed = block.entries.get("exercises")
        if not isinstance(listed, Sequence):
            if listed is None:
                continue
            listed = Sequence(listed.mark, [listed])
        kept = [entry for entry in listed.items if _name_of(entry) not in left_out]
        if not kept and listed.items:
            title = block.entries.get("block")
            message = f"leave_out: this leaves block {quoted(getattr(title, 'text', ''))} with no exercise"
            lines.report(changes.key_marks["leave_out"], message, "keep one, or swap one for another")
            kept = listed.items
        block.entries["exercises"] = Sequence(listed.mark, [_swapped(entry, others) for entry in kept])


def _texts(node: Node | None) -> set[str]:
    items = node.items if isinstance(node, Sequence) else [node]
    return {item.text for item in items if isinstance(item, Scalar)}


def _name_of(entry: Node) -> str:
    name = entry.entries.get("exercise") if isinstance(entry, Mapping) else entry
    return name.text if isinstance(name, Scalar) else ""


def _swapped(entry: Node, others: dict[str, Node]) -> Node:
    other = others.get(_name_of(entry))
    if other is None:
        return entry
    if isinstance(entry, Mapping):
        entry.entries["exercise"] = other
        return entry
    return other


assert set(HEAD_KEYS) <= set(Plan.model_fields)
