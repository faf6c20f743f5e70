"""A set from its first second to its last: only what belongs to it, and a quiet end.

At most two cues begin in the last 12 s: what comes next and what to do at the pips come first, then a time
call, then praise. Where all three would come, the call says what comes next. All else starts before, each
with some silence before it where there is room.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import Candidate
from cuelane.session.cues.coming_in_work import call_says_next, coming_in_work
from cuelane.session.cues.handling import change
from cuelane.session.cues.here import (
    AFTER_SET_UP,
    APART_MS,
    LATE_CUES,
    Here,
    Spot,
    in_turn,
    own_lines,
)
from cuelane.session.cues.options import options_in_set
from cuelane.session.cues.praise import praise_in_set
from cuelane.session.cues.set_start import set_start
from cuelane.session.cues.sides import turn
from cuelane.session.cues.time_calls import time_calls

# From one point of form to the next in a long set: in that time a listener has tried it, and music was heard
# (chosen).
_POINT_EVERY_MS = {"usual": 45_000, "full": 30_000}
# More could not be weighed against all else that a set carries.
_MOST_POINTS = 6


def work(here: Here) -> Iterator[Candidate]:
    """Yield what a set could carry."""
    interval = here.interval
    yield from set_start(here)
    appearance, appearances = interval.appearance or 1, interval.appearances or 1
    if here.level != "spare" or appearance % 2:
        n_lines = len(own_lines(interval, "form"))
        # Two in one set only if that leaves others for the next.
        many = n_lines >= 2 * min(appearances, 2)
        # A first set has its set-up to think of.
        most = 1 if here.level == "spare" or appearance == 1 else 1 + many
        most += here.level == "full"
        # Minutes of one movement have time for more, again if that leaves others for the next.
        most = max(most, min(_points_by_length(here), n_lines // _shares(here)))
        yield from in_turn(here, "form", _settled(here, "once settled", 0.45), most=most)
    yield from options_in_set(here)
    yield from in_turn(here, "say", _settled(here, "where there is time", 0.5))
    end = list(_end(here))
    yield from end
    # Forms of one thing count once, and a call that says what comes is in their group.
    late_room = LATE_CUES - len({candidate.group or candidate.text for candidate in end})
    if call_says_next(here, crowded=any(candidate.role == "change" for candidate in end)):
        late_room = 0
    calls = list(time_calls(here, late_room))
    yield from calls
    late_from_ms = here.late_from_ms
    if late_from_ms is not None:
        late_room -= sum((candidate.start_ms or 0) >= late_from_ms for candidate in calls)
    yield from praise_in_set(here, late_room)


def _shares(here: Here) -> int:
    """Return among how many sets, or sides, the points of form are shared."""
    return min(here.interval.appearances or 1, 2) * (2 if here.interval.half == 1 else 1)


def _points_by_length(here: Here) -> int:
    """Return for how many points of form a set is long enough, none where little is to be said."""
    every_ms = _POINT_EVERY_MS.get(here.level)
    return 0 if every_ms is None else min(here.interval.length_ms // every_ms, _MOST_POINTS)


def _settled(here: Here, wish: str, toward: float) -> Spot:
    return Spot(
        wish, toward=toward + here.shift, chain=AFTER_SET_UP, latest_ms=here.before_late_ms, quiet_ms=APART_MS
    )


def _end(here: Here) -> Iterator[Candidate]:
    """Yield what prepares the turn, or the set that follows."""
    interval = here.interval
    if interval.half == 1:
        yield from turn(here)
        return
    leaving = list(change(here))
    yield from coming_in_work(here, crowded=bool(leaving))
    yield from leaving
