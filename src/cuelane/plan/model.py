"""What a person writes: the plan's keys, types and ranges, as pydantic models.

Durations become integer milliseconds here. Marks (file, line, column) are filled in by the loader; the
models know nothing of YAML.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    PrivateAttr,
    StringConstraints,
    Tag,
    WithJsonSchema,
)

from cuelane.errors import Mark
from cuelane.units import parse_duration_ms

MAX_INTERVAL_MS = 3_600_000
MAX_TEXT = 600


def _duration(value: Any) -> int:
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        raise ValueError("expected a duration, such as 40s, 1m30s or 1:30")
    try:
        time_ms = parse_duration_ms(value)
    except ValueError as error:
        raise ValueError(f"expected {error}") from error
    if time_ms > MAX_INTERVAL_MS:
        raise ValueError("expected a duration of at most 1 hour")
    return time_ms


def _positive_duration(value: Any) -> int:
    time_ms = _duration(value)
    if time_ms == 0:
        raise ValueError("expected a duration of more than 0")
    return time_ms


def _as_list(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


def _cue_lines(value: Any) -> Any:
    return [{"text": item} if isinstance(item, str) else item for item in _as_list(value)]


_NUMBER = r"\d+(\.\d+)?"
_CLOCK = r"(\d+:)?\d+:\d\d(\.\d{1,3})?"
_PARTS = rf"({_NUMBER}\s*(h|min|ms|m|sec|s)\s*)+"
_DURATION_SCHEMA = {
    "anyOf": [
        {"type": "string", "pattern": rf"^\s*({_NUMBER}|{_CLOCK}|{_PARTS})\s*$"},
        {"type": "number", "minimum": 0, "maximum": MAX_INTERVAL_MS // 1000},
    ],
    "description": "A duration of at most an hour: 40s, 1m30s, 1:30 or 90 (seconds).",
    "examples": ["40s", "1m30s", "1:30", 90],
}

Duration = Annotated[int, PlainValidator(_duration), WithJsonSchema(_DURATION_SCHEMA)]
"""Milliseconds, 0 to an hour."""

Positive = Annotated[int, PlainValidator(_positive_duration), WithJsonSchema(_DURATION_SCHEMA)]
"""Milliseconds, 1 to an hour."""


def _one_or_list(item: dict[str, Any], **limits: Any) -> WithJsonSchema:
    return WithJsonSchema({"anyOf": [item, {"type": "array", "items": item, **limits}]})


_NAME_SCHEMA = {"type": "string", "minLength": 1, "maxLength": 80}

Durations = Annotated[
    list[Positive], BeforeValidator(_as_list), Field(max_length=40), _one_or_list(_DURATION_SCHEMA)
]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=MAX_TEXT)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Names = Annotated[
    list[Name], BeforeValidator(_as_list), Field(max_length=40), _one_or_list(_NAME_SCHEMA, maxItems=40)
]
Share = Annotated[float, Field(gt=0, le=1, strict=True, allow_inf_nan=False)]


def _rounds(value: Any) -> int | list[int] | str:
    numbers = value if isinstance(value, list) else [value]
    if numbers and all(type(n) is int and 1 <= n <= 999 for n in numbers):
        return value  # type: ignore[no-any-return]
    if isinstance(value, str) and value in ("first", "last", "odd", "even"):
        return value
    raise ValueError("expected a number from 1 to 999, a list of such numbers, or first, last, odd or even")


_ROUND_SCHEMA = {"type": "integer", "minimum": 1, "maximum": 999}
Rounds = Annotated[
    int | list[int] | Literal["first", "last", "odd", "even"],
    PlainValidator(_rounds),
    WithJsonSchema(
        {
            "anyOf": [
                _ROUND_SCHEMA,
                {"type": "array", "items": _ROUND_SCHEMA, "minItems": 1},
                {"enum": ["first", "last", "odd", "even"]},
            ],
            "description": "Which appearances of the exercise: 2, [1, 3], first, last, odd or even.",
            "examples": ["first", 2, [1, 3]],
        }
    ),
]


def _date(value: Any) -> datetime.date:
    if isinstance(value, datetime.date):
        return value
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
        raise ValueError("expected a date, such as 2026-05-31")
    try:
        return datetime.date.fromisoformat(value)
    except ValueError as error:
        raise ValueError("expected a date that is in the calendar, such as 2026-05-31") from error


Date = Annotated[datetime.date, PlainValidator(_date), WithJsonSchema({"type": "string", "format": "date"})]


def _activity(value: Any) -> str:
    code = f"{value:05d}" if type(value) is int else value
    if not isinstance(code, str) or not re.fullmatch(r"\d{5}", code, re.ASCII):
        raise ValueError("expected a code of five digits, such as 02214")
    return code


Activity = Annotated[
    str,
    PlainValidator(_activity),
    WithJsonSchema({"anyOf": [{"type": "string", "pattern": r"^\d{5}$"}, {"type": "integer"}]}),
]
"""A code of the Compendium of Physical Activities: five digits, kept as text for its leading zero."""


def _is_off(value: Any) -> str:
    return "<off>" if value is False else "<on>"


Role = Literal[
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "caution",
    "time", "change", "praise", "side", "say",
]  # fmt: skip
Kind = Literal["work", "rest", "change", "talk", "in", "hold", "out"]
Side = Literal["left", "right"]


class Part(BaseModel):
    """Any group of keys in a plan."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
    _mark: Mark | None = PrivateAttr(default=None)
    _key_marks: dict[str, Mark] = PrivateAttr(default_factory=dict)

    @property
    def mark(self) -> Mark | None:
        """Where this stands in the file it was written in; None when made by code."""
        return self._mark

    def mark_of(self, key: str) -> Mark | None:
        """Where `key` of this stands, else where this itself stands; None when made by code."""
        return self._key_marks.get(key, self._mark)

    def place(self, mark: Mark, key_marks: dict[str, Mark]) -> None:
        """Note where this was written; for the loader."""
        self._mark = mark
        self._key_marks = key_marks


class CueLine(Part):
    """One line to speak, with the person's own wishes about it."""

    text: Text
    rounds: Rounds | None = Field(None, description="Speak it only at these appearances of the exercise.")
    at: Duration | None = Field(None, description="Start exactly this long after the interval's start.")
    must: bool | None = Field(None, description="Fail rather than leave it out.")
    weight: Annotated[int, Field(ge=0, le=1000)] | None = Field(None, description="Higher wins the time.")
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about for this line.")


CueLines = Annotated[list[CueLine], BeforeValidator(_cue_lines), Field(max_length=40)]
"""A line, a line with wishes, or a list of either."""


def _is_word(value: Any) -> str:
    return "<word>" if value in ("standard", "none") else "<lines>"


Cautions = Annotated[
    Annotated[CueLines, Tag("<lines>")] | Annotated[Literal["standard", "none"], Tag("<word>")],
    Discriminator(_is_word),
]
LinesOrOff = Annotated[
    Annotated[CueLines, Tag("<on>")] | Annotated[Literal[False], Tag("<off>")], Discriminator(_is_off)
]


class Pips(Part):
    """Countdown: `count` short pips, `spacing` apart, then a long one on the boundary."""

    count: Annotated[int, Field(ge=0, le=10)] = 3
    spacing: Positive = 1000


class TalkShare(Part):
    """The largest part of an interval that may be spoken."""

    work: Share = 0.55
    rest: Share = 0.75


class Exercise(Part):
    """What is done, what it needs and loads, and the words for it."""

    needs: Names = Field(default_factory=list, description="Equipment.", examples=["one dumbbell"])
    load: Names = Field(default_factory=list, description="Body regions it loads.")
    sides: Literal["none", "alternate", "each"] = Field(
        "none", description="alternate: left, right, left by appearance. each: both, half the time each."
    )
    first_side: Side = "left"
    work: Positive | None = None
    rest: Duration | None = None
    settle: Duration | None = None
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
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


class Entry(Part):
    """An exercise's place in a block, with times of its own."""

    exercise: Name
    work: Positive | None = None
    rest: Duration | None = None
    settle: Duration | None = None


def _entries(value: Any) -> Any:
    return [{"exercise": item} if isinstance(item, str) else item for item in _as_list(value)]


Entries = Annotated[list[Entry], BeforeValidator(_entries), Field(min_length=1, max_length=60)]
"""Exercises in order: each a name, or a name with times of its own."""

PipsOrOff = Annotated[
    Annotated[Pips, Tag("<on>")] | Annotated[Literal[False], Tag("<off>")], Discriminator(_is_off)
]


class ScriptCue(Part):
    """A cue at an explicit offset into its interval."""

    at: Duration
    text: Text
    role: Role = "say"
    must: bool = True
    clip: Name | None = Field(None, description="File name of a recording beside the plan, for this cue.")


class ScriptInterval(Part):
    """An interval with everything said outright."""

    kind: Kind
    length: Positive
    exercise: Name | None = None
    side: Side | None = None
    round: Annotated[int, Field(ge=1, le=999)] | None = None
    settle: Duration = 0
    countdown: bool | None = Field(None, description="Pips before its end; as the block's pips if left out.")
    cues: Annotated[list[ScriptCue], Field(max_length=200)] = Field(default_factory=list)


class _BlockBase(Part):
    block: Name = Field(description="The block's title, spoken and shown.")
    pips: PipsOrOff | None = Field(None, description="Instead of the plan's; false for none.")
    say: CueLines = Field(default_factory=list, description="Spoken before the block, in time of its own.")
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    calls: Durations | None = Field(None, description="Time calls: seconds left in a work interval.")


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
    rest: Annotated[
        list[Duration],
        BeforeValidator(_as_list),
        Field(min_length=1, max_length=100),
        _one_or_list(_DURATION_SCHEMA, minItems=1, maxItems=100),
    ] = Field(default_factory=lambda: [0], description="One for all rounds, or one for each.")
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


class Include(Part):
    """Another plan's session, stacked here; its exercises come along."""

    include: Name


class Say(Part):
    """Words in time of their own: as long as `lasts`, or as the words need at an easy pace."""

    say: CueLines
    lasts: Positive | None = None


class Pause(Part):
    """Rest between two blocks."""

    rest: Positive


Item = Include | Say | Pause | Block


class Plan(Part):
    """One plan file."""

    title: Name
    language: Name = "en"
    voice: Name = "natural"
    author: Name | None = None
    date: Date | None = None
    description: Text | None = None
    pips: PipsOrOff = Field(default_factory=Pips)
    cautions: Cautions = Field("standard", description="Spoken once at the start and printed.")
    lead_in: Duration = Field(10_000, description="Time to get ready before the first interval.")
    calls: Durations = Field(
        default_factory=lambda: [30_000, 10_000], description="Time calls: time left in a work interval."
    )
    gap: Duration = Field(400, description="Least silence between two cues.")
    guard: Duration = Field(250, description="Least silence on either side of a pip.")
    talk_share: TalkShare = Field(default_factory=TalkShare)
    closing: LinesOrOff = Field(
        default_factory=list, description="Last words; the language's own if left out."
    )
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    body_mass_kg: Annotated[float, Field(ge=20, le=300, allow_inf_nan=False)] | None = None
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about.")
    session: Annotated[list[Item], Field(min_length=1, max_length=200)]
    exercises: dict[Name, Exercise] = Field(default_factory=dict)
