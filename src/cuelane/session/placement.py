"""What the placer is asked and what it answers; see :mod:`cuelane.session.placing` for the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Offer:
    """A cue an interval could carry. All positions are samples from the interval's start.

    ``length`` > 0; ``latest_end`` None means the end of the free space. ``quiet`` is the silence that is
    wished between it and the cue before it, where there is room for more than the gap.
    """

    length: int
    earliest: int = 0
    latest_end: int | None = None
    preferred: int = 0
    weight: int = 0
    must: bool = False
    group: str | None = None
    chain: tuple[str, int] | None = None
    quiet: int = 0


@dataclass(frozen=True)
class Space:
    """The free space of an interval, in samples from its start.

    Cues lie in [begin, end); an open stretch may reach from ``open_begin`` (the opening pip's end) to
    ``open_end`` (the countdown's first onset).
    """

    begin: int
    end: int
    gap: int
    talk_limit: int
    open_needed: int = 0
    open_begin: int = 0
    open_end: int = 0


@dataclass(frozen=True)
class Placement:
    """The chosen offers' starts by offer index, in samples from the interval's start."""

    starts: dict[int, int]
    weight: int
    distance: int
    left_out: tuple[int, ...] = ()
    """Offers that were not considered, being the lightest of too many."""


@dataclass(frozen=True)
class OfferWindow:
    """An offer with its window in a given space: ``index`` among the offers; starts in samples.

    ``ahead`` is how many samples are at least kept free between it and a cue before it.
    """

    index: int
    length: int
    earliest: int
    latest_start: int
    preferred: int
    ahead: int


QUIET_PARTS = 2
"""The wished silences are tried whole, then cut to a half, then not at all: all of an interval alike."""


def item_of(index: int, offer: Offer, space: Space, parts: int = 0) -> OfferWindow:
    """Return an offer's window in `space`, with `parts` of `QUIET_PARTS` of the silence that it wishes."""
    latest_end = space.end if offer.latest_end is None else min(space.end, offer.latest_end)
    earliest = max(space.begin, offer.earliest)
    ahead = max(space.gap, offer.quiet * parts // QUIET_PARTS)
    return OfferWindow(index, offer.length, earliest, latest_end - offer.length, offer.preferred, ahead)


def barred_before(last: int, offers: Sequence[Offer]) -> int:
    """Return the offers that may not come before `last`: others of its group, later ones of its chain."""
    mine = offers[last]
    barred = 0
    for number, other in enumerate(offers):
        same_group = mine.group is not None and other.group == mine.group
        later = (
            mine.chain is not None
            and other.chain is not None
            and other.chain[0] == mine.chain[0]
            and other.chain[1] > mine.chain[1]
        )
        if number != last and (same_group or later):
            barred |= 1 << number
    return barred
