"""One-to-one matching of what is expected with what was found.

Maximum matching, not greedy, as mir_eval pairs events (``mir_eval.util.match_events``): of all ways to pair
the most events, the one whose times differ least in total. First inside the window, then whatever is left
at any distance, so that a cue that moved is one late cue and not one missing and one too many.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt


def match(
    expected_s: Sequence[float],
    found_s: Sequence[float],
    window_s: float,
    allowed: npt.NDArray[np.bool_] | None = None,
) -> list[tuple[int, int]]:
    """Return pairs (index of expected, index of found), as many as can be paired within `window_s`.

    `allowed`, shape (n_expected, n_found), rules pairs out for other reasons than their time.
    """
    from scipy.optimize import linear_sum_assignment

    if not len(expected_s) or not len(found_s):
        return []
    apart = np.abs(np.subtract.outer(np.asarray(expected_s), np.asarray(found_s)))
    if allowed is not None:
        apart = np.where(allowed, apart, np.inf)
    # Outside the window costs more than all pairs inside it together, so the number of pairs comes first.
    far = min(window_s, 1e9) * (min(apart.shape) + 1)
    rows, columns = linear_sum_assignment(np.where(apart <= window_s, apart, far))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if apart[i, j] <= window_s]
