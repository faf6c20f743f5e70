"""When a sound begins, told by all its returns together: from there on they are more alike than by chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.evened import alike_by_chance, evened
from cuelane.adapt.beeps.regularity import FEWEST

Array = npt.NDArray[np.float32]
Steps = npt.NDArray[np.int64]

# Chosen, in steps: windows of 32 ms tell where a sound begins, up to 0.25 s sooner than it was found, where a
# soft beginning was hidden, and up to 96 ms later, where music just before it was taken for a part of it.
_WINDOW, _SOONEST, _LATEST = 4, 31, 12
# Chosen, in steps: what comes in 96 ms before is what hides a beginning; quiet is taken to be this loud, half
# of what is usual.
_BEFORE, _QUIET = 12, 12 * 64 / 4
# Chosen, in standard deviations of chance: of eight words of fitting classes with music at -5 or 0 dB three
# were 50 to 96 ms late and two 22 and 24 ms; with 6 one of them is 88 ms late, one 42 ms, the others 22 ms or
# less, and none of eleven other signals begins 20 ms sooner than it should.
_MORE_THAN_CHANCE = 6.0
# Chosen, in the share of a sound's own height: what is lower is the tail of the sound before. Of 191 sounds
# of fitting classes four soft consonants are 0.08 to 0.15 as high as their word, and a bowl that rings in a
# hall until its next stroke 0.04. Of 168 sounds found by their work and rest, four are placed wrongly then,
# seven without it.
_LEAST_HEIGHT = 0.05
# Chosen, in steps: a word may be silent after its first consonant, as "start", for 50 to 90 ms, which is less
# in windows of 32 ms; the consonant is no shorter than the other. With 6 to 8 the same of the 191 sounds are
# moved, with 10 a bell is.
_CLOSED, _CONSONANT = 7, 3
# Derived, in steps, some 8 s: two moments so far apart have nothing to do with each other.
_APART = 1009


@dataclass(frozen=True)
class SoundBeginnings:
    """Whitened fingerprints, each step divided by the norm of what comes before it, shape (n, 64).

    So what follows a soft beginning does not weigh it down. ``chance`` is the standard deviation of how alike
    two windows of them are by chance.
    """

    frames: Array
    chance: float

    @classmethod
    def of(cls, seen: Array) -> SoundBeginnings:
        """Return those of `seen`, shape (n, 64), whitened."""
        frames = evened(seen, -_BEFORE, 0, _QUIET)
        return cls(frames, alike_by_chance(frames, [_APART], _WINDOW))

    def later(self, places: Steps) -> int:
        """Return by how many steps the sound at `places`, shape (k,), begins later; less than 0 is sooner.

        Loud music hides the soft beginning of a word, or of a tone in a room, at each return, but not at all
        of them together: as long as it goes back they are more alike than by chance, but for the silence
        after a consonant. 0 where they are too few to tell, or not so alike, or alike all the time.
        """
        reach = _LATEST + _WINDOW
        inside = places[(places >= _SOONEST) & (places < len(self.frames) - reach)]
        if len(inside) < FEWEST or self.chance <= 0:
            return 0
        rows = self.frames[inside[:, None] + np.arange(-_SOONEST, reach)]
        own = np.einsum("klb,klb->l", rows, rows, dtype=np.float64)
        sums = rows.sum(axis=0, dtype=np.float64)
        together = np.convolve(np.einsum("lb,lb->l", sums, sums) - own, np.ones(_WINDOW), "valid")
        chance = self.chance * np.sqrt(2.0 * len(inside) * (len(inside) - 1))
        height = float(together[_SOONEST - _WINDOW : _SOONEST + _LATEST].max())
        alike = together > max(_MORE_THAN_CHANCE * chance, _LEAST_HEIGHT * height)
        if not alike[_SOONEST:].any():
            return 0
        first = _SOONEST + int(alike[_SOONEST:].argmax())
        if alike[_SOONEST]:
            first = _beginning_of(alike[: _SOONEST + 1])
            if first == 0:
                return 0
        # The first window that holds some of a sound holds its first step last, and shows a rise one sooner.
        return first - _SOONEST + _WINDOW


def _beginning_of(alike: npt.NDArray[np.bool_]) -> int:
    """Return where the run at the end of `alike`, shape (n,), begins, or the consonant before it.

    It is 0 if it has no beginning there.
    """
    edges = np.diff(np.concatenate([[False], alike, [False]]).astype(np.int8))
    runs = list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))
    first, _ = runs.pop()
    while runs and first - runs[-1][1] <= _CLOSED and runs[-1][1] - runs[-1][0] >= _CONSONANT:
        first, _ = runs.pop()
    return int(first)
