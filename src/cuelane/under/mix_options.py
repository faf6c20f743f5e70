"""What may be asked for when music is put under a track, and within what bounds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cuelane.base.errors import UsageError
from cuelane.base.levels import TARGET_LUFS
from cuelane.under.ducking import DEEPEST_DB
from cuelane.under.playlist import End

LEVEL_RANGE_LU = (-40.0, 20.0)
"""Chosen: at -40 the music is under the noise of most rooms, at 20 no cue is heard over it."""
TARGET_RANGE_LUFS = (-40.0, -8.0)
"""Chosen: above -8 no speech fits under a ceiling of -1 dBTP without a limiter heard at work."""


@dataclass(frozen=True)
class UnderOptions:
    """How music is put under a track.

    Attributes
    ----------
    music_level_lu : the music's loudness between events, relative to speech, -40 to 20 LU.
    most_depth_lu : how far down music may go for an event, 0 to 27 LU.
    end : ``loop`` repeats the music until the session ends, ``stop`` plays it once.
    target_lufs : integrated loudness of the sum, -40 to -8 LUFS; its true peak stays at or under -1 dBTP.
    """

    music_level_lu: float = -3.0
    most_depth_lu: float = 14.0
    end: End = "loop"
    target_lufs: float = TARGET_LUFS

    def require_in_range(self) -> None:
        """Raise UsageError, naming the option, where a figure is out of its range."""
        for name, value, (low, high) in (
            ("--depth", self.most_depth_lu, (0.0, math.floor(DEEPEST_DB))),
            ("--level", self.music_level_lu, LEVEL_RANGE_LU),
            ("the target loudness", self.target_lufs, TARGET_RANGE_LUFS),
        ):
            if not low <= value <= high:
                raise UsageError(f"{name} must be between {low:g} and {high:g}, got {value:g}")
