"""A set from its first second to its last: only what belongs to it, and a quiet end.

At most two cues begin in the last 12 s: what comes next and what to do at the pips come first, then a time
call, then praise. All else starts before.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import Candidate
from cuelane.session.cues.coming import coming_in_work
from cuelane.session.cues.handling import change
from cuelane.session.cues.here import AFTER_SET_UP, LATE_CUES, Here, in_turn, other_side, own_lines
from cuelane.session.cues.options import options_in_set
from cuelane.session.cues.praise import praise_in_set
from cuelane.session.cues.set_start import set_start
from cuelane.session.cues.time_calls import time_calls


def work(here: Here) -> Iterator[Candidate]:
    """Yield what a set could carry."""
    interval = here.interval
    yield from set_start(here)
    appearance, appearances = interval.appearance or 1, interval.appearances or 1
    if here.level != "spare" or appearance % 2:
        # Two in one set only if that leaves others for the next.
        many = len(own_lines(interval, "form")) >= 2 * min(appearances, 2)
        # A first set has its set-up to think of.
        most = 1 if here.level == "spare" or appearance == 1 else 1 + many
        most += here.level == "full"
        toward = 0.45 + here.shift
        yield from in_turn(
            here,
            "form",
            "once settled",
            toward=toward,
            most=most,
            chain=AFTER_SET_UP,
            latest_ms=here.before_late_ms,
        )
    yield from options_in_set(here)
    yield from in_turn(
        here,
        "say",
        "where there is time",
        toward=0.5 + here.shift,
        chain=AFTER_SET_UP,
        latest_ms=here.before_late_ms,
    )
    end = list(_end(here))
    yield from end
    late_room = LATE_CUES - len(
        {candidate.group or candidate.text for candidate in end if not candidate.latest_ms}
    )
    calls = list(time_calls(here, late_room))
    yield from calls
    late_from_ms = here.late_from_ms
    if late_from_ms is not None:
        late_room -= sum((candidate.start_ms or 0) >= late_from_ms for candidate in calls)
    yield from praise_in_set(here, late_room)


def _end(here: Here) -> Iterator[Candidate]:
    """Yield what prepares the turn, or the set that follows."""
    interval = here.interval
    if interval.half == 1:
        text = here.words.say("preview", "other_side", side=here.words.side(other_side(interval)))
        yield Candidate("side", text, 45, "before the turn", toward=1.0, chain=("end", 10))
        return
    yield from coming_in_work(here)
    yield from change(here)
