"""What comes next: in the rest with time to prepare, in back-to-back work as one short line near the end."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.plan.model import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.handling import held, names, needs_before, pick_up, to_fetch
from cuelane.session.cues.here import (
    APART_MS,
    Here,
    Spot,
    applies,
    own_lines,
    side_form,
    tally_of,
    was_said,
    with_sides,
)
from cuelane.session.cues.time_calls import TEN_MS, has_rest_call, has_ten
from cuelane.session.model import Interval

SIDE_MUST_FROM_MS = 12_000
NEXT_FROM_MS, NEXT_TO_MS = 10_000, 4_000
"""How long before the end of a set what comes next is said: not earlier, and not later."""

# Where equipment or position changes, it is needed sooner.
_NEXT_MS, _NEXT_MOVING_MS = 6_000, 9_000
_CAUTION_EARLY_WEIGHT = 33
# In a shorter rest the caution waits for the set itself, where it comes with the set-up.
_CAUTION_EARLY_FROM_MS = 40_000
# In a shorter change there is time for the name alone; a caution without it says nothing.
_CAUTION_IN_CHANGE_FROM_MS = 10_000
# By how much the bare name is worth less than the preview of what is new.
_NAME_ONLY = 40
_MOST_NEW = 2
_BLOCK_WEIGHT = 60
# The last words before the call of a rest: its name, and what to pick up.
_FIRST_MS, _PICK_UP_MS = 2_500, 2_500
_PICK_UP = "before the exercise that needs it"


def coming_in_work(here: Here, *, crowded: bool) -> Iterator[Candidate]:
    """Yield the one line about the next set that the end of a set has room for, in its forms.

    Where the end is `crowded` by something to do, or equipment or position changes, and a call is due ten
    seconds before the end, that call says what comes.
    """
    interval, coming, words = here.interval, here.around.following, here.words
    if coming is None or coming.spec is None or coming.set_index == interval.set_index:
        return
    if interval.block_index != coming.block_index:
        text = words.say("preview", "block", block=coming.block)
        yield Candidate(
            "preview", text, _BLOCK_WEIGHT, "before the next part", toward=0.7, chain=("end", 10),
            latest_ms=here.before_late_ms, quiet_ms=APART_MS,
        )  # fmt: skip
    side = words.side(coming.side) if coming.side else ""
    moving = changes_place(here, interval, coming)
    preview = _untold(here, coming)
    if preview is not None:
        yield _preview_in_work(here, coming, preview, side)
    ending, items = _needs_form(here, coming)
    key = _short_key(interval, coming)
    forms = [f"{key}{ending}", key] if items and f"{key}{ending}" in _WITH_NEEDS else [key]
    name = coming.exercise or ""
    if has_ten(here):
        # Else it is there for names that are too long to be said between the call and the pips.
        instead = call_says_next(here, crowded=crowded)
        weight = WEIGHTS["preview"] + WEIGHTS["time"] + (10 if instead else -6)
        n = words.number(TEN_MS // 1000)
        text = here.say("time", forms[0], n=n, exercise=name, side=side, items=items)
        why = "ten seconds before the end, and what comes, in one"
        yield Candidate(
            "time", text, weight, f"{why}: there is something to do before it" if instead else why,
            start_ms=interval.length_ms - TEN_MS, group="next", quiet_ms=APART_MS, uses=(f"time.{forms[0]}",),
        )  # fmt: skip
    spot = _next_spot(here, moving)
    for place, form in enumerate(forms):
        text = words.say("preview", form, exercise=name, side=side, items=items)
        yield Candidate(
            "side" if side else "preview", text, WEIGHTS["preview"] - 5 - place, spot.wish,
            prefer_ms=spot.prefer_ms, not_before_ms=spot.not_before_ms, latest_ms=spot.latest_ms,
            quiet_ms=APART_MS, group="next", chain=("end", 30),
        )  # fmt: skip


def call_says_next(here: Here, *, crowded: bool) -> bool:
    """Return whether the call ten seconds before the end is to say what comes, instead of only the time."""
    interval, coming = here.interval, here.around.following
    if coming is None or coming.spec is None or coming.set_index == interval.set_index or not has_ten(here):
        return False
    # A preview that has still to be heard says more than the name.
    return crowded or (_untold(here, coming) is None and changes_place(here, interval, coming))


def _untold(here: Here, coming: Interval) -> CueLine | None:
    """Return the first line of a preview that no rest has told."""
    previews = [line for line in own_lines(coming, "preview") if applies(line, coming)]
    if coming.appearance != 1 or not previews or was_said(here, coming, "preview", previews[0]):
        return None
    return previews[0]


def _needs_form(here: Here, coming: Interval) -> tuple[str, str | None]:
    """Return which form names what is fetched for `coming`, and the names: all, if some are untold."""
    fetch = to_fetch(here, coming)
    untold = [thing for thing in here.around.new_needs if ("need", thing) not in here.history.told]
    if untold:
        return "_new", names(here, fetch)
    return "_needs", names(here, [thing for thing in fetch if thing in held(coming, here.words)]) or None


_WITH_NEEDS = ("next_needs", "next_side_needs", "next_new", "next_side_new")


def changes_place(here: Here, interval: Interval, coming: Interval) -> bool:
    """Return whether equipment or position changes from one set to the next.

    Equipment by the needs of both; position where one of them is done on the floor, by the pack's words.
    """
    mine, its = (one.spec.needs if one.spec else () for one in (interval, coming))
    if set(its) - set(mine) or set(held(interval, here.words)) - set(its):
        return True
    return interval.exercise != coming.exercise and _on_the_floor(here, interval) != _on_the_floor(
        here, coming
    )


def _on_the_floor(here: Here, interval: Interval) -> bool:
    lines = [line.text for role in ("preview", "setup") for line in own_lines(interval, role)]
    return any(
        re.search(entry, text, re.I) for entry in here.words.phrases("handling", "floor") for text in lines
    )


@dataclass(frozen=True)
class _NextSpot:
    prefer_ms: int
    not_before_ms: int
    latest_ms: int
    wish: str


def _next_spot(here: Here, moving: bool) -> _NextSpot:
    """Return where in a set what comes next is said, before a countdown however long it is."""
    interval = here.interval
    countdown = interval.countdown
    pips_ms = countdown.count * countdown.spacing_ms if countdown else 0
    # A countdown of more than the usual three seconds moves it all forward.
    end_ms = interval.length_ms - max(0, pips_ms - NEXT_TO_MS)
    before_ms = _NEXT_MOVING_MS if moving else _NEXT_MS
    wish = (
        "early enough to change equipment or position" if moving else "some seconds before what it is about"
    )
    return _NextSpot(
        max(0, end_ms - before_ms), max(0, end_ms - NEXT_FROM_MS), max(0, end_ms - NEXT_TO_MS), wish
    )


def _preview_in_work(here: Here, coming: Interval, line: CueLine, side: str) -> Candidate:
    """Return the first line of a preview that no rest has told, so that it is not heard as an order."""
    words, spot = here.words, _next_spot(here, moving=True)
    text = words.say("preview", "coming", text=with_sides(line.text, coming, words))
    if side and "{side}" not in line.text:
        text = f"{text} {words.say('preview', 'side', side=side)}"
    pinned = line.at is not None
    return Candidate(
        "preview", text, WEIGHTS["preview"] if line.weight is None else line.weight,
        "where the plan fixes it" if pinned else spot.wish, must=line.must is True, start_ms=line.at,
        prefer_ms=None if pinned else spot.prefer_ms, not_before_ms=0 if pinned else spot.not_before_ms,
        quiet_ms=0 if pinned else APART_MS, group="next", chain=None if pinned else ("end", 30),
        tally=tally_of(coming, "preview", line), mark=line.mark,
    )  # fmt: skip


def _short_key(previous: Interval | None, coming: Interval) -> str:
    if previous is None:
        return "first" + side_form(coming)
    same = previous.exercise == coming.exercise
    if coming.side and same and side_form(coming) == "_side":
        return "again_side" if previous.side != coming.side else "again_same_side"
    if coming.side:
        return "next" + side_form(coming)
    return "again" if same else "next"


def coming_in_rest(here: Here, toward: float, *, named: bool, light: bool) -> Iterator[Candidate]:
    """Yield what prepares the set that follows; `named` where the round's own sentence names it alone.

    `light` is for short rests: nothing beyond the exercise, its side and what to pick up.
    """
    interval, coming, words = here.interval, here.around.following, here.words
    if coming is None or coming.spec is None:
        return
    toward = _toward(interval, toward, light=light)
    when = "at the end, before what it is about" if toward == 1.0 else "in the rest before it is needed"
    side = words.side(coming.side) if coming.side else ""
    must = bool(side) and interval.length_ms >= SIDE_MUST_FROM_MS and not interval.lines
    previews = [
        line
        for line in own_lines(coming, "preview")
        if applies(line, coming) and not was_said(here, coming, "preview", line)
    ]
    first = coming.appearance == 1
    # A change has time for one line: the name, with what is needed.
    in_one = interval.kind == "change" and not previews
    # The opening has just told what the first set needs.
    if interval.pattern != "ready" and not in_one:
        yield from needs_before(here, coming, Spot(_PICK_UP, toward, ("end", 25)))
    if first:
        yield from _previews(here, coming, previews, side, must, toward, when)
        if side and previews and "{side}" not in " ".join(line.text for line in previews):
            text = words.say("preview", "side", side=side)
            yield Candidate("side", text, WEIGHTS["side"], when, must=must, toward=toward, chain=("end", 40))
    if interval.kind != "change" or interval.length_ms >= _CAUTION_IN_CHANGE_FROM_MS:
        yield from cautions_before(here, coming, toward, WEIGHTS["caution"], ("end", 45))
    fetch = to_fetch(here, coming)
    part = None if light else here.arc.begins_round(interval.index)
    last = part is not None and not first
    at_ms = None
    if last and has_rest_call(here):
        # What is new has been shown; what comes first may be something else, and must be the last word.
        when = "last before the call: it is what comes first"
        at_ms = interval.length_ms - TEN_MS - _FIRST_MS
    if not named or side:
        key, order = _short_key(here.around.before, coming), 30
        if part is not None and not first:
            key, order = "side" if named else f"round_first{side_form(coming)}", 65
        keys = [key]
        if light and fetch and (in_one or not here.around.new_needs) and f"{key}_needs" in _WITH_NEEDS:
            keys = [f"{key}_needs", key]
        for place, form in enumerate(keys):
            text = words.say(
                "preview", form, exercise=coming.exercise or "", side=side, items=names(here, fetch) or None
            )
            weight = WEIGHTS["preview"] - (_NAME_ONLY if first and previews else 5) - place
            yield Candidate(
                "side" if side else "preview", text, weight, when, must=must, toward=toward, group="next",
                prefer_ms=None if at_ms is None else max(0, at_ms - (_PICK_UP_MS if fetch else 0)),
                chain=("end", order),
            )  # fmt: skip
    if not light:
        yield from pick_up(here, coming, Spot(_PICK_UP, toward + 0.1, ("end", 70)), at_ms)


def _toward(interval: Interval, toward: float, *, light: bool) -> float:
    if interval.kind == "change":
        # There is just time to get there: it is heard at once.
        return 0.0
    # In a short rest it is said last thing.
    return 1.0 if light and interval.pattern != "ready" else toward


def _previews(
    here: Here, coming: Interval, previews: list[CueLine], side: str, must: bool, toward: float, when: str
) -> Iterator[Candidate]:
    for place, line in enumerate(previews):
        # The first line stands for the short form; further ones are said after it.
        yield Candidate(
            "preview", with_sides(line.text, coming, here.words),
            WEIGHTS["preview"] if line.weight is None else line.weight,
            when if line.at is None else "where the plan fixes it",
            must=line.must is True or (must and place == 0), start_ms=line.at, toward=toward,
            group=None if place else "next", chain=("end", 30 + place) if line.at is None else None,
            tally=tally_of(coming, "preview", line), mark=line.mark,
        )  # fmt: skip


def cautions_before(
    here: Here, coming: Interval, toward: float, weight: int, chain: tuple[str, int]
) -> Iterator[Candidate]:
    """Yield the cautions of a set that is an exercise's first; what is not said here is said at its start."""
    if coming.appearance != 1 or coming.half == 2:
        return
    for place, line in enumerate(own_lines(coming, "caution")):
        if line.at is None and applies(line, coming) and not was_said(here, coming, "caution", line):
            yield Candidate(
                "caution", with_sides(line.text, coming, here.words),
                weight if line.weight is None else line.weight, "before the movement it is about",
                toward=toward, chain=(chain[0], chain[1] + place), tally=tally_of(coming, "caution", line),
                mark=line.mark,
            )  # fmt: skip


def new_in_round(here: Here, toward: float) -> Iterator[Candidate]:
    """Yield in the rest before a round the previews of what is new in it, but for its first set."""
    part = here.arc.begins_round(here.interval.index)
    if part is None or here.level == "spare":
        return
    words, fresh = here.words, [entry for entry in part.new if entry is not part.sets[0]]
    # With a rest before each set, each is told in its own.
    back_to_back = [entry for entry in fresh if _follows_work(here, entry)]
    for number, entry in enumerate(back_to_back[:_MOST_NEW]):
        name, order = str(entry.exercise), 52 + 5 * number
        needs = here.arc.around[entry.index - 1].new_needs
        if needs:
            # The round's sentence has just named the first.
            key = "needs_for" if number else "needs"
            text = here.say("preview", key, exercise=name, items=words.listing(needs))
            yield Candidate(
                "preview", text, WEIGHTS["needs"], _PICK_UP, toward=toward,
                chain=("end", order - 1), uses=(f"preview.{key}",),
                tells=tuple(("need", thing) for thing in needs),
            )  # fmt: skip
        for place, line in enumerate(own_lines(entry, "preview")[:1]):
            text = with_sides(line.text, entry, words)
            if not text.lower().startswith(name.lower()):
                text = words.say("preview", "new", exercise=name, text=text)
            yield Candidate(
                "preview", text, WEIGHTS["preview"] if line.weight is None else line.weight,
                "new in the round that follows", toward=toward, chain=("end", order + place),
                tally=tally_of(entry, "preview", line), mark=line.mark,
            )  # fmt: skip
        if entry.side:
            text = words.say("preview", "side_of", exercise=name, side=words.side(entry.side))
            yield Candidate(
                "side", text, 48, "new in the round that follows", toward=toward, chain=("end", order + 1)
            )
        if own_lines(entry, "preview") and here.interval.length_ms >= _CAUTION_EARLY_FROM_MS:
            yield from cautions_before(here, entry, toward, _CAUTION_EARLY_WEIGHT, ("end", order + 2))


def _follows_work(here: Here, entry: Interval) -> bool:
    before = here.arc.session.intervals[entry.index - 1]
    return before.kind in ("work", "change")
