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
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# Chosen: ten times the error of a cheap quartz (common practice, no source); more is a changed speed.
MAX_CLOCK_ERROR = 600e-6
# Chosen: beyond the 4.3 % between film and television; nobody trains to a track changed more.
MAX_SPEED_CHANGE = 0.06
# Chosen: ten times the error of a coarse place; wider lets chance vote, narrower splits a true line.
VOTE_BIN_S = 0.06
# Chosen, wider: at another speed coarse places are worse, since templates no longer fit.
SPEED_BIN_S = 0.25
MAX_EVENTS_OF_A_KEY = 14
"""Chosen: 500 pips against 500 tones are 250,000 pairs; so many of each sound, spread evenly, place a
session."""
# Chosen: for how many of the nearest candidates each event votes, and the least in a long session; more costs
# memory.
NEAREST, FEWEST_NEAREST = 256, 24
MOST_VOTES = 1_000_000
"""Chosen, for all events together: a day has 10,000 pips and more, and each then votes only for tones so near
that a cut of some minutes could have moved it there."""


@dataclass(frozen=True)
class ClockPiece:
    """From session time ``start_s`` on, the file is at ``offset_s + rate * t``."""

    start_s: float
    offset_s: float


@dataclass(frozen=True)
class Fit:
    """The clock rate (file seconds per session second) and the pieces in order; usually there is one.

    ``support`` is the share of the votes that agree, in [0, 1].
    """

    rate: float
    pieces: tuple[ClockPiece, ...]
    support: float

    @property
    def offset_s(self) -> float:
        return self.pieces[0].offset_s

    @property
    def skew_ppm(self) -> float:
        return (self.rate - 1) * 1e6

    def piece_at(self, session_s: float) -> ClockPiece:
        """Return the piece that holds at `session_s`."""
        starts = [piece.start_s for piece in self.pieces]
        return self.pieces[max(0, bisect_right(starts, session_s) - 1)]

    def file_s(self, session_s: float) -> float:
        """Return where `session_s` is in the file."""
        return self.piece_at(session_s).offset_s + self.rate * session_s


class Votes(NamedTuple):
    """Rows of arrays, shape (n,): event ``event`` (its place in the schedule's order), due at ``session_s``,
    may be at ``file_s``; it counts ``weight``."""

    event: npt.NDArray[np.int64]
    session_s: Array
    file_s: Array
    weight: Array

    def at_rate(self, rate: float) -> Votes:
        """Return the votes of a session whose clock makes everything `rate` times as long."""
        return self._replace(session_s=self.session_s * rate)


class Ballot:
    """Every event that may vote, and the candidates that look like it."""

    def __init__(
        self, events: Iterable[tuple[int, str, float]], candidates: Iterable[tuple[str, float, float]]
    ) -> None:
        """Take events as (index, key, session_s) and candidates as (key, file_s, score)."""
        places: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for index, key, session_s in events:
            places[key].append((index, session_s))
        heard: dict[str, list[tuple[float, float]]] = defaultdict(list)
        for key, file_s, score in candidates:
            heard[key].append((file_s, score))
        self._rows: list[tuple[npt.NDArray[np.int64], Array, Array, Array]] = []
        for key, group in places.items():
            kept = sorted(heard.get(key, []), key=lambda row: -row[1])[: 3 * len(group) + 6]
            kept.sort()
            times = np.array([time for time, _ in kept])
            weight = np.array([score**2 for _, score in kept])
            which = np.array([i for i, _ in group], dtype=np.int64)
            self._rows.append((which, np.array([t for _, t in group]), times, weight))

    def few(self) -> Votes:
        """Return the votes of at most :data:`MAX_EVENTS_OF_A_KEY` events of each key, evenly spread."""
        made = []
        for index, session_s, times, weight in self._rows:
            step = max(1.0, len(index) / MAX_EVENTS_OF_A_KEY)
            some = np.array([int(i * step) for i in range(min(len(index), MAX_EVENTS_OF_A_KEY))])
            every = np.broadcast_to(np.arange(len(times)), (len(some), len(times)))
            made.append(_cast(index[some], session_s[some], times, weight, every))
        return _joined(made)

    def near(self, rate: float, offset_s: float) -> Votes:
        """Return every event's votes for the candidates closest to a line, at most :data:`NEAREST`."""
        made = []
        n_events = sum(len(index) for index, *_ in self._rows)
        nearest = max(FEWEST_NEAREST, min(NEAREST, MOST_VOTES // max(n_events, 1)))
        for index, session_s, times, weight in self._rows:
            n = min(len(times), nearest)
            first = np.searchsorted(times, offset_s + rate * session_s) - n // 2
            first = np.clip(first, 0, len(times) - n)
            made.append(_cast(index, session_s, times, weight, first[:, np.newaxis] + np.arange(n)))
        return _joined(made)


def _cast(
    index: npt.NDArray[np.int64], session_s: Array, times: Array, weight: Array, which: npt.NDArray[np.intp]
) -> Votes:
    n = which.shape[1]
    return Votes(np.repeat(index, n), np.repeat(session_s, n), times[which].ravel(), weight[which].ravel())


def _joined(votes: list[Votes]) -> Votes:
    if not votes:
        return Votes(np.zeros(0, np.int64), np.zeros(0), np.zeros(0), np.zeros(0))
    return Votes(*(np.concatenate(column) for column in zip(*votes, strict=True)))


def find_line(
    votes: Votes, length_s: float, *, reach: float = MAX_CLOCK_ERROR, width_s: float = VOTE_BIN_S
) -> tuple[float, float, float] | None:
    """Return (rate, offset_s, weight) of the line that most votes share, or None without votes.

    Rates within `reach` of 1 are tried; votes within `width_s` of a line agree with it.
    """
    _, session, heard, weight = votes
    if not len(session):
        return None
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


def sharpened(votes: Votes, rate: float, offset_s: float, within_s: float) -> tuple[float, float]:
    """Return the line through the votes near a line found by bins, as exactly as their places allow."""
    away = np.abs(votes.file_s - offset_s - rate * votes.session_s)
    near = np.flatnonzero(away <= 1.5 * within_s)
    # Each event's nearest.
    near = near[np.lexsort((away[near], votes.event[near]))]
    kept = near[np.unique(votes.event[near], return_index=True)[1]]
    x = votes.session_s[kept]
    if len(kept) < 6 or np.ptp(x) < 10.0:
        return rate, offset_s
    y, weight = votes.file_s[kept], votes.weight[kept]
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
    `rate` is kept. `x`, `y` (seconds) and `weight` (0 or more) have shape (n,), n >= 1; `group`, the same
    shape, numbers the groups from 0, and the offsets, in seconds, have shape (n_groups,).
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
