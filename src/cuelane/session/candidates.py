"""A line that an interval could carry, and the memory of which have been spoken."""

from __future__ import annotations

from dataclasses import dataclass, field

from cuelane.base.errors import Mark

WEIGHTS = {
    "announce": 90, "side": 85, "caution": 80, "change": 78, "setup": 75, "preview": 70, "needs": 65,
    "remind": 50, "form": 40, "time": 35, "easier": 30, "harder": 26, "say": 20, "praise": 10,
}  # fmt: skip


@dataclass(frozen=True)
class Candidate:
    """A line that an interval could carry, and where it would like to be.

    ``start_ms`` fixes the start, from the interval's start; ``lead`` fixes it as soon as a cue may sound.
    Otherwise ``toward`` is the preferred start as a part of the interval, 1.0 meaning as late as it fits.
    ``group`` and ``chain`` are as in :class:`cuelane.session.placing.Offer`. ``wish`` says the place in
    words. ``tally`` is what :class:`History` counts when it is spoken, ``clip`` a recording beside the plan.
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
    clip: str | None = None
    mark: Mark | None = None


@dataclass
class History:
    """What has been said so far: how often each line was spoken, and at which appearance last."""

    times: dict[tuple[str, str, str], int] = field(default_factory=dict)
    last: dict[tuple[str, str, str], int] = field(default_factory=dict)

    def spoken(self, candidate: Candidate, appearance: int | None) -> None:
        """Count a candidate that was placed."""
        if candidate.tally:
            self.times[candidate.tally] = self.times.get(candidate.tally, 0) + 1
            self.last[candidate.tally] = appearance or 0
