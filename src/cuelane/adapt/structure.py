"""Boundaries of a recorded class: every countdown found, each with its own certainty.

With the session's plan given, its boundaries are a prior: they say where a countdown is to be expected, so a
faint one is enough, and one that cannot be heard at all is put where the plan has it, and said to be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.countdown import Beep
from cuelane.adapt.recording import Recording
from cuelane.adapt.tonefilter import SCORE_RATE, tone_scores

Array = npt.NDArray[np.float32]

SURE = 0.6
_LEAST = 0.38
_LONE_LEAST = 0.75
_CLEAR = 0.55
_FEWEST = 6
_APART_S = 3.0
_SEARCH_S = 0.020
_PLAN_SEARCH_S = 0.35
_PLAN_LEAST = 0.25
_PLAN_STEP_S = 0.016


@dataclass(frozen=True)
class Boundary:
    """Where a countdown ends, in seconds. ``score`` is 0 to 1; 0 where only the plan puts it here."""

    at_s: float
    score: float
    from_plan: bool = False

    @property
    def is_sure(self) -> bool:
        return self.score >= SURE


class _Scores:
    """The score of each tone of a countdown at each millisecond, and of all of them together."""

    def __init__(self, recording: Recording, beep: Beep) -> None:
        from scipy.ndimage import maximum_filter1d

        self.parts: list[tuple[float, Array]] = []
        long = tone_scores(recording, beep.long_frequency_hz, beep.long_s)
        self.parts.append((0.0, long))
        if beep.count:
            short = tone_scores(recording, beep.short_frequency_hz, beep.short_s)
            self.parts += [(k * beep.spacing_s, short) for k in range(1, beep.count + 1)]
        reach = 2 * round(0.012 * SCORE_RATE) + 1
        wide = {id(scores): maximum_filter1d(scores, reach) for _, scores in self.parts}
        self.together = self._mean([(lag, wide[id(scores)]) for lag, scores in self.parts])
        # The same tones at wrong distances: what coincidence reaches.
        self.chance = self._mean([(lag * 1.37 + 0.31, wide[id(scores)]) for lag, scores in self.parts])

    @staticmethod
    def _mean(parts: Sequence[tuple[float, Array]]) -> Array:
        total = np.zeros_like(parts[0][1])
        worst = np.ones_like(total)
        for lag_s, scores in parts:
            by = round(lag_s * SCORE_RATE)
            moved = np.zeros_like(scores)
            moved[by:] = scores[: len(scores) - by] if by else scores
            total += moved
            worst = np.minimum(worst, moved)
        # A pattern with one tone missing is worth less than its mean.
        return np.asarray(0.75 * total / len(parts) + 0.25 * worst, dtype=np.float32)

    def spacing_s(self, spacing_s: float) -> float:
        """Return the spacing that the clear countdowns have; the one given if there are too few.

        Each short tone's distance from the long one tells it, the farthest most exactly.
        """
        from scipy.signal import find_peaks

        places, _ = find_peaks(self.together, height=_CLEAR, distance=round(_APART_S * SCORE_RATE))
        values, weights = [], []
        for place in places:
            ends = self._peak(self.parts[0][1], int(place), 0.0)
            for number, (lag_s, scores) in enumerate(self.parts[1:], 1):
                # A proposal's spacing is known to half a step of 16 ms, so the last tone may be far off.
                onset = self._peak(scores, int(place) - round(lag_s * SCORE_RATE), 0.008 * number)
                if ends and onset and min(ends[1], onset[1]) > _LEAST:
                    values.append((ends[0] - onset[0]) / number)
                    weights.append(number)
        if len(values) < _FEWEST:
            return spacing_s
        order = np.argsort(values)
        cumulated = np.cumsum(np.array(weights)[order])
        return float(np.array(values)[order][np.searchsorted(cumulated, cumulated[-1] / 2)])

    @staticmethod
    def _peak(scores: Array, centre: int, more_s: float) -> tuple[float, float] | None:
        """Return (time, score) of the highest score within 20 ms and `more_s` of `centre`."""
        reach = round((_SEARCH_S + more_s) * SCORE_RATE)
        low = max(0, centre - reach)
        window = scores[low : max(0, centre + reach + 1)]
        if not len(window):
            return None
        top = int(window.argmax())
        return (low + top + _bend(window, top)) / SCORE_RATE, float(window[top])

    def refine(self, at: int) -> float:
        """Return the boundary's time from each tone's own peak: their median, weighted by score."""
        times, weights = [], []
        for lag_s, scores in self.parts:
            peak = self._peak(scores, at - round(lag_s * SCORE_RATE), 0.0)
            if peak:
                times.append(peak[0] + lag_s)
                weights.append(peak[1] ** 2)
        order = np.argsort(times)
        cumulated = np.cumsum(np.array(weights)[order])
        return float(np.array(times)[order][np.searchsorted(cumulated, cumulated[-1] / 2)])


def _bend(window: Array, top: int) -> float:
    """Return how far, in steps, the true peak is from the highest value: a parabola through three."""
    if not 0 < top < len(window) - 1:
        return 0.0
    left, mid, right = (float(value) for value in window[top - 1 : top + 2])
    bend = left - 2 * mid + right
    return 0.5 * (left - right) / bend if bend < -1e-9 else 0.0


def measured(recording: Recording, beep: Beep) -> Beep:
    """Return `beep` with its spacing as the recording's clear countdowns have it, to the millisecond."""
    if not beep.count:
        return beep
    spacing_s = _Scores(recording, beep).spacing_s(beep.spacing_s)
    return replace(beep, spacing_s=round(spacing_s, 3))


def find_boundaries(recording: Recording, beep: Beep) -> list[Boundary]:
    """Return every place where `beep` ends, in order of time."""
    from scipy.signal import find_peaks

    scores = _Scores(recording, beep)
    apart = round(_APART_S * SCORE_RATE)
    # A lone tone has no spacing to be wrong about; it has to be clear instead.
    by_chance = float(np.quantile(scores.chance, 0.9999)) if beep.count and len(scores.chance) else 0.0
    height = max(_LEAST, 1.1 * by_chance) if beep.count else _LONE_LEAST
    places, _ = find_peaks(np.concatenate([[0], scores.together, [0]]), height=height, distance=apart)
    return [Boundary(scores.refine(int(p) - 1), float(scores.together[int(p) - 1])) for p in places]


def boundaries_by_plan(
    recording: Recording, beep: Beep, expected_s: Sequence[float]
) -> tuple[list[Boundary], float]:
    """Return a boundary for each of `expected_s` (from the plan's start), and how sure their fit is, 0 to 1.

    The plan's start is put where the sum of scores over all its boundaries is highest; from there each is
    looked for within 0.35 s of where the one before it says, so that a pause or a cut in the recording moves
    what follows. The fit is the sum's excess over the best sum more than a second away.
    """
    scores = _Scores(recording, beep)
    total, best = _comb(scores.together, expected_s)
    if not len(total):
        return [], 0.0
    other = np.concatenate([total[: max(0, best - 62)], total[best + 63 :]])
    rival = float(other.max(initial=0.0))
    fit = float(np.clip((total[best] - rival) / (total[best] + 1e-6) * 4, 0, 1))
    found: list[Boundary] = []
    shift = best * _PLAN_STEP_S - expected_s[0]
    for value in expected_s:
        centre = round((value + shift) * SCORE_RATE)
        reach = round(_PLAN_SEARCH_S * SCORE_RATE)
        low = max(0, centre - reach)
        window = scores.together[low : centre + reach + 1]
        if len(window) and float(window.max()) >= _PLAN_LEAST:
            at = low + int(window.argmax())
            found.append(Boundary(scores.refine(at), float(window.max())))
            shift = found[-1].at_s - value
        elif value + shift < recording.seconds:
            found.append(Boundary(value + shift, 0.0, from_plan=True))
    return found, fit


def _comb(together: Array, expected_s: Sequence[float]) -> tuple[npt.NDArray[np.float64], int]:
    """Return, for each place of the plan's first boundary (16 ms steps), the sum of scores; and the best."""
    step = round(_PLAN_STEP_S * SCORE_RATE)
    n_steps = len(together) // step
    pooled = together[: n_steps * step].reshape(n_steps, step).max(axis=1)
    # Neighbouring steps count too: plan and recording need not share a grid.
    pooled = np.maximum(pooled, np.maximum(np.roll(pooled, 1), np.roll(pooled, -1)))
    span = round((expected_s[-1] - expected_s[0]) / _PLAN_STEP_S)
    n_starts = max(0, n_steps - span)
    total = np.zeros(n_starts)
    for value in expected_s:
        lag = round((value - expected_s[0]) / _PLAN_STEP_S)
        total += pooled[lag : lag + n_starts]
    return total, int(total.argmax()) if n_starts else 0
