"""The like tones of a countdown, and which of them is the last: talk hides now one of them, now another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from cuelane.adapt.beeps.countdown import MOST_SHORT
from cuelane.adapt.beeps.fingerprint import HOP_S
from cuelane.adapt.beeps.tone_tracks import SPACINGS_S

Array = npt.NDArray[np.float32]
Steps = npt.NDArray[np.int64]

# Derived, in steps: as far apart as the tones of a countdown are.
_LAGS = np.arange(round(SPACINGS_S[0] / HOP_S), round(SPACINGS_S[1] / HOP_S) + 1)
# Chosen: two tones alone may be a signal and what is always said after it.
_FEWEST = 3
# Chosen, in steps, 40 ms: a tone comes no farther from where its countdown puts it.
_BESIDE = 5
# Chosen: a tone that talk hides is so much less like the others.
_LESS_LIKE = 0.15
# Chosen: where a tone at either end is hidden, it is sooner the first one, since people stop talking.
_LAST_COUNTS = 0.2
# Derived: less than any tone that is there or not makes, over all places that are tried.
_MOVED = 1e-3
# Chosen: of four countdowns at least one is heard whole; more by chance are rarer.
_WHOLE = 0.75
# Chosen: talk is alike by chance beside fewer, a tone that goes on beside nearly all.
_MOST = 0.5


@dataclass(frozen=True)
class TonesInARow:
    """`n` like tones, `apart` steps from one to the next."""

    n: int
    apart: int

    @classmethod
    def of(cls, like: Array, steps: Steps, least_like: float) -> TonesInARow | None:
        """Return the tones of a countdown, as the ones that are heard whole have them.

        `like`, shape (n,), is their likeness at each step, `least_like` that of a return; each of `steps`,
        shape (k,), is any tone of a countdown. None if they come in no row of three.
        """
        beside = np.maximum(*(like[_rows(steps, 1, by * _LAGS, len(like))] for by in (-1, 1)))
        likest = int(_LAGS[beside.mean(axis=0).argmax()])
        there = maximum_filter1d(like, 2 * _BESIDE + 1) >= least_like - _LESS_LIKE
        # Where talk hides some tones, the next but one may be more alike than the next one.
        for apart in (likest, round(likest / 2)):
            if apart >= _LAGS[0] and not _goes_on(there, steps, apart):
                n_whole = _usual_run(there, steps, apart)
                return cls(n_whole, apart) if n_whole >= _FEWEST else None
        return None

    def last(self, like: Array, steps: Steps) -> Steps:
        """Return for each of `steps`, shape (k,), any tone of a row, the last one of its row; shape (k,).

        `like`, shape (m,), is the likeness of such a tone at each step.
        """
        near = maximum_filter1d(like, 2 * _BESIDE + 1)
        by = np.arange(-self.n, self.n + 1)
        there = near[_rows(steps, self.apart, np.arange(-2 * self.n, self.n + 2), len(like))]
        # there[:, index] is the tone (index - 2 n) places after the one that was found.
        own = np.lib.stride_tricks.sliding_window_view(there, self.n + 1, axis=1)[:, 1:]
        fits = own[:, :, :-1].sum(axis=2) + _LAST_COUNTS * own[:, :, -2] - own[:, :, -1]
        # Amid tones that go on all places fit alike, and it stays where it is.
        chosen = by[(fits - _MOVED * np.abs(by)).argmax(axis=1)]
        around = steps[:, None] + chosen[:, None] * self.apart + np.arange(-_BESIDE, _BESIDE + 1)
        around = np.clip(around, 0, len(like) - 1)
        return np.asarray(around[np.arange(len(steps)), like[around].argmax(axis=1)])


def _rows(steps: Steps, apart: int, places: Steps, n: int) -> Steps:
    """Return the steps of the `places`, shape (p,), of each row, shape (k, p), within a recording of `n`."""
    return np.asarray(np.clip(steps[:, None] + apart * places, 0, n - 1))


def _goes_on(there: npt.NDArray[np.bool_], steps: Steps, apart: int) -> bool:
    """Whether most of `steps`, shape (k,), are alike half way to the next one too: it is one tone, or more.

    `there`, shape (n,), says of each step whether it is alike.
    """
    beside = there[_rows(steps, apart // 2, np.array([-1, 1]), len(there))]
    return bool(beside.any(axis=1).mean() > _MOST)


def _usual_run(there: npt.NDArray[np.bool_], steps: Steps, apart: int) -> int:
    """Return how many tones, `apart` steps from one to the next, a row has that is heard whole.

    `there`, shape (n,), says of each step whether a tone is near; `steps`, shape (k,), are any of their rows.
    """
    places = np.arange(-MOST_SHORT, MOST_SHORT + 1)
    rows = there[_rows(steps, apart, places, len(there))]
    return int(np.quantile([_run(row, MOST_SHORT) for row in rows], _WHOLE, method="lower"))


def _run(there: npt.NDArray[np.bool_], own: int) -> int:
    """Return how many of `there`, shape (n,), are true in one run with `own`."""
    before = next((k for k in range(own + 1) if not there[own - k]), own + 1)
    after = next((k for k in range(len(there) - own) if not there[own + k]), len(there) - own)
    return max(0, before + after - 1)
