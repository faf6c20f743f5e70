"""How far a sound's returns look like the boundaries of a class: intervals whose lengths come again.

Timers keep time. So of a class's intervals nearly every one has a length that another has too, to some
hundredths of a second; what returns by chance has gaps of all lengths.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Chosen: no interval of a class is shorter; what comes sooner belongs to the same boundary.
LEAST_INTERVAL_S = 4.0
# Fitted on seeds 0 to 104 of the benchmark of boundaries: timers there are exact, onsets to 20 ms.
SAME_GAP_S = 0.06
# Measured on 39 classes from seed 700: returns of one sound are within 10 ms of one another nearly always.
_CLOSE_GAP_S = 0.02
# Chosen: the share of a class's intervals that have a usual length; the others were cut or are of their own.
_USUAL = 0.85
# Derived: both at once.
_SAMES_S = np.array([SAME_GAP_S, _CLOSE_GAP_S])
# Chosen: how far a length of whole seconds may seem off, by the onsets at both its ends.
_NEAR_WHOLE_S = 0.05
# Derived, in nats: what it says that a length is whole seconds, or is not.
_IS_WHOLE = float(np.log(_USUAL / (2 * _NEAR_WHOLE_S)))
_IS_NOT_WHOLE = float(np.log((1 - _USUAL) / (1 - 2 * _NEAR_WHOLE_S)))
# Chosen: fewer lengths are whole seconds at some speed by chance.
_FEWEST_WHOLE = 6
# Chosen: a recording may be played faster or slower by so much; a step moves a minute by 0.06 s, and four of
# them are one occasion for chance at usual lengths. The first is that at which it was made.
_SPEEDS = np.concatenate([[1.0], np.arange(0.93, 1.0705, 0.001)])
# Chosen, pairs of like lengths for each boundary: one that is put right gains more, chance less.
_MORE_ALIKE = 0.5
# Chosen: strokes of one sound are no farther apart; farther on another sound begins.
_STROKES_APART_S = 0.5
# Chosen: what has fewer returns than this is no class.
FEWEST = 4


def firsts(times_s: Floats) -> Floats:
    """Return the first of each run of `times_s`, shape (n,), that come within 4 s of the one before."""
    if not len(times_s):
        return times_s
    kept = [float(times_s[0])]
    for time_s in times_s[1:]:
        if time_s - kept[-1] >= LEAST_INTERVAL_S:
            kept.append(float(time_s))
    return np.array(kept)


def in_turn(gaps_s: Floats) -> npt.NDArray[np.bool_]:
    """Return which of `gaps_s`, shape (n,), are as long as another, or as two usual ones together.

    The second is what a boundary leaves whose sound is missing.
    """
    return _in_turn(gaps_s, _n_like(gaps_s, SAME_GAP_S) > 1)


def _in_turn(gaps_s: Floats, again: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return :func:`in_turn` of `gaps_s`, of which those of `again` are as long as another; both (n,)."""
    if not again.any():
        return again
    usual = np.unique(np.round(gaps_s[again] / SAME_GAP_S)) * SAME_GAP_S
    # What one usual length leaves of a gap is looked up among them, so that no pair of them is tried.
    left = gaps_s[:, None] - usual[None, :]
    above = np.searchsorted(usual, left)
    nearest = np.minimum(
        np.abs(usual[np.minimum(above, len(usual) - 1)] - left),
        np.abs(usual[np.maximum(above - 1, 0)] - left),
    )
    return np.asarray(again | (nearest.min(axis=1) < 2 * SAME_GAP_S), dtype=np.bool_)


def _n_like(gaps_s: Floats, same_s: float) -> npt.NDArray[np.int64]:
    """Return how many of `gaps_s`, shape (n,), are as long as each of them to `same_s`, itself among them."""
    return np.asarray((np.abs(gaps_s[:, None] - gaps_s[None, :]) < same_s).sum(axis=1), dtype=np.int64)


def _density(gaps_s: Floats) -> Floats:
    """Return how dense lengths like each of `gaps_s`, shape (n,), would be by chance, for each second."""
    mean = float(gaps_s.mean()) - 0.9 * LEAST_INTERVAL_S
    return np.asarray(np.exp(-np.maximum(0, gaps_s - LEAST_INTERVAL_S) / mean) / mean)


def evidence_of_ten(times_s: Floats) -> float:
    """Return how much likelier ten intervals of `times_s`, shape (n,), are a timer's than chance, in nats.

    Either lengths come again, or all are whole seconds, as where each set has a length of its own; a
    recording may be played faster or slower, and then they are whole seconds times one factor.

    It is the mean of all, since what returns often, as music does, has many lengths that come again and more
    that do not; fewer than ten are no more evidence than they are. A length that k gaps have is k - 1 pieces
    of evidence, and lengths that agree more closely are more; the closer measure is one more occasion for
    chance.
    """
    gaps = np.diff(times_s)
    if len(gaps) < FEWEST - 1:
        return 0.0
    # How many others would be as long by chance, for each second that they may differ.
    others = 2 * _density(gaps) * (len(gaps) - 1)
    by_number = _by_number(gaps, others)
    total = max(float(by_number[0]), float(by_number[1]) - float(np.log(2)), _whole_evidence(gaps))
    return 10 * total / max(10, len(gaps))


def _by_number(gaps: Floats, others: Floats) -> Floats:
    """Return the evidence, in nats, of lengths that come again among `gaps`, shape (n,); shape (2,).

    The first is that of lengths that are near, the second of those that are close. `others`, shape (n,), is
    how many others would be as long by chance, for each second that they may differ.
    """
    apart = np.abs(gaps[:, None] - gaps[None, :])
    n_like = (apart[None] < _SAMES_S[:, None, None]).sum(axis=2)
    again = n_like > 1
    again[0] = _in_turn(gaps, again[0])
    by_chance = np.clip(_SAMES_S[:, None] * others, 0.002, 0.9)
    pieces = np.where(n_like > 1, (n_like - 1) / n_like, 0.5)
    speaks, against = np.log(_USUAL / by_chance), np.log((1 - _USUAL) / (1 - by_chance))
    return np.asarray(np.where(again, pieces * speaks, 0.5 * against).sum(axis=1))


def _whole_evidence(gaps: Floats) -> float:
    """Return the evidence, in nats, that `gaps`, shape (n,), are whole seconds at some speed."""
    if len(gaps) < _FEWEST_WHOLE:
        return float("-inf")
    by_speed = _whole(gaps[:, None] / _SPEEDS[None, :])
    as_set, played = float(by_speed[0]), float(by_speed[1:].max())
    return max(as_set, played - float(np.log((len(by_speed) - 1) / 4))) - float(np.log(3))


def _whole(gaps_s: Floats) -> Floats:
    """Return the evidence, in nats, that the columns of `gaps_s`, (n_gaps, n_factors), are whole seconds."""
    n_whole = (np.abs(gaps_s - np.rint(gaps_s)) < _NEAR_WHOLE_S).sum(axis=0)
    return np.asarray(n_whole * _IS_WHOLE + (len(gaps_s) - n_whole) * _IS_NOT_WHOLE, dtype=np.float64)


def faint_between(times_s: Floats, faint_s: Floats) -> Floats:
    """Return those of `faint_s` that divide a gap of `times_s` into two usual lengths, each gap once.

    Both have shape (n,) and are in order, in seconds. A length is usual if two gaps have it.
    """
    gaps = np.diff(times_s)
    near = np.abs(gaps[:, None] - gaps[None, :]) < SAME_GAP_S
    usual = gaps[near.sum(axis=1) > 1]
    found: list[float] = []
    for start, end in pairwise(times_s.tolist()):
        inside = faint_s[(faint_s > start + LEAST_INTERVAL_S) & (faint_s < end - LEAST_INTERVAL_S)]
        if not len(usual) or not len(inside):
            continue
        first = np.abs((inside - start)[:, None] - usual[None, :]).min(axis=1)
        second = np.abs((end - inside)[:, None] - usual[None, :]).min(axis=1)
        off = np.maximum(first, second)
        if off.min() < SAME_GAP_S:
            found.append(float(inside[int(off.argmin())]))
    return np.array(found)


def settled(times_s: Floats, others_s: Floats) -> Floats:
    """Return `times_s`, shape (n,), each moved to one of `others_s` beside it if that makes lengths alike.

    Both are in order, in seconds. A sound of two like strokes may be heard at its second one now and then:
    the interval before it is then too long, and the one after it too short by the same.
    """
    moved = times_s
    apart = np.abs(others_s[None, :] - times_s[:, None])
    rows, beside = np.nonzero((apart < _STROKES_APART_S) & (apart > SAME_GAP_S))
    if len(times_s) <= FEWEST or not len(rows):
        return moved
    # Each round moves one at most.
    for _ in range(len(times_s)):
        tried = np.tile(moved, (len(rows), 1))
        tried[np.arange(len(rows)), rows] = others_s[beside]
        gained = np.array([_n_alike(gaps) for gaps in np.diff(tried)]) - _n_alike(np.diff(moved))
        if gained.max() <= _MORE_ALIKE * len(times_s):
            break
        moved = tried[int(gained.argmax())]
    return moved


def _n_alike(gaps: Floats) -> int:
    """Return how many pairs of `gaps`, shape (n,), are of one length, each pair counted twice."""
    return int((np.abs(gaps[:, None] - gaps[None, :]) < SAME_GAP_S).sum())
