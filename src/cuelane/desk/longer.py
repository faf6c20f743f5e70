"""Where a plan says how long an interval is, so that it can be made longer by one press."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from cuelane.base.units import format_duration, parse_duration_ms
from cuelane.desk.edits import Edit, Place, Set, value_at
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Include
from cuelane.session.model import Interval

_EVERY_MS = 60_000
"""How often a set starts on the minute where the plan does not say."""


def longer(
    loaded: LoadedPlan, data: Any, intervals: Sequence[Interval], index: int, more_s: int
) -> tuple[Edit, ...]:
    """Return the edits that make interval `index` of a session, and all that share its time, longer.

    None at all, an empty tuple, where the length is not written in this file, or not by itself.
    """
    interval = intervals[index]
    item = _item_of(loaded, interval.block_index)
    if item is None:
        return ()
    length_ms = interval.length_ms * (2 if interval.half else 1)
    places = _places(data, intervals, interval, ("session", item))
    place = next((one for one in places if _there(data, one) is not None), None)
    written_ms = None if place is None else _ms_at(data, place)
    # The halves of a set of an odd number of milliseconds differ by one.
    if place is None or written_ms is None or abs(written_ms - length_ms) > 1:
        return ()
    longer_ms = written_ms + 1000 * more_s
    edits: list[Edit] = [Set(place, format_duration(longer_ms))]
    if interval.pattern == "on-the-minute":
        every_ms = _ms_at(data, ("session", item, "every")) or _EVERY_MS
        if longer_ms >= every_ms:
            edits.append(Set(("session", item, "every"), format_duration(every_ms + 1000 * more_s)))
    return tuple(edits)


def _item_of(loaded: LoadedPlan, block_index: int) -> int | None:
    """Return which item of this file's session a block is; None for one that another file brings."""
    first = 0
    for index, item in enumerate(loaded.plan.session):
        n_blocks = _n_blocks(loaded.includes[index]) if isinstance(item, Include) else 1
        if first <= block_index < first + n_blocks:
            return None if isinstance(item, Include) else index
        first += n_blocks
    return None


def _n_blocks(loaded: LoadedPlan) -> int:
    return sum(
        _n_blocks(loaded.includes[index]) if isinstance(item, Include) else 1
        for index, item in enumerate(loaded.plan.session)
    )


def _places(data: Any, intervals: Sequence[Interval], interval: Interval, item: Place) -> Iterator[Place]:
    """Yield where the length of an interval may be written; the first of them that holds anything counts."""
    if interval.pattern == "script":
        own = [one for one in intervals if one.block_index == interval.block_index and not one.lines]
        yield (*item, "intervals", own.index(interval), "length")
    elif interval.kind == "change":
        yield (*item, "change")
    elif interval.kind in ("work", "rest"):
        yield from _places_in_round(data, intervals, interval, item)


def _places_in_round(
    data: Any, intervals: Sequence[Interval], interval: Interval, item: Place
) -> Iterator[Place]:
    """Yield the places of a set, or of the rest after one: of its entry, of its exercise, of its block."""
    key = interval.kind
    entries = _there(data, (*item, "exercises"))
    names = [_name(entry) for entry in entries] if isinstance(entries, list) else []
    number = _number_in_round(intervals, interval)
    builds = interval.pattern.startswith("build-")
    if key == "work" or (not builds and interval.pattern in ("circuit", "ladder")):
        sets = [one for one in intervals[: interval.index + 1] if one.kind == "work"]
        exercise = sets[-1].exercise if sets else None
        if number is None or number >= len(names) or names[number] != exercise:
            # Where sets are not in the order of the entries, only a lone entry is surely the one.
            number = names.index(exercise) if names.count(exercise) == 1 else None
        if number is None:
            return
        of_round = number == len(names) - 1 and interval.round is not None
        if key == "rest" and of_round and interval.round != interval.rounds:
            yield (*item, "round_rest")
        yield (*item, "exercises", number, key)
        yield ("exercises", exercise or "", key)
    of_rounds = _there(data, (*item, key))
    if interval.pattern == "ladder" and isinstance(of_rounds, list) and interval.round:
        yield (*item, key, interval.round - 1 if len(of_rounds) > 1 else 0)
    else:
        yield (*item, key)


def _name(entry: Any) -> Any:
    return entry.get("exercise") if isinstance(entry, dict) else entry


def _number_in_round(intervals: Sequence[Interval], interval: Interval) -> int | None:
    """Return which set of its round an interval is or follows, from 0; None before the first."""
    seen: dict[int, None] = {}
    for one in intervals[: interval.index + 1]:
        if (one.block_index, one.round) == (interval.block_index, interval.round) and one.kind == "work":
            seen[one.index if one.set_index is None else -1 - one.set_index] = None
    return len(seen) - 1 if seen else None


def _there(data: Any, place: Place) -> Any:
    try:
        return value_at(data, place)
    except (KeyError, IndexError, TypeError):
        return None


def _ms_at(data: Any, place: Place) -> int | None:
    value = _there(data, place)
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    try:
        return parse_duration_ms(value)
    except ValueError:
        return None
