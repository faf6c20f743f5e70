"""What a check is asked to look at, and how large an error it allows."""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.errors import UsageError
from cuelane.check.fault_words import Tolerance

# Chosen: a tone displaced in a row 1 s apart is noticed from 25 ms, 0.5 s apart from 12.5 ms (published:
# Friberg and Sundberg 1995); well within both.
PIP_TOLERANCE_MS = 5.0
# Chosen: the onset of a word is not heard so exactly as a pip's; a smaller value would report what a room and
# a re-encoding do.
CUE_TOLERANCE_MS = 20.0
PLAIN_CUE_TOLERANCE_MS = 50.0
"""Published: mir_eval.onset counts an onset as found within 50 ms (value read in its source). Without a
template a cue's onset is only as sure as that."""
MOST_TOLERANCE_MS = 10_000.0
"""Chosen: an event ten seconds away is another event."""


@dataclass(frozen=True)
class CheckOptions:
    """How a file is checked.

    Attributes
    ----------
    tolerance_ms : largest error allowed, end included, for pips and cues alike, above 0 and below 10 s; None
        means 5 ms for pips, 20 ms for cues with a template, 50 ms without.
    words : also have a recogniser confirm each cue's words.
    silent : sound between events, above -60 dBFS, is a fault.
    relative : judge times against the fitted offset and clock rate only, not against the bare schedule.
    """

    tolerance_ms: float | None = None
    words: bool = False
    silent: bool = False
    relative: bool = False

    def tolerance(self) -> Tolerance:
        """Return the errors allowed. Raises UsageError where `tolerance_ms` is out of its range."""
        asked_ms = self.tolerance_ms
        if asked_ms is None:
            return Tolerance(PIP_TOLERANCE_MS, CUE_TOLERANCE_MS, PLAIN_CUE_TOLERANCE_MS)
        if not 0 < asked_ms < MOST_TOLERANCE_MS:
            raise UsageError(f"the tolerance must be above 0 ms and below 10 s, got {asked_ms:g}")
        return Tolerance(asked_ms, asked_ms, max(asked_ms, PLAIN_CUE_TOLERANCE_MS))
