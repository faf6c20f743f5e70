"""The sets around each interval: what a coach has just said and must now prepare for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuelane.session.model import Interval, Session

NAMED_IN_REST_FROM_MS = 7_000
"""In a shorter rest there is no time for a name between the pip that starts it and the usual countdown."""

NAMED_BEFORE_PIPS_MS = 4_000
"""So much of it is before a countdown of the usual three seconds."""


@dataclass(frozen=True)
class Neighbours:
    """The sets around one interval; the halves of one set are no neighbours of each other.

    ``before`` and ``after`` are the nearest sets, wherever they are; ``following`` is the next interval, if a
    set begins there; ``beyond`` is the set behind it, if it is a rest, or a change, that is too short to
    name it in, see `NAMED_IN_REST_FROM_MS`;
    ``breath_next`` is the title of the breath block that begins there.
    """

    before: Interval | None
    after: Interval | None
    following: Interval | None
    breath_next: str | None
    new_needs: tuple[str, ...] = ()
    """What ``following``, or ``beyond``, needs that no set before it needed."""
    resting: bool = False
    """Whether the next interval is a rest, or talk: time without a set."""
    beyond: Interval | None = None


def neighbours(session: Session) -> list[Neighbours]:
    """Return the neighbours of every interval of a session, in two passes over it."""
    intervals = session.intervals
    before = _nearest_sets(intervals)
    after = _nearest_sets(intervals[::-1])[::-1]
    found = []
    known: set[str] = set()
    for index, pair in enumerate(zip(before, after, strict=True)):
        following = intervals[index + 1] if index + 1 < len(intervals) else None
        is_set = following is not None and following.exercise is not None and following.pattern != "script"
        breathes = following is not None and following.cycle == 1 and following.kind == "in"
        needs = following.spec.needs if following is not None and is_set and following.spec else []
        beyond = _beyond(intervals, index)
        new = beyond.spec.needs if beyond is not None and beyond.spec else needs
        found.append(
            Neighbours(
                *pair,
                following if is_set else None,
                following.block if following is not None and breathes else None,
                tuple(thing for thing in new if thing not in known),
                following is not None and following.kind in ("rest", "talk"),
                beyond,
            )
        )
        known.update(needs)
    return found


def _beyond(intervals: Sequence[Interval], index: int) -> Interval | None:
    """Return the set behind the next interval, if that is a rest or a change too short to name it in."""
    rest, entry = (
        intervals[number] if number < len(intervals) else None for number in (index + 1, index + 2)
    )
    if rest is None or rest.lines or rest.kind not in ("rest", "change"):
        return None
    pips = rest.countdown
    quiet_ms = rest.length_ms - (pips.count * pips.spacing_ms if pips else 0)
    # A change is there to hear what comes, and says it wherever its countdown leaves room.
    if rest.length_ms >= NAMED_IN_REST_FROM_MS or (
        rest.kind == "change" and quiet_ms >= NAMED_BEFORE_PIPS_MS
    ):
        return None
    return entry if entry is not None and entry.exercise is not None and entry.pattern != "script" else None


def _nearest_sets(intervals: Sequence[Interval]) -> list[Interval | None]:
    """Return for each interval the nearest set that comes earlier in the sequence."""
    nearest: list[Interval | None] = []
    last: Interval | None = None
    last_other: Interval | None = None
    for entry in intervals:
        same = last is not None and entry.set_index is not None and entry.set_index == last.set_index
        nearest.append(last_other if same else last)
        if entry.exercise is not None:
            if not same:
                last_other = last
            last = entry
    return nearest
