"""How long a line may be: the most room that any interval it could go in has for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.lintlines import SpokenLine
from cuelane.plan.model import CueLine, ScriptCue
from cuelane.session import Interval, Session


@dataclass(frozen=True)
class Room:
    """The longest time for a line, and what to call the interval that has it."""

    length_ms: int
    where: str


def room_for(line: SpokenLine, session: Session) -> Room | None:
    """Return the most room for `line`; None where it is never spoken or makes its own time."""
    source = line.source
    if source is None:
        return None
    guard_ms = session.plan.guard
    rooms = list(_rooms(line, source, session, guard_ms))
    return max(rooms, key=lambda room: room.length_ms, default=None)


def _rooms(line: SpokenLine, source: CueLine | ScriptCue, session: Session, guard_ms: int) -> Iterator[Room]:
    intervals = session.intervals
    if isinstance(source, ScriptCue):
        if source.clip is None:
            for entry in intervals:
                if any(cue is source for cue in entry.script_cues):
                    yield Room(_end_ms(entry, guard_ms) - source.at, f"from there the {_name(entry)}")
        return
    at_ms = source.at or 0
    if line.exercise is not None:
        for place, entry in enumerate(intervals):
            if entry.exercise != line.exercise or entry.kind != "work" or entry.spec is not line.spec:
                continue
            if line.role == "preview":
                before = intervals[place - 1] if place else None
                if before is not None and (entry.set_index is None or before.set_index != entry.set_index):
                    yield _room(before, guard_ms, at_ms)
            else:
                yield _room(entry, guard_ms, at_ms)
    elif line.role == "block praise":
        for entry in intervals:
            if any(own is source for own in entry.praise):
                yield _room(entry, guard_ms, at_ms)
    else:
        for entry in intervals:
            # Without a length of the plan's own, a talk interval is as long as its words need.
            if entry.lasts and any(own is source for own in entry.lines):
                yield _room(entry, guard_ms, at_ms)


def _room(interval: Interval, guard_ms: int, at_ms: int) -> Room:
    start_ms = at_ms or (guard_ms if interval.opening_pip else 0)
    return Room(_end_ms(interval, guard_ms) - start_ms, f"the {_name(interval)}")


def _end_ms(interval: Interval, guard_ms: int) -> int:
    """Return where talk must have ended, from the interval's start: before the countdown, if there is one."""
    countdown = interval.countdown
    pips_ms = countdown.count * countdown.spacing_ms + guard_ms if countdown is not None else 0
    return interval.length_ms - pips_ms


def _name(interval: Interval) -> str:
    seconds = f"{interval.length_ms / 1000:g} s"
    kind = {"work": "set", "in": "breath in", "out": "breath out"}.get(interval.kind, interval.kind)
    return f"{kind} of {seconds}"
