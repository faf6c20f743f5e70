"""Makes a plan of pattern ``script`` from what was found in a class and is kept of it.

``recorded`` timing keeps every interval as long as it was. ``exact`` timing gives each its true length and
moves its cues accordingly; where the recording was cut, the missing time becomes silence in the interval's
longest pause, since it cannot be known where the cut was.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cuelane.adapt.adapt_options import Timing
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.audio.pip_specs import pip_for
from cuelane.base.units import SAMPLE_RATE, format_duration
from cuelane.plan.source_text import is_hidden
from cuelane.plan.values import LEAST_LENGTH_MS, MAX_NAME, MAX_TEXT

# Chosen, as the next: silence before and after talk; more sounds calmer and makes the session longer.
TALK_LEAD_MS = 500
# Chosen, as the last.
TALK_TAIL_MS = 2000
# Chosen: so much of an opening without words is kept as time to get ready; more would be silence without use.
BEFORE_COUNTDOWN_MS = 5000
# Chosen: a cue moved farther than this to avoid the pips might be said at the wrong moment of the exercise;
# it is left out and reported instead.
_EARLIER_MS, _LATER_MS = 1500, 1500
# Chosen: the accuracy to which an interval's length is measured; smaller changes are no cuts.
_LEAST_CHANGE_MS = 250


@dataclass(frozen=True)
class PlacedCue:
    at_ms: int
    cue: CutCue


@dataclass(frozen=True)
class PlannedInterval:
    """An interval of the new plan: its length, and cues at their offsets into it."""

    kind: str
    length_ms: int
    countdown: bool
    cues: tuple[PlacedCue, ...]
    source: int


@dataclass(frozen=True)
class Guess:
    """A length that was corrected: ``added_ms`` more (less, if negative) at ``at_ms`` of the recording."""

    interval: int
    at_ms: int
    added_ms: int


@dataclass(frozen=True)
class Planned:
    """The new plan's intervals, the cues without room, what was moved, and where a length is a guess."""

    intervals: tuple[PlannedInterval, ...]
    crowded_out: tuple[CutCue, ...]
    moved: tuple[tuple[CutCue, int], ...]
    guesses: tuple[Guess, ...] = ()


def plan_intervals(
    intervals: Sequence[FoundInterval], cues: Sequence[CutCue], beep: Beep | None, timing: Timing
) -> Planned:
    """Return the plan's intervals with `cues` in them; a cue never runs over a pip or out of its interval."""
    planned: list[PlannedInterval] = []
    crowded: list[CutCue] = []
    moved: list[tuple[CutCue, int]] = []
    guesses: list[Guess] = []
    countdown_ms = round(beep.count * beep.spacing_s * 1000) if beep else 0
    for index, interval in enumerate(intervals):
        inside = [cue for cue in cues if cue.interval == index]
        start_ms, end_ms = round(interval.start_s * 1000), round(interval.end_s * 1000)
        length_ms = end_ms - start_ms
        if interval.kind == "talk":
            start_ms, length_ms = _talk(start_ms, end_ms, inside, index, len(intervals), countdown_ms)
            if length_ms < LEAST_LENGTH_MS:
                crowded += inside
                continue
        added_ms = 0
        if timing == "exact" and interval.kind != "talk":
            true_ms = round(interval.true_s * 1000)
            added_ms, length_ms = true_ms - length_ms, true_ms
        wanted, at_ms = _offsets(inside, start_ms, end_ms, added_ms)
        if at_ms is not None:
            guesses.append(Guess(index, at_ms, added_ms))
        opening_ms = 0
        if index and intervals[index - 1].countdown:
            opening_ms = -(-pip_for(interval.kind, "long").n_frames * 1000 // SAMPLE_RATE)
        latest_ms = length_ms - (countdown_ms if interval.countdown else 0)
        placed, left = _fit(inside, wanted, opening_ms, latest_ms)
        crowded += left
        at = dict(zip(map(id, inside), wanted, strict=True))
        moved += [(p.cue, p.at_ms - at[id(p.cue)]) for p in placed if abs(p.at_ms - at[id(p.cue)]) > 20]
        planned.append(PlannedInterval(interval.kind, length_ms, interval.countdown, tuple(placed), index))
    return Planned(tuple(planned), tuple(crowded), tuple(moved), tuple(guesses))


def _talk(
    start_ms: int, end_ms: int, cues: Sequence[CutCue], index: int, n_intervals: int, countdown_ms: int
) -> tuple[int, int]:
    """Return (start, length) of a stretch of talk without the silence before and after its words."""
    if n_intervals == 1:
        return start_ms, end_ms - start_ms
    if index == 0:
        ready = max(start_ms, end_ms - countdown_ms - BEFORE_COUNTDOWN_MS)
        first = min([ready, *(cue.onset_ms - TALK_LEAD_MS for cue in cues)])
        return max(start_ms, first), end_ms - max(start_ms, first)
    if not cues:
        return start_ms, 0
    return start_ms, min(end_ms, max(cue.end_ms for cue in cues) + TALK_TAIL_MS) - start_ms


def _offsets(
    cues: Sequence[CutCue], start_ms: int, end_ms: int, added_ms: int
) -> tuple[list[int], int | None]:
    """Return the cues' offsets into their interval, and where in the recording its length was changed."""
    offsets = [cue.onset_ms - start_ms for cue in cues]
    if abs(added_ms) < _LEAST_CHANGE_MS or not cues:
        return offsets, None
    ends = [start_ms, *(cue.end_ms for cue in cues)]
    starts = [*(cue.onset_ms for cue in cues), end_ms]
    widest = max(range(len(starts)), key=lambda k: starts[k] - ends[k])
    changed = [offset + (added_ms if k >= widest else 0) for k, offset in enumerate(offsets)]
    return changed, (ends[widest] + starts[widest]) // 2


def _fit(
    cues: Sequence[CutCue], wanted: Sequence[int], earliest_ms: int, latest_ms: int
) -> tuple[list[PlacedCue], list[CutCue]]:
    """Return the cues in their places, each moved no more than it must, and those with no room."""
    rows = sorted(zip(wanted, cues, strict=True), key=lambda row: row[0])
    placed: list[PlacedCue] = []
    left: list[CutCue] = []
    free_ms = earliest_ms
    for at_ms, cue in rows:
        length = cue.end_ms - cue.onset_ms + 1
        at = max(at_ms, free_ms)
        if at + length > latest_ms:
            at = latest_ms - length
        if at < free_ms or at - at_ms > _LATER_MS or at_ms - at > _EARLIER_MS:
            left.append(cue)
            continue
        placed.append(PlacedCue(at, cue))
        free_ms = at + length
    return placed, left


def fit_for_plan(text: str, most: int) -> str:
    """Return `text` as a plan may hold it: no hidden characters, no braces, which stand for a side, and no
    more than `most` characters."""
    plain = "".join(c for c in text if not is_hidden(c)).replace("{", "(").replace("}", ")")
    plain = " ".join(plain.split())
    return (plain if len(plain) <= most else plain[: most - 1].rstrip() + "…") or "…"


def pips_of(beep: Beep | None) -> dict[str, Any] | bool:
    """Return a plan's ``pips`` that count as the recording's countdown does."""
    if beep is None:
        return False
    if not beep.count:
        return {"count": 0}
    return {"count": min(beep.count, 10), "spacing": f"{round(beep.spacing_s * 1000)}ms"}


def plan_yaml(title: str, planned: Planned, beep: Beep | None, language: str = "en") -> str:
    """Return the plan as YAML text."""
    from ruamel.yaml import YAML

    rows = []
    for interval in planned.intervals:
        row: dict[str, Any] = {"kind": interval.kind, "length": format_duration(interval.length_ms)}
        row["countdown"] = bool(interval.countdown and beep)
        if interval.cues:
            row["cues"] = [
                {
                    "at": format_duration(placed.at_ms),
                    "text": fit_for_plan(placed.cue.text, MAX_TEXT),
                    "role": placed.cue.role,
                    "must": False,
                    "clip": f"clips/{placed.cue.clip}",
                }
                for placed in interval.cues
            ]
        rows.append(row)
    plan = {
        "title": fit_for_plan(title, MAX_NAME),
        "language": language,
        "pips": pips_of(beep),
        "lead_in": "0s",
        "guard": "0s",
        "gap": "0s",
        "closing": False,
        "session": [{"block": "Class", "pattern": "script", "intervals": rows}],
    }
    yaml = YAML()
    yaml.default_flow_style = False
    yaml.width = 110
    out = io.StringIO()
    yaml.dump(plan, out)
    return "# Made from a recording by cuelane adapt, which writes it anew each time.\n" + out.getvalue()
