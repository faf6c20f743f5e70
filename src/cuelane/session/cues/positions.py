"""Getting down and up: where the body has to go before the next exercise, by what the plan says of both."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from cuelane.base.language import Language
from cuelane.session.candidates import Candidate
from cuelane.session.cues.handling import held, leaving_lines
from cuelane.session.cues.here import Here, Spot, applies, own_lines, tally_of
from cuelane.session.model import Interval

_POSITION_WEIGHT = 58
# Less than a caution or another way to do it, where the preview tells where one ends up.
_TURN_WEIGHT = 30


def position_of(interval: Interval | None, words: Language) -> str | None:
    """Return ``back``, ``hands`` (and knees), ``front``, ``floor`` for else on it; None for standing."""
    if interval is None:
        return None
    text = " ".join(line.text for role in ("preview", "setup") for line in own_lines(interval, role))
    for kind in ("back", "hands", "front", "floor"):
        if any(re.search(entry, text, re.I) for entry in words.phrases("positions", kind)):
            return kind
    return None


def changes_place(here: Here, interval: Interval, coming: Interval) -> bool:
    """Return whether equipment or position changes from one set to the next."""
    mine, its = (one.spec.needs if one.spec else () for one in (interval, coming))
    if set(its) - set(mine) or set(held(interval, here.words)) - set(its):
        return True
    return (position_of(interval, here.words) is None) != (position_of(coming, here.words) is None)


def up_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield that one gets up, between two exercises of which the first is done on the floor."""
    done = here.around.before
    if done is None or position_of(done, here.words) is None or position_of(coming, here.words) is not None:
        return
    own = leaving_lines(done)
    if here.level != "spare" and not any(
        here.history.last.get(tally_of(done, "change", line)) == done.appearance for line in own
    ):
        yield _position(here, "up", spot, "the exercise before it is done on the floor")


def turn_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield how one turns over on the floor for an exercise whose preview tells only where one ends up."""
    text = " ".join(line.text for line in own_lines(coming, "preview"))
    told = any(re.search(entry, text, re.I) for entry in here.words.phrases("positions", "moves"))
    if position_of(here.around.before, here.words) is not None and not told:
        for candidate in down_before(here, coming, spot):
            yield replace(candidate, weight=_TURN_WEIGHT)


def down_before(here: Here, coming: Interval, spot: Spot) -> Iterator[Candidate]:
    """Yield how one gets down for an exercise, where nothing else is about to say it."""
    done, place = here.around.before, position_of(coming, here.words)
    from_place = position_of(done, here.words)
    if place is None or place == from_place or here.level == "spare" or _told_again(here, coming):
        return
    if from_place is None:
        yield _position(here, f"down_{place}", spot, "the plan says that it is done there")
    elif place != "floor":
        yield _position(here, f"turn_{place}", spot, "the plan says that it is done there")


def _told_again(here: Here, coming: Interval) -> bool:
    """Return whether a caution for this appearance says by itself how to get down, in the author's order."""
    moves = here.words.phrases("positions", "moves")
    return any(
        re.search(entry, line.text, re.I)
        for line in own_lines(coming, "caution")
        if (line.rounds is not None or line.from_round is not None) and applies(line, coming)
        for entry in moves
    )


def _position(here: Here, key: str, spot: Spot, wish: str) -> Candidate:
    return Candidate(
        "change", here.say("positions", key), _POSITION_WEIGHT, wish, toward=spot.toward, chain=spot.chain,
        uses=(f"positions.{key}",),
    )  # fmt: skip
