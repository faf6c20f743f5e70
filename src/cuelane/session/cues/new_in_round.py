"""What is new in a round, where it is not the round's first set."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.arc import RoundPart
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.handling import untold
from cuelane.session.cues.here import Here, Spot, own_lines, tally_of
from cuelane.session.cues.naming import previewed
from cuelane.session.cues.sides import side_before
from cuelane.session.model import Interval

EXPLAINED_IN_CHANGE_FROM_MS = 10_000
"""A change of this length before a new exercise has time to explain it."""

_MOST_NEW = 2


def explained_at_its_set(here: Here, entry: Interval) -> bool:
    """Return whether a rest or a change right before a set has the time to explain it."""
    before = here.arc.session.intervals[entry.index - 1]
    return before.kind == "rest" or (
        before.kind == "change" and before.length_ms >= EXPLAINED_IN_CHANGE_FROM_MS
    )


def later_in_round(part: RoundPart) -> list[Interval]:
    """Return the sets of a round that are new and not its first."""
    return [entry for entry in part.new if entry is not part.sets[0]]


def new_in_round(here: Here, toward: float) -> Iterator[Candidate]:
    """Yield in the rest before a round the previews of what has no time for one right before its set."""
    part = here.arc.begins_round(here.interval.index)
    if part is None or here.level == "spare":
        return
    fresh = [entry for entry in later_in_round(part) if not explained_at_its_set(here, entry)]
    for number, entry in enumerate(fresh[:_MOST_NEW]):
        order = 52 + 5 * number
        needs = untold(here, here.arc.around[entry.index - 1].new_needs)
        if needs:
            text = here.say(
                "preview", "needs_for", exercise=str(entry.exercise), items=here.words.listing(needs)
            )
            yield Candidate(
                "preview", text, WEIGHTS["needs"], "before the exercise that needs it", toward=toward,
                chain=("end", order - 1), uses=("preview.needs_for",),
                tells=tuple(("need", thing) for thing in needs),
            )  # fmt: skip
        for line in own_lines(entry, "preview")[:1]:
            yield Candidate(
                "preview", previewed(here, entry, line, "new"),
                WEIGHTS["preview"] if line.weight is None else line.weight,
                "new in the round that follows", toward=toward, chain=("end", order),
                tally=tally_of(entry, "preview", line), clip=line.clip, mark=line.mark,
            )  # fmt: skip
        if entry.side:
            spot = Spot("new in the round that follows", toward, ("end", order + 1), weight=48)
            yield from side_before(here, entry, spot)
