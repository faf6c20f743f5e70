"""The timetable: a schedule as text for a narrow screen.

Each interval is one line with its clock time, kind, length and exercise; under it each cue with the second of
the interval at which it starts. Lines stay within `width` columns so that a phone need not be turned.
"""

from __future__ import annotations

import textwrap
from collections import defaultdict

from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.base.units import format_clock, format_duration, to_ms

_INDENT = " " * 9


def timetable(schedule: Schedule, *, width: int = 60, cues: bool = True, why: bool = False) -> str:
    """Return the schedule as lines of at most `width` columns, a blank line between blocks.

    ``why`` adds the reason for each cue's place and for each cue left out.
    """
    spoken: dict[int, list[Event]] = defaultdict(list)
    for event in schedule.cues:
        spoken[event.interval].append(event)
    left_out: dict[int, list[Dropped]] = defaultdict(list)
    for row in schedule.dropped:
        left_out[row.interval].append(row)
    lines: list[str] = []
    block = None
    for interval in schedule.intervals:
        if interval.block != block:
            block = interval.block
            lines += ["", block.upper()]
        lines.append(_interval_line(schedule, interval, width))
        if not cues and not why:
            continue
        for event in spoken[interval.index]:
            at_s = (event.onset_sample - interval.start_sample) / schedule.sample_rate
            lines += textwrap.wrap(
                event.text or "", width, initial_indent=f"{at_s:7.1f}  ", subsequent_indent=_INDENT
            )
            if why:
                role = f"{event.role}{', must' if event.must else ''}: {event.why}"
                lines += textwrap.wrap(
                    role, width, initial_indent=f"{_INDENT}· ", subsequent_indent=f"{_INDENT}  "
                )
        for row in left_out[interval.index] if why else ():
            text = f"left out, {row.role}: “{row.text}” {row.reason}"
            lines += textwrap.wrap(text, width, initial_indent="      -  ", subsequent_indent=_INDENT)
    return "\n".join(lines).strip("\n")


def _interval_line(schedule: Schedule, interval: ScheduledInterval, width: int) -> str:
    rate = schedule.sample_rate
    start_ms = to_ms(interval.start_sample, rate)
    length_ms = to_ms(interval.end_sample, rate) - start_ms
    what = interval.exercise or ""
    if interval.side:
        what += f", {interval.side}"
    if interval.round is not None and interval.kind == "work":
        what += f"  (round {interval.round})"
    line = f"{format_clock(start_ms):>7}  {interval.kind:<6} {format_duration(length_ms):>6}  {what}"
    return f"{line[: width - 1].rstrip()}…" if len(line) > width else line.rstrip()
