"""How long a line may be: the most time that any interval in which it could be said has for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.lint.spoken_lines import SpokenLine
from cuelane.plan.model import ScriptCue
from cuelane.plan.parts import CueLine
from cuelane.session.model import Interval, Session


@dataclass(frozen=True)
class LineRoom:
    """The longest time for a line, and what to call the interval that has it."""

    length_ms: int
    where: str


class Rooms:
    """Where each line of a session could go; made once, asked for every line."""

    def __init__(self, session: Session) -> None:
        self.guard_ms = session.plan.guard
        self.sets: dict[tuple[str, int], list[Interval]] = defaultdict(list)
        self.before: dict[tuple[str, int], list[Interval]] = defaultdict(list)
        self.by_line: dict[int, list[Interval]] = defaultdict(list)
        previous = None
        for entry in session.intervals:
            if entry.kind == "work" and entry.exercise is not None:
                key = (entry.exercise, id(entry.spec))
                self.sets[key].append(entry)
                if previous is not None and (
                    entry.set_index is None or previous.set_index != entry.set_index
                ):
                    self.before[key].append(previous)
            # Without a length of the plan's own, a talk interval is as long as its words need.
            for line in (*entry.praise, *entry.script_cues, *(entry.lines if entry.lasts else ())):
                self.by_line[id(line)].append(entry)
            previous = entry

    def room_for(self, line: SpokenLine) -> LineRoom | None:
        """Return the most time for `line`; None where it is never spoken or its interval is fitted to it."""
        if line.source is None:
            return None
        return max(self._rooms(line, line.source), key=lambda room: room.length_ms, default=None)

    def _rooms(self, line: SpokenLine, source: CueLine | ScriptCue) -> Iterator[LineRoom]:
        if source.clip is not None:
            # As long as it is; no estimate by its words holds.
            return
        if isinstance(source, ScriptCue):
            for entry in self.by_line[id(source)]:
                yield LineRoom(self._end_ms(entry) - source.at, f"from there the {_name(entry)}")
            return
        intervals = self.by_line[id(source)]
        if line.exercise is not None:
            places = self.before if line.role == "preview" else self.sets
            intervals = places[line.exercise, id(line.spec)]
        for entry in intervals:
            start_ms = source.at or (self.guard_ms if entry.opening_pip else 0)
            yield LineRoom(self._end_ms(entry) - start_ms, f"the {_name(entry)}")

    def _end_ms(self, interval: Interval) -> int:
        """Return where talk must have ended, from the interval's start: before the countdown, if any."""
        countdown = interval.countdown
        pips_ms = countdown.count * countdown.spacing_ms + self.guard_ms if countdown is not None else 0
        return interval.length_ms - pips_ms


def _name(interval: Interval) -> str:
    kind = {"work": "set", "in": "breath in", "out": "breath out"}.get(interval.kind, interval.kind)
    return f"{kind} of {interval.length_ms / 1000:g} s"
