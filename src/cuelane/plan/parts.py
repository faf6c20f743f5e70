"""The parts that several groups of a plan's keys share: a line to speak with its wishes, pips, talk share."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, PrivateAttr, Tag

from cuelane.base.errors import Mark
from cuelane.plan.tree import Mapping, Node, Sequence
from cuelane.plan.values import Duration, FileName, Length, Name, Names, Rounds, Share, Text, as_list


def _cue_lines(value: Any) -> Any:
    return [{"text": item} if isinstance(item, str) else item for item in as_list(value)]


def _is_off(value: Any) -> str:
    return "<off>" if value is False else "<on>"


class Part(BaseModel):
    """Any group of keys in a plan. ``NOUN`` is how messages call it, where their table does not."""

    NOUN: ClassVar[str] = "this"

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


REST, OTHER_SIDE = "rest", "other side"
"""What a line's `to` may name beside an exercise: the rest, and the same set on its other side."""


class CueLine(Part):
    """One line to speak, with the person's own wishes about it."""

    text: Text = Field(description="What is said.")
    rounds: Rounds | None = Field(None, description="Speak it only at these appearances of the exercise.")
    from_round: Annotated[int, Field(ge=1, le=999)] | None = Field(
        None, description="Speak it only from this round of the block on."
    )
    to: Name | None = Field(
        None,
        description="For change: only where this exercise follows, 'rest' where a rest does, "
        "'other side' for the turn of a set that has both sides.",
    )
    at: Duration | None = Field(None, description="Start exactly this long after the interval's start.")
    must: bool | None = Field(None, description="Fail rather than leave it out.")
    weight: Annotated[int, Field(ge=0, le=1000)] | None = Field(None, description="Higher wins the time.")
    clip: FileName | None = Field(None, description="File name of a recording beside the plan.")
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

    count: Annotated[int, Field(ge=0, le=10)] = Field(3, description="How many short pips.")
    spacing: Length = Field(1000, description="From one pip to the next.")


class TalkShare(Part):
    """The largest part of an interval that may be spoken."""

    work: Share = Field(0.55, description="Of a work interval: above 0, at most 1.")
    rest: Share = Field(0.75, description="Of any other interval.")


PipsOrOff = Annotated[
    Annotated[Pips, Tag("<on>")] | Annotated[Literal[False], Tag("<off>")], Discriminator(_is_off)
]


def place_parts(value: object, node: Node, mark: Mark) -> None:
    """Give a model, and every model inside it, the place it was written at."""
    if isinstance(value, list):
        for index, item in enumerate(value):
            inner = node.items[index] if isinstance(node, Sequence) else node
            place_parts(item, inner, inner.mark)
    elif isinstance(value, dict) and isinstance(node, Mapping):
        for key, inner in node.entries.items():
            place_parts(value.get(key), inner, node.key_marks[key])
    elif isinstance(value, Part):
        value.place(mark, dict(node.key_marks) if isinstance(node, Mapping) else {})
        for key, inner in node.entries.items() if isinstance(node, Mapping) else ():
            place_parts(getattr(value, key), inner, inner.mark)
