"""The options of ``adapt``: what a person knows about a recorded class, and how its plan is to be timed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Timing = Literal["recorded", "exact"]


@dataclass(frozen=True)
class AdaptOptions:
    """What is known about a recorded class, and how its plan is to be timed.

    Attributes
    ----------
    captions : a file of its captions; without one its words are recognised.
    plan : a plan with the session's structure, which boundaries are held against.
    beep_at_s : where one countdown ends, seconds into the recording, if the search was unsure.
    work_s, rest_s : how long its work and its rest last in seconds, both or neither; 0 for no rest.
    timing : ``recorded`` keeps each interval as long as it was, ``exact`` gives it its true length.
    language : the language spoken, as a plan names it.
    recogniser : hears the words where there are no captions: ``light``, ``strong`` or a folder with a model;
        None for the best that is installed.
    """

    captions: Path | None = None
    plan: Path | None = None
    beep_at_s: float | None = None
    timing: Timing = "recorded"
    language: str = "en"
    recogniser: str | None = None
    work_s: float | None = None
    rest_s: float | None = None
