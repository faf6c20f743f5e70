"""Places where a class's sound was heard within an interval: said by who talks, or played by the music."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.regularity import SAME_GAP_S, in_turn

Floats = npt.NDArray[np.float64]

# Chosen, in seconds: what is heard at both ends of an interval is as exact as this together.
_EXACT_S = 0.03
# Chosen, in seconds: a boundary that is so far from whole seconds is placed wrongly at the least.
_NOT_WHOLE_S = 0.05
# Chosen: the share of a class's other intervals that are whole seconds, or come again, if its own are.
_NEARLY_ALL = 0.75
# Chosen: so many others are as long as the two together; one may be by chance.
_FEWEST_AGAIN = 2
# Chosen: of fewer others nothing is said.
_FEWEST = 5
# Chosen: so many in one interval are looked for.
_MOST_TOGETHER = 3


def odd_places(times_s: Floats) -> list[int]:
    """Return which of `times_s`, shape (n,), in order, are within an interval and begin none; their indices.

    They are those whose lengths to both sides no timer of the class would keep, while the two together are a
    length that it does: one that comes twice more, or whole seconds where nearly all are.
    """
    left = list(range(len(times_s)))
    while (found := _first(times_s[left])) is not None:
        del left[found[0] : found[1]]
    return sorted(set(range(len(times_s))) - set(left))


def _first(times_s: Floats) -> tuple[int, int] | None:
    """Return the first of the fewest places together, from one index to before another, that are odd."""
    gaps = np.diff(times_s)
    for n_places in range(1, _MOST_TOGETHER + 1):
        for first in range(1, len(times_s) - n_places):
            own = slice(first - 1, first + n_places)
            others = np.delete(gaps, own)
            if len(others) >= _FEWEST and _is_split(gaps[own], others):
                return first, first + n_places
    return None


def _is_split(parts_s: Floats, others_s: Floats) -> bool:
    """Whether `parts_s`, shape (k,), are none of a timer's lengths, as `others_s` are, but are together."""
    whole_s = float(parts_s.sum())
    if (np.abs(parts_s[:, None] - others_s[None, :]) < SAME_GAP_S).any():
        return False
    are_whole = float((_from_whole_s(others_s) < _EXACT_S).mean()) >= _NEARLY_ALL
    if are_whole:
        return bool((_from_whole_s(parts_s) >= _NOT_WHOLE_S).all()) and bool(
            _from_whole_s(np.array([whole_s]))[0] < _EXACT_S
        )
    again = int((np.abs(others_s - whole_s) < _EXACT_S).sum()) >= _FEWEST_AGAIN
    # A part may be two usual lengths, between which one was not heard.
    kept = in_turn(np.concatenate([others_s, parts_s]))
    return again and float(kept[: len(others_s)].mean()) >= _NEARLY_ALL and not kept[len(others_s) :].any()


def _from_whole_s(lengths_s: Floats) -> Floats:
    return np.asarray(np.abs(lengths_s - np.rint(lengths_s)))
