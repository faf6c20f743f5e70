"""Which side a set starts on, that the other comes later, and the turn from one to the other in a set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cuelane.plan.parts import OTHER_SIDE
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import (
    APART_MS,
    Here,
    Spot,
    applies,
    line_candidate,
    other_side,
    own_lines,
    tally_of,
)
from cuelane.session.model import Interval

_LATER_WEIGHT = 42
_LATER_FROM_MS = 12_000
# A caution that has time of its own in the set does not push it out.
_SHORTER = 40
# The turn of a set on each side is told once, so long before it; a plan's own words, which say how, sooner.
_TURN_TOLD_MS, _OWN_TURN_TOLD_MS = 4_000, 5_500
_TURN_AT_THE_EARLIEST_MS = 10_000
_TURN_WEIGHT, _OWN_TURN_WEIGHT = 45, 78


def side_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield the side of a first set: with when the other comes, where it alternates, and without."""
    weight = WEIGHTS["side"] if spot.weight is None else spot.weight
    found = other_side_text(here, coming)
    start = here.words.say("preview", "side", side=here.words.side(coming.side or ""))
    for place, text in enumerate([found, start] if found else [start]):
        tells = (("other side", coming.set_index),) if text == found else ()
        yield Candidate(
            "side", text, weight - _SHORTER * place, spot.wish, must=spot.must, toward=spot.toward,
            chain=spot.chain, group=f"side {coming.set_index}", tells=tells,
        )  # fmt: skip


def other_side_later(here: Here) -> Iterator[Candidate]:
    """Yield the side that an alternating exercise comes on next, if nothing said so before its first set."""
    interval, done = here.interval, here.around.before
    before = here.arc.session.intervals[interval.index - 1] if interval.index else None
    if done is None or before is None or before.exercise is None or interval.length_ms < _LATER_FROM_MS:
        return
    text = other_side_text(here, done, later=True)
    if text is not None and ("other side", done.set_index) not in here.history.told:
        yield Candidate(
            "side", text, _LATER_WEIGHT, "there was no time for it before its set", toward=0.1,
            chain=("end", 3),
        )  # fmt: skip


def other_side_text(here: Here, done: Interval, *, later: bool = False) -> str | None:
    """Return what is said, before an exercise's first set or `later` in the rest behind it, of its sides.

    None where no other side comes, or it comes in the same set.
    """
    words = here.words
    again = (done.appearances or 1) > 1 and done.appearance == 1
    alternates = done.spec is not None and done.spec.sides == "alternate"
    if here.level == "spare" or not again or not alternates or done.half is not None or not done.side:
        return None
    following = next(
        (
            entry
            for entry in here.arc.session.intervals[done.index + 1 :]
            if entry.spec is done.spec and entry.exercise == done.exercise and entry.appearance == 2
        ),
        None,
    )
    in_next_round = following is not None and (
        (following.block_index, following.round) == (done.block_index, (done.round or 0) + 1)
    )
    return words.say(
        "sides", ("next_round" if in_next_round else "next_time") + ("_later" if later else ""),
        exercise=done.exercise, side=words.side(done.side), other_side=words.side(other_side(done)),
    )  # fmt: skip


def turn(here: Here) -> Iterator[Candidate]:
    """Yield, before the turn of a set on each side, the plan's words for it, else which side comes."""
    interval = here.interval
    text = here.words.say("preview", "other_side", side=here.words.side(other_side(interval)))
    told = Candidate(
        "side", text, _TURN_WEIGHT, "once, about four seconds before the turn",
        prefer_ms=max(0, interval.length_ms - _TURN_TOLD_MS),
        not_before_ms=max(0, interval.length_ms - _TURN_AT_THE_EARLIEST_MS), chain=("end", 10),
        quiet_ms=APART_MS, group="turn", tells=(("turn", interval.set_index),),
    )  # fmt: skip
    lines = [
        line for line in own_lines(interval, "change") if line.to == OTHER_SIDE and applies(line, interval)
    ]
    if lines:
        line = min(lines, key=lambda row: here.history.times.get(tally_of(interval, "change", row), 0))
        spot = Spot("once, with time to do it by the turn", chain=("end", 10), weight=_OWN_TURN_WEIGHT)
        own = line_candidate(here, "change", line, spot)
        if line.at is None:
            own = replace(
                own, group="turn", quiet_ms=APART_MS, not_before_ms=0 if own.must else told.not_before_ms,
                prefer_ms=max(0, interval.length_ms - _OWN_TURN_TOLD_MS), tells=told.tells,
            )  # fmt: skip
        else:
            own = replace(own, group="turn", tells=told.tells)
        yield own
    if not lines or not own.must:
        yield told
