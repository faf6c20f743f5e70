"""A :class:`~cuelane.hearing.room.Room` as data for JSON and pages, and as lines for people."""

from __future__ import annotations

import math
from typing import Any

from cuelane.base.units import format_clock, to_ms
from cuelane.hearing.room import CueRoom, Room


def as_dict(room: Room, sample_rate: int) -> dict[str, Any]:
    """Return the room as plain data; a level that does not exist is None, never infinite."""
    facts = room.occupancy
    return {
        "open_share": round(facts.open_share, 4),
        "longest_open_s": round(facts.longest_open_s, 2),
        "longest_talk_s": round(facts.longest_talk_s, 2),
        "longest_talk_at_s": round(facts.longest_talk_at_s, 2),
        "masker": room.masker,
        "music_level_lu": room.music_level_lu,
        "good_to_lu": _finite(room.good_to_lu),
        "understood_to_lu": _finite(room.understood_to_lu),
        "pips_heard_to_lu": _finite(room.pips_heard_to_lu),
        "cues": [
            {
                "id": cue.event.id,
                "at_s": round(cue.event.onset_sample / sample_rate, 3),
                "role": cue.event.role,
                "text": cue.event.text,
                "sii": round(cue.sii, 3),
                "grade": cue.grade,
                "good_to_lu": _finite(cue.good_to_lu),
                "understood_to_lu": _finite(cue.understood_to_lu),
                "advice": cue.advice,
            }
            for cue in room.cues
        ],
        "pips": [
            {
                "id": pip.event.id,
                "at_s": round(pip.event.onset_sample / sample_rate, 3),
                "over_masker_db": round(pip.over_masker_db, 1),
                "grade": pip.grade,
                "heard_to_lu": _finite(pip.heard_to_lu),
            }
            for pip in room.pips
        ],
    }


def summary_lines(room: Room, sample_rate: int, *, most_advice: int = 5) -> list[str]:
    """Return what a person wants to know, a line each: open time, safe music levels, the weakest cues."""
    facts = room.occupancy
    lines = [
        f"open time {facts.open_share:.0%}, longest stretch of talk {facts.longest_talk_s:.1f} s "
        f"at {format_clock(round(facts.longest_talk_at_s * 1000))}, "
        f"longest open stretch {facts.longest_open_s:.1f} s"
    ]
    weakest = room.weakest
    if weakest is not None:
        lines.append(
            f"over {room.masker}, set the music to {_level(room.understood_to_lu)} at most, or words are "
            f"lost; every word is easy up to {_level(room.good_to_lu)} (6 LU is clearly quieter, 10 LU about "
            f"half as loud); the weakest cue is {weakest.event.text!r}"
        )
    if room.pips_heard_to_lu is not None:
        lines.append(f"pips are heard with music up to {_level(room.pips_heard_to_lu)}")
    # One line a text: the same words are as clear each time, or nearly.
    worst: dict[str, CueRoom] = {}
    for cue in sorted(room.cues, key=lambda cue: cue.good_to_lu):
        if cue.grade != "good":
            worst.setdefault(cue.event.text or "", cue)
    wanting = list(worst.values())
    if wanting:
        n_lost = sum(cue.grade == "poor" for cue in room.cues)
        lines.append(
            f"with music at {_level(room.music_level_lu)}, {n_lost} of {len(room.cues)} cues are likely lost "
            f"and {sum(cue.grade == 'fair' for cue in room.cues)} take an effort to follow:"
        )
    for cue in wanting[:most_advice]:
        at = format_clock(to_ms(cue.event.onset_sample, sample_rate))
        lines.append(f"  {at} {cue.event.text!r}: {cue.grade} (index {cue.sii:.2f}); {cue.advice}")
    if len(wanting) > most_advice:
        n_more = len(wanting) - most_advice
        lines.append(f"  and {n_more} more line{'s' if n_more > 1 else ''}")
    return lines


def _finite(level_lu: float | None) -> float | None:
    return round(level_lu, 2) if level_lu is not None and math.isfinite(level_lu) else None


def _level(level_lu: float | None) -> str:
    if level_lu is None or not math.isfinite(level_lu):
        return "no level at all"
    if abs(level_lu) < 0.05:
        return "the loudness of the speech"
    return f"{abs(level_lu):.1f} LU {'above' if level_lu > 0 else 'below'} the speech"
