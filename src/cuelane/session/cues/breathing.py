"""Breath blocks: the phases that the voice leads, then only "one more".

What the count and the tones are is told before the block (:mod:`cuelane.session.breath_words`), unless the
plan has ``explain: false``; then the tones are named where the voice hands over to them.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.session.breath_words import listens_first, shape_of
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.here import Here

_TWO_MORE_FROM_CYCLES = 5


def breath(here: Here) -> Iterator[Candidate]:
    """Yield what is said with a breath phase, if anything."""
    interval, words = here.interval, here.words
    cycle, cycles, least = interval.cycle or 1, interval.rounds or 1, _TWO_MORE_FROM_CYCLES
    if cycle <= interval.spoken_cycles:
        yield Candidate(
            "say",
            words.phrase("breath", interval.phase),
            WEIGHTS["announce"],
            "with its breath phase",
            lead=True,
            chain=("breath", 0),
        )
        yield from _joining(here)
        yield from _handing_over(here)
    elif interval.phase == "out" and cycle == cycles - 1 >= least - 1 and here.level != "spare":
        # On the way out it cannot be taken for the breath that has just begun.
        text = words.phrase("breath", "two_more")
        yield Candidate("time", text, 50, "one breath is left after this one", lead=True)
    elif interval.kind != "in":
        return
    elif cycle == cycles and cycles < _TWO_MORE_FROM_CYCLES:
        yield Candidate("time", words.phrase("breath", "last"), 50, "with the last breath", lead=True)
    elif cycle == interval.spoken_cycles + 1 and not (cycle == 1 and interval.explain):
        # Where the voice has led no breath, nothing but this one has room for it.
        told = ("tones", interval.block_index) in here.history.told
        yield from () if told else _tones(here, lead=True)


def _joining(here: Here) -> Iterator[Candidate]:
    """Yield, at the end of a first breath that was for listening, that the next one is done together."""
    interval, following = here.interval, here.arc.session.intervals[here.interval.index + 1 :][:1]
    ends = interval.cycle == 1 and following and following[0].cycle == 2
    if ends and listens_first(interval) and here.level != "spare":
        text = here.words.phrase("breath", "join")
        wish = "the first breath was for listening"
        yield Candidate("say", text, 50, wish, toward=0.6, chain=("breath", 1))


def _handing_over(here: Here) -> Iterator[Candidate]:
    """Yield, in the last phase that the voice leads and behind its word, that the tones lead from there."""
    interval, following = here.interval, here.arc.session.intervals[here.interval.index + 1 :][:1]
    goes_on = following and following[0].cycle == interval.spoken_cycles + 1
    if goes_on and following[0].block_index == interval.block_index:
        yield from _tones(here, lead=False)


def _tones(here: Here, *, lead: bool) -> Iterator[Candidate]:
    interval = here.interval
    forms = [] if interval.explain else [f"tones{shape_of(_phases(here))}"]
    for place, form in enumerate((*forms, "follow")):
        yield Candidate(
            "say", here.words.phrase("breath", form), 50 - place, "where the voice hands over", lead=lead,
            toward=0.5, group="tones", chain=("breath", 1), tells=(("tones", interval.block_index),),
        )  # fmt: skip


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
