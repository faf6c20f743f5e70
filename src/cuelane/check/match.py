"""One-to-one matching of what is expected with what was found.

Maximum matching, not greedy, as mir_eval pairs events (``mir_eval.util.match_events``): of all ways to pair
the most events, the one whose times differ least in total. First inside the window, then whatever is left
at any distance, so that a cue that moved is one late cue and not one missing and one too many.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

Indices = npt.NDArray[np.intp]


def match(
    expected_s: Sequence[float],
    found_s: Sequence[float],
    window_s: float,
    allowed: Callable[[int, int], bool] | None = None,
) -> list[tuple[int, int]]:
    """Return pairs (index of expected, index of found), as many as can be paired within `window_s`.

    `allowed` rules pairs (index of expected, index of found) out for other reasons than their time.
    """
    expected, found = np.asarray(expected_s, dtype=np.float64), np.asarray(found_s, dtype=np.float64)
    pairs: list[tuple[int, int]] = []
    for some, others in _apart(expected, found, window_s):
        pairs += _match(expected, found, some, others, window_s, allowed)
    return sorted(pairs)


def _apart(
    expected: npt.NDArray[np.float64], found: npt.NDArray[np.float64], window_s: float
) -> Iterator[tuple[Indices, Indices]]:
    """Yield groups (expected, found) between which nothing can be paired: a day at once is too large."""
    times = np.concatenate([expected, found])
    order = np.argsort(times, kind="stable")
    breaks = np.flatnonzero(np.diff(times[order]) > window_s) + 1
    for group in np.split(order, breaks):
        some, others = group[group < len(expected)], group[group >= len(expected)] - len(expected)
        if len(some) and len(others):
            yield np.sort(some), np.sort(others)


def _match(
    expected: npt.NDArray[np.float64], found: npt.NDArray[np.float64], some: Indices, others: Indices,
    window_s: float, allowed: Callable[[int, int], bool] | None,
) -> list[tuple[int, int]]:  # fmt: skip
    apart = np.abs(np.subtract.outer(expected[some], found[others]))
    if allowed is not None:
        for i, j in np.argwhere(apart <= window_s):
            if not allowed(int(some[i]), int(others[j])):
                apart[i, j] = np.inf
    # Outside the window costs more than all pairs inside it together, so the number of pairs comes first.
    far = min(window_s, 1e9) * (min(apart.shape) + 1)
    rows, columns = linear_sum_assignment(np.where(apart <= window_s, apart, far))
    inside = apart[rows, columns] <= window_s
    return [(int(some[i]), int(others[j])) for i, j in zip(rows[inside], columns[inside], strict=True)]
