"""What a person writes: the plan's keys, types and ranges, as pydantic models.

Durations become integer milliseconds here. Marks (file, line, column) are filled in by the loader; the
models know nothing of YAML.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)

from cuelane.errors import Mark
from cuelane.units import parse_duration_ms

MAX_INTERVAL_MS = 3_600_000
MAX_TEXT = 600


def _duration(value: Any) -> int:
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        raise ValueError("expected a duration, such as 40s, 1m30s or 1:30")
    try:
        return parse_duration_ms(value)
    except ValueError as error:
        raise ValueError(f"expected {error}") from error


def _as_list(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


def _cue_lines(value: Any) -> Any:
    return [{"text": item} if isinstance(item, str) else item for item in _as_list(value)]


_DURATION_SCHEMA = {
    "anyOf": [
        {"type": "string", "pattern": r"^\s*\d[\d:.hmins ]*$"},
        {"type": "number", "minimum": 0},
    ],
    "description": "A duration: 40s, 1m30s, 1:30 or 90 (seconds).",
}

Duration = Annotated[
    int,
    BeforeValidator(_duration),
    Field(ge=0, le=MAX_INTERVAL_MS),
    WithJsonSchema(_DURATION_SCHEMA),
]
"""Milliseconds, 0 to an hour."""

Positive = Annotated[
    int,
    BeforeValidator(_duration),
    Field(gt=0, le=MAX_INTERVAL_MS),
    WithJsonSchema(_DURATION_SCHEMA),
]

Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MAX_TEXT)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Names = Annotated[list[Name], BeforeValidator(_as_list)]
Share = Annotated[float, Field(gt=0, le=1, strict=True, allow_inf_nan=False)]
Rounds = int | list[int] | Literal["first", "last", "odd", "even"]

Role = Literal[
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "caution",
    "time", "change", "praise", "side", "say",
]  # fmt: skip
Kind = Literal["work", "rest", "change", "talk", "in", "hold", "out"]
Side = Literal["left", "right"]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
    _mark: Mark | None = PrivateAttr(default=None)

    @property
    def mark(self) -> Mark | None:
        """Where this stands in the file it was written in; None when made by code."""
        return self._mark


class CueLine(_Strict):
    """One line to speak, with the person's own wishes about it."""

    text: Text
    rounds: Rounds | None = Field(None, description="Speak it only at these appearances of the exercise.")
    at: Duration | None = Field(None, description="Start exactly this long after the interval's start.")
    must: bool | None = Field(None, description="Fail rather than leave it out.")
    weight: Annotated[int, Field(ge=0, le=1000)] | None = Field(None, description="Higher wins the time.")
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about for this line.")

    @model_validator(mode="after")
    def _rounds_are_positive(self) -> CueLine:
        numbers = self.rounds if isinstance(self.rounds, list) else [self.rounds]
        if any(isinstance(number, int) and not 1 <= number <= 999 for number in numbers):
            raise ValueError("rounds count from 1 to 999")
        return self


def _cue_schema() -> dict[str, Any]:
    line = {
        "type": "object",
        "required": ["text"],
        "additionalProperties": False,
        "properties": {
            "text": {"type": "string", "minLength": 1, "maxLength": MAX_TEXT},
            "rounds": {
                "anyOf": [
                    {"type": "integer", "minimum": 1},
                    {"type": "array", "items": {"type": "integer", "minimum": 1}},
                    {"enum": ["first", "last", "odd", "even"]},
                ]
            },
            "at": _DURATION_SCHEMA,
            "must": {"type": "boolean"},
            "weight": {"type": "integer", "minimum": 0, "maximum": 1000},
            "allow": {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]},
        },
    }
    one = [{"type": "string", "minLength": 1, "maxLength": MAX_TEXT}, line]
    return {"anyOf": [*one, {"type": "array", "items": {"anyOf": one}}]}


CueLines = Annotated[
    list[CueLine], BeforeValidator(_cue_lines), Field(max_length=40), WithJsonSchema(_cue_schema())
]
"""A line, a line with wishes, or a list of either."""


class Pips(_Strict):
    """Countdown: `count` short pips, `spacing` apart, then a long one on the boundary."""

    count: Annotated[int, Field(ge=0, le=10)] = 3
    spacing: Positive = 1000


class TalkShare(_Strict):
    """The largest part of an interval that may be spoken."""

    work: Share = 0.55
    rest: Share = 0.75


class Exercise(_Strict):
    """What is done, what it needs and loads, and the words for it."""

    needs: Names = Field(default_factory=list, description="Equipment.")
    load: Names = Field(default_factory=list, description="Body regions it loads.")
    sides: Literal["none", "alternate", "each"] = Field(
        "none", description="alternate: left, right, left by appearance. each: both, half the time each."
    )
    first_side: Side = "left"
    work: Positive | None = None
    rest: Duration | None = None
    settle: Duration | None = None
    activity: Name | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    announce: CueLines = Field(default_factory=list, description="Instead of the exercise's name.")
    preview: CueLines = Field(default_factory=list, description="In the rest before.")
    setup: CueLines = Field(default_factory=list, description="At its first appearance.")
    remind: CueLines = Field(default_factory=list, description="At later appearances.")
    form: CueLines = Field(default_factory=list, description="Corrections, taken in turn.")
    easier: CueLines = Field(default_factory=list)
    harder: CueLines = Field(default_factory=list)
    caution: CueLines = Field(default_factory=list)
    change: CueLines = Field(default_factory=list, description="What to do at the pips that end it.")
    praise: CueLines = Field(default_factory=list)
    say: CueLines = Field(default_factory=list, description="Anything else.")


class Entry(_Strict):
    """An exercise's place in a block, with times of its own."""

    exercise: Name
    work: Positive | None = None
    rest: Duration | None = None
    settle: Duration | None = None


def _entry(value: Any) -> Any:
    return {"exercise": value} if isinstance(value, str) else value


Entries = Annotated[list[Annotated[Entry, BeforeValidator(_entry)]], Field(min_length=1, max_length=60)]


class ScriptCue(_Strict):
    """A cue at an explicit offset into its interval."""

    at: Duration
    text: Text
    role: Role = "say"
    must: bool = True
    clip: Name | None = Field(None, description="File name of a recording beside the plan, for this cue.")


class ScriptInterval(_Strict):
    """An interval with everything said outright."""

    kind: Kind
    length: Positive
    exercise: Name | None = None
    side: Side | None = None
    round: Annotated[int, Field(ge=1, le=999)] | None = None
    settle: Duration = 0
    countdown: bool | None = Field(None, description="Pips before its end; as the block's pips if left out.")
    cues: Annotated[list[ScriptCue], Field(max_length=200)] = Field(default_factory=list)


class _BlockBase(_Strict):
    block: Name = Field(description="The block's title, spoken and shown.")
    pips: Pips | Literal[False] | None = Field(None, description="Instead of the plan's; false for none.")
    say: CueLines = Field(default_factory=list, description="Spoken before the block, in time of its own.")
    activity: Name | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    calls: list[Positive] | None = Field(None, description="Time calls: seconds left in a work interval.")


class _ExerciseBlock(_BlockBase):
    exercises: Entries
    settle: Duration = 0
    praise: CueLines = Field(default_factory=list)


class Circuit(_ExerciseBlock):
    """Every exercise, `rounds` times; rest after each, `round_rest` between rounds."""

    pattern: Literal["circuit"]
    work: Positive
    rest: Duration = 0
    round_rest: Duration | None = None
    rounds: Annotated[int, Field(ge=1, le=100)] = 1
    last_rest: bool = Field(False, description="Rest after the very last work interval too.")


class Build(_ExerciseBlock):
    """Rounds that grow or shrink by one exercise; no rest inside a round, `rest` between rounds."""

    pattern: Literal["build-up", "build-up-and-down", "build-down"]
    work: Positive
    rest: Duration = 0
    change: Duration = Field(0, description="Time between two exercises of a round.")
    last_rest: bool = False


class Ladder(_ExerciseBlock):
    """A circuit whose work (and rest) time changes by round: one duration for each round."""

    pattern: Literal["ladder"]
    work: Annotated[list[Positive], Field(min_length=1, max_length=100)]
    rest: Annotated[list[Duration], BeforeValidator(_as_list), Field(min_length=1, max_length=100)] = Field(
        default_factory=lambda: [0]
    )
    round_rest: Duration | None = None
    last_rest: bool = False


class OnTheMinute(_ExerciseBlock):
    """Work starts every `every`, exercises in turn; what is left of it is rest."""

    pattern: Literal["on-the-minute"]
    every: Positive = 60_000
    work: Positive
    rounds: Annotated[int, Field(ge=1, le=100)] = 1


class Flow(_ExerciseBlock):
    """One movement after another with no rest."""

    pattern: Literal["flow"]
    work: Positive
    change: Duration = 0
    rounds: Annotated[int, Field(ge=1, le=100)] = 1


class Breath(_BlockBase):
    """Breathing by phases: in, hold, out, hold out; a phase of no length is left out."""

    pattern: Literal["breath"]
    inhale: Positive
    hold: Duration = 0
    exhale: Positive
    hold_out: Duration = 0
    cycles: Annotated[int, Field(ge=1, le=1000)]
    spoken_cycles: Annotated[int, Field(ge=0, le=1000)] = Field(
        2, description="So many breaths are led by voice; then the tones lead."
    )
    caution: CueLines = Field(default_factory=list)


class Script(_BlockBase):
    """Explicit intervals, and cues at explicit offsets."""

    pattern: Literal["script"]
    intervals: Annotated[list[ScriptInterval], Field(min_length=1, max_length=5000)]


Block = Annotated[
    Circuit | Build | Ladder | OnTheMinute | Flow | Breath | Script, Field(discriminator="pattern")
]


class Include(_Strict):
    """Another plan's session, stacked here; its exercises come along."""

    include: Name


class Say(_Strict):
    """Words in time of their own: as long as `lasts`, or as the words need at an easy pace."""

    say: CueLines
    lasts: Positive | None = None


class Pause(_Strict):
    """Rest between two blocks."""

    rest: Positive


Item = Include | Say | Pause | Block


class Plan(_Strict):
    """One plan file."""

    title: Name
    language: Name = "en"
    voice: Name = "natural"
    author: Name | None = None
    date: datetime.date | None = None
    description: Text | None = None
    pips: Pips | Literal[False] = Field(default_factory=Pips)
    cautions: CueLines | Literal["standard", "none"] = Field(
        "standard", description="Spoken once at the start and printed."
    )
    lead_in: Duration = Field(10_000, description="Time to get ready before the first interval.")
    calls: list[Positive] = Field(
        default_factory=lambda: [30_000, 10_000], description="Time calls: time left in a work interval."
    )
    gap: Duration = Field(400, description="Least silence between two cues.")
    guard: Duration = Field(250, description="Least silence on either side of a pip.")
    talk_share: TalkShare = Field(default_factory=TalkShare)
    closing: CueLines | Literal[False] = Field(
        default_factory=list, description="Last words; the language's own if left out."
    )
    activity: Name | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    body_mass_kg: Annotated[float, Field(ge=20, le=300, allow_inf_nan=False)] | None = None
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about.")
    session: Annotated[list[Item], Field(min_length=1, max_length=200)]
    exercises: dict[Name, Exercise] = Field(default_factory=dict)
