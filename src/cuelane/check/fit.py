"""Where the session starts in this file, and at what clock rate: a vote, then a robust line.

``file time = offset + rate * session time``. Every candidate of a cue or pip votes with every event it
could be, so a track without a single once-only sound is placed too. The line that most of them share wins;
parts that follow the same rate at another offset are pieces of their own: something was cut or put in.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

MAX_CLOCK_ERROR = 600e-6
MAX_SPEED_CHANGE = 0.06
VOTE_BIN_S = 0.06
SPEED_BIN_S = 0.25
MAX_EVENTS_OF_A_KEY = 14
"""500 pips against 500 tones are 250,000 pairs; so many of each sound, spread evenly, place a session."""
SWITCH_COST = 2.6
"""A piece of its own must explain this much more than the pieces round it, in events."""
PIECE_WINDOW_S = 0.045
MAX_MODES = 12


@dataclass(frozen=True)
class Piece:
    """From session time ``start_s`` on, the file is at ``offset_s + rate * t``."""

    start_s: float
    offset_s: float


@dataclass(frozen=True)
class Fit:
    """The clock rate (file seconds per session second) and the pieces in order; one is the rule.

    ``support`` is the share of the votes that agree, in [0, 1].
    """

    rate: float
    pieces: tuple[Piece, ...]
    support: float

    @property
    def offset_s(self) -> float:
        return self.pieces[0].offset_s

    @property
    def skew_ppm(self) -> float:
        return (self.rate - 1) * 1e6

    def piece_at(self, session_s: float) -> Piece:
        """Return the piece that holds at `session_s`."""
        starts = [piece.start_s for piece in self.pieces]
        return self.pieces[max(0, bisect_right(starts, session_s) - 1)]

    def file_s(self, session_s: float) -> float:
        """Return where `session_s` is in the file."""
        return self.piece_at(session_s).offset_s + self.rate * session_s


@dataclass(frozen=True)
class Vote:
    """Event `event` (its place in the schedule's order) may be at `file_s`; it counts `weight`."""

    event: int
    session_s: float
    file_s: float
    weight: float


def votes(
    events: Iterable[tuple[int, str, float]], candidates: Iterable[tuple[str, float, float]]
) -> list[Vote]:
    """Return a vote for each event (index, key, session_s) and each candidate (key, file_s, score) of it."""
    by_key: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for index, key, session_s in events:
        by_key[key].append((index, session_s))
    heard: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for key, file_s, score in candidates:
        heard[key].append((file_s, score))
    made: list[Vote] = []
    for key, places in by_key.items():
        kept = sorted(heard.get(key, []), key=lambda row: -row[1])[: 3 * len(places) + 6]
        for index, session_s in places:
            made += [Vote(index, session_s, file_s, score**2) for file_s, score in kept]
    return made


def thinned(pairs: list[Vote], key_of: dict[int, str]) -> list[Vote]:
    """Return the votes of at most :data:`MAX_EVENTS_OF_A_KEY` events of each key, evenly spread."""
    events: dict[str, list[int]] = defaultdict(list)
    for event in sorted({vote.event for vote in pairs}):
        events[key_of[event]].append(event)
    kept: set[int] = set()
    for group in events.values():
        step = max(1.0, len(group) / MAX_EVENTS_OF_A_KEY)
        kept |= {group[int(i * step)] for i in range(min(len(group), MAX_EVENTS_OF_A_KEY))}
    return [vote for vote in pairs if vote.event in kept]


def find_line(
    pairs: list[Vote], length_s: float, *, reach: float = MAX_CLOCK_ERROR, width_s: float = VOTE_BIN_S
) -> tuple[float, float, float] | None:
    """Return (rate, offset_s, weight) of the line that most votes share, or None without votes.

    Rates within `reach` of 1 are tried; votes within `width_s` of a line agree with it.
    """
    if not pairs:
        return None
    session = np.array([vote.session_s for vote in pairs])
    heard = np.array([vote.file_s for vote in pairs])
    weight = np.array([vote.weight for vote in pairs])
    width = width_s
    step = width / max(length_s, 10.0)
    n_rates = max(1, int(np.ceil(reach / step)))
    rates = 1.0 + np.arange(-n_rates, n_rates + 1) * step
    middle = length_s / 2
    best: tuple[float, float, float] | None = None
    for rate in rates[np.argsort(np.abs(rates - 1.0), kind="stable")]:
        # Turning the line about the session's middle keeps a small error of rate from moving it away.
        lag = heard - rate * (session - middle)
        bins = np.floor(lag / width).astype(np.int64)
        low = int(bins.min())
        count = np.asarray(np.bincount(bins - low, weights=weight), dtype=np.float64)
        pair = count[:-1] + count[1:] if len(count) > 1 else count
        top = _nearest_top(pair, low, width, middle)
        if best is None or pair[top] > best[2] * 1.02:
            inside = (bins - low == top) | (bins - low == top + 1)
            centre = float(np.average(lag[inside], weights=weight[inside]))
            best = (float(rate), centre - rate * middle, float(pair[top]))
    return best


def _nearest_top(pair: Array, low: int, width: float, middle: float) -> int:
    """Return the fullest bin; of bins nearly as full, the one that moves the session least."""
    full = np.flatnonzero(pair >= 0.97 * pair.max())
    return int(full[np.argmin(np.abs((full + low + 1) * width - middle))])


def sharpened(pairs: list[Vote], rate: float, offset_s: float, within_s: float) -> tuple[float, float]:
    """Return the line through the votes near a line found by bins, as exactly as their places allow."""
    nearest: dict[int, tuple[float, Vote]] = {}
    for vote in pairs:
        away = abs(vote.file_s - offset_s - rate * vote.session_s)
        if away <= 1.5 * within_s and away < nearest.get(vote.event, (within_s * 2, vote))[0]:
            nearest[vote.event] = (away, vote)
    kept = [vote for _, vote in nearest.values()]
    x = np.array([vote.session_s for vote in kept])
    if len(kept) < 6 or np.ptp(x) < 10.0:
        return rate, offset_s
    y, weight = np.array([vote.file_s for vote in kept]), np.array([vote.weight for vote in kept])
    found, offsets = robust_line(x, y, weight)
    return found, float(offsets[0])


def robust_line(
    x: Array,
    y: Array,
    weight: Array,
    group: npt.NDArray[np.int64] | None = None,
    *,
    rate: float | None = None,
) -> tuple[float, Array]:
    """Return (rate, offset of each group) of parallel lines through (x, y) that outliers do not move.

    Reweighted least squares with Tukey's biweight, from the medians. All groups share the rate; a given
    `rate` is kept.
    """
    group = np.zeros(len(x), dtype=np.int64) if group is None else group
    n_groups = int(group.max()) + 1
    slope = rate
    if slope is None:
        slopes = [_pairwise_slope(x[group == g], y[group == g]) for g in range(n_groups)]
        sizes = [float(np.ptp(x[group == g])) if (group == g).any() else 0.0 for g in range(n_groups)]
        slope = slopes[int(np.argmax(sizes))]
    level = np.array([_median(y[group == g] - slope * x[group == g]) for g in range(n_groups)])
    for _ in range(40):
        residual = y - level[group] - slope * x
        scale = max(1.4826 * float(np.median(np.abs(residual))), 2e-5)
        away = residual / (6.0 * scale)
        use = weight * np.where(np.abs(away) < 1, (1 - away**2) ** 2, 0.0)
        total = np.bincount(group, use, n_groups)
        middle = np.bincount(group, use * x, n_groups) / np.maximum(total, 1e-30)
        height = np.bincount(group, use * y, n_groups) / np.maximum(total, 1e-30)
        spread = float((use * (x - middle[group]) ** 2).sum())
        new = slope
        if rate is None and spread > 1e-9:
            new = float((use * (x - middle[group]) * (y - height[group])).sum() / spread)
        moved = np.where(total > 1e-9, height - new * middle, level)
        done = abs(new - slope) < 1e-11 and float(np.abs(moved - level).max()) < 1e-9
        slope, level = new, moved
        if done:
            break
    return slope, level


def _median(values: Array) -> float:
    return float(np.median(values)) if len(values) else 0.0


def _pairwise_slope(x: Array, y: Array) -> float:
    """Return the median slope between points half the set apart (Theil and Sen, thinned)."""
    if len(x) < 2:
        return 1.0
    order = np.argsort(x)
    x, y = x[order], y[order]
    half = max(1, len(x) // 2)
    run = x[half:] - x[:-half]
    good = run > 0.5
    return float(np.median((y[half:] - y[:-half])[good] / run[good])) if good.any() else 1.0


def find_pieces(pairs: list[Vote], rate: float, offset_s: float) -> tuple[Piece, ...]:
    """Return the offsets that hold one after another, given the rate; usually just one.

    A path through the events in their order is chosen that explains the most of them, where each change of
    offset costs as much as :data:`SWITCH_COST` events.
    """
    lag_of: dict[int, list[tuple[float, float]]] = defaultdict(list)
    when: dict[int, float] = {}
    for vote in pairs:
        lag_of[vote.event].append((vote.file_s - rate * vote.session_s, vote.weight))
        when[vote.event] = vote.session_s
    order = sorted(lag_of, key=lambda event: when[event])
    modes = _modes(lag_of, offset_s)
    if len(modes) == 1:
        return (Piece(0.0, offset_s),)
    gain = np.zeros((len(order), len(modes)))
    for row, event in enumerate(order):
        for lag, weight in lag_of[event]:
            near = np.abs(modes - lag) < PIECE_WINDOW_S
            gain[row, near] = np.maximum(gain[row, near], min(1.0, weight))
    path = _best_path(gain, modes, rate * np.array([when[event] for event in order]))
    pieces: list[Piece] = []
    first = 0
    for row in range(1, len(order) + 1):
        if row == len(order) or path[row] != path[first]:
            lags = [
                lag
                for event in order[first:row]
                for lag, _ in lag_of[event]
                if abs(lag - modes[path[first]]) < PIECE_WINDOW_S
            ]
            offset = float(np.median(lags)) if lags else float(modes[path[first]])
            pieces.append(Piece(when[order[first]] if pieces else 0.0, offset))
            first = row
    return tuple(pieces)


def _modes(lag_of: dict[int, list[tuple[float, float]]], offset_s: float) -> Array:
    """Return the offsets worth considering, the given one first."""
    count: dict[int, set[int]] = defaultdict(set)
    for event, lags in lag_of.items():
        for lag, weight in lags:
            if weight > 0.2:
                count[int(np.floor(lag / PIECE_WINDOW_S))].add(event)
    found = [offset_s]
    for place in sorted(count, key=lambda place: (-len(count[place] | count.get(place + 1, set())), place)):
        if len(found) >= MAX_MODES:
            break
        both = count[place] | count.get(place + 1, set())
        centre = (place + 1) * PIECE_WINDOW_S
        if len(both) >= 3 and all(abs(centre - other) > 1.2 * PIECE_WINDOW_S for other in found):
            near = [lag for event in both for lag, _ in lag_of[event] if abs(lag - centre) < PIECE_WINDOW_S]
            found.append(float(np.median(near)))
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
