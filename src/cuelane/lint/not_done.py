"""Exercises that a plan describes and never does: their author may wonder why nobody hears them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cuelane.base.errors import Mark
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import ExerciseBlock, Script


def not_done(loaded: LoadedPlan) -> Iterator[tuple[str, Mark]]:
    """Yield the name and the place of each exercise of a plan file that no block does, in file order.

    What a variant does counts as done; and of a plan that a variant was made of nothing is said, since what
    that leaves out is meant. A file that is included has its own blocks, and is looked at by itself.
    """
    if loaded.variant is not None:
        return
    plan = loaded.plan
    done = set(plan.exercises) & {name for part in plan.session for name in _named(part)}
    for variant in plan.variants.values():
        done |= set(variant.swap.values()) | set(_texts(variant.blocks))
    for name, exercise in plan.exercises.items():
        if name not in done:
            yield name, exercise.mark or plan.mark_of("exercises") or Mark(str(loaded.path), 1, 1)


def _named(part: object) -> Iterator[str]:
    if isinstance(part, ExerciseBlock):
        yield from (entry.exercise for entry in part.exercises)
    elif isinstance(part, Script):
        yield from (interval.exercise for interval in part.intervals if interval.exercise is not None)


def _texts(value: Any) -> Iterator[str]:
    """Yield every text in what a variant puts into blocks: names of exercises, or lists of them, among it."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _texts(inner)
