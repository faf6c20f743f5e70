"""Where a sound's template returns in a stretch: from which likeness on, and the last of tones in a row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from cuelane.adapt.beeps.fingerprint import HOP_S, UsualBands
from cuelane.adapt.beeps.regularity import FEWEST, evidence_of_ten, firsts
from cuelane.adapt.beeps.sound_template import SoundTemplate, likeness
from cuelane.adapt.beeps.sound_view import SoundView
from cuelane.adapt.beeps.tones_in_a_row import TonesInARow

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

# Chosen: the grades of likeness that are tried are so far apart.
_LIKE_STEP = 0.03
# Chosen: so many nats is it worth that the returns exceed all else by 1.
_BEYOND_WORTH = 20.0


@dataclass(frozen=True)
class Stretch:
    """The fingerprints of a stretch as they are, apart from what is `usual`, and in a `view`: (n, 64) each.

    Where a sound is, is told by what is `seen` in the view; where it rises, by what is `raw`; all else by
    what is `apart`.
    """

    raw: Array
    apart: Array
    seen: Array
    usual: UsualBands
    view: SoundView

    @classmethod
    def of(cls, prints: Array, usual: UsualBands, view: SoundView) -> Stretch:
        """Return the stretch of fingerprints `prints`, shape (n, 64), in `view`."""
        return cls(prints, usual.apart(prints), view.of(usual, prints), usual, view)

    @property
    def seconds(self) -> float:
        return len(self.raw) * HOP_S


@dataclass(frozen=True)
class Returns:
    """Where a template returns in a stretch: times in s and how alike, shape (n,) each.

    ``least`` is the likeness from which a return counts, ``beyond`` the highest of what is none; ``row`` the
    like tones of which each return is the last one, if it is.
    """

    at_s: Floats
    likeness: Floats
    least: float
    beyond: float
    row: TonesInARow | None

    @classmethod
    def of(cls, stretch: Stretch, template: SoundTemplate) -> Returns:
        """Return where `template` returns in `stretch`."""
        like = likeness(stretch.seen, template)
        at, values, least, beyond = _returns(like, stretch.view, stretch.seconds)
        row, at, values = _in_rows(like, at, values, least)
        return cls(at, values, least, beyond, row)


def _returns(like: Array, view: SoundView, seconds: float) -> tuple[Floats, Floats, float, float]:
    """Return (times, likeness) of the returns, the least likeness that counts, and the highest beyond them.

    The least is the one at which the times look most like a class's boundaries.
    """
    tops, _ = find_peaks(like, height=view.least_like, distance=round(1.0 / HOP_S))
    values = like[tops].astype(np.float64)
    best_worth, best = 0.0, (np.zeros(0), np.zeros(0), 1.0, 1.0)
    for least in np.arange(0.98, view.least_like, -_LIKE_STEP):
        inside = values >= least
        places = tops[inside]
        times = firsts(places * HOP_S)
        if len(times) * 4.0 > seconds:
            break
        beyond = values[~inside].max(initial=view.least_like)
        worth = max(0.0, evidence_of_ten(times)) + _BEYOND_WORTH * min(
            view.most_beyond, float(least - beyond)
        )
        if len(times) >= FEWEST and worth > best_worth + 1e-6:
            own = np.searchsorted(places * HOP_S, times - 1e-6)
            best_worth, best = (
                worth,
                (exact_places(like, places[own]), values[inside][own], float(least), beyond),
            )
    return best


def _in_rows(
    like: Array, at: Floats, values: Floats, least: float
) -> tuple[TonesInARow | None, Floats, Floats]:
    """Return (tones in a row, times, likeness) of returns `at`, shape (n,): each the last of its row, if any.

    `values` is how alike they are, the same shape.
    """
    places = np.round(at / HOP_S).astype(np.int64)
    row = TonesInARow.of(like, places, least) if len(places) else None
    if row is None:
        return None, at, values
    moved, own = np.unique(row.last(like, places), return_index=True)
    return row, exact_places(like, moved), values[own]


def exact_places(like: Array, places: npt.NDArray[np.int64]) -> Floats:
    """Return the times in s, shape (n,), of peaks of `like` near `places`, shape (n,): by a parabola each."""
    left, mid, right = (like[np.clip(places + by, 0, len(like) - 1)].astype(np.float64) for by in (-1, 0, 1))
    bend = left - 2 * mid + right
    by = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    return np.asarray((places + np.clip(by, -0.5, 0.5)) * HOP_S)
