"""Equipment, and what to do at the pips: put down what is held, pick up what comes next.

What is held is put down before a rest of `PUT_DOWN_FROM_MS` and more and before an exercise without it, and
picked up before the exercise that needs it, every time. A thing is called as the plan calls it until it has
been used, and "the" thing after.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from cuelane.base.language import Language
from cuelane.plan.parts import OTHER_SIDE, REST, CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import Here, Spot, applies, line_candidate, own_lines, tally_of
from cuelane.session.cues.time_calls import has_rest_call
from cuelane.session.equipment import is_more, same_kind
from cuelane.session.model import Interval

PUT_DOWN_FROM_MS = 15_000
"""In a shorter rest before the same equipment, it stays in hand."""

PICK_UP_BEFORE_MS = 8_000
"""From the words to the set: to walk there, bend, lift and take hold (common practice, no source)."""

_PUT_DOWN_WEIGHT = 62
_PART_NEEDS_WEIGHT = 61


def held(interval: Interval | None, words: Language) -> tuple[str, ...]:
    """Return what an exercise needs that is held, not what stays where it is (the pack knows those)."""
    fixed = [re.compile(entry, re.I) for entry in words.phrases("handling", "fixed")]
    needs = interval.spec.needs if interval is not None and interval.spec else ()
    return tuple(thing for thing in needs if not any(entry.search(thing) for entry in fixed))


def change(here: Here) -> Iterator[Candidate]:
    """Yield what to do at the pips that end this set: the plan's line for what follows, else by the needs."""
    interval, after = here.interval, here.around.after
    lines = [line for line in leaving_lines(interval) if applies(line, interval)]
    named = REST if here.around.resting else (after.exercise if after is not None else None)
    fitting = [
        line
        for line in lines
        if line.to is not None and line.to in (named, after.exercise if after else None)
    ]
    if after is not None and after.exercise != interval.exercise:
        fitting = fitting or [line for line in lines if line.to is None]
    if fitting:
        line = min(fitting, key=lambda row: here.history.times.get(tally_of(interval, "change", row), 0))
        spot = Spot("last before the pips", toward=1.0, chain=("end", 90), must=True)
        yield line_candidate(here, "change", line, spot)
        return
    down = to_put_down(here)
    if down and here.level != "spare":
        text = here.say("handling", "put_down", items=put_names(here, down))
        wish = "it is free hands that follow" if here.around.resting else "what comes next does without it"
        yield Candidate(
            "change", text, _PUT_DOWN_WEIGHT, wish, toward=1.0, chain=("end", 90),
            uses=("handling.put_down",), tells=(("down", interval.set_index),),
        )  # fmt: skip


def leaving_lines(interval: Interval) -> list[CueLine]:
    """Return what the plan says at the end of an exercise, without the change of sides within one set."""
    return [line for line in own_lines(interval, "change") if line.to != OTHER_SIDE]


def put_down_in_rest(here: Here) -> Iterator[Candidate]:
    """Yield at the beginning of a rest what is still held, if the set before it had no time to say so."""
    done = here.around.before
    if done is None or here.level == "spare" or here.interval.kind != "rest":
        return
    own = [line for line in leaving_lines(done) if here.history.times.get(tally_of(done, "change", line))]
    down = _let_go(here, done, here.around.after, here.interval.length_ms)
    previous = here.arc.session.intervals[here.interval.index - 1]
    if not down or own or previous.exercise is None or ("down", done.set_index) in here.history.told:
        return
    text = here.words.say("handling", "put_down_now", items=put_names(here, down))
    yield Candidate(
        "change", text, _PUT_DOWN_WEIGHT, "the set before had no time for it", toward=0.02, chain=("end", 1)
    )


def to_put_down(here: Here) -> tuple[str, ...]:
    """Return what this set holds and what follows does not; nothing where nothing is done after it."""
    index = here.interval.index + 1
    intervals = here.arc.session.intervals
    rest_ms = intervals[index].length_ms if here.around.resting else 0
    return _let_go(here, here.interval, here.around.after, rest_ms)


def _let_go(here: Here, done: Interval, after: Interval | None, rest_ms: int) -> tuple[str, ...]:
    if after is None:
        return ()
    mine = held(done, here.words)
    if rest_ms >= PUT_DOWN_FROM_MS:
        return mine
    # Two where one was held before is told by what comes next: nothing need be put down for it.
    kept = held(after, here.words)
    return tuple(
        thing for thing in mine if thing not in kept and not any(is_more(other, thing) for other in kept)
    )


def to_fetch(here: Here, coming: Interval) -> tuple[str, ...]:
    """Return what `coming` needs and is not in hand: what is held, and all that is new."""
    interval, words = here.interval, here.words
    done = here.arc.last_set(interval.index)
    resting = interval.exercise is None and interval.kind != "change"
    put_down = resting and interval.length_ms >= PUT_DOWN_FROM_MS
    in_hand = () if put_down or done is None or done.spec is None else tuple(done.spec.needs)
    new, wanted = untold_needs(here), held(coming, words)
    needs = coming.spec.needs if coming.spec else ()
    return tuple(thing for thing in needs if thing in new or (thing in wanted and thing not in in_hand))


def untold(here: Here, things: Sequence[str]) -> tuple[str, ...]:
    """Return the things that have not been asked for yet: the opening has told what the first part needs."""
    first = next((entry for entry in here.arc.session.intervals if entry.appearance), None)
    known = part_things(here, first) if first is not None else ()
    return tuple(thing for thing in things if thing not in known and ("need", thing) not in here.history.told)


def untold_needs(here: Here) -> tuple[str, ...]:
    """Return what the set that follows at once is the first to need, and has not been asked for."""
    return untold(here, here.around.new_needs)


def spoken_names(here: Here, things: Sequence[str]) -> str:
    """Return a list of things as they are called by now.

    As the plan has it where it is new, or where the session has another number of the same; else "the" thing.
    """
    told = []
    for thing in things:
        several = any(other != thing and same_kind(thing, other) for other in here.arc.needs)
        told.append(thing if several or thing in here.around.new_needs else here.words.definite(thing))
    return here.words.listing(told)


def put_names(here: Here, things: Sequence[str]) -> str:
    """Return a list of things in hand: those and no others."""
    return here.words.listing([here.words.definite(thing) for thing in things])


def takes_time(here: Here, things: Sequence[str]) -> bool:
    """Return whether some of these things are put on or around something (a band; the pack knows those)."""
    slow = [re.compile(entry, re.I) for entry in here.words.phrases("handling", "slow")]
    return any(entry.search(thing) for entry in slow for thing in things)


def needs_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield in a rest what `coming` needs for the first time, before the preview that presumes it."""
    # The beginning of a part has just told what stands by for it.
    stands_by = part_things(here, coming) if begins_part(here, coming) else ()
    things = tuple(thing for thing in to_fetch(here, coming) if thing not in stands_by)
    if not set(things) & set(untold_needs(here)):
        return
    if takes_time(here, things):
        text = _kit_words(here, things, held(coming, here.words))
    else:
        key = "needs_at_first" if begins_part(here, coming) and _more_later(here, coming, things) else "needs"
        text = here.say("preview", key, items=spoken_names(here, things))
    yield Candidate(
        "preview", text, WEIGHTS["needs"], spot.wish, toward=spot.toward, chain=spot.chain,
        uses=("preview.needs",), tells=tuple(("need", thing) for thing in things),
    )  # fmt: skip


def _more_later(here: Here, coming: Interval, things: Sequence[str]) -> bool:
    """Return whether a later set of the same part needs more of `things`, as two where this one needs one."""
    return any(
        is_more(other, thing)
        for entry in here.arc.session.intervals[coming.index + 1 :]
        if entry.block_index == coming.block_index and entry.spec is not None
        for other in entry.spec.needs
        for thing in things
    )


def kit_words(here: Here, coming: Interval) -> str:
    """Return in whole sentences what to pick up for `coming`, and what else it needs; empty for nothing."""
    # The opening has just told what the first set needs.
    mine, ready = held(coming, here.words), here.interval.pattern == "ready"
    return _kit_words(here, [thing for thing in to_fetch(here, coming) if thing in mine or not ready], mine)


def _kit_words(here: Here, things: Sequence[str], mine: Sequence[str]) -> str:
    up = [thing for thing in things if thing in mine]
    other = [thing for thing in things if thing not in mine]
    texts = [here.say("handling", "pick_up", items=spoken_names(here, up))] if up else []
    texts += [here.say("preview", "needs", items=spoken_names(here, other))] if other else []
    return " ".join(texts)


def pick_up(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield in a rest what is picked up, with time to lift it: behind the ten-second call, else before it.

    What takes time is told with the exercise, and once where it is new: before the plan's words about it.
    """
    mine = held(coming, here.words)
    things = [thing for thing in to_fetch(here, coming) if thing in mine]
    asked = takes_time(here, things) and set(things) & set(untold_needs(here))
    if things and not asked:
        text = here.say("handling", "pick_up", items=spoken_names(here, things))
        weight = WEIGHTS["needs"] if spot.weight is None else spot.weight
        early = takes_time(here, things)
        lifting = max(0.0, 1 - PICK_UP_BEFORE_MS / here.interval.length_ms)
        # Behind the name and before the caution, which tells how it is put on.
        for place, order in enumerate((44,) if early else (97, 70)):
            yield Candidate(
                "preview", text, weight - place, spot.wish, toward=spot.toward if early else lifting,
                group="pick up", chain=("end", order),
                uses=("handling.pick_up",), tells=tuple(("need", thing) for thing in things),
            )  # fmt: skip


def picked_up_late(here: Here, coming: Interval) -> bool:
    """Return whether in a change all of what to fetch can wait for its call: held, and simply lifted."""
    things = to_fetch(here, coming)
    return (
        here.interval.kind == "change"
        and has_rest_call(here)
        and bool(things)
        and set(things) <= set(held(coming, here.words))
        and not takes_time(here, things)
    )


def begins_part(here: Here, coming: Interval) -> bool:
    """Return whether no set of its part comes before a set."""
    before = here.around.before
    return before is None or before.block_index != coming.block_index


def part_things(here: Here, coming: Interval) -> tuple[str, ...]:
    """Return what a set's part has standing by; what is held only for a flow, where no rest tells of it."""
    sets = [
        entry
        for (block, _), part in here.arc.rounds.items()
        if block == coming.block_index
        for entry in part.sets
    ]
    if here.level == "spare" or len(sets) < 2:
        return ()
    things = [
        thing
        for entry in sets
        for thing in (entry.spec.needs if entry.spec else ())
        if entry.pattern == "flow" or thing not in held(entry, here.words)
    ]
    return tuple(dict.fromkeys(things))


def part_needs(here: Here, coming: Interval, toward: float) -> Iterator[Candidate]:
    """Yield before a part what to have near for it that no part before it had."""
    things, words = untold(here, part_things(here, coming)), here.words
    if not things:
        return
    yield Candidate(
        "preview", here.say("preview", "block_needs", items=words.listing(things)), _PART_NEEDS_WEIGHT,
        "before the part that needs it", toward=toward, chain=("end", 12), uses=("preview.block_needs",),
        tells=tuple(("need", thing) for thing in things),
    )  # fmt: skip
