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

    None where the length is not written in this file, or not by itself.
    """
    interval = intervals[index]
    item = _item_of(loaded, interval.block_index)
    if item is None:
        return ()
    length_ms = interval.length_ms * (2 if interval.half else 1)
    for place in _places(data, intervals, interval, ("session", item)):
        written_ms = _ms_at(data, place)
        # The halves of a set of an odd number of milliseconds differ by one.
        if written_ms is not None and abs(written_ms - length_ms) <= 1:
            longer_ms = written_ms + 1000 * more_s
            edits: list[Edit] = [Set(place, format_duration(longer_ms))]
            if interval.pattern == "on-the-minute":
                every_ms = _ms_at(data, ("session", item, "every")) or _EVERY_MS
                if longer_ms >= every_ms:
                    edits.append(Set(("session", item, "every"), format_duration(every_ms + 1000 * more_s)))
            return tuple(edits)
    return ()


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
    """Yield where the length of an interval may be written, what counts first before the rest."""
    if interval.pattern == "script":
        own = [one for one in intervals if one.block_index == interval.block_index and not one.lines]
        yield (*item, "intervals", own.index(interval), "length")
    elif interval.pattern == "ladder" and interval.kind == "work" and interval.round:
        yield (*item, "work", interval.round - 1)
    elif interval.kind == "work":
        entries = _there(data, (*item, "exercises"))
        for number, entry in enumerate(entries if isinstance(entries, list) else ()):
            if isinstance(entry, dict) and entry.get("exercise") == interval.exercise:
                yield (*item, "exercises", number, "work")
        yield ("exercises", interval.exercise or "", "work")
        yield (*item, "work")
    elif interval.kind == "change":
        yield (*item, "change")
    elif interval.kind == "rest":
        yield (*item, "rest")
        yield (*item, "round_rest")


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
