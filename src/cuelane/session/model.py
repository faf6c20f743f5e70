"""What a plan expands to: intervals with exact times, and what an instructor meant by each.

Times are integer milliseconds from the session's start. Patterns make these; cues and facts read them.
"""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.schedule import IntervalKind
from cuelane.plan.model import Exercise, Plan, ScriptCue
from cuelane.plan.parts import CueLine


@dataclass(frozen=True)
class Countdown:
    """Pips at an interval's end: `count` short ones `spacing_ms` apart, then the long one on the boundary."""

    count: int
    spacing_ms: int


@dataclass(frozen=True)
class Interval:
    """A stretch of time of one kind.

    ``appearance`` counts an exercise's sets in the whole session from 1 and ``appearances`` is how many
    there are; the two halves of a set done on each side share one (``half`` is 1 or 2). ``countdown`` is None
    where the next boundary has no pips. ``opening_pip`` says whether a pip sounds on this interval's own
    start. ``calls_ms`` are the plan's time calls, None where they follow a rule. ``lines`` are words that a
    talk interval exists to say, in order, and ``warns`` those of them that are cautions; ``explain``
    says that a breath block's count and tones are told before it; ``lasts`` says that the plan, not the
    program, chose its length; ``quiet_ms`` is the silence kept before its words.
    """

    index: int
    block: str
    block_index: int
    pattern: str
    kind: IntervalKind
    start_ms: int
    end_ms: int
    round: int | None = None
    rounds: int | None = None
    exercise: str | None = None
    spec: Exercise | None = None
    side: str | None = None
    settle_ms: int = 0
    appearance: int | None = None
    appearances: int | None = None
    set_index: int | None = None
    half: int | None = None
    cycle: int | None = None
    spoken_cycles: int = 0
    countdown: Countdown | None = None
    opening_pip: bool = False
    activity: str | None = None
    calls_ms: tuple[int, ...] | None = None
    praise: tuple[CueLine, ...] = ()
    lines: tuple[CueLine, ...] = ()
    warns: tuple[str, ...] = ()
    explain: bool = False
    lasts: bool = False
    quiet_ms: int = 0
    script_cues: tuple[ScriptCue, ...] = ()

    @property
    def length_ms(self) -> int:
        return self.end_ms - self.start_ms

    @property
    def phase(self) -> str:
        """The kind, but ``hold_out`` for the hold after breathing out."""
        return "hold_out" if self.kind == "hold" and self.half == 2 else self.kind

    @property
    def is_training(self) -> bool:
        """Whether something is done in it: a set, or a breath."""
        return self.exercise is not None or self.cycle is not None


@dataclass(frozen=True)
class Session:
    """A whole session: the outermost plan's settings, and the intervals of it and all it includes."""

    plan: Plan
    cautions: tuple[CueLine, ...]
    intervals: tuple[Interval, ...]

    @property
    def length_ms(self) -> int:
        return self.intervals[-1].end_ms if self.intervals else 0
