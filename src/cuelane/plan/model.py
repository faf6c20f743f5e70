"""What a person writes: the plan's keys, types and ranges, as pydantic models.

Durations become integer milliseconds here. Marks (file, line, column) are filled in by the loader; the
models know nothing of YAML.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from cuelane.base.paces import MAX_PACE, MIN_PACE
from cuelane.base.roles import Role
from cuelane.base.schedule import IntervalKind
from cuelane.plan.parts import Cautions, CueLines, LinesOrOff, Part, Pips, PipsOrOff, TalkShare
from cuelane.plan.values import (
    Activity,
    Break,
    Date,
    Duration,
    Durations,
    FileName,
    Length,
    Name,
    Names,
    Text,
    Things,
    as_list,
    duration_schema,
    one_or_list,
)

Side = Literal["left", "right"]


class Exercise(Part):
    """What is done, what it needs and loads, and the words for it."""

    needs: Things = Field(default_factory=list, description="Equipment.", examples=["one dumbbell"])
    load: Names = Field(
        default_factory=list, description="Body regions it loads.", examples=[["quads", "glutes"]]
    )
    sides: Literal["none", "alternate", "each"] = Field(
        "none", description="alternate: left, right, left by appearance. each: both, half the time each."
    )
    first_side: Side = Field("left", description="The side to begin with.")
    work: Length | None = Field(None, description="Instead of the block's work.")
    rest: Break | None = Field(None, description="Instead of the block's rest.")
    settle: Duration | None = Field(None, description="Instead of the block's settle.")
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    announce: CueLines = Field(default_factory=list, description="Instead of the exercise's name.")
    preview: CueLines = Field(default_factory=list, description="In the rest before.")
    setup: CueLines = Field(default_factory=list, description="At its first appearance.")
    remind: CueLines = Field(default_factory=list, description="At later appearances.")
    form: CueLines = Field(default_factory=list, description="Corrections, taken in turn.")
    easier: CueLines = Field(default_factory=list, description="An easier way, said early.")
    harder: CueLines = Field(default_factory=list, description="A harder way, said late.")
    swap: CueLines = Field(default_factory=list, description="What to do instead of it, if need be.")
    heavier: CueLines = Field(
        default_factory=list, description="A heavier load, said in the rest before a later round."
    )
    heavier_needs: Things = Field(
        default_factory=list, description="What the heavier load needs; announced as a choice."
    )
    caution: CueLines = Field(
        default_factory=list, description="Always spoken, before its first appearance begins."
    )
    change: CueLines = Field(default_factory=list, description="What to do at the pips that end it.")
    praise: CueLines = Field(default_factory=list, description="Taken in turn, where there is time.")
    say: CueLines = Field(default_factory=list, description="Anything else.")


class Entry(Part):
    """An exercise's place in a block, with times of its own."""

    exercise: Name = Field(description="One of the plan's exercises.")
    work: Length | None = Field(None, description="Instead of the block's work.")
    rest: Break | None = Field(None, description="Instead of the block's rest.")
    settle: Duration | None = Field(None, description="Instead of the block's settle.")


def _entries(value: Any) -> Any:
    return [{"exercise": item} if isinstance(item, str) else item for item in as_list(value)]


Entries = Annotated[list[Entry], BeforeValidator(_entries), Field(min_length=1, max_length=60)]
"""Exercises in order: each a name, or a name with times of its own."""


class ScriptCue(Part):
    """A cue at an explicit offset into its interval."""

    at: Duration = Field(description="So long after the interval's start.")
    text: Text = Field(description="What is said.")
    role: Role = Field("say", description="What the words are for.")
    must: bool = Field(True, description="Fail rather than leave it out.")
    clip: FileName | None = Field(None, description="File name of a recording beside the plan, for this cue.")
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about for this cue.")


class ScriptInterval(Part):
    """An interval with everything said outright."""

    kind: IntervalKind = Field(description="What the time is for.")
    length: Length = Field(description="How long it lasts.")
    exercise: Name | None = Field(None, description="What is done in it.")
    side: Side | None = Field(None, description="The side it is done on.")
    round: Annotated[int, Field(ge=1, le=999)] | None = Field(None, description="The round it belongs to.")
    settle: Duration = Field(0, description="The first seconds of a set, for getting into place.")
    countdown: bool | None = Field(None, description="Pips before its end; as the block's pips if left out.")
    cues: Annotated[list[ScriptCue], Field(max_length=200)] = Field(
        default_factory=list, description="What is said in it, and when."
    )


class _BlockBase(Part):
    block: Name = Field(description="The block's title, spoken and shown.")
    pips: PipsOrOff | None = Field(None, description="Instead of the plan's; false for none.")
    say: CueLines = Field(default_factory=list, description="Spoken before the block, in time of its own.")
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    calls: Durations | None = Field(None, description="Time calls: seconds left in a work interval.")


class _ExerciseBlock(_BlockBase):
    exercises: Entries = Field(description="Names from the plan's exercises, in order.")
    settle: Duration = Field(0, description="The first seconds of a set, for getting into place.")
    praise: CueLines = Field(default_factory=list, description="Taken in turn, where there is time.")


class Circuit(_ExerciseBlock):
    """Every exercise, `rounds` times; rest after each, `round_rest` between rounds."""

    pattern: Literal["circuit"]
    work: Length = Field(description="How long each set lasts.", examples=["40s"])
    rest: Break = Field(0, description="Rest after each set; in the build patterns, after each round.")
    round_rest: Break | None = Field(None, description="Rest between two rounds, instead of rest.")
    rounds: Annotated[int, Field(ge=1, le=100)] = Field(1, description="How many times through.")
    last_rest: bool = Field(False, description="Rest after the very last set too.")


class Build(_ExerciseBlock):
    """Rounds that grow or shrink by one exercise; no rest inside a round, `rest` between rounds."""

    pattern: Literal["build-up", "build-up-and-down", "build-down"]
    work: Length = Field(description="How long each set lasts.", examples=["40s"])
    rest: Break = Field(0, description="Rest after each set; in the build patterns, after each round.")
    change: Break = Field(0, description="Time between two exercises of a round.")
    last_rest: bool = Field(False, description="Rest after the very last set too.")


class Ladder(_ExerciseBlock):
    """A circuit whose work (and rest) time changes by round: one duration for each round."""

    pattern: Literal["ladder"]
    work: Annotated[list[Length], Field(min_length=1, max_length=100)] = Field(
        description="How long each set lasts: one duration for each round.", examples=[["30s", "40s", "50s"]]
    )
    rest: Annotated[
        list[Break],
        BeforeValidator(as_list),
        Field(min_length=1, max_length=100),
        one_or_list(duration_schema(zero=True), minItems=1, maxItems=100),
    ] = Field(default_factory=lambda: [0], description="One for all rounds, or one for each.")
    round_rest: Break | None = Field(None, description="Rest between two rounds, instead of rest.")
    last_rest: bool = Field(False, description="Rest after the very last set too.")


class OnTheMinute(_ExerciseBlock):
    """Work starts every `every`, exercises in turn; what is left of it is rest."""

    pattern: Literal["on-the-minute"]
    every: Length = Field(60_000, description="A set starts each time this has passed.")
    work: Length = Field(description="How long each set lasts.", examples=["40s"])
    rounds: Annotated[int, Field(ge=1, le=100)] = Field(1, description="How many times through.")


class Flow(_ExerciseBlock):
    """One movement after another with no rest."""

    pattern: Literal["flow"]
    work: Length = Field(description="How long each set lasts.", examples=["40s"])
    change: Break = Field(0, description="Time between two movements.")
    rounds: Annotated[int, Field(ge=1, le=100)] = Field(1, description="How many times through.")


class Breath(_BlockBase):
    """Breathing by phases: in, hold, out, hold out; a phase of no length is left out."""

    pattern: Literal["breath"]
    inhale: Length = Field(description="How long to breathe in.", examples=["4s"])
    hold: Break = Field(0, description="How long to hold the breath after it.")
    exhale: Length = Field(description="How long to breathe out.", examples=["6s"])
    hold_out: Break = Field(0, description="How long to stay empty after it.")
    cycles: Annotated[int, Field(ge=1, le=1000)] = Field(description="How many breaths.")
    spoken_cycles: Annotated[int, Field(ge=0, le=1000)] = Field(
        2, description="So many breaths are led by voice; then the tones lead."
    )
    caution: CueLines = Field(default_factory=list, description="Always spoken, at the first appearance.")
    explain: bool = Field(True, description="Tell the count and the tones before it, in time of its own.")


class Script(_BlockBase):
    """Explicit intervals, and cues at explicit offsets."""

    pattern: Literal["script"]
    intervals: Annotated[list[ScriptInterval], Field(min_length=1, max_length=5000)] = Field(
        description="One after another, each with its kind and length."
    )


ExerciseBlock = Circuit | Build | Ladder | OnTheMinute | Flow
PatternBlock = ExerciseBlock | Breath | Script
Block = Annotated[PatternBlock, Field(discriminator="pattern")]

BLOCKS: dict[str, type[_BlockBase]] = {
    pattern: kind
    for kind in get_args(PatternBlock)
    for pattern in get_args(kind.model_fields["pattern"].annotation)
}
"""What each pattern's block is made of."""


class Include(Part):
    """Another plan's session, stacked here; its exercises come along."""

    include: FileName = Field(
        description="A plan file in this plan's folder or below it.", examples=["warm-up.yaml"]
    )


class Say(Part):
    """Words in time of their own: as long as `lasts`, or as the words need at an easy pace."""

    say: Annotated[CueLines, Field(min_length=1)] = Field(description="Words to say.")
    lasts: Length | None = Field(None, description="How long; as the words need if left out.")


class Pause(Part):
    """Rest between two blocks."""

    rest: Length = Field(description="How long to rest between two blocks.")


Item = Include | Say | Pause | Block


class Variant(Part):
    """A named set of changes to the plan; what it does not say stays as it is."""

    title: Name | None = Field(None, description="Instead of the plan's title, so that listeners can tell.")
    description: Text | None = Field(None, description="Instead of the plan's.")
    language: Name | None = Field(None, description="Instead of the plan's.")
    voice: Name | None = Field(None, description="Instead of the plan's.")
    pace: Annotated[float, Field(ge=MIN_PACE, le=MAX_PACE, allow_inf_nan=False)] | None = Field(
        None, description="How fast the voice speaks."
    )
    pips: PipsOrOff | None = Field(None, description="Instead of the plan's; false for none.")
    lead_in: Break | None = Field(None, description="Instead of the plan's.")
    calls: Durations | None = Field(None, description="Instead of the plan's.")
    coaching: Literal["spare", "usual", "full"] | None = Field(None, description="Instead of the plan's.")
    praise: LinesOrOff | None = Field(None, description="Instead of the plan's; false for none.")
    talk_share: TalkShare | None = Field(None, description="Instead of the plan's.")
    closing: LinesOrOff | None = Field(None, description="Instead of the plan's; false for none.")
    work: Length | None = Field(None, description="In every block that gives one.", examples=["30s"])
    rest: Break | None = Field(None, description="In every block that gives one.")
    round_rest: Break | None = Field(None, description="In every block that gives one.")
    change: Break | None = Field(None, description="In every block that gives one.")
    rounds: Annotated[int, Field(ge=1, le=100)] | None = Field(
        None, description="In every block that gives them."
    )
    settle: Duration | None = Field(None, description="In every block that gives one.")
    cycles: Annotated[int, Field(ge=1, le=1000)] | None = Field(
        None, description="In every block that gives them."
    )
    leave_out: Names = Field(default_factory=list, description="Exercises that are not done.")
    swap: dict[Name, Name] = Field(default_factory=dict, description="Exercises, each with another for it.")
    blocks: dict[Name, dict[str, Any]] = Field(
        default_factory=dict, description="Blocks by title, each with the keys that change in it."
    )


class Plan(Part):
    """One plan file."""

    title: Name = Field(description="The session's name, spoken and shown.", examples=["Boathouse legs"])
    language: Name = Field("en", description="Language of the program's own words.")
    voice: Name = Field(
        "natural", description="Who speaks: a name of cuelane voices; the language's first if left out."
    )
    author: Name | None = Field(None, description="Who made the session.")
    date: Date | None = Field(None, description="When it was made.", examples=["2026-05-31"])
    description: Text | None = Field(None, description="What the session is, for its page and tags.")
    pips: PipsOrOff = Field(default_factory=Pips, description="The countdown; false for none.")
    cautions: Cautions = Field("standard", description="Spoken once at the start and printed.")
    lead_in: Break = Field(10_000, description="Time to get ready before the first interval.")
    calls: Durations | None = Field(
        None, description="Time calls: time left in a work interval; varied by rule if left out."
    )
    coaching: Literal["spare", "usual", "full"] = Field("usual", description="How much is said at all.")
    praise: LinesOrOff = Field(
        default_factory=list, description="Instead of the language's own praise; false for none."
    )
    even_sides: bool = Field(
        False, description="Split the last set where an alternating exercise would end uneven."
    )
    gap: Duration = Field(400, description="Least silence between two cues.")
    guard: Duration = Field(250, description="Least silence on either side of a pip.")
    talk_share: TalkShare = Field(
        default_factory=TalkShare, description="How much of the time may be spoken."
    )
    closing: LinesOrOff = Field(
        default_factory=list, description="Last words; the language's own if left out."
    )
    activity: Activity | None = Field(None, description="Code in the 2024 Compendium of Physical Activities.")
    body_mass_kg: Annotated[float, Field(ge=20, le=300, allow_inf_nan=False)] | None = Field(
        None, description="For an estimate of energy; needs an activity too."
    )
    allow: Names = Field(default_factory=list, description="Warnings to keep quiet about.")
    session: Annotated[list[Item], Field(min_length=1, max_length=200)] = Field(
        description="What happens, in order: blocks, includes, words and rests."
    )
    exercises: dict[Name, Exercise] = Field(
        default_factory=dict, description="Each exercise by name, with what to say about it."
    )
    variants: Annotated[dict[Name, Variant], Field(max_length=40)] = Field(
        default_factory=dict, description="Other sessions made of this plan: a name, and what changes."
    )
