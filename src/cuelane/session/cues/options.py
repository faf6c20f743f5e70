"""Other ways to do an exercise: easier, harder, something else, or with a heavier load."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.plan.model import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import (
    AFTER_SET_UP,
    Here,
    applies,
    in_turn,
    own_lines,
    says_it_is_a_choice,
    tally_of,
    was_said,
    with_sides,
)
from cuelane.session.model import Interval

SWAP_EVERY = 3
"""A swap that has been told is told again only after so many appearances."""


def options_in_set(here: Here) -> Iterator[Candidate]:
    """Yield the easier way in the first half of an exercise's appearances and the harder in the second.

    At the first set they come right after the set-up; an exercise that comes once gets both.
    """
    interval = here.interval
    appearance, appearances = interval.appearance or 1, interval.appearances or 1
    if interval.half == 2 or (here.level == "spare" and appearance > 1):
        return
    first = appearance == 1
    if not first or not _rest_before(here):
        yield from _swap_in_set(here)
    if 2 * appearance <= appearances + 1:
        yield from in_turn(
            here, "easier", "right after the set-up" if first else "in the first half of its appearances",
            toward=0.0 if first else 0.55 + here.shift, chain=("start", 300) if first else AFTER_SET_UP,
            latest_ms=here.before_late_ms,
        )  # fmt: skip
    if 2 * appearance > appearances + 1 or appearances == 1:
        yield from in_turn(
            here, "harder", "the only set has both ways" if appearances == 1 else "in the second half",
            toward=0.6 + here.shift, chain=AFTER_SET_UP, latest_ms=here.before_late_ms,
        )  # fmt: skip


def _rest_before(here: Here) -> bool:
    index = here.interval.index
    return index > 0 and here.arc.session.intervals[index - 1].kind in ("rest", "talk")


def _swap_in_set(here: Here) -> Iterator[Candidate]:
    first = here.interval.appearance == 1
    yield from in_turn(
        here, "swap", "early, while it can still be changed", toward=0.0 if first else 0.2,
        rest_appearances=SWAP_EVERY - 2, chain=("start", 290) if first else AFTER_SET_UP,
        latest_ms=here.before_late_ms,
    )  # fmt: skip


def swap_before(here: Here, coming: Interval, toward: float) -> Iterator[Candidate]:
    """Yield in a rest what may be done instead of the set that follows, the first time it applies."""
    for line in own_lines(coming, "swap"):
        if applies(line, coming) and line.at is None and not was_said(here, coming, "swap", line):
            text = with_sides(line.text, coming, here.words)
            uses: tuple[str, ...] = ()
            if not says_it_is_a_choice(text, here.words):
                text, uses = here.say("options", "swap", text=text), ("options.swap",)
            yield Candidate(
                "swap", text, WEIGHTS["swap"] if line.weight is None else line.weight,
                "in the rest before, where there is time to choose", must=line.must is True, toward=toward,
                chain=("end", 50), tally=tally_of(coming, "swap", line), uses=uses, mark=line.mark,
                appearance=coming.appearance,
            )  # fmt: skip
            return


def heavier_before(here: Here, toward: float) -> Iterator[Candidate]:
    """Yield in the rest before a round the heavier load that the round allows, each line once."""
    part = here.arc.begins_round(here.interval.index)
    if part is None or here.level == "spare":
        return
    for entry in part.sets:
        spec = entry.spec
        if spec is None or not (spec.heavier or spec.heavier_needs):
            continue
        lines = spec.heavier or [CueLine(text="")]
        for line in lines:
            if part.number < (line.from_round or part.total // 2 + 1) or was_said(
                here, entry, "heavier", line
            ):
                continue
            text, uses = _heavier_text(here, entry, line, part.number - 1)
            yield Candidate(
                "heavier", text, WEIGHTS["heavier"] if line.weight is None else line.weight,
                f"in the rest before round {part.number}, from which it may be heavier",
                must=line.must is True, toward=toward, chain=("end", 75),
                tally=tally_of(entry, "heavier", line), uses=uses, mark=line.mark,
            )  # fmt: skip
            return


def _heavier_text(here: Here, entry: Interval, line: CueLine, done: int) -> tuple[str, tuple[str, ...]]:
    words, needs = here.words, entry.spec.heavier_needs if entry.spec else []
    if not line.text:
        text = here.say(
            "options", "heavier", n=words.number(done), items=words.listing(needs), exercise=entry.exercise
        )
        return text, ("options.heavier",)
    if says_it_is_a_choice(line.text, words):
        return line.text, ()
    return here.say("options", "heavier_text", text=line.text), ("options.heavier_text",)
