"""Breath blocks: the phases that the voice leads, then halfway, "one more" and the last breath.

What the count and the tones are is told before the block (:mod:`cuelane.session.breath_words`), unless the
plan has ``explain: false``; then the tones are named where the voice hands over to them.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.breath_words import shape_of
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import Here

_HALF_FROM_CYCLES = 8
_TWO_MORE_FROM_CYCLES = 5


def breath(here: Here) -> Iterator[Candidate]:
    """Yield what is said with a breath phase, if anything."""
    interval, words = here.interval, here.words
    cycle, cycles = interval.cycle or 1, interval.rounds or 1
    if cycle <= interval.spoken_cycles:
        yield Candidate(
            "say",
            words.phrase("breath", interval.phase),
            WEIGHTS["announce"],
            "with its breath phase",
            lead=True,
        )
    elif interval.kind != "in":
        return
    elif cycle == cycles:
        yield Candidate("time", words.phrase("breath", "last"), 50, "with the last breath", lead=True)
    elif cycle == interval.spoken_cycles + 1:
        if cycle == 1 and interval.explain:
            return
        forms = [] if interval.explain else [f"tones{shape_of(_phases(here))}"]
        for place, form in enumerate((*forms, "follow")):
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


def _phases(here: Here) -> list[str]:
    block = here.interval.block_index
    rows = here.arc.session.intervals
    return [entry.phase for entry in rows if (entry.block_index, entry.cycle) == (block, 1)]


def before_breath(here: Here) -> Iterator[Candidate]:
    """Yield the name of the breath block that follows, where nothing has explained it."""
    name, index = here.around.breath_next, here.interval.index
    if name is None or here.arc.session.intervals[index + 1].explain:
        return
    key = "next" if any(row.is_training for row in here.arc.session.intervals[: index + 1]) else "first"
    text = here.words.say("preview", key, exercise=name)
    yield Candidate(
        "preview", text, WEIGHTS["preview"], "before its first breath", toward=0.35, chain=("end", 1)
    )
