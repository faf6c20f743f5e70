"""What comes next, said in a set that another follows at once, or behind a rest too short to say it in: one
short line near its end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cuelane.base.language import names_side
from cuelane.plan.parts import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.handling import held, spoken_names, to_fetch, untold_needs
from cuelane.session.cues.here import APART_MS, Here, tally_of
from cuelane.session.cues.naming import NEEDS_FORMS, next_key, part_named, part_of, previewed, untold_previews
from cuelane.session.cues.positions import changes_place
from cuelane.session.cues.time_calls import TEN_MS, has_ten
from cuelane.session.model import Interval

NEXT_FROM_MS, NEXT_TO_MS = 10_000, 4_000
"""How long before the end of a set what comes next is said: not earlier, and not later."""

# Where equipment or position changes, it is needed sooner.
_NEXT_MS, _NEXT_MOVING_MS = 6_000, 9_000
_BLOCK_WEIGHT = 60
# In minutes of one movement the next part is named so long before its end, and no sooner.
_PART_MS = 25_000


def coming_in_work(here: Here, *, crowded: bool) -> Iterator[Candidate]:
    """Yield the one line about the next set that the end of a set has room for, in its forms.

    Where the end is `crowded` by something to do, or equipment or position changes, and a call is due ten
    seconds before the end, that call says what comes.
    """
    interval, words = here.interval, here.words
    coming = here.around.following or here.around.beyond
    if coming is None or coming.spec is None or coming.set_index == interval.set_index:
        return
    if interval.block_index != coming.block_index:
        text, toward = part_named(here, coming), max(0.7, 1 - _PART_MS / interval.length_ms)
        yield Candidate(
            "preview", text, _BLOCK_WEIGHT, "before the next part", toward=toward, chain=("end", 10),
            latest_ms=here.before_late_ms, quiet_ms=APART_MS, tells=(part_of(coming),),
        )  # fmt: skip
    side = words.side(coming.side) if coming.side else ""
    spot = _next_spot(here, changes_place(here, interval, coming))
    preview = _untold(here, coming)
    if preview is not None:
        yield _preview_in_work(here, coming, preview, side)
    key = next_key(interval, coming)
    if here.around.following is None and key in ("again", "again_same_side"):
        # That a rest comes says enough: nothing else is done after it.
        return
    ending, items = _needs_form(here, coming)
    forms = [f"{key}{ending}", key] if items and f"{key}{ending}" in NEEDS_FORMS else [key]
    named = (("next", coming.set_index),)
    tells = [
        (*named, *((("need", thing) for thing in untold_needs(here)) if form.endswith("_new") else ()))
        for form in forms
    ]
    name = coming.exercise or ""
    if has_ten(here) and here.around.following is not None:
        # Else it is there for names that are too long to be said between the call and the pips.
        instead = call_says_next(here, crowded=crowded)
        weight = WEIGHTS["preview"] + WEIGHTS["time"] + (10 if instead else -6)
        n = words.number(TEN_MS // 1000)
        text = here.say("time", forms[0], n=n, exercise=name, side=side, items=items)
        why = "ten seconds before the end, and what comes, in one"
        yield Candidate(
            "time", text, weight, f"{why}: there is something to do before it" if instead else why,
            start_ms=interval.length_ms - TEN_MS, group="next", quiet_ms=APART_MS, uses=(f"time.{forms[0]}",),
            tells=tells[0],
        )  # fmt: skip
    for place, form in enumerate(forms):
        text = words.say("preview", form, exercise=name, side=side, items=items)
        yield Candidate(
            "side" if side else "preview", text, WEIGHTS["preview"] - 5 - place, spot.wish,
            prefer_ms=spot.prefer_ms, not_before_ms=spot.not_before_ms, latest_ms=spot.latest_ms,
            quiet_ms=APART_MS, group="next", chain=("end", 30), tells=tells[place],
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
    return next(iter(untold_previews(here, coming)), None) if coming.appearance == 1 else None


def _needs_form(here: Here, coming: Interval) -> tuple[str, str | None]:
    """Return which form names what is fetched for `coming`, and the names: all, if something stands by."""
    fetch = to_fetch(here, coming)
    if set(untold_needs(here)) - set(held(coming, here.words)):
        return "_new", spoken_names(here, fetch)
    return "_needs", spoken_names(
        here, [thing for thing in fetch if thing in held(coming, here.words)]
    ) or None


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
    text = previewed(here, coming, line, "coming")
    as_written = line.at is not None or line.clip is not None
    if side and not names_side(line.text) and line.clip is None:
        text = f"{text} {words.say('preview', 'side', side=side)}"
    # What was recorded without a side is played so, and the rest may tell it.
    tells_side = not side or line.clip is None or names_side(line.text)
    named = (("next", coming.set_index),) if tells_side else ()
    fetch, pinned = to_fetch(here, coming), line.at is not None
    if fetch and not as_written:
        text = f"{text} {words.say('preview', 'needs', items=spoken_names(here, fetch))}"
    return Candidate(
        "preview", text, WEIGHTS["preview"] if line.weight is None else line.weight,
        "where the plan fixes it" if pinned else spot.wish, must=line.must is True, start_ms=line.at,
        prefer_ms=None if pinned else spot.prefer_ms, not_before_ms=0 if pinned else spot.not_before_ms,
        quiet_ms=0 if pinned else APART_MS, group="next", chain=None if pinned else ("end", 30),
        tally=tally_of(coming, "preview", line), clip=line.clip, mark=line.mark,
        tells=(*named, *(() if as_written else (("need", thing) for thing in fetch))),
    )  # fmt: skip
