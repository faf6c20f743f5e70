"""Equipment, and what to do at the pips: put down what is held, have ready what comes next."""

from __future__ import annotations

import re
from collections.abc import Iterator

from cuelane.base.language import Language
from cuelane.session.candidates import Candidate
from cuelane.session.cues.here import Here, line_candidate, own_lines, tally_of
from cuelane.session.model import Interval

_PUT_DOWN_WEIGHT = 62


def held(interval: Interval | None, words: Language) -> tuple[str, ...]:
    """Return what an exercise needs that is held, not what stays where it is (the pack knows those)."""
    fixed = [re.compile(entry, re.I) for entry in words.phrases("handling", "fixed")]
    needs = interval.spec.needs if interval is not None and interval.spec else ()
    return tuple(thing for thing in needs if not any(entry.search(thing) for entry in fixed))


def change(here: Here) -> Iterator[Candidate]:
    """Yield what to do at the pips that end this set: the plan's line for what follows, else by the needs."""
    interval, after = here.interval, here.around.after
    lines = own_lines(interval, "change")
    named = "rest" if here.around.resting else (after.exercise if after is not None else None)
    fitting = [
        line
        for line in lines
        if line.to is not None and line.to in (named, after.exercise if after else None)
    ]
    if after is not None and after.exercise != interval.exercise:
        fitting = fitting or [line for line in lines if line.to is None]
    if fitting:
        line = min(fitting, key=lambda row: here.history.times.get(tally_of(interval, "change", row), 0))
        yield line_candidate(
            here, "change", line, "last before the pips", must=True, toward=1.0, chain=("end", 90)
        )
        return
    if lines or after is None or here.level == "spare" or after.exercise == interval.exercise:
        return
    if held(interval, here.words) and not held(after, here.words):
        text = here.say("handling", "put_down")
        yield Candidate(
            "change", text, _PUT_DOWN_WEIGHT, "what comes next needs free hands", toward=1.0,
            chain=("end", 90), uses=("handling.put_down",),
        )  # fmt: skip


def to_have_ready(here: Here, coming: Interval, told: str) -> tuple[str, tuple[str, ...]] | None:
    """Return the words for what `coming` needs and has not been told, with the phrases they use.

    Things needed for the first time, and things that were put down since; `told` is what a preview says, in
    lower case: what it names need not be said.
    """
    here_now = here.arc.last_set(here.interval.index)
    in_hand = set(here_now.spec.needs if here_now is not None and here_now.spec else ())
    new = [thing for thing in here.around.new_needs if thing.split()[-1].lower() not in told]
    if new:
        return here.say("preview", "needs", items=here.words.listing(new)), ("preview.needs",)
    again = [
        thing
        for thing in held(coming, here.words)
        if thing not in in_hand and thing not in here.around.new_needs
    ]
    if again and here.level != "spare":
        return here.words.say("preview", "have_ready", items=here.words.listing(again)), ()
    return None
