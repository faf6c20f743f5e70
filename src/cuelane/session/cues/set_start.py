"""The beginning of a set: its name, what must be known before moving, and how to set up."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import (
    Here,
    due,
    ends_training,
    in_turn,
    line_candidate,
    other_side,
    own_lines,
    was_said,
    with_sides,
)
from cuelane.session.model import Interval

CAUTION_BY_MS = 5_000
"""A caution that is said again starts at most this long after the set; the first always before the set-up."""

_NAME_MUST_FROM_MS = 10_000
_CAUTION_AGAIN_WEIGHT = 32
_OTHER_SIDE_WEIGHT = 45


def set_start(here: Here) -> Iterator[Candidate]:
    """Yield a set's name, its cautions if they have not been heard, and its set-up or a reminder."""
    interval = here.interval
    if interval.half == 2:
        yield from _turned(here)
        return
    yield from _name(here)
    yield from _cautions(here)
    if interval.appearance == 1:
        for place, line in enumerate(due(here, "setup")):
            yield line_candidate(
                here,
                "setup",
                line,
                "early, while getting into place",
                must=True,
                chain=("start", 200 + place),
            )
        yield from _other_side_next(here)
    else:
        yield from in_turn(
            here, "remind", "early, while getting into place", toward=0.05, chain=("start", 200),
            latest_ms=here.before_late_ms,
        )  # fmt: skip


def _turned(here: Here) -> Iterator[Candidate]:
    """Yield the other side's name at the middle of a set on each side, and its set-up."""
    interval = here.interval
    side = here.words.side(interval.side or "")
    forms = ["switch", "short"] if here.around.after else ["switch_last", "switch", "short"]
    for place, form in enumerate(forms):
        text = here.say("side_change", form, side=side)
        yield Candidate(
            "side",
            text,
            WEIGHTS["side"] - place,
            "right after the turn",
            must=True,
            lead=True,
            group="announce",
        )
    for line in due(here, "setup") if interval.appearance == 1 else ():
        if "{side}" in line.text:
            yield line_candidate(
                here, "setup", line, "the other side's", weight=WEIGHTS["remind"], toward=0.05,
                chain=("start", 200), latest_ms=here.before_late_ms,
            )  # fmt: skip


def _name(here: Here) -> Iterator[Candidate]:
    """Yield the announcement in its long and short forms."""
    interval, words = here.interval, here.words
    must, heavy, at_ms = interval.length_ms >= _NAME_MUST_FROM_MS, WEIGHTS["announce"], None
    own = due(here, "announce")
    side = words.side(interval.side) if interval.side else ""
    spoken = with_sides(own[0].text, interval, words) if own else interval.exercise or ""
    if own:
        at_ms = own[0].at
        must = must if own[0].must is None else own[0].must
        heavy = heavy if own[0].weight is None else own[0].weight
    for place, form in enumerate([*_long_forms(here, bool(own)), "exercise"]):
        key = f"{form}_side" if side else form
        text = words.say(
            "announce", key, n=words.number(interval.round or 0), side=side, exercise=spoken.rstrip(".!?… ")
        )
        wish = "right after the pip" if at_ms is None else "where the plan fixes it"
        if form in ("last_time", "once"):
            wish += f", {interval.appearance} of its {interval.appearances} in the session"
        yield Candidate(
            "announce", text, heavy - place, wish, must=must, start_ms=at_ms, lead=at_ms is None,
            group="announce", mark=own[0].mark if own else None,
        )  # fmt: skip


def _long_forms(here: Here, own: bool) -> list[str]:
    """Return the longer form that fits this set: the last of all, a new round, a last or single time."""
    interval, before = here.interval, here.around.before
    if ends_training(here) and interval.index and before is not None:
        return ["last"]
    told = ("round", interval.block_index, interval.round) in here.history.told
    several = bool(interval.rounds and interval.rounds > 1)
    here_now = (interval.block_index, interval.round)
    new_round = before is None or (before.block_index, before.round) != here_now
    if several and new_round and not told and interval.round and interval.round > 1:
        return ["last_round" if interval.round == interval.rounds else "round"]
    # In the last round all is for the last time.
    if own or here.level == "spare" or not several or interval.round == interval.rounds:
        return []
    if interval.appearances == 1:
        return ["once"] if interval.block_index in here.arc.recurring else []
    return ["last_time"] if interval.appearance == interval.appearances else []


def _cautions(here: Here) -> Iterator[Candidate]:
    """Yield the cautions that have not been heard, before the set-up; some are said again, where it helps."""
    interval = here.interval
    if interval.appearance == 1:
        for place, line in enumerate(due(here, "caution")):
            if not was_said(here, interval, "caution", line):
                yield line_candidate(
                    here, "caution", line, "before moving, at the first appearance", must=True,
                    chain=("start", 100 + place),
                )  # fmt: skip
        return
    for line in own_lines(interval, "caution"):
        # A caution for a later appearance of its own is as binding there as the first.
        if (line.rounds is not None or line.from_round is not None) and line in due(here, "caution"):
            yield line_candidate(
                here, "caution", line, "before moving, as the plan asks", must=True, chain=("start", 100)
            )
    if any(line.rounds is not None or line.at is not None for line in own_lines(interval, "caution")):
        return
    if _same_region(here.around.before, interval):
        yield from in_turn(
            here, "caution", "the set before loaded the same region", toward=0.0,
            weight=_CAUTION_AGAIN_WEIGHT, rest_appearances=2, chain=("start", 100), latest_ms=CAUTION_BY_MS,
        )  # fmt: skip


def _same_region(before: Interval | None, interval: Interval) -> bool:
    mine = set(interval.spec.load if interval.spec else ())
    return bool(mine & set(before.spec.load if before is not None and before.spec else ()))


def _other_side_next(here: Here) -> Iterator[Candidate]:
    """Yield, once for each alternating exercise, that this side stays and the other comes next."""
    interval, words = here.interval, here.words
    again = (interval.appearances or 1) > 1
    alternates = interval.spec is not None and interval.spec.sides == "alternate"
    if here.level == "spare" or not again or not alternates or interval.half is not None or not interval.side:
        return
    following = [
        entry
        for entry in here.arc.session.intervals[interval.index + 1 :]
        if entry.spec is interval.spec and entry.exercise == interval.exercise and entry.appearance == 2
    ]
    where = (following[0].block_index, following[0].round) if following else None
    in_next_round = where == (interval.block_index, (interval.round or 0) + 1)
    text = words.say(
        "sides", "next_round" if in_next_round else "next_time",
        side=words.side(interval.side), other_side=words.side(other_side(interval)),
    )  # fmt: skip
    yield Candidate(
        "side", text, _OTHER_SIDE_WEIGHT, "once, when the side is new", toward=0.25,
        chain=("start", 400), latest_ms=here.before_late_ms,
    )  # fmt: skip
