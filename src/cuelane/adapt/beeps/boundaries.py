"""Boundaries of a recorded class: every countdown found, each with its own certainty.

With the session's plan given, its boundaries say where a countdown is to be expected. So a faint countdown is
enough there, and one that cannot be heard at all is put where the plan has it, and reported so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.plan_fit import fit, follow
from cuelane.adapt.beeps.tone_filter import SCORE_RATE, ToneSpectra, band_of, tone_scores
from cuelane.recording.decode import Recording

Array = npt.NDArray[np.float32]
PlacedBy = Literal["sound", "plan", "lengths", "words"]

SURE_BOUNDARY = 0.6
"""Score from which one boundary is sure; below it the report calls it faint. Chosen: higher asks a person to
listen to more good ones, lower passes more wrong ones."""
# Chosen: the least score of a countdown; a lower one adds false ones, a higher one loses those in music.
_LEAST = 0.38
# Chosen, much higher, since a lone tone has no pattern as further evidence.
_LONE_LEAST = 0.75
# Chosen: only countdowns so clear are measured; with a lower value music makes lengths and spacing wrong,
# with a higher one few countdowns remain.
_CLEAR = 0.55
# Chosen: with fewer clear countdowns the error of a single one would decide the median.
_FEWEST = 3
# Chosen: more costs time; a median of twelve is good to a millisecond or two.
_MOST_MEASURED = 12
# Chosen: a parabola interpolates between the steps; coarser ones miss the peak, finer ones cost time.
_LENGTH_STEP_S = 0.004
# Chosen: a shorter tone is a click, without a pitch that can be heard.
_SHORTEST_S = 0.03
# Chosen, in ms: room for the rise before the place and for the tone after it.
_RISE_BEFORE, _RISE_AFTER = 120, 60
# Measured: without a room the score's peak and the rise differ by less than this, in rooms by up to 31 ms.
_LATE_S = 0.008
# Chosen: no interval of a class is shorter; less finds one countdown twice.
_APART_S = 3.0
# Chosen: how far one tone may lie from where the others put it; more takes notes nearby for the tone.
_SEARCH_S = 0.020
# Chosen: how far a boundary may lie from where the plan puts it; more takes music for it.
_PLAN_SEARCH_S = 0.35
# Chosen, lower than without a plan: that a countdown is expected there is evidence too.
_PLAN_LEAST = 0.25


@dataclass(frozen=True)
class Boundary:
    """Where a countdown ends, in seconds. ``score`` is 0 to 1; 0 where it was not heard.

    ``placed_by`` is what puts it here: its ``sound``, the ``plan`` that was given, the ``lengths`` of work
    and rest that the others keep, or what is said (``words``).
    """

    at_s: float
    score: float
    placed_by: PlacedBy = "sound"

    @property
    def is_sure(self) -> bool:
        return self.score >= SURE_BOUNDARY

    @property
    def is_heard(self) -> bool:
        return self.placed_by == "sound"


class PlaceScores:
    """How well a boundary fits each millisecond of a recording: ``together``, shape (n_ms,), 0 to 1."""

    def __init__(self, together: Array) -> None:
        self.together = together

    def near(self, time_s: float) -> tuple[float, int]:
        """Return (score, place) of the best place within 0.35 s of `time_s`."""
        centre, reach = round(time_s * SCORE_RATE), round(_PLAN_SEARCH_S * SCORE_RATE)
        low = max(0, centre - reach)
        window = self.together[low : max(0, centre + reach + 1)]
        return (float(window.max()), low + int(window.argmax())) if len(window) else (0.0, 0)

    def refine(self, at: int) -> float:
        """Return the boundary's time in seconds from the place in ms of its best score."""
        return at / SCORE_RATE


class _Scores(PlaceScores):
    """The score of each tone of a countdown at each millisecond, and of all of them together."""

    def __init__(self, recording: Recording, beep: Beep) -> None:
        self.parts: list[tuple[float, Array]] = []
        long = tone_scores(recording, beep.long_frequency_hz, beep.long_s)
        self.parts.append((0.0, long))
        if beep.count:
            short = tone_scores(recording, beep.short_frequency_hz, beep.short_s)
            self.parts += [(k * beep.spacing_s, short) for k in range(1, beep.count + 1)]
        reach = 2 * round(0.012 * SCORE_RATE) + 1
        wide = {id(scores): maximum_filter1d(scores, reach) for _, scores in self.parts}
        super().__init__(self._mean([(lag, wide[id(scores)]) for lag, scores in self.parts]))
        # The same tones at wrong distances give the score that coincidence reaches.
        self.chance = self._mean([(lag * 1.37 + 0.31, wide[id(scores)]) for lag, scores in self.parts])

    @staticmethod
    def _mean(parts: Sequence[tuple[float, Array]]) -> Array:
        total = np.zeros_like(parts[0][1])
        worst = np.ones_like(total)
        for lag_s, scores in parts:
            by = round(lag_s * SCORE_RATE)
            moved = np.zeros_like(scores)
            moved[by:] = scores[: max(0, len(scores) - by)]
            total += moved
            worst = np.minimum(worst, moved)
        # A pattern with one tone missing counts for less than the mean of its tones.
        return np.asarray(0.75 * total / len(parts) + 0.25 * worst, dtype=np.float32)

    def spacing_s(self, spacing_s: float) -> float:
        """Return the spacing that the clear countdowns have; the one given if there are too few.

        Each short tone's distance from the long one gives it, the farthest most exactly.
        """
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


def _bend(window: npt.NDArray[np.floating], top: int) -> float:
    """Return how far, in steps, the true peak is from the highest value: a parabola through three."""
    if not 0 < top < len(window) - 1:
        return 0.0
    left, mid, right = (float(value) for value in window[top - 1 : top + 2])
    bend = left - 2 * mid + right
    return 0.5 * (left - right) / bend if bend < -1e-9 else 0.0


def measured(recording: Recording, beep: Beep) -> Beep:
    """Return `beep` with lengths and spacing as the recording's clear countdowns have them, to 1 or 2 ms."""
    scores = _Scores(recording, beep)
    places, seen = find_peaks(scores.together, height=_CLEAR, distance=round(_APART_S * SCORE_RATE))
    if len(places) < _FEWEST:
        return beep
    clearest = places[np.argsort(seen["peak_heights"])[::-1][:_MOST_MEASURED]] / SCORE_RATE
    long_s = _length(recording, beep.long_frequency_hz, beep.long_s, clearest)
    if not beep.count:
        return replace(beep, long_s=long_s)
    short_s = _length(recording, beep.short_frequency_hz, beep.short_s, clearest - beep.spacing_s)
    beep = replace(beep, long_s=long_s, short_s=short_s)
    return replace(beep, spacing_s=round(_Scores(recording, beep).spacing_s(beep.spacing_s), 3))


def _length(
    recording: Recording, frequency_hz: float, length_s: float, times_s: npt.NDArray[np.float64]
) -> float:
    """Return the length near `length_s` that scores best at `times_s`; onsets are wrong by half its error."""
    lengths = [length_s + step * _LENGTH_STEP_S for step in range(-6, 7)]
    lengths = [value for value in lengths if value >= _SHORTEST_S]
    total = np.zeros(len(lengths))
    for time_s in times_s:
        around = ToneSpectra(recording.part(time_s - 0.5, time_s + length_s + 1.0), keep=True)
        centre = round(min(time_s, 0.5) * SCORE_RATE)
        for index, value in enumerate(lengths):
            window = tone_scores(around, frequency_hz, value)[max(0, centre - 40) : centre + 41]
            total[index] += float(window.max(initial=0.0))
    top = int(total.argmax())
    return round(lengths[top] + _bend(total, top) * _LENGTH_STEP_S, 4)


def find_boundaries(recording: Recording, beep: Beep) -> list[Boundary]:
    """Return every place where `beep` ends, in order of time."""
    return clear_and_faint(recording, beep)[0]


def clear_and_faint(recording: Recording, beep: Beep) -> tuple[list[Boundary], list[Boundary]]:
    """Return every place where `beep` ends, and those too faint to count alone; each in order of time."""
    scores = _Scores(recording, beep)
    apart = round(_APART_S * SCORE_RATE)
    # A lone tone has no spacing that could be tested, so its score must be higher.
    by_chance = float(np.quantile(scores.chance, 0.9999)) if beep.count and len(scores.chance) else 0.0
    height = max(_LEAST, 1.1 * by_chance) if beep.count else _LONE_LEAST
    padded = np.concatenate([[0], scores.together, [0]])
    clear, faint = (
        find_peaks(padded, height=least, distance=apart)[0] - 1 for least in (height, _PLAN_LEAST)
    )
    rows = [
        [Boundary(scores.refine(int(p)), float(scores.together[int(p)])) for p in places]
        for places in (clear, np.setdiff1d(faint, clear))
    ]
    found = _at_rise(recording, beep, rows[0])
    # What moves the clear ones moves the faint ones too.
    late_s = rows[0][0].at_s - found[0].at_s if found else 0.0
    return found, [replace(b, at_s=b.at_s - late_s) for b in rows[1]]


def _at_rise(recording: Recording, beep: Beep, found: list[Boundary]) -> list[Boundary]:
    """Return `found` moved to where the long tone rises, if that is not where it matches best.

    In a room a tone rises slowly and rings on, so it matches best too late, by the same time at every
    boundary.
    """
    heard = sorted((b for b in found if b.score >= _CLEAR), key=lambda b: -b.score)[:_MOST_MEASURED]
    if len(heard) < _FEWEST:
        return found
    rows = []
    for boundary in heard:
        around = recording.part(boundary.at_s - 0.5, boundary.at_s + 1.0)
        at = round((boundary.at_s - around.start_s + recording.start_s) * SCORE_RATE)
        power = np.abs(band_of(around, beep.long_frequency_hz)) ** 2
        row = power[max(0, at - _RISE_BEFORE) : at + _RISE_AFTER]
        if len(row) == _RISE_BEFORE + _RISE_AFTER:
            rows.append(row / (row[_RISE_BEFORE:].mean() + 1e-12))
    if len(rows) < _FEWEST:
        return found
    usual = np.median(rows, axis=0)
    before, full = float(np.median(usual[: _RISE_BEFORE // 2])), float(np.median(usual[_RISE_BEFORE:]))
    risen = np.flatnonzero(usual[_RISE_BEFORE // 2 :] > before + 0.25 * (full - before))
    if full < 2 * before or not len(risen):
        return found
    late_s = (_RISE_BEFORE - _RISE_BEFORE // 2 - int(risen[0])) / SCORE_RATE
    if late_s < _LATE_S:
        return found
    return [replace(b, at_s=b.at_s - late_s) if b.is_heard else b for b in found]


def boundaries_by_plan(
    recording: Recording, beep: Beep, expected_s: Sequence[float], scores: PlaceScores | None = None
) -> tuple[list[Boundary], float]:
    """Return a boundary for each of `expected_s` (from the plan's start), and how sure their fit is, 0 to 1.

    The clearest places are matched with the plan, moves where the recording was cut or paused allowed for.
    What is then missing is looked for within 0.35 s of where its neighbours say, however faint, and put
    there if nothing is heard. `scores` are those of a sound that is no tone.
    """
    is_tone = scores is None
    scores = scores or _Scores(recording, beep)
    tops, seen = find_peaks(scores.together, height=_PLAN_LEAST, distance=round(_APART_S * SCORE_RATE))
    clearest = np.sort(np.argsort(seen["peak_heights"])[::-1][: 4 * len(expected_s) + 50])
    places_s = tops[clearest] / SCORE_RATE
    # By how much a place scores more than most other places.
    usual = float(np.median(seen["peak_heights"])) if len(clearest) > 2 * len(expected_s) else _PLAN_LEAST
    gains = np.clip((seen["peak_heights"][clearest] - usual) / (1 - usual), 0, 1)
    path = follow(places_s, gains, expected_s)
    shifts = [
        None if place is None else float(places_s[place]) - expected
        for place, expected in zip(path.places, expected_s, strict=True)
    ]
    found: list[Boundary] = []
    for index, expected in enumerate(expected_s):
        near = [
            next((s for s in reversed(shifts[: index + 1]) if s is not None), None),
            next((s for s in shifts[index:] if s is not None), None),
        ]
        known = [shift for shift in near if shift is not None]
        if not known:
            return [], 0.0
        tried = [scores.near(expected + shift) for shift in known]
        score, at = max(tried)
        at_s = expected + known[0]
        if score >= _PLAN_LEAST:
            found.append(Boundary(scores.refine(at), score))
        elif 0 <= at_s < recording.seconds and (not found or at_s > found[-1].at_s + 1):
            found.append(Boundary(at_s, 0.0, "plan"))
    placed = _at_rise(recording, beep, found) if is_tone else found
    return placed, fit(path, places_s, gains, expected_s)
