"""Praise: sparse, late in a set or after a round, and never more than is known to be so.

None of the program's own outside the main work: in flows, warming up, stretching, cooling down and breathing.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.plan.parts import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import APART_MS, Here, Spot, applies, line_candidate, own_lines, with_sides
from cuelane.session.cues.time_calls import TEN_MS, has_ten
from cuelane.session.part_names import is_main

PRAISE_FROM, PRAISE_TO = 0.60, 0.85
"""Where in a set praise may start, as parts of it."""
PRAISE_FROM_EARLY = 0.40
"""Where a person's own may start in a set whose last call leaves no room after `PRAISE_FROM`."""
SETS_BETWEEN = 3
"""At most one of so many sets has praise, in it or after it; in full coaching a person's own lines come more
often where they are more, until each has been said."""

_LEAST_MS = 20_000
# More than what is said after any round: it says that too.
_ALL_DONE_WEIGHT = 40
# Praise is over, and some silence too, when the last call comes.
_BEFORE_CALL_MS = 5_000


def _is_due(here: Here, set_index: int | None, sets_between: int = SETS_BETWEEN) -> bool:
    allowed = here.arc.session.plan.praise is not False and here.level != "spare"
    return allowed and set_index is not None and set_index - here.history.praised_set >= sets_between


def _times(here: Here, line: CueLine) -> int:
    return here.history.times.get(("", "praise", line.text), 0)


def _own(here: Here, lines: list[CueLine]) -> tuple[list[CueLine], int]:
    """Return the praise that a person wrote for this set, and in how many sets it is to be said.

    `lines` are the exercise's own, of which those at a fixed place are not in question; its sets are few, so
    that none of them waits.
    """
    interval, rounds = here.interval, here.arc.rounds.items()
    if own := [line for line in lines if line.at is None]:
        return own, len(own)
    if interval.praise:
        of_block = sum(len(part.sets) for (index, _), part in rounds if index == interval.block_index)
        return list(interval.praise), of_block
    plan = here.arc.session.plan.praise
    if plan and is_main(interval, here.words):
        return list(plan), sum(len(part.sets) for _, part in rounds)
    return [], 0


def _sets_between(here: Here, own: list[CueLine], n_sets: int) -> int:
    """Return how many sets apart a person's own lines are said, to be said in `n_sets` sets."""
    if here.level != "full" or all(_times(here, line) for line in own):
        return SETS_BETWEEN
    return max(1, min(SETS_BETWEEN, n_sets // len(own)))


def praise_in_set(here: Here, late_room: int) -> Iterator[Candidate]:
    """Yield praise between 60 and 85 % of a set, in the person's words or the pack's."""
    interval = here.interval
    lines = [line for line in own_lines(interval, "praise") if applies(line, interval)]
    for line in lines:
        if line.at is not None:
            yield line_candidate(here, "praise", line, Spot("where the plan fixes it"))
    own, n_sets = _own(here, lines)
    sets_between = _sets_between(here, own, n_sets)
    if not _is_due(here, interval.set_index, sets_between) or interval.length_ms < _LEAST_MS:
        return
    part = here.arc.round_of(interval)
    if (
        part is not None
        and part.number < part.total
        and (interval.block_index, part.number) in here.arc.longest
    ):
        # Kept for the rest after it, when it can be said that it was the longest.
        return
    latest_ms = int(interval.length_ms * PRAISE_TO)
    if late_room <= 0 and here.before_late_ms is not None:
        latest_ms = min(latest_ms, here.before_late_ms)
    if has_ten(here):
        latest_ms = min(latest_ms, interval.length_ms - TEN_MS - _BEFORE_CALL_MS)
    if not own and not is_main(interval, here.words):
        return
    first_ms = int(interval.length_ms * PRAISE_FROM)
    rare = sets_between == SETS_BETWEEN
    wish = "late in the set, one in three" if rare else "late in the set, until all of it has been said"
    if own and has_ten(here) and interval.length_ms - TEN_MS - _BEFORE_CALL_MS < first_ms:
        # Half a minute with a call of ten seconds has no late part: what a person wrote comes before that.
        first_ms, wish = int(interval.length_ms * PRAISE_FROM_EARLY), "before the call of the time"
        wish += ", one in three" if rare else ", until all of it has been said"
    if latest_ms < first_ms:
        return
    weight, must, mark, clip = WEIGHTS["praise"], False, None, None
    uses: tuple[str, ...] = ("praise.set",)
    if own:
        line = min(own, key=lambda row: _times(here, row))
        weight = weight if line.weight is None else line.weight
        written, uses, must, mark, clip = line.text, (), line.must is True, line.mark, line.clip
        text = with_sides(written, interval, here.words)
    else:
        written = text = here.say("praise", "set")
    yield Candidate(
        "praise", text, weight, wish, must=must, toward=0.72,
        not_before_ms=0 if must else first_ms,
        latest_ms=None if must else latest_ms, quiet_ms=APART_MS, tally=("", "praise", written),
        uses=uses, clip=clip, mark=mark,
    )  # fmt: skip


def all_rounds_done(here: Here) -> Iterator[Candidate]:
    """Yield in the rest after a part of several rounds that all of them are done."""
    done, index = here.around.before, here.interval.index
    part = here.arc.round_of(done)
    previous = here.arc.session.intervals[index - 1] if index else None
    if done is None or part is None or previous is None or previous.exercise is None or part.total < 2:
        return
    last = part.number == part.total and done.set_index == part.sets[-1].set_index
    if not last or here.level == "spare" or not is_main(done, here.words):
        return
    text = f"{here.say('announce', 'rest')} {here.say('rounds', 'done', n=here.words.number(part.total))}"
    yield Candidate(
        "announce", text, _ALL_DONE_WEIGHT, "after the last round", lead=True, group="rest",
        uses=("announce.rest", "rounds.done"),
    )  # fmt: skip


def praise_after_round(here: Here) -> Iterator[Candidate]:
    """Yield in the rest after a round what was done in it, for the longest that it was."""
    done = here.around.before
    part = here.arc.round_of(done)
    index = here.interval.index
    previous = here.arc.session.intervals[index - 1] if index else None
    if done is None or part is None or previous is None or previous.exercise is None:
        return
    if not is_main(done, here.words):
        return
    if done.set_index != part.sets[-1].set_index or not _is_due(here, done.set_index) or part.total < 2:
        return
    key = "longest" if (done.block_index, part.number) in here.arc.longest else "round"
    # A rest begins with its name, whatever is said of what was done.
    praise = here.say("praise", key, n=here.words.number(part.number))
    text = f"{here.say('announce', 'rest')} {praise}"
    why = "the round with the most work" if key == "longest" else "after a round"
    yield Candidate(
        "praise",
        text,
        WEIGHTS["praise"] + 20,
        why,
        lead=True,
        group="rest",
        uses=("announce.rest", f"praise.{key}"),
    )
