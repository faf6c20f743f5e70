"""A plan as loaded: the model, where it came from, and the plans it includes."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from cuelane.base.errors import Mark
from cuelane.plan.checks import cue_lines
from cuelane.plan.model import Plan


@dataclass(frozen=True)
class LoadedPlan:
    """A validated plan with its file.

    ``includes`` maps an index in ``plan.session`` to the plan included there. ``lines`` holds the file's
    lines as written, for messages. Every model object in ``plan`` has its ``mark``. ``variant`` names the
    variant that was made of it, and ``pace`` is how fast that wants the voice. ``names_voice``: the file says
    who speaks; else ``plan.voice`` is the default.
    """

    plan: Plan
    path: Path
    lines: tuple[str, ...]
    includes: dict[int, LoadedPlan] = field(default_factory=dict)
    variant: str | None = None
    pace: float = 1.0
    names_voice: bool = True

    @property
    def folder(self) -> Path:
        return self.path.parent

    def line_at(self, mark: Mark) -> str:
        """Return the line of this file that `mark` points to, or an empty string."""
        return self.lines[mark.line - 1] if 1 <= mark.line <= len(self.lines) else ""


def included_files(loaded: LoadedPlan) -> list[Path]:
    """Return the files of all plans that are stacked in a plan, at any depth."""
    return [path for part in loaded.includes.values() for path in (part.path, *included_files(part))]


def recordings_named(loaded: LoadedPlan) -> list[Path]:
    """Return the recordings that lines of a plan, and of all that is stacked in it, are played from."""
    plan = loaded.plan
    parts = (plan, *plan.session, *plan.exercises.values())
    names = [line.clip for part in parts for line in cue_lines(part)]
    for block in plan.session:
        names += [cue.clip for interval in getattr(block, "intervals", ()) for cue in interval.cues]
    own = [loaded.folder / name for name in names if name is not None]
    return own + [path for part in loaded.includes.values() for path in recordings_named(part)]
