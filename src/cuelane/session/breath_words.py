"""What is said around a breath block: before it the count, the tones and a caution, after it a breath in.

All of it has time of its own, so that the block's first breath finds a listener who knows what to do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from cuelane.base.language import Language, fill
from cuelane.session.ends import AFTER_BREATH_MS, as_lines, slow_talk_ms
from cuelane.session.model import Interval


def shape_of(phases: Sequence[str]) -> str:
    """Return the ending of the pack's keys for a breath of these phases: with a hold, an empty one, both."""
    return "_hold" * ("hold" in phases) + "_empty" * ("hold_out" in phases)


def introduced(
    intervals: Sequence[Interval], words: Language, *, standard: bool, spare: bool
) -> list[Interval]:
    """Return `intervals` with talk before each breath block that is to be explained, and after an empty hold.

    `standard` asks for the caution, once, before the first of them; `spare` leaves the choices out.
    """
    result: list[Interval] = []
    warned = not standard
    several = len({entry.block_index for entry in intervals if entry.is_training}) > 1
    for entry in intervals:
        if entry.cycle == 1 and entry.phase == "in" and (entry.explain or not warned):
            own = result.pop() if result and _is_own_talk(result[-1], entry) else None
            block = entry.block_index
            cycle = [row for row in intervals if (row.block_index, row.cycle) == (block, 1)]
            first = not any(row.is_training for row in result)
            key = "only" if not several else "first" if first else "coming"
            again = any(row.cycle is not None and row.explain for row in result)
            texts = list(_explanation(entry, cycle, words, key, again=again)) if entry.explain else []
            caution = [] if warned else [words.phrase("cautions", "breath_spoken")]
            held = bool(shape_of([row.phase for row in cycle]))
            # The plan's own caution about the holds says it already.
            choice = entry.explain and not spare and held and not _speaks_of_holds(own, words)
            texts += [*caution, *([words.phrase("breath", "skip_hold")] if choice else [])]
            last = [words.phrase("breath", "listen")] if listens_first(entry) and not spare else []
            result.append(_talk(entry, texts, own, caution, last))
            warned = True
        elif _plain_talk(entry) and result and result[-1].pattern == "breath":
            # Whoever is still breathing out is not spoken to. A length of the plan's own stays as it is.
            end_ms = entry.end_ms + (0 if entry.lasts else AFTER_BREATH_MS)
            quiet_ms = min(AFTER_BREATH_MS, _spare_ms(entry)) if entry.lasts else AFTER_BREATH_MS
            entry = replace(entry, end_ms=end_ms, quiet_ms=quiet_ms)
        result.append(entry)
        if entry.explain and entry.cycle == entry.rounds and entry.phase == "hold_out":
            result.append(_talk(entry, [words.phrase("breath", "let_go")], None, []))
    return result


def listens_first(entry: Interval) -> bool:
    """Return whether the first breath of a block is for listening: where the voice leads another one."""
    return entry.explain and entry.spoken_cycles >= 2 and (entry.rounds or 1) > 2


def _plain_talk(entry: Interval) -> bool:
    return entry.kind == "talk" and bool(entry.lines) and entry.pattern != "breath"


def _spare_ms(entry: Interval) -> int:
    """Return half of what a talk interval's own length leaves beside its words, in ms, never below zero."""
    return max(0, entry.length_ms - slow_talk_ms([line.text for line in entry.lines])) // 2


def _speaks_of_holds(own: Interval | None, words: Language) -> bool:
    told = [re.compile(entry, re.I) for entry in words.phrases("breath", "skip_told")]
    return own is not None and any(entry.search(text) for entry in told for text in own.warns)


def _is_own_talk(row: Interval, entry: Interval) -> bool:
    return row.kind == "talk" and row.pattern == "breath" and row.block_index == entry.block_index


def _talk(
    entry: Interval, texts: list[str], own: Interval | None, caution: list[str], last: Sequence[str] = ()
) -> Interval:
    """Return a talk interval of a breath block: `texts`, what the plan itself says there, and `last`."""
    lines = (*as_lines(texts), *(own.lines if own is not None else ()), *as_lines(last))
    length_ms = slow_talk_ms([line.text for line in lines])
    talk = Interval(0, entry.block, entry.block_index, "breath", "talk", 0, length_ms, lines=lines)
    return replace(talk, warns=(*caution, *(own.warns if own is not None else ())))


def _explanation(
    entry: Interval, cycle: Sequence[Interval], words: Language, key: str, *, again: bool
) -> Iterator[str]:
    """Yield the block's name, with the count of its phases, and what its tones mean: shorter `again`."""
    shape = shape_of([row.phase for row in cycle])
    counts = {row.phase: words.count_of(row.length_ms) for row in cycle}
    text = words.say("breath", key, block=entry.block.rstrip(".!?… "))
    if all(counts.values()):
        count = words.phrase("breath", f"count{shape}")
        text = f"{text} {fill(count, {name: n for name, n in counts.items() if n})}"
    yield text
    short = again and all(counts.values())
    yield words.phrase("breath", "tones_again" if short else f"tones{shape}")
