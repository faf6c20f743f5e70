"""Rests teach: which round comes and what it holds, what is new in it, what to have ready, when it starts.

The order is always that one. A rest under 12 s says only what comes next.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cuelane.plan.parts import CueLine
from cuelane.session.arc import RoundPart
from cuelane.session.candidates import Candidate
from cuelane.session.cues.coming_in_rest import LONG_MS, coming_in_rest
from cuelane.session.cues.handling import begins_part, part_needs, put_down_in_rest
from cuelane.session.cues.here import Here, mixed, own_lines, tally_of
from cuelane.session.cues.naming import part_named, part_of, untold_previews
from cuelane.session.cues.new_in_round import explained_at_its_set, later_in_round, new_in_round
from cuelane.session.cues.options import heavier_before, swap_before
from cuelane.session.cues.praise import all_rounds_done, praise_after_round
from cuelane.session.cues.sides import other_side_later
from cuelane.session.cues.time_calls import TEN_MS, rest_call
from cuelane.session.ends import has_pips
from cuelane.session.model import Interval
from cuelane.session.pattern_words import how_it_goes

_REST_SAID_FROM_MS = 8_000
_LIGHT_UNDER_MS = 12_000
# Nobody listens in the first seconds after work.
_BREATH_MS, _SHORT_BREATH_MS = 4_000, 2_500
_LONG_FROM_MS = 30_000
_FOCUS_FROM_MS = 20_000
_ROUND_WEIGHT = 68
# What the short form of something that a rest should teach is worth less.
_SHORTER, _WITHOUT_NEW = 30, 60
_HALF_WEIGHT = 46
_PIPS_WEIGHT = 31
_PIPS_LATE_WEIGHT = 66
_FOCUS_WEIGHT = 28
_HOW_WEIGHT = 44
# Names are listed up to so many; more are "the same four".
_LISTED = 3


def rest(here: Here) -> Iterator[Candidate]:
    """Yield what a rest, a change or the time to get ready could say."""
    interval = here.interval
    if interval.pattern == "ready":
        text = here.words.phrase("opening", "ready")
        yield Candidate("announce", text, 55, "at once", lead=True)
    if interval.kind == "rest" and interval.length_ms >= _REST_SAID_FROM_MS:
        yield from put_down_in_rest(here)
        yield from praise_after_round(here)
        yield from all_rounds_done(here)
        text = here.say("announce", "rest")
        yield Candidate(
            "announce", text, 15, "right after the pip", lead=True, group="rest", uses=("announce.rest",)
        )
    yield from before_set(here)


def before_set(here: Here) -> Iterator[Candidate]:
    """Yield what prepares what follows an interval without work, after a breath if there is time."""
    interval = here.interval
    breathes = interval.kind == "rest" and interval.length_ms >= _FOCUS_FROM_MS
    for candidate in _preparing(here):
        if breathes and not candidate.must and candidate.start_ms is None:
            breath_ms = _BREATH_MS if interval.length_ms >= _LONG_FROM_MS else _SHORT_BREATH_MS
            candidate = replace(candidate, not_before_ms=breath_ms)
        yield candidate


def _preparing(here: Here) -> Iterator[Candidate]:
    interval, coming = here.interval, here.around.following
    light = interval.length_ms < _LIGHT_UNDER_MS
    if not light or interval.pattern == "ready":
        yield from _pips(here)
    # A breath first, then what is told, then quiet until the call.
    toward = 0.2 if interval.pattern == "ready" else 0.3
    if here.arc.half_index == interval.index and here.level != "spare":
        text = here.words.phrase("arc", "half")
        yield Candidate(
            "say", text, _HALF_WEIGHT, "the middle of the training is in this rest", toward=0.12,
            chain=("end", 5),
        )  # fmt: skip
    if coming is None or coming.spec is None:
        return
    previous = here.around.before
    yield from other_side_later(here)
    new_part = begins_part(here, coming)
    if new_part:
        explains = coming.appearance == 1 and untold_previews(here, coming)
        # With nothing to explain in a long rest the words are spread over it.
        spread = interval.kind == "rest" and interval.length_ms >= LONG_MS and not explains
        if previous is not None:
            yield from _next_block(here, coming, 0.45 if spread else 0.2)
        yield from part_needs(here, coming, 0.5 if spread else 0.2)
    part = None if light else here.arc.begins_round(interval.index)
    named = False
    if part is not None:
        named = len(part.names) == 1 and here.level != "spare"
        # With nothing new to tell there is time, and the words are best spread over it.
        yield from _round(here, part, toward - 0.1 if _explains(here, part) else toward)
    yield from coming_in_rest(here, toward, named=named, light=light)
    if light:
        return
    yield from new_in_round(here, toward + 0.05)
    yield from swap_before(here, coming, toward + 0.1)
    yield from heavier_before(here, toward + 0.1)
    if not interval.lines:
        yield from _focus(here, coming, part)
        yield from rest_call(here)


def _pips(here: Here) -> Iterator[Candidate]:
    """Yield what the long pip means, before the first of them or as soon after as there is time."""
    if here.level == "spare" or not here.arc.session.plan.lead_in or not has_pips(here.arc.session):
        return
    if not here.history.phrases.get("opening.pips") and not here.interval.lines:
        text = here.words.phrase("opening", "pips")
        # In a rest some have been heard already: it comes before all that a listener could guess.
        weight = _PIPS_LATE_WEIGHT if here.interval.kind == "rest" else _PIPS_WEIGHT
        yield Candidate(
            "announce", text, weight, "before the pips that it is about", toward=0.05,
            chain=("end", 1), uses=("opening.pips",),
        )  # fmt: skip


def _next_block(here: Here, coming: Interval, toward: float) -> Iterator[Candidate]:
    words, part = here.words, part_of(coming)
    if part not in here.history.told:
        text = part_named(here, coming)
        yield Candidate(
            "preview", text, 60, "before the next part", toward=0.12, chain=("end", 10), tells=(part,)
        )
    how = how_it_goes(here.arc, coming.block_index, words)
    if how and here.level != "spare" and here.interval.length_ms >= _FOCUS_FROM_MS:
        yield Candidate(
            "announce", how, _HOW_WEIGHT, "how the next part goes", toward=toward, chain=("end", 11)
        )


def _round(here: Here, part: RoundPart, toward: float) -> Iterator[Candidate]:
    """Yield which round comes and what it holds, in a long and a short form."""
    coming = part.sets[0]
    position, uses = _position(here, part)
    content = _content(here, part)
    later: tuple[str, ...] = ()
    # Once is enough: later it is known that what is new is explained at its set.
    told = here.history.phrases.get("rounds.explained_later", 0)
    if content is not None and not told and _told_later(here, part):
        later = ("rounds.explained_later",)
        content = f"{content} {here.say('rounds', 'explained_later')}"
    tells = (("round", coming.block_index, part.number),)
    forms = [position] if content is None or here.level == "spare" else [f"{position} {content}", position]
    for place, text in enumerate(forms):
        why = "which round comes" if place else "which round comes and what it holds"
        weight = _ROUND_WEIGHT - place * (_WITHOUT_NEW if part.new else _SHORTER)
        yield Candidate(
            "announce", text, weight, why, toward=toward,
            group="round", chain=("end", 20), uses=(uses, *(() if place else later)), tells=tells,
        )  # fmt: skip


def _explains(here: Here, part: RoundPart) -> bool:
    """Return whether the rest before a round has something new to explain."""
    return any(entry not in _told_later(here, part) for entry in part.new)


def _told_later(here: Here, part: RoundPart) -> list[Interval]:
    """Return what is new in a round and explained right before its own set, or at its start."""
    return [
        entry
        for entry in later_in_round(part)
        if explained_at_its_set(here, entry) and (own_lines(entry, "preview") or own_lines(entry, "setup"))
    ]


def _position(here: Here, part: RoundPart) -> tuple[str, str]:
    words, key = here.words, "last" if part.number == part.total else "position"
    text = here.say("rounds", key, n=words.number(part.number), total=words.number(part.total))
    return text, f"rounds.{key}"


def _content_key(here: Here, part: RoundPart, before: RoundPart | None) -> str | None:
    names, old = part.names, before.names if before is not None else ()
    new = [entry.exercise for entry in part.new]
    if (part.sets[0].block_index, part.number) in here.arc.tops and new == [names[-1]]:
        return "top"
    if names == old:
        if len(set(names)) == 1:
            return "same_one"
        changed = before is not None and part.set_ms is not None and part.set_ms != before.set_ms
        return "same_work" if changed else "same"
    if names == old[:-1] and old:
        return "fewer_one" if len(names) == 1 else "fewer"
    if len(names) > _LISTED:
        return "same_new" if names[:-1] == old and new == [names[-1]] else None
    if new and new != [names[-1]]:
        return None
    return "list_new" if new and len(names) > 1 else "list"


def _content(here: Here, part: RoundPart) -> str | None:
    """Return what a round holds, against the round before it."""
    words, before = here.words, here.arc.previous(part.sets[0])
    key = _content_key(here, part, before)
    if key is None:
        return None
    old = before.names if before is not None else ()
    # What each of two who take turns does is one exercise.
    names = part.names[:-1] if key == "same_new" else part.names
    count = len(set(names))
    return here.say(
        "rounds", key, exercises=words.listing(part.names, "then"), size=words.number(count),
        new=part.names[-1], dropped=old[-1] if old else None,
        work=words.duration(part.set_ms) if part.set_ms is not None else None,
    )  # fmt: skip


def _focus(here: Here, coming: Interval, part: RoundPart | None) -> Iterator[Candidate]:
    """Yield a point of form for what comes, in a rest in which nothing is new."""
    interval = here.interval
    if interval.kind != "rest" or interval.length_ms < _FOCUS_FROM_MS or here.level == "spare":
        return
    if coming.appearance == 1 or (part is not None and _explains(here, part)):
        return
    # Not in every rest: before a round, else before every other set.
    if part is None and (coming.set_index or 0) % 2:
        return
    lines = [
        line
        for line in own_lines(coming, "form")
        if line.rounds is None and line.at is None and line.clip is None
    ]
    if len(lines) < 2:
        return
    least = min(here.history.times.get(tally_of(coming, "form", line), 0) for line in lines)
    line = next((line for line in mixed(lines, least) if _is_fresh(here, coming, line, least)), None)
    if line is None or "{" in line.text:
        return
    text = here.say("form", "coming", text=line.text, inner=here.words.inside(line.text))
    yield Candidate(
        "form", text, _FOCUS_WEIGHT, "a point of form while there is time to think",
        toward=0.5, prefer_ms=interval.length_ms - TEN_MS - 1_000 if part is not None else None,
        chain=("end", 66), tally=tally_of(coming, "form", line), appearance=coming.appearance,
        uses=("form.coming",), mark=line.mark,
    )  # fmt: skip


def _is_fresh(here: Here, coming: Interval, line: CueLine, least: int) -> bool:
    """Return whether a line is one of those used least, and was not said for the set before."""
    tally = tally_of(coming, "form", line)
    last = here.history.last.get(tally)
    said_before = last is not None and (coming.appearance or 1) - last < 2
    return here.history.times.get(tally, 0) == least and not said_before
