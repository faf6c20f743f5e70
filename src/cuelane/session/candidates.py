"""A line that an interval could carry, and the memory of which have been spoken."""

from __future__ import annotations

from dataclasses import dataclass, field

from cuelane.base.errors import Mark
from cuelane.base.roles import ROLES

WEIGHTS: dict[str, int] = dict(ROLES.items()) | {"needs": 65}


Fact = tuple[str | int | None, ...]
"""Something that has been told, such as ``("round", block_index, 3)``."""


@dataclass(frozen=True)
class Candidate:
    """A line that an interval could carry, and where it would like to be.

    ``start_ms`` fixes the start, from the interval's start; ``lead`` fixes it as soon as a cue may sound.
    Otherwise ``toward`` is the preferred start as a part of the interval, 1.0 meaning as late as it fits.
    ``group`` and ``chain`` are as in :class:`cuelane.session.placing.Offer`. ``wish`` says the place in
    words. ``tally`` is what :class:`History` counts when it is spoken, ``clip`` a recording beside the plan.
    ``prefer_ms`` is the preferred start as a time, where a part will not do; ``not_before_ms`` and
    ``latest_ms`` are the first and last moment at which it may start, and ``quiet_ms`` is the silence wished
    before it. ``uses`` names the pack's phrases in it, so that each comes in its next form next time;
    ``tells`` what a listener knows once it has been said. ``appearance`` is the set it is about, where that
    is not the interval's own; ``manner`` is what slows it down (see `speech.definition.Manner`); ``hurry`` is
    how many times as fast as usual it is said, so that a talk fits.
    """

    role: str
    text: str
    weight: int
    wish: str
    must: bool = False
    lead: bool = False
    start_ms: int | None = None
    toward: float = 0.0
    group: str | None = None
    chain: tuple[str, int] | None = None
    tally: tuple[str, str, str] | None = None
    prefer_ms: int | None = None
    not_before_ms: int = 0
    latest_ms: int | None = None
    quiet_ms: int = 0
    uses: tuple[str, ...] = ()
    tells: tuple[Fact, ...] = ()
    appearance: int | None = None
    manner: str | None = None
    hurry: float = 1.0
    clip: str | None = None
    mark: Mark | None = None


@dataclass
class History:
    """What has been said so far: how often each line and phrase, at which appearance last, and what is known.

    ``praised_set`` is the set in which, or after which, praise was last given.
    """

    times: dict[tuple[str, str, str], int] = field(default_factory=dict)
    last: dict[tuple[str, str, str], int] = field(default_factory=dict)
    phrases: dict[str, int] = field(default_factory=dict)
    told: set[Fact] = field(default_factory=set)
    praised_set: int = -1

    def spoken(self, candidate: Candidate, appearance: int | None, set_index: int | None = None) -> None:
        """Count a candidate that was placed."""
        if candidate.tally:
            self.times[candidate.tally] = self.times.get(candidate.tally, 0) + 1
            self.last[candidate.tally] = candidate.appearance or appearance or 0
        for phrase in candidate.uses:
            self.phrases[phrase] = self.phrases.get(phrase, 0) + 1
        self.told.update(candidate.tells)
        if candidate.role == "praise" and set_index is not None:
            self.praised_set = set_index
