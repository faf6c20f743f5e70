"""Rounds that come again: what was not heard in one of them is where another one has it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.timing_grid import NEAR_GRID_S

Floats = npt.NDArray[np.float64]

# Chosen: so many boundaries to each side of an interval are held against another round.
_AROUND = 4
# Chosen: so many of them, and this share, must be in the other round too; in rounds that were cut, or where
# others were not heard, some are not.
_FEWEST_AGAIN, _SHARE_AGAIN = 4, 0.75
# Chosen: more boundaries of one interval that were not heard are not filled in.
_MOST_INSIDE = 2


def in_other_rounds_s(times_s: Floats) -> list[float]:
    """Return where an interval of `times_s`, shape (n,), in order, is divided in another round of the class.

    A round is known by what is around: an interval is taken to be that of another round if it is as long as
    two or three together, and nearly all boundaries around come again at the same distance, those of the one
    in the other and the reverse. Where rounds disagree, the one in which most comes again counts; it may be
    one in which the interval is not divided.
    """
    found: list[float] = []
    for index in range(len(times_s) - 1):
        best, places = 0.0, np.zeros(0)
        for n_inside in range(_MOST_INSIDE + 1):
            for start in range(len(times_s) - n_inside - 1):
                by_s = float(times_s[index] - times_s[start])
                last = start + n_inside + 1
                if start == index or abs(float(times_s[last] + by_s - times_s[index + 1])) > NEAR_GRID_S:
                    continue
                again = _share_again(times_s, (index, index + 1), (start, last), by_s)
                # An interval that is not divided there comes first, and is believed if as much comes again.
                if again > best:
                    best, places = again, times_s[start + 1 : last] + by_s
        found += places.tolist()
    return found


def _share_again(times_s: Floats, one: tuple[int, int], other: tuple[int, int], by_s: float) -> float:
    """Return the share of boundaries around `one` and `other` that come again, 0 if it is too small.

    Each is (index of its beginning, of its end) in `times_s`, shape (n,); `one` is `by_s` later.
    """
    there = _comes_again(times_s, *one, -by_s)
    back = _comes_again(times_s, *other, by_s)
    both = np.concatenate([there, back])
    enough = there.sum() >= _FEWEST_AGAIN and both.sum() >= _SHARE_AGAIN * len(both)
    return float(both.mean()) if enough else 0.0


def _comes_again(times_s: Floats, first: int, last: int, by_s: float) -> npt.NDArray[np.bool_]:
    """Return of the boundaries around `first` to `last` whether they come again `by_s` later; shape (m,).

    `times_s` has shape (n,). What would be before its first or after its last does not count.
    """
    around = np.concatenate([times_s[max(0, first - _AROUND) : first], times_s[last + 1 :][:_AROUND]]) + by_s
    around = around[(around > times_s[0] - NEAR_GRID_S) & (around < times_s[-1] + NEAR_GRID_S)]
    return np.asarray(np.abs(around[:, None] - times_s[None, :]).min(axis=1, initial=np.inf) < NEAR_GRID_S)
