"""Sets of a recorded class that turn to the other side half way, which a plan does by itself at any work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import ClassShape
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.intervals import FoundInterval

# Chosen: earlier it is how one begins, later how one ends and what to change for the next set.
_FROM, _TO = 0.3, 0.75
# Chosen: where fewer of an exercise's sets turn, most are for one side.
_MOSTLY = 0.5
# What offers another way, or warns, does not turn.
_NO_TURN = ("easier", "harder", "caution")


@dataclass(frozen=True)
class SetTurns:
    """``cues`` are the clips of those that turn to the other side in the middle of a set.

    ``first`` is the side that an exercise begins on, of the exercises of which most sets turn; ``in_turn``
    is that of the exercises whose sets follow one another in pairs, one for each side.
    """

    cues: frozenset[str]
    first: dict[str, Literal["left", "right"]]
    in_turn: dict[str, Literal["left", "right"]]


def set_turns(
    shape: ClassShape, intervals: Sequence[FoundInterval], cues: Sequence[CutCue], untrue: UntrueCalls
) -> SetTurns:
    """Return the turns in the sets of `shape`; cues are told apart by their clips."""
    turns = {cue.clip: cue for cue in cues if cue.interval in shape.sets and _turns(cue, intervals, untrue)}
    turned = {cue.interval for cue in turns.values()}
    first: dict[str, Literal["left", "right"]] = {}
    for name in dict.fromkeys(shape.names):
        own = [index for index, one in zip(shape.sets, shape.names, strict=True) if one == name]
        if len(turned & set(own)) >= _MOSTLY * len(own):
            first[name] = _begins_on(own[0], cues, turns, untrue)
    in_turn: dict[str, Literal["left", "right"]] = {}
    for name in dict.fromkeys(shape.names):
        side = None if name in first else _first_in_turn(name, shape, cues, untrue)
        if side is not None:
            in_turn[name] = side
    return SetTurns(frozenset(turns), first, in_turn)


def _first_in_turn(
    name: str, shape: ClassShape, cues: Sequence[CutCue], untrue: UntrueCalls
) -> Literal["left", "right"] | None:
    """Return the side of an exercise's first set, if its sets are pairs and what they name takes turns."""
    numbers = [number for number, one in enumerate(shape.names) if one == name]
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    if len(numbers) % 2 or any(two != one + 1 for one, two in pairs):
        return None
    said = [_side_named(shape.sets[number], cues, untrue) for number in numbers]
    turned: list[str | None] = [{"left": "right", "right": "left"}.get(side or "") for side in said]
    in_turn = [
        side if n % 2 == 0 else other for n, (side, other) in enumerate(zip(said, turned, strict=True))
    ]
    named = {side for side in in_turn if side}
    if not named and all(_goes_on(shape.sets[one], shape.sets[two], cues, untrue) for one, two in pairs):
        return "left"
    # One that is named in its first pair on both sides; a later set may leave it unsaid.
    if len(named) != 1 or None in said[:2]:
        return None
    return "left" if named == {"left"} else "right"


def _goes_on(one: int, two: int, cues: Sequence[CutCue], untrue: UntrueCalls) -> bool:
    """Return whether the other side is told between two sets, or as the first thing in the second alone."""
    firsts = [next((cue for cue in cues if cue.interval == index), None) for index in (one, two)]
    begun, turned = (cue is not None and untrue.goes_on(cue.text) for cue in firsts)
    between = [cue for cue in cues if one < cue.interval < two]
    if any(untrue.changes_partner(cue.text) for cue in (firsts[1], *between) if cue is not None):
        # "And swap, number twos": it is the other one's turn, and no side's.
        return False
    return not begun and (turned or any(untrue.goes_on(cue.text) for cue in between))


def _side_named(index: int, cues: Sequence[CutCue], untrue: UntrueCalls) -> Literal["left", "right"] | None:
    """Return the side that is named first in the set of interval `index`."""
    sides = (untrue.side_of(cue.text) for cue in cues if cue.interval == index)
    return next(filter(None, sides), None)


def _turns(cue: CutCue, intervals: Sequence[FoundInterval], untrue: UntrueCalls) -> bool:
    interval = intervals[cue.interval]
    share = (cue.onset_ms / 1000 - interval.start_s) / interval.length_s
    return cue.purpose not in _NO_TURN and _FROM <= share <= _TO and untrue.turns(cue.text)


def _begins_on(
    index: int, cues: Sequence[CutCue], turns: dict[str, CutCue], untrue: UntrueCalls
) -> Literal["left", "right"]:
    """Return the side that is named first in a set, or the other than its turn names; left if none is."""
    for cue in cues:
        side = untrue.side_of(cue.text) if cue.interval == index else None
        if side is not None and cue.clip in turns:
            return "left" if side == "right" else "right"
        if side is not None:
            return side
    return "left"
