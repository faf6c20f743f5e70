"""Every line that a plan speaks, with what the checks of its words need to know about it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.base.errors import Mark
from cuelane.base.roles import ROLES
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import (
    Exercise,
    Include,
    Say,
    Script,
    ScriptCue,
)
from cuelane.plan.parts import CueLine

EXERCISE_ROLES = tuple(role for role in ROLES if role in Exercise.model_fields)


@dataclass(frozen=True)
class SpokenLine:
    """A line as the plan has it; ``source`` is its cue line or script cue, None for a name or a title."""

    text: str
    mark: Mark | None
    role: str
    loaded: LoadedPlan
    source: CueLine | ScriptCue | None = None
    exercise: str | None = None
    spec: Exercise | None = None

    @property
    def allow(self) -> tuple[str, ...]:
        own = self.source.allow if self.source is not None else []
        return (*own, *self.loaded.plan.allow)

    @property
    def is_recorded(self) -> bool:
        """Whether a recording is played for it, whatever its text is."""
        return self.source is not None and self.source.clip is not None

    def place_of(self, part: str) -> Mark:
        """Return where `part` of the text stands, else where the line itself does."""
        start = self.mark or Mark(str(self.loaded.path), 1, 1)
        found = self.loaded.line_at(start).find(part, start.column - 1)
        return Mark(start.file, start.line, found + 1) if part and found >= 0 else start


def plans_of(loaded: LoadedPlan) -> Iterator[LoadedPlan]:
    """Yield a plan and all it includes, each once."""
    seen: set[str] = set()
    waiting = [loaded]
    while waiting:
        one = waiting.pop(0)
        if (key := str(one.path.resolve())) not in seen:
            seen.add(key)
            yield one
            waiting += one.includes.values()


def spoken_lines(loaded: LoadedPlan) -> Iterator[SpokenLine]:
    """Yield every line of one plan file: its own, its session's and its exercises'."""
    plan = loaded.plan
    yield SpokenLine(plan.title, plan.mark_of("title"), "title", loaded)
    for role, value in (("caution", plan.cautions), ("closing", plan.closing)):
        if isinstance(value, list):
            yield from _lines(value, role, loaded)
    for item in plan.session:
        if isinstance(item, Say):
            yield from _lines(item.say, "say item", loaded)
        elif isinstance(item, Include):
            continue
        elif hasattr(item, "block"):
            yield SpokenLine(item.block, item.mark_of("block"), "title", loaded)
            for role in ("say", "praise", "caution"):
                yield from _lines(getattr(item, role, []), f"block {role}", loaded)
        if isinstance(item, Script):
            for interval in item.intervals:
                for cue in interval.cues:
                    yield SpokenLine(cue.text, cue.mark_of("text"), "script", loaded, cue)
    for name, spec in plan.exercises.items():
        yield SpokenLine(name, spec.mark, "name", loaded, exercise=name, spec=spec)
        for role in EXERCISE_ROLES:
            for line in getattr(spec, role):
                yield SpokenLine(line.text, line.mark_of("text"), role, loaded, line, name, spec)


def _lines(lines: list[CueLine], role: str, loaded: LoadedPlan) -> Iterator[SpokenLine]:
    for line in lines:
        yield SpokenLine(line.text, line.mark_of("text"), role, loaded, line)
