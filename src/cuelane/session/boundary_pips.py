"""The pips of a session as events: the one on an interval's start, and the short ones before its end."""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.audio.pip_specs import PipSpec, pip_for, shortened
from cuelane.base.schedule import Event
from cuelane.base.units import to_sample
from cuelane.session.model import Interval

# Silence that tells two pips apart (chosen: half of the least time from one boundary to the next), and how
# far ahead a pip can reach.
BETWEEN_PIPS_MS = 100
LONGEST_PIP_MS = 800
# The tone of a breath phase that the voice leads. Chosen: a pitch is told from some 50 ms on (from memory).
LED_TONE_MS = 120


def _pip(spec: PipSpec, index: int, onset_sample: int) -> Event:
    return Event(
        "",
        "pip",
        spec.role,
        index,
        onset_sample,
        onset_sample + spec.n_frames,
        frequency_hz=spec.frequency_hz,
    )


def opening_pip_of(intervals: Sequence[Interval], index: int, sample_rate: int) -> PipSpec | None:
    """Return the pip on an interval's start, shortened where the next boundary's would run into it."""
    entry = intervals[index]
    if not entry.opening_pip:
        return None
    role = "turn" if entry.half == 2 and entry.kind == "work" else "long"
    pip = pip_for(entry.phase, role, sample_rate)
    if entry.cycle is not None and entry.cycle <= entry.spoken_cycles:
        # The voice names the phase, and should begin with it.
        pip = shortened(pip, to_sample(LED_TONE_MS, sample_rate), sample_rate)
    # No two pips sound at once: one that would run into the next boundary's ends before it. (Short pips keep
    # clear of it by themselves, see expand; boundaries are at least 200 ms apart, see plan.values.)
    end_ms = entry.end_ms
    for number in range(index + 1, len(intervals)):
        following = intervals[number]
        if following.opening_pip:
            end_ms = following.start_ms - BETWEEN_PIPS_MS
            break
        end_ms = following.end_ms
        if end_ms - entry.start_ms > LONGEST_PIP_MS:
            break
    most_frames = to_sample(end_ms, sample_rate) - to_sample(entry.start_ms, sample_rate)
    return shortened(pip, most_frames, sample_rate)


def pips_of(intervals: Sequence[Interval], index: int, sample_rate: int) -> list[Event]:
    """Return the pip on an interval's start and the short ones before its end."""
    entry = intervals[index]
    pips = []
    opening = opening_pip_of(intervals, index, sample_rate)
    if opening:
        pips.append(_pip(opening, index, to_sample(entry.start_ms, sample_rate)))
    if entry.countdown and index + 1 < len(intervals):
        spec = pip_for(intervals[index + 1].kind, "short", sample_rate) if entry.countdown.count else None
        for before in range(entry.countdown.count, 0, -1):
            onset_ms = entry.end_ms - before * entry.countdown.spacing_ms
            if spec is not None:
                pips.append(_pip(spec, index, to_sample(onset_ms, sample_rate)))
    return pips


def nearest_pips(pips: Sequence[Sequence[Event]]) -> list[tuple[int | None, int | None]]:
    """Return for each interval where the last pip before it ends and the first one after it begins."""
    ends: list[int | None] = [None]
    for row in pips:
        ends.append(max((pip.end_sample for pip in row), default=ends[-1]))
    onsets: list[int | None] = [None]
    for row in reversed(pips):
        onsets.append(min((pip.onset_sample for pip in row), default=onsets[-1]))
    return list(zip(ends[:-1], onsets[-2::-1], strict=True))
