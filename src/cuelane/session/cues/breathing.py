"""Breath blocks: the phases that the voice leads, then halfway, "two more" and the last breath."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import Here

_HALF_FROM_CYCLES = 8
_TWO_MORE_FROM_CYCLES = 5


def breath(here: Here) -> Iterator[Candidate]:
    """Yield what is said with a breath phase, if anything."""
    interval, words = here.interval, here.words
    cycle, cycles = interval.cycle or 1, interval.rounds or 1
    phase = "hold_out" if interval.kind == "hold" and interval.half == 2 else interval.kind
    if cycle <= interval.spoken_cycles:
        yield Candidate(
            "say", words.phrase("breath", phase), WEIGHTS["announce"], "with its breath phase", lead=True
        )
    elif interval.kind != "in":
        return
    elif cycle == cycles:
        yield Candidate("time", words.phrase("breath", "last"), 50, "with the last breath", lead=True)
    elif cycle == interval.spoken_cycles + 1:
        forms = ["tones_hold", "tones_hold_brief"] if _has_holds(here) else ["tones"]
        for place, form in enumerate((*forms, "tones_short")):
            yield Candidate(
                "say", words.phrase("breath", form), 50 - place, "where the voice hands over", lead=True,
                group="tones",
            )  # fmt: skip
    elif here.level == "spare":
        return
    elif cycle == cycles - 1 and cycles >= _TWO_MORE_FROM_CYCLES:
        yield Candidate("time", words.phrase("breath", "two_more"), 50, "two breaths are left", lead=True)
    elif 2 * (cycle - 1) == cycles and cycles >= _HALF_FROM_CYCLES:
        yield Candidate("time", words.phrase("breath", "half"), 50, "half of the breaths are done", lead=True)


def _has_holds(here: Here) -> bool:
    block = here.interval.block_index
    return any(
        entry.kind == "hold" and entry.block_index == block and entry.cycle is not None
        for entry in here.arc.session.intervals
    )


def before_breath(here: Here) -> Iterator[Candidate]:
    """Yield the name of the breath block that follows, and that its holds may be left out."""
    name, words = here.around.breath_next, here.words
    if name is None:
        return
    key = "first" if here.around.before is None else "next"
    yield Candidate(
        "preview", words.say("preview", key, exercise=name), WEIGHTS["preview"], "before its first breath",
        toward=0.35, chain=("end", 1),
    )  # fmt: skip
    following = here.arc.session.intervals[here.interval.index + 1]
    block = following.block_index
    holds = any(row.kind == "hold" and row.block_index == block for row in here.arc.session.intervals)
    if holds and ("skip_hold", block) not in here.history.told:
        yield Candidate(
            "swap", words.phrase("breath", "skip_hold"), WEIGHTS["swap"], "before the first hold", toward=0.5,
            chain=("end", 2), tells=(("skip_hold", block),),
        )  # fmt: skip
