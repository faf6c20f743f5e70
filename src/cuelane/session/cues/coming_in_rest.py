"""What comes next, said where nothing is done: in a rest, a change, or the time to get ready.

What is new is explained right before its own set: in the rest or the change there, if that is long enough,
else in the rest before its round, and then its caution stands at the start of the set.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cuelane.base.language import names_side
from cuelane.plan.parts import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.handling import (
    held,
    kit_words,
    needs_before,
    pick_up,
    picked_up_late,
    spoken_names,
    takes_time,
    to_fetch,
    untold_needs,
)
from cuelane.session.cues.here import (
    Here,
    Spot,
    applies,
    is_told_now,
    own_lines,
    side_form,
    tally_of,
    was_said,
    with_sides,
)
from cuelane.session.cues.naming import NEEDS_FORMS, leaves_name_out, next_key, previewed, untold_previews
from cuelane.session.cues.positions import down_before, position_of, turn_before, up_before
from cuelane.session.cues.sides import side_before
from cuelane.session.cues.time_calls import TEN_MS, has_rest_call
from cuelane.session.model import Interval

SIDE_MUST_FROM_MS = 12_000

# In less time there is room for the name or the preview alone, and a caution without either says nothing.
_CAUTION_FROM_MS, _CAUTION_SURE_FROM_MS = 10_000, 20_000
_CAUTION_EARLY_WEIGHT = 33
# By how much the bare name is worth less than the preview of what is new.
_NAME_ONLY = 60
# The last words before the call of a rest: its name.
_FIRST_MS = 2_500
# In a rest as long as this, what takes no time to think about is said late.
LONG_MS = 40_000
# Getting up comes first, while there is time for it, before anything is picked up.
_UP_AT = 0.02
_NEEDED = "before the exercise that needs it"
# Where it has just been said that it is needed.
_PICK_UP_AGAIN_WEIGHT = 45


@dataclass(frozen=True)
class _Coming:
    """The set that follows, and how it is told: `must` for its side, `previews` where it is new."""

    entry: Interval
    toward: float
    when: str
    must: bool
    previews: list[CueLine]


def coming_in_rest(here: Here, toward: float, *, named: bool, light: bool) -> Iterator[Candidate]:
    """Yield what prepares the set that follows; `named` where the round's own sentence names it alone.

    `light` is for short rests: nothing beyond the exercise, its side and what to pick up.
    """
    interval, entry = here.interval, here.around.following
    if entry is None or entry.spec is None:
        return
    toward = _toward(interval, toward, light=light)
    when = "in the rest before it is needed"
    must = bool(entry.side) and interval.length_ms >= SIDE_MUST_FROM_MS and not interval.lines
    previews = untold_previews(here, entry) if entry.appearance == 1 else []
    coming = _Coming(entry, toward, when, must, previews)
    yield from up_before(here, entry, Spot("", _UP_AT, ("end", 2)))
    quick = light or interval.kind == "change"
    # What is used on the floor is in hand before one gets down to it.
    late = quick and position_of(entry, here.words) is None and picked_up_late(here, entry)
    if not quick:
        yield from needs_before(here, entry, Spot(_NEEDED, toward, ("end", 25)))
    if previews:
        # A short time has one line, which says what is needed, too.
        yield from _previews(here, coming, kit_words(here, entry) if quick and not late else "")
        if not quick:
            yield from turn_before(here, entry, Spot("", toward, ("end", 42)))
    else:
        yield from down_before(here, entry, Spot("", toward, ("end", 42)))
    sure = interval.length_ms >= _CAUTION_SURE_FROM_MS
    if interval.length_ms >= _CAUTION_FROM_MS:
        weight = WEIGHTS["caution"] if sure else _CAUTION_EARLY_WEIGHT
        yield from cautions_before(here, entry, Spot("", toward, ("end", 45), weight=weight))
    yield from _name(here, coming, named=named, quick=quick, late=late)


def _toward(interval: Interval, toward: float, *, light: bool) -> float:
    # In a change or a short rest there is just time to get there: it is heard at once.
    return 0.0 if interval.kind == "change" or (light and interval.pattern != "ready") else toward


def _name(here: Here, coming: _Coming, *, named: bool, quick: bool, late: bool) -> Iterator[Candidate]:
    """Yield the name of what comes, with its side and, where time is short, with what it needs."""
    interval, entry = here.interval, coming.entry
    fetch, untold = to_fetch(here, entry), untold_needs(here)
    part = None if quick else here.arc.begins_round(interval.index)
    when, at_ms, last = coming.when, None, part is not None and entry.appearance != 1
    at_the_end = last or (not coming.previews and interval.length_ms >= LONG_MS)
    if at_the_end and interval.kind == "rest" and has_rest_call(here):
        # What is new has been told; what comes first may be something else, and must be the last word.
        when = "last before the call: it is what comes first"
        at_ms = interval.length_ms - TEN_MS - _FIRST_MS
    key, order = next_key(here.around.before, entry), 30
    if last:
        key, order = "side" if named else f"first{side_form(entry)}", 65
    told_in_previews = coming.previews and not leaves_name_out(entry, coming.previews)
    name_weight = WEIGHTS["preview"] - (_NAME_ONLY if told_in_previews else 5)
    forms: list[tuple[str, int, tuple[str, ...]]] = [(_named(here, entry, key), name_weight - 1, ())]
    if quick and fetch and not late:
        weight = name_weight + WEIGHTS["needs"]
        forms.insert(0, (_named_with_needs(here, entry, key), weight, fetch))
        # What is not in the hand is picked up by an order, where there is room for one.
        ordered = " ".join((_named(here, entry, key), kit_words(here, entry)))
        forms.insert(0, (ordered, weight + 1, fetch))
    if ("next", entry.set_index) in here.history.told:
        # The set before a rest of few seconds has named it, with its side.
        forms = []
    for text, weight, told in forms if entry.side or not named else ():
        why = f"{when}, and to have in hand what it needs" if told else when
        yield Candidate(
            "side" if entry.side else "preview", text, weight, why, must=coming.must, toward=coming.toward,
            prefer_ms=None if at_ms is None else max(0, at_ms),
            group="next", chain=("end", order), tells=tuple(("need", thing) for thing in told),
        )  # fmt: skip
    if late or not quick:
        weight = _PICK_UP_AGAIN_WEIGHT if untold else WEIGHTS["needs"]
        # What takes time comes with the first words about it.
        early = at_ms is None or takes_time(here, fetch)
        with_name = coming.toward if early or at_ms is None else at_ms / interval.length_ms
        yield from pick_up(here, entry, Spot(_NEEDED, with_name, weight=weight))


def _named(here: Here, entry: Interval, key: str, items: str | None = None) -> str:
    side = here.words.side(entry.side) if entry.side else ""
    return here.words.say("preview", key, exercise=entry.exercise or "", side=side, items=items)


def _named_with_needs(here: Here, entry: Interval, key: str) -> str:
    """Return the name with what to fetch: in one phrase, or with a sentence for it behind."""
    stands_by = set(untold_needs(here)) - set(held(entry, here.words))
    long_key = f"{key}{'_new' if stands_by else '_needs'}"
    if long_key in NEEDS_FORMS and here.interval.pattern != "ready":
        return _named(here, entry, long_key, spoken_names(here, to_fetch(here, entry)))
    return " ".join(filter(None, [_named(here, entry, key), kit_words(here, entry)]))


def _previews(here: Here, coming: _Coming, kit: str) -> Iterator[Candidate]:
    """Yield the plan's own words about a new exercise, with `kit`, and on which side it begins."""
    entry = coming.entry
    # What was recorded without the name of the exercise is said after it.
    unnamed = leaves_name_out(entry, coming.previews)
    for place, line in enumerate(coming.previews, start=1 if unnamed else 0):
        # The first line stands for the name; further ones are said after it.
        text = with_sides(line.text, entry, here.words) if place else previewed(here, entry, line, "coming")
        weight = WEIGHTS["preview"] if line.weight is None else line.weight
        # A recording stands as it is.
        told = kit if line.clip is None else ""
        if told and not place and line.at is None:
            # What is used on the floor is in hand before one gets down to it.
            down = position_of(entry, here.words) is not None
            text = _in_hand_first(entry, text, told) if down else f"{text} {told}"
            weight += WEIGHTS["needs"]
        yield Candidate(
            "preview", text, weight,
            coming.when if line.at is None else "where the plan fixes it",
            must=line.must is True or (coming.must and place == 0), start_ms=line.at, toward=coming.toward,
            group=None if place else "next", chain=("end", 30 + place) if line.at is None else None,
            tally=tally_of(entry, "preview", line), clip=line.clip, mark=line.mark,
            tells=() if place or not told else tuple(("need", thing) for thing in to_fetch(here, entry)),
        )  # fmt: skip
    if entry.side and not _tell_side(coming.previews, here.words.side(entry.side)):
        yield from side_before(here, entry, Spot(coming.when, coming.toward, ("end", 40), must=coming.must))


def _tell_side(previews: Sequence[CueLine], side: str) -> bool:
    """Return whether `previews` name the side that a set begins on, a recording by its word."""
    named = re.compile(rf"\b{re.escape(side)}\b", re.IGNORECASE)
    recorded = any(line.clip is not None and named.search(line.text) for line in previews)
    return recorded or names_side(" ".join(line.text for line in previews))


def _in_hand_first(entry: Interval, text: str, told: str) -> str:
    """Return `text` with what to pick up before the way down: behind the name, if that is a sentence."""
    head, _, tail = text.partition(". ")
    if tail and head.lower().endswith((entry.exercise or "").lower()):
        return f"{head}. {told} {tail}"
    return f"{told} {text}"


def cautions_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield a set's cautions: an exercise's first, and later those for which the plan names the rounds.

    What is not said here is said at the set's start.
    """
    if coming.half == 2:
        return
    first = coming.appearance == 1
    for place, line in enumerate(own_lines(coming, "caution")):
        again = line.rounds is not None or line.from_round is not None
        if line.at is not None or not applies(line, coming) or not (first or again):
            continue
        if was_said(here, coming, "caution", line) if first else is_told_now(here, coming, "caution", line):
            continue
        weight = WEIGHTS["caution"] if spot.weight is None else spot.weight
        yield Candidate(
            "caution", with_sides(line.text, coming, here.words),
            weight if line.weight is None else line.weight, "before the movement it is about",
            toward=spot.toward, chain=spot.chain and (spot.chain[0], spot.chain[1] + place),
            tally=tally_of(coming, "caution", line), clip=line.clip, mark=line.mark,
            appearance=coming.appearance,
        )  # fmt: skip
