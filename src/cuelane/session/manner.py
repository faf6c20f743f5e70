"""How a part of a session is spoken: slower where people breathe or stretch."""

from __future__ import annotations

from cuelane.base.language import Language
from cuelane.session.arc import Arc
from cuelane.session.model import Interval
from cuelane.session.part_names import is_named


def manner_of(arc: Arc, index: int, words: Language) -> str | None:
    """Return ``breathing``, ``stretching`` or None for the words of interval `index`.

    Talk is spoken as what follows it, at the end as what came before; a session's opening as usual.
    """
    interval = arc.session.intervals[index]
    if interval.pattern == "opening":
        return None
    if interval.kind == "talk" and interval.pattern in ("say", "closing", "ready"):
        return _around(arc, index, words)
    return _own(interval, words)


def _own(interval: Interval, words: Language) -> str | None:
    if interval.pattern == "breath":
        return "breathing"
    if interval.pattern == "script":
        return None
    brisk = is_named(interval.block, "warm_up", words) and not is_named(interval.block, "gentle", words)
    still = interval.pattern == "flow" and not brisk
    return "stretching" if still or is_named(interval.block, "cool_down", words) else None


def _around(arc: Arc, index: int, words: Language) -> str | None:
    intervals = arc.session.intervals
    for row in (intervals[index + 1 :], intervals[:index][::-1]):
        for entry in row:
            if entry.kind != "talk" or entry.pattern == "breath":
                return _own(entry, words)
    return None
