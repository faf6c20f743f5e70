"""A word of captions, or of a recogniser, with where it is spoken."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PlacedWord:
    """A caption's word as written, and where it is spoken. `sure` is False where the audio gives no support.

    ``caption`` is the index of the caption it came from.
    """

    text: str
    onset_s: float
    end_s: float
    caption: int
    sure: bool = True
