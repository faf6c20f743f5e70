"""Where something was cut out or put in: the parts of a file that share a clock rate but not an offset."""

from __future__ import annotations

import numpy as np

from cuelane.check.fit import Array, ClockPiece, Votes

SWITCH_COST = 2.6
"""Chosen: a piece must explain so many events more than the pieces before and after it do."""
# Chosen: coarse places are good to some 5 ms; wider hides small cuts, narrower splits one clock in two.
PIECE_WINDOW_S = 0.045
# Chosen: a file in more pieces was not cut but played anew; more costs time with its square.
MAX_MODES = 12


def find_pieces(votes: Votes, rate: float, offset_s: float) -> tuple[ClockPiece, ...]:
    """Return the offsets that hold one after another, given the rate; usually just one.

    A path through the events in their order is chosen that explains the most of them, where each change of
    offset costs as much as :data:`SWITCH_COST` events.
    """
    lag = votes.file_s - rate * votes.session_s
    modes = _modes(votes, lag, offset_s)
    if len(modes) == 1:
        return (ClockPiece(0.0, offset_s),)
    events, first_vote = np.unique(votes.event, return_index=True)
    when = votes.session_s[first_vote]
    order = np.argsort(when, kind="stable")
    row_of = np.empty(len(events), dtype=np.int64)
    row_of[order] = np.arange(len(events))
    row, when = row_of[np.searchsorted(events, votes.event)], when[order]
    gain = np.zeros((len(events), len(modes)))
    for column, mode in enumerate(modes):
        near = np.abs(lag - mode) < PIECE_WINDOW_S
        np.maximum.at(gain[:, column], row[near], np.minimum(1.0, votes.weight[near]))
    path = _best_path(gain, modes, rate * when)
    pieces: list[ClockPiece] = []
    first = 0
    for last in range(1, len(events) + 1):
        if last == len(events) or path[last] != path[first]:
            mode = float(modes[path[first]])
            lags = lag[(row >= first) & (row < last) & (np.abs(lag - mode) < PIECE_WINDOW_S)]
            offset = float(np.median(lags)) if len(lags) else mode
            pieces.append(ClockPiece(float(when[first]) if pieces else 0.0, offset))
            first = last
    return tuple(pieces)


def _modes(votes: Votes, lag: Array, offset_s: float) -> Array:
    """Return the offsets worth considering, the given one first."""
    place = np.floor(lag / PIECE_WINDOW_S).astype(np.int64)
    sure = votes.weight > 0.2
    n = int(votes.event.max(initial=0)) + 1
    # One number for each pair of event and bin; the same event in the next bin is that number plus n.
    there = np.unique(place[sure] * n + votes.event[sure])
    bins, size = np.unique(there // n, return_counts=True)
    in_both = np.unique(there[np.isin(there + n, there)] // n, return_counts=True)
    both = dict(zip(in_both[0].tolist(), in_both[1].tolist(), strict=True))
    sizes = dict(zip(bins.tolist(), size.tolist(), strict=True))
    full = {k: sizes[k] + sizes.get(k + 1, 0) - both.get(k, 0) for k in sizes}
    found = [offset_s]
    for k in sorted((k for k in full if full[k] >= 3), key=lambda k: (-full[k], k)):
        if len(found) >= MAX_MODES:
            break
        centre = (k + 1) * PIECE_WINDOW_S
        if all(abs(centre - other) > 1.2 * PIECE_WINDOW_S for other in found):
            voters = votes.event[sure & ((place == k) | (place == k + 1))]
            near = (np.abs(lag - centre) < PIECE_WINDOW_S) & np.isin(votes.event, voters)
            found.append(float(np.median(lag[near])))
    return np.array(found)


def _best_path(gain: Array, modes: Array, times: Array) -> list[int]:
    """Return the mode of each event on the path that gains most; time in the file never runs back."""
    n, k = gain.shape
    score, back = gain[0].copy(), np.zeros((n, k), dtype=np.int64)
    for row in range(1, n):
        # leave[a, b]: going from mode a to mode b between these two events.
        leave = np.where(np.eye(k, dtype=bool), score[:, np.newaxis], score[:, np.newaxis] - SWITCH_COST)
        backwards = modes[np.newaxis, :] + times[row] <= modes[:, np.newaxis] + times[row - 1]
        leave = np.where(backwards & ~np.eye(k, dtype=bool), -np.inf, leave)
        back[row] = np.argmax(leave, axis=0)
        score = leave[back[row], np.arange(k)] + gain[row]
    path = [int(np.argmax(score))]
    for row in range(n - 1, 0, -1):
        path.append(int(back[row, path[-1]]))
    return path[::-1]
