"""What may mark a class's boundaries: a countdown, a lone tone, or a sound of any kind that returns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cuelane.adapt.beeps.boundaries import Boundary, boundaries_by_plan, clear_and_faint, measured
from cuelane.adapt.beeps.boundary_sound import LEAST_SOUND, BoundarySound
from cuelane.adapt.beeps.countdown import LEAST_CONFIDENCE, Beep, Found
from cuelane.adapt.beeps.sound_boundaries import SoundScores, sound_boundaries
from cuelane.recording.decode import Recording

# Chosen: twelve minutes hold some twenty boundaries; more costs time and memory, fewer may be too few.
SEARCH_S = 720.0
# Chosen: two marks with more of their boundaries in common than this are one.
_SAME = 0.5
# Chosen: two marks within it are one boundary; intervals are many times as long.
_SAME_TIME_S = 0.25


@dataclass(frozen=True)
class BoundaryMark:
    """A beep, how sure it is that it marks boundaries (0 to 1), and where it was heard, in seconds.

    ``sound`` is what a beep that is no tone is found by.
    """

    beep: Beep
    confidence: float
    times_s: tuple[float, ...]
    sound: BoundarySound | None = None

    @classmethod
    def of_tone(cls, found: Found, start_s: float) -> BoundaryMark:
        return cls(found.beep, found.confidence, tuple(t + start_s for t in found.times_s))

    @classmethod
    def of_sound(cls, sound: BoundarySound, start_s: float) -> BoundaryMark:
        beep = Beep(round(sound.frequency_hz), round(sound.length_s, 2), is_tone=False)
        return cls(beep, sound.confidence, tuple(t + start_s for t in sound.times_s), sound)

    @property
    def is_likely(self) -> bool:
        """Whether it is taken for what marks the boundaries, if nothing is likelier."""
        return self.confidence > (LEAST_CONFIDENCE if self.sound is None else LEAST_SOUND)

    def measured(self, recording: Recording) -> Beep:
        """Return its beep, with lengths and spacing as `recording` has them."""
        return self.beep if self.sound is not None else measured(recording, self.beep)

    def boundaries(self, recording: Recording, beep: Beep) -> tuple[list[Boundary], list[Boundary]]:
        """Return its boundaries in the whole of `recording`, and places too faint to count alone.

        `beep` is as :meth:`measured` gives it.
        """
        if self.sound is not None:
            return sound_boundaries(recording, self.sound)
        return clear_and_faint(recording, beep)

    def by_plan(
        self, recording: Recording, beep: Beep, expected_s: Sequence[float]
    ) -> tuple[list[Boundary], float]:
        """Return a boundary for each of `expected_s`, and how sure their fit is, 0 to 1."""
        scores = SoundScores(recording, self.sound) if self.sound is not None else None
        return boundaries_by_plan(recording, beep, expected_s, scores)

    def agrees_with(self, other: BoundaryMark) -> bool:
        """Whether half or more of the boundaries of the rarer are the other's too."""
        own, others = np.array(self.times_s), np.array(other.times_s)
        if not len(own) or not len(others):
            return False
        near = np.abs(own[:, None] - others[None, :]) < _SAME_TIME_S
        return bool(max(near.any(axis=1).mean(), near.any(axis=0).mean()) >= _SAME)
