"""How faults are worded: places, names, sizes; and the tolerance they are judged by."""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.units import format_clock
from cuelane.base.unsafe_text import on_one_line
from cuelane.check.findings import Finding
from cuelane.check.locate import Expected


@dataclass(frozen=True)
class Tolerance:
    """The largest allowed error in ms, end included, by kind of event and template."""

    pip_ms: float
    cue_ms: float
    plain_cue_ms: float

    def of(self, finding: Finding) -> float:
        if finding.expected.kind is not None:
            return self.pip_ms
        return self.plain_cue_ms if finding.source == "none" else self.cue_ms


def clock(time_s: float) -> str:
    """Return a place in a file as ``12:30.4``."""
    tenths = round(max(0.0, time_s) * 10)
    return f"{format_clock(tenths // 10 * 1000)}.{tenths % 10}"


def counted_list(times: list[str], most: int = 4) -> str:
    """Return ``1:00.0, 2:00.0 and 3:00.0``; of more than `most` the first, and how many more."""
    shown, n_more = times[:most], len(times) - most
    if n_more > 0:
        return f"{', '.join(shown)} and {n_more} more"
    return f"{', '.join(shown[:-1])} and {shown[-1]}" if len(shown) > 1 else shown[0]


def name_of(row: Expected) -> str:
    """Return how a person would call an event."""
    event = row.event
    if row.kind is not None:
        return f"{on_one_line(event.role)} pip"
    text = on_one_line(event.text or event.role)
    return f'"{text if len(text) <= 48 else text[:47].rstrip() + "…"}"'


def size_of(error_ms: float) -> str:
    size = abs(error_ms)
    if size >= 1000:
        return f"{size / 1000:.2f} s"
    return f"{size:.1f} ms" if size < 100 else f"{size:.0f} ms"


def late_or_early(error_ms: float) -> str:
    return "late" if error_ms > 0 else "early"
