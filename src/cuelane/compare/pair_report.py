"""What a comparison says: as lines for a person, and as a dictionary."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from cuelane.base.units import format_clock
from cuelane.compare.schedules import Changes, Difference, Kind
from cuelane.compare.sounds import SoundChanges

MOST_LINES = 200
"""Chosen: more differences than anyone reads; ``--json`` holds them all."""

_WORDS: dict[Kind, str] = {
    "added": "new",
    "removed": "gone",
    "changed": "changed",
    "moved": "moved",
    "reworded": "other words",
    "respoken": "spoken anew",
}


@dataclass(frozen=True)
class Comparison:
    """Two files by their names, and what differs: between their sessions, and the sound of two tracks."""

    before: str
    after: str
    changes: Changes
    sound: SoundChanges | None = None

    @property
    def same(self) -> bool:
        """Whether a listener hears the same in both."""
        return self.changes.same and (self.sound is None or self.sound.same)

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        told: dict[str, Any] = {
            "same": self.same,
            "before": {"file": self.before, **asdict(self.changes.before)},
            "after": {"file": self.after, **asdict(self.changes.after)},
            "heads": {name: [was, now] for name, was, now in self.changes.heads},
            "counts": {f"{what} {kind}": n for (what, kind), n in sorted(self.changes.counts.items())},
            "differences": [one.to_dict() for one in self.changes.differences],
        }
        if self.sound is not None:
            told["sound"] = {
                "before": _finite(asdict(self.sound.before)),
                "after": _finite(asdict(self.sound.after)),
                "same": self.sound.same,
                **_finite({"residual_dbfs": self.sound.residual_dbfs, "residual_ms": self.sound.residual_ms}),
            }
        return told

    def lines(self) -> Iterator[str]:
        """Yield it in words."""
        before, after = self.changes.before, self.changes.after
        yield f"A  {self.before}: {before.title}, {_numbers(self.changes, 0)}"
        yield f"B  {self.after}: {after.title}, {_numbers(self.changes, 1)}"
        yield ""
        for name, was, now in self.changes.heads:
            yield f"{name}: {_short(was)} → {_short(now)}"
        if before.length_ms != after.length_ms:
            yield f"length: {_signed(after.length_ms - before.length_ms)}"
        for (what, kind), n in sorted(self.changes.counts.items()):
            yield f"{what}{'s' if n > 1 and what != 'pips' else ''} {_WORDS[kind]}: {n}"
        if self.changes.differences:
            yield ""
            yield "      A       B"
        for one in self.changes.differences[:MOST_LINES]:
            yield _line(one)
        if len(self.changes.differences) > MOST_LINES:
            yield f"and {len(self.changes.differences) - MOST_LINES} more, which --json lists"
        if self.changes.same:
            yield "The two sessions are the same: every interval, cue and pip, its words and its place."
        if self.sound is not None:
            yield ""
            yield from _sound_lines(self.sound)


def _finite(values: dict[str, Any]) -> dict[str, Any]:
    """Return `values` for JSON, which has no infinity: the level of silence is null."""
    return {
        key: None if isinstance(one, float) and not math.isfinite(one) else one for key, one in values.items()
    }


def _numbers(changes: Changes, side: int) -> str:
    one = (changes.before, changes.after)[side]
    return f"{format_clock(one.length_ms)}, {one.n_intervals} intervals, {one.n_cues} cues, {one.n_pips} pips"


def _short(text: str) -> str:
    return textwrap.shorten(text, 60, placeholder=" …") or "none"


def _signed(time_ms: int) -> str:
    return f"{time_ms / 1000:+g} s"


def _clock(time_ms: int | None) -> str:
    return "–" if time_ms is None else format_clock(time_ms)


def _line(one: Difference) -> str:
    what = one.what if not one.role else one.role
    by = ""
    if one.by_ms is not None:
        by = f" by {_signed(one.by_ms)}" if one.kind == "moved" else f" ({_signed(one.by_ms)})"
    words = " → ".join(f"“{text}”" if one.what == "cue" else text for text in (one.was, one.now) if text)
    return f"{_clock(one.before_ms):>7} {_clock(one.after_ms):>7}  {what} {_WORDS[one.kind]}{by}: {words}"


def _sound_lines(sound: SoundChanges) -> Iterator[str]:
    for name, one in (("A", sound.before), ("B", sound.after)):
        channels = {1: "mono", 2: "stereo"}.get(one.n_channels, f"{one.n_channels} channels")
        yield (
            f"sound of {name}: {one.n_frames / one.sample_rate:.3f} s, {one.sample_rate} Hz, {channels}, "
            f"{one.integrated_lufs:.1f} LUFS, true peak {one.true_peak_dbtp:.1f} dBTP"
        )
    if sound.residual_dbfs is None:
        yield "The sound has another length, rate or number of channels, so no sample goes with another."
    elif sound.residual_dbfs == -math.inf:
        yield "The sound is the same, sample for sample."
    else:
        at = format_clock(sound.residual_ms or 0)
        verdict = "nobody hears it" if sound.same else "they do not sound the same"
        yield f"The sound differs by {sound.residual_dbfs:.1f} dBFS at most, at {at}: {verdict}."
