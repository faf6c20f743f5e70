"""Other ways to do an exercise: easier, harder, something else, or with a heavier load."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.plan.parts import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import (
    AFTER_SET_UP,
    Here,
    Spot,
    applies,
    as_choice,
    in_turn,
    own_lines,
    stands_as_written,
    tally_of,
    turn_of,
    turns_of,
    was_said,
    with_sides,
)
from cuelane.session.model import Interval

SWAP_EVERY = 3
"""A swap that has been told is told again only after so many appearances."""
EASIER_BY_MS, HARDER_BY_MS = 8_000, 12_000
"""When in a set an option starts at the latest; behind a long set-up the easier way may be later."""

_OPTION_QUIET_MS = 1_000


def options_in_set(here: Here) -> Iterator[Candidate]:
    """Yield the easier way in the first half of an exercise's appearances, and either way in the second.

    A single set has both. The first of several has the set-up and the easier way to think of; later, when it
    is known how the exercise feels, the harder way comes in the last set and in every other before it. Where
    the side changes from one appearance to the next, two of them count as one, so that what is offered for
    one side is offered for the other. In full coaching every line is said, if at last, before one is said in
    two turns on end.
    """
    interval = here.interval
    turn, turns = turn_of(interval), turns_of(interval)
    if interval.half == 2 or (here.level == "spare" and turn > 1):
        return
    first = interval.appearance == 1
    if not first or not _rest_before(here):
        yield from _swap_in_set(here)
    single, late = (interval.appearances or 1) == 1, 2 * turn > turns + 1
    hard = late and (turns - turn) % 2 == 0 and bool(own_lines(interval, "harder"))
    wish = "right after the set-up" if first else "early, in the first half of its appearances"
    if single:
        wish = "the only set has both ways"
    elif turns < (interval.appearances or 1) and not late:
        wish = "for each side in turn, in the first half of its appearances"
    elif late:
        wish = "one way or the other, in the second half of its appearances"
    is_last, is_full = turn == turns, here.level == "full"
    # In the last set of all the easier way is said even if it was the time before.
    again = -1 if is_last and not is_full else 0
    for role, order, by_ms in (("easier", 300, EASIER_BY_MS), ("harder", 310, HARDER_BY_MS)):
        left = _unsaid(here, role) if is_last and is_full else 0
        is_due = single or hard == (role == "harder")
        if is_due or left:
            spot = _early(here, wish if is_due else "it has not been said yet", order, by_ms)
            yield from in_turn(here, role, spot, most=max(1, min(left, 2)), rest_appearances=again)


def _unsaid(here: Here, role: str) -> int:
    """Return how many lines of a role have their turn in this set and have not been said."""
    lines = [line for line in own_lines(here.interval, role) if line.rounds is None and line.at is None]
    return sum(
        applies(line, here.interval) and not was_said(here, here.interval, role, line) for line in lines
    )


def _early(here: Here, wish: str, order: int, by_ms: int) -> Spot:
    """Return the place of an option: by `by_ms`, or as soon as the set-up is over, in the first half."""
    half_ms = here.interval.length_ms // 2
    told = [line for role in ("setup", "caution") for line in own_lines(here.interval, role)]
    # A long set-up is over later than that; what comes right behind it is still early.
    latest_ms = half_ms - 1 if here.interval.appearance == 1 and told and order == 300 else by_ms
    return Spot(
        wish, chain=("start", order), latest_ms=min(latest_ms, half_ms - 1), quiet_ms=_OPTION_QUIET_MS
    )


def _rest_before(here: Here) -> bool:
    index = here.interval.index
    return index > 0 and here.arc.session.intervals[index - 1].kind in ("rest", "talk")


def _swap_in_set(here: Here) -> Iterator[Candidate]:
    first = here.interval.appearance == 1
    spot = Spot(
        "early, while it can still be changed", toward=0.0 if first else 0.2,
        chain=("start", 290) if first else AFTER_SET_UP, latest_ms=here.before_late_ms,
        quiet_ms=_OPTION_QUIET_MS,
    )  # fmt: skip
    yield from in_turn(here, "swap", spot, rest_appearances=SWAP_EVERY - 2)


def swap_before(here: Here, coming: Interval, toward: float) -> Iterator[Candidate]:
    """Yield in a rest what may be done instead of the set that follows, the first time it applies."""
    for line in own_lines(coming, "swap"):
        if applies(line, coming) and line.at is None and not was_said(here, coming, "swap", line):
            text = with_sides(line.text, coming, here.words)
            uses: tuple[str, ...] = ()
            if not stands_as_written(line, here.words):
                text, uses = as_choice(here, "swap", text)
            yield Candidate(
                "swap", text, WEIGHTS["swap"] if line.weight is None else line.weight,
                "in the rest before, where there is time to choose", must=line.must is True, toward=toward,
                chain=("end", 50), tally=tally_of(coming, "swap", line), uses=uses, clip=line.clip,
                mark=line.mark, appearance=coming.appearance,
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
        # No words of the person's own stand for the program's; a plan itself may have no line without words.
        lines = spec.heavier or [CueLine.model_construct(text="")]
        for line in lines:
            if part.number < (line.from_round or part.total // 2 + 1) or was_said(
                here, entry, "heavier", line
            ):
                continue
            text, uses = _heavier_text(here, entry, line, part.number - 1)
            yield Candidate(
                "heavier", text, WEIGHTS["heavier"] if line.weight is None else line.weight,
                f"in the rest before round {part.number}, from which it may be heavier",
                must=line.must is True, toward=toward, chain=("end", 62),
                tally=tally_of(entry, "heavier", line), uses=uses, clip=line.clip, mark=line.mark,
            )  # fmt: skip
            return


def _heavier_text(here: Here, entry: Interval, line: CueLine, done: int) -> tuple[str, tuple[str, ...]]:
    words, needs = here.words, entry.spec.heavier_needs if entry.spec else []
    if not line.text:
        text = here.say(
            "options", "heavier", n=words.number(done), items=words.listing(needs), exercise=entry.exercise
        )
        return text, ("options.heavier",)
    text = with_sides(line.text, entry, words)
    if stands_as_written(line, words):
        return text, ()
    return as_choice(here, "heavier_text", text)
