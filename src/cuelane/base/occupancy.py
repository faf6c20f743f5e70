"""How a session's time divides between sound and open time. Positions are samples; nothing is decoded."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cuelane.base.schedule import Schedule

TALK_GAP_S = 1.0
"""Cues closer than this are heard as one stretch of talk (common practice, no source)."""


@dataclass(frozen=True)
class Occupancy:
    """``open_share`` is the part of the session with no cue and no pip sounding, 0 to 1."""

    open_share: float
    longest_open_s: float
    longest_open_at_s: float
    longest_talk_s: float
    longest_talk_at_s: float


def occupancy(schedule: Schedule) -> Occupancy:
    """Return how the session's time is used; an empty session is all open."""
    rate, end = schedule.sample_rate, schedule.n_frames
    sounding = _merged(((event.onset_sample, event.end_sample) for event in schedule.events), 0)
    edges = [0, *(sample for span in sounding for sample in span), end]
    openings = [(edges[i + 1] - edges[i], edges[i]) for i in range(0, len(edges), 2)]
    talk = _merged(
        ((event.onset_sample, event.end_sample) for event in schedule.cues), round(TALK_GAP_S * rate)
    )
    longest_talk = max(((stop - start, start) for start, stop in talk), default=(0, 0))
    longest_open = max(openings, key=lambda opening: opening[0])
    return Occupancy(
        open_share=sum(length for length, _ in openings) / end if end else 1.0,
        longest_open_s=longest_open[0] / rate,
        longest_open_at_s=longest_open[1] / rate,
        longest_talk_s=longest_talk[0] / rate,
        longest_talk_at_s=longest_talk[1] / rate,
    )


def _merged(spans: Iterable[tuple[int, int]], gap: int) -> list[tuple[int, int]]:
    """Return spans in order, those less than `gap` apart (or touching) joined."""
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if merged and (start - merged[-1][1] < gap or start <= merged[-1][1]):
            merged[-1] = (merged[-1][0], max(merged[-1][1], end))
        else:
            merged.append((start, end))
    return merged
