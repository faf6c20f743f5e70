"""The beginning of a set: its name, how to set up, and what must be known before moving."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cuelane.base.language import names_side
from cuelane.plan.parts import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import (
    Here,
    Spot,
    due,
    ends_training,
    in_turn,
    is_told_now,
    line_candidate,
    own_lines,
    side_form,
    was_said,
    with_sides,
)
from cuelane.session.cues.naming import part_named, part_number, part_of
from cuelane.session.model import Interval

CAUTION_BY_MS = 5_000
"""A caution in a set starts at most this long after its start: behind a short set-up, else before it."""

_NAME_MUST_FROM_MS = 10_000
_CAUTION_AGAIN_WEIGHT = 32
_IN_PLACE = "early, while getting into place"


def set_start(here: Here) -> Iterator[Candidate]:
    """Yield a set's name, its set-up or a reminder, and its cautions if they have not been heard."""
    interval = here.interval
    if interval.half == 2:
        yield from _turned(here)
        return
    yield from _name(here)
    yield from _cautions(here)
    if interval.appearance == 1:
        for place, line in enumerate(due(here, "setup")):
            yield line_candidate(
                here, "setup", line, Spot(_IN_PLACE, chain=("start", 200 + place), must=True)
            )
    else:
        spot = Spot(_IN_PLACE, toward=0.05, chain=("start", 200), latest_ms=here.before_late_ms)
        yield from in_turn(here, "remind", spot)


def _turned(here: Here) -> Iterator[Candidate]:
    """Yield the word for the turn of a set on each side, and what is to be known of the other side.

    The side is named here only where the end of the first half had no room for it.
    """
    interval = here.interval
    side = here.words.side(interval.side or "")
    told = ("turn", interval.set_index) in here.history.told
    forms = ["switch_told"] if told else ["switch", "short"]
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
    yield from _other_sides_own(here)


def _other_sides_own(here: Here) -> Iterator[Candidate]:
    """Yield what the plan says of this side: a reminder that names it, else those sentences of the set-up."""
    spot = Spot(
        "the other side's", toward=0.05, chain=("start", 200), weight=WEIGHTS["remind"],
        latest_ms=here.before_late_ms,
    )  # fmt: skip
    sided = [line for line in own_lines(here.interval, "remind") if names_side(line.text) and line.at is None]
    if sided:
        yield line_candidate(here, "remind", sided[0], replace(spot, must=False))
        return
    if here.interval.appearance != 1:
        return
    for line in due(here, "setup"):
        parts = [part for part in line.text.split(". ") if "{" in part]
        if parts:
            text = ". ".join(parts)
            short: CueLine = line.model_copy(
                update={"text": text if text[-1:] in ".!?" else f"{text}.", "clip": None}
            )
            yield line_candidate(here, "setup", short, spot)


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
    if own and own[0].clip is not None:
        yield Candidate(
            "announce", spoken, heavy, "right after the pip" if at_ms is None else "where the plan fixes it",
            must=must, start_ms=at_ms, lead=at_ms is None, group="announce",
            clip=own[0].clip, mark=own[0].mark,
        )  # fmt: skip
        return
    forms = [*_long_forms(here, bool(own)), "exercise"]
    keys = [f"{form}_side" if side else form for form in forms]
    if side_form(interval) == "_both":
        keys.insert(0, "exercise_both")
    part = _untold_part(here) if at_ms is None else ""
    for place, key in enumerate(keys):
        text = words.say(
            "announce", key, n=words.number(interval.round or 0), side=side, exercise=spoken.rstrip(".!?… ")
        )
        wish = "right after the pip" if at_ms is None else "where the plan fixes it"
        if key.startswith(("last_time", "once")):
            wish += f", {interval.appearance} of its {interval.appearances} in the session"
        mark = own[0].mark if own else None
        if part and not place:
            yield Candidate(
                "announce", f"{part} {text}", heavy + 1, f"{wish}, with the part that begins", must=must,
                lead=True, group="announce", mark=mark, tells=(part_of(interval),),
            )  # fmt: skip
        yield Candidate(
            "announce", text, heavy - place, wish, must=must, start_ms=at_ms, lead=at_ms is None,
            group="announce", mark=mark,
        )  # fmt: skip


def _untold_part(here: Here) -> str:
    """Return the name of the part that begins with this set, if nothing before it had a place to tell it."""
    interval = here.interval
    rows = here.arc.session.intervals[: interval.index]
    begins = not any(row.block_index == interval.block_index for row in rows)
    first = part_number(here, interval) == 1
    return "" if first or not begins or part_of(interval) in here.history.told else part_named(here, interval)


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
    """Yield the cautions that have not been heard; some are said again, where it helps.

    Each may come behind the set-up, by `CAUTION_BY_MS`, or else before it.
    """
    interval = here.interval
    if interval.appearance == 1:
        for place, line in enumerate(due(here, "caution")):
            if not was_said(here, interval, "caution", line):
                yield from _before_moving(here, line, place, "before moving, at the first appearance")
        return
    for line in own_lines(interval, "caution"):
        # A caution for a later appearance of its own is as binding there as the first.
        again = line.rounds is not None or line.from_round is not None
        if again and line in due(here, "caution") and not is_told_now(here, interval, "caution", line):
            yield from _before_moving(here, line, 0, "before moving, as the plan asks")
    if any(line.rounds is not None or line.at is not None for line in own_lines(interval, "caution")):
        return
    if _same_region(here.around.before, interval):
        spot = Spot(
            "the set before loaded the same region", chain=("start", 100), weight=_CAUTION_AGAIN_WEIGHT,
            latest_ms=CAUTION_BY_MS,
        )  # fmt: skip
        yield from in_turn(here, "caution", spot, rest_appearances=2)


def _before_moving(here: Here, line: CueLine, place: int, wish: str) -> Iterator[Candidate]:
    one = line_candidate(here, "caution", line, Spot(wish, chain=("start", 100 + place), must=True))
    if line.at is not None or not due(here, "setup") or here.interval.appearance != 1:
        yield one
        return
    group = f"caution {place}"
    yield replace(
        one, wish=f"{wish}, behind a short set-up", chain=("start", 260 + place), latest_ms=CAUTION_BY_MS,
        group=group, weight=one.weight + 1,
    )  # fmt: skip
    yield replace(one, group=group)


def _same_region(before: Interval | None, interval: Interval) -> bool:
    mine = set(interval.spec.load if interval.spec else ())
    return bool(mine & set(before.spec.load if before is not None and before.spec else ()))
