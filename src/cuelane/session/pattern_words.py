"""How a block goes, in a sentence or two: its rounds, its exercises, its work and rest."""

from __future__ import annotations

from itertools import pairwise

from cuelane.base.language import Language
from cuelane.session.arc import Arc, RoundPart
from cuelane.session.model import Interval

# So many times are listed; of more the first and the last are told.
_MOST_STEPS = 5
_MINUTE_MS = 60_000
_BUILDS = ("build-up", "build-up-and-down", "build-down")


def how_it_goes(arc: Arc, block_index: int, words: Language) -> str | None:
    """Return how a block of exercises goes; None for one set, a script or breathing."""
    parts = [part for (block, _), part in sorted(arc.rounds.items()) if block == block_index]
    n_sets = sum(len(part.sets) for part in parts)
    if not parts or n_sets < 2:
        return None
    intervals = [entry for entry in arc.session.intervals if entry.block_index == block_index]
    pattern = parts[0].sets[0].pattern
    most = max(parts, key=lambda part: len(part.sets))
    # Two who take turns do each exercise twice in a round: it is one.
    names = list(dict.fromkeys(most.names))
    key, rounds, size = pattern, len(parts), len(most.sets)
    if pattern in ("circuit", "ladder", "flow"):
        key, size = "circuit_one" if len(names) == 1 else pattern, len(names)
        rounds = n_sets if len(names) == 1 else rounds
    elif pattern in _BUILDS and len(most.sets) == 1:
        return None
    every_ms = _every(parts) if pattern == "on-the-minute" else None
    if pattern == "on-the-minute" and (every_ms is None or parts[0].set_ms is None):
        return None
    first_ms = parts[0].set_ms
    works = [part.set_ms for part in parts if part.set_ms is not None]
    if key == "ladder":
        if len(works) < len(parts) or len(set(works)) == 1:
            key = "circuit"
        elif len(parts) > _MOST_STEPS:
            key = "ladder_long"
    # "Every minute" has no number in it.
    count = rounds if every_ms is None else 1 if every_ms == _MINUTE_MS else 2
    text = words.say(
        "patterns", key, count=count, rounds=words.number(rounds),
        exercises=words.listing(names),
        every=words.duration(every_ms) if every_ms else None,
        work=words.duration(first_ms) if first_ms else None,
        works=words.durations(works) if works else None,
        first=words.duration(works[0]) if works else None,
        last=words.duration(works[-1]) if works else None,
        size=words.number(size),
    )  # fmt: skip
    times = _times(parts, intervals, words) if key in ("circuit", "circuit_one", "flow", *_BUILDS) else None
    return f"{text} {times}" if times else text


def _every(parts: list[RoundPart]) -> int | None:
    """Return the time from one start to the next, where it is always the same."""
    starts = [entry.start_ms for part in parts for entry in part.sets]
    steps = {two - one for one, two in pairwise(starts)}
    return steps.pop() if len(steps) == 1 else None


def _times(parts: list[RoundPart], intervals: list[Interval], words: Language) -> str | None:
    """Return the block's work and rest, where all its sets have one length, and all its rests."""
    works = {part.set_ms for part in parts}
    work_ms = works.pop() if len(works) == 1 else None
    rests = {entry.length_ms for entry in intervals if entry.kind == "rest"}
    if work_ms is None or len(rests) > 1 or any(entry.kind == "change" for entry in intervals):
        return None
    work = words.duration(work_ms)
    if not rests:
        return words.say("patterns", "work_only", work=work)
    ends = all(_ends_round(parts, entry) for entry in intervals if entry.kind == "rest")
    between = ends and max(len(part.sets) for part in parts) > 1
    key = "work_between" if between else "work_rest"
    return words.say("patterns", key, work=work, rest=words.duration(rests.pop()))


def _ends_round(parts: list[RoundPart], rest: Interval) -> bool:
    part = next(row for row in parts if row.number == rest.round)
    return rest.start_ms >= part.sets[-1].end_ms
