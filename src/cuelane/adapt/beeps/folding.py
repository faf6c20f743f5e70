"""Sets and rests that are of one length each, found before any sound is: a recording is folded at a period.

A timer's class comes round every work and rest. Laid over itself at that period, what marks its boundaries
adds up, and music and talk do not; so a signal is found that is never clear by itself, nor begins clearly.
That is epoch folding, by which pulses of known shape or none are found in noise (Leahy and others, "On
searches for pulsed emission", Astrophysical Journal 266, 1983; from memory). Here the evidence is how alike
the sounds at all returns are, and a period must have two such places, where work and where rest begins.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.evened import alike_by_chance, evened
from cuelane.adapt.beeps.fingerprint import HOP_S

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Chosen, in whole seconds, as timers are set: work and rest together; neither is shorter than the last.
_LEAST_PERIOD, _MOST_PERIOD, _LEAST_PART = 14, 120, 4
# Chosen, in seconds: where a recording is played faster or slower only such lengths are tried, as most are.
_USUAL_STEP = 5
# Chosen: people speed up or slow down a recording by no more, that it sounds natural.
_SLOWEST, _FASTEST = 0.93, 1.07
# Chosen, in seconds by which the ends of a recording move: from one speed to the next in the search, and then
# beside the likeliest ones.
_FIRST_STEP_S, _LAST_STEP_S = 0.16, 0.02
# Chosen: so many periods are looked at more closely; the right one was among the first three in nine classes.
_LOOKED_AT = 6
# Chosen, in seconds: a cut recording keeps its period on both sides of a cut, but not across it. Parts so
# long, one every so often, hold five boundaries or more between cuts; longer ones are seldom without a cut.
_PARTS_S, _PARTS_EVERY_S = (110, 160, 220), 25
# Chosen: periods that differ by less, in seconds, are one.
_SAME_PERIOD_S = 0.3
# Chosen: fewer turns say nothing.
_FEWEST_TURNS = 3
# Chosen, in steps: 96 ms hold an onset. Of 17 boundaries under drums, longer ones were told less clearly.
_WINDOW = 12
# Chosen, in steps: where speeds are searched, each step is a sum over 80 ms, one every 40 ms.
_TOGETHER, _EVERY = 10, 5
# Chosen: within 4 s of a boundary are the tones that lead up to it, and its own tail.
_BESIDE_S = 4
# Chosen, in seconds: these lags have no period in common that music keeps, and tell what chance likeness is.
_LAGS_S = (8.072, 20.024, 39.992)
# Derived: keeps silence from being divided by nothing.
_NO_POWER = 1e-6


@dataclass(frozen=True)
class Folded:
    """A work and a rest at whose ends a recording is alike.

    Attributes
    ----------
    steps : where work and rest would begin, in steps of 8 ms, shape (n,), in order.
    period_s, part_s : the two together, and one of them, in whole seconds of the timer.
    speed : by how much longer they are in the recording.
    height : how alike the sounds there are, all pairs together, in standard deviations of chance.
    elsewhere : the same at other places of that period and part, at the most; music that keeps the period is
        as alike there.
    """

    steps: Steps
    period_s: int
    part_s: int
    speed: float
    height: float
    elsewhere: float

    @property
    def clear(self) -> float:
        return self.height - self.elsewhere

    @property
    def turn_s(self) -> float:
        """How long work and rest together are in the recording."""
        return self.period_s * self.speed

    @property
    def lengths_s(self) -> tuple[float, float]:
        """The two lengths in the recording, the longer first."""
        parts = sorted((self.part_s * self.speed, (self.period_s - self.part_s) * self.speed))
        return parts[1], parts[0]

    def repeats(self, other: Folded) -> bool:
        """Whether it has the two lengths of `other`, and one of its places, to one step."""
        if (self.period_s, self.part_s) != (other.period_s, other.part_s):
            return False
        return bool((np.abs(self.steps[:, None] - other.steps[None, :]) <= 1).any())

    def is_multiple(self, other: Folded) -> bool:
        """Whether the period of one of the two is a multiple of the other's, or the same."""
        shorter_s, longer_s = sorted((self.turn_s, other.turn_s))
        return abs(longer_s - round(longer_s / shorter_s) * shorter_s) < _SAME_PERIOD_S


def folded(seen: Array) -> list[Folded]:
    """Return the likeliest work and rest of each period of `seen`, shape (n, 64), whitened, clearest first.

    They are whole seconds. Of two periods of which one is a multiple of the other only the clearer is there.
    """
    course = _Course.fine(seen)
    periods_s = range(_LEAST_PERIOD, _MOST_PERIOD + 1)
    return _unlike([one for period_s in periods_s if (one := _likeliest(course, period_s, 1, 1.0))])


def folded_in_parts(seen: Array) -> list[Folded]:
    """Return the likeliest work and rest of parts of `seen`, shape (n, 64), clearest first.

    They are multiples of 5 s. None has the same two lengths as a clearer one where some of its places are.
    """
    course = _Course.fine(seen)
    found: list[Folded] = []
    for part_s in _PARTS_S:
        n_frames = part_s * course.per_second
        for first in range(0, len(course.frames) - n_frames, _PARTS_EVERY_S * course.per_second):
            part = replace(course, frames=course.frames[first : first + n_frames])
            for period_s in range(3 * _USUAL_STEP, _MOST_PERIOD + 1, _USUAL_STEP):
                one = _likeliest(part, period_s, _USUAL_STEP, 1.0)
                if one is not None:
                    found.append(replace(one, steps=one.steps + first))
    kept: list[Folded] = []
    for one in sorted(found, key=lambda one: -one.clear):
        if not any(one.repeats(other) for other in kept):
            kept.append(one)
    return kept


def folded_at_speeds(seen: Array) -> list[Folded]:
    """Return the same for `seen`, shape (n, 64), of a recording played faster or slower by up to 7 in 100.

    Work and rest are multiples of 5 s of the timer. Speeds are searched with what is alike within 80 ms, and
    the likeliest are then held against the fine course.
    """
    course = _Course.fine(seen)
    rough = course.rough()
    if not len(rough.frames):
        return []
    step = _FIRST_STEP_S / course.seconds
    periods_s = range(3 * _USUAL_STEP, _MOST_PERIOD + 1, _USUAL_STEP)
    found: list[Folded] = []
    for speed in np.arange(_SLOWEST, _FASTEST + step, step).tolist():
        played = rough.at_speed(speed)
        found += [one for period_s in periods_s if (one := _likeliest(played, period_s, _USUAL_STEP, speed))]
    tried: list[Folded] = []
    for one in sorted(found, key=lambda one: -one.clear):
        if all(
            abs(one.period_s * one.speed - other.period_s * other.speed) > _SAME_PERIOD_S for other in tried
        ):
            tried.append(one)
        if len(tried) == _LOOKED_AT:
            break
    return _unlike([_closer(course, one, step) for one in tried])


def _closer(course: _Course, rough: Folded, step: float) -> Folded:
    """Return the clearest work and rest of the lengths of `rough` at speeds up to `step` off, by `course`."""
    own_step = _LAST_STEP_S / course.seconds
    speeds = rough.speed + np.arange(-step, step + own_step, own_step)
    part_s = range(rough.part_s, rough.part_s + 1, _USUAL_STEP)
    near = [_clearest(course.at_speed(speed), rough.period_s, part_s, speed) for speed in speeds.tolist()]
    return max(near, key=lambda one: one.clear)


def _likeliest(course: _Course, period_s: int, part_step_s: int, speed: float) -> Folded | None:
    """Return the clearest parts of a period, None if the course is too short for it."""
    if len(course.frames) < _FEWEST_TURNS * period_s * course.per_second:
        return None
    least_s = max(_LEAST_PART, part_step_s)
    parts_s = range(least_s, period_s // 2 + 1, part_step_s)
    return _clearest(course, period_s, parts_s, speed)


def _unlike(found: list[Folded]) -> list[Folded]:
    """Return `found`, clearest first, none whose period is a multiple or a part of a clearer one's."""
    kept: list[Folded] = []
    for one in sorted(found, key=lambda one: -one.clear):
        if not any(one.is_multiple(other) for other in kept):
            kept.append(one)
    return kept


@dataclass(frozen=True)
class _Course:
    """What is held against itself: `frames`, shape (n, 64), of which `window` in a row count together.

    ``per_second`` is how many there are in a second, ``chance`` the standard deviation of how alike two
    windows are by chance.
    """

    frames: Array
    per_second: int
    window: int
    chance: float

    @property
    def seconds(self) -> float:
        return len(self.frames) / self.per_second

    @cached_property
    def powers(self) -> Array:
        """Return how alike each frame is to itself, shape (n, 1)."""
        return np.asarray(np.einsum("nb,nb->n", self.frames, self.frames)[:, None])

    @classmethod
    def of(cls, frames: Array, per_second: int, window: int) -> _Course:
        chance = alike_by_chance(frames, [round(lag_s * per_second) for lag_s in _LAGS_S], window)
        return cls(frames if chance else frames[:0], per_second, window, chance or 1.0)

    @classmethod
    def fine(cls, seen: Array) -> _Course:
        """Return that of `seen`, shape (n, 64), each step divided by the norm of the window around it."""
        frames = evened(seen, -(_WINDOW // 2), _WINDOW - _WINDOW // 2, _NO_POWER)
        return cls.of(frames, round(1 / HOP_S), _WINDOW)

    def rough(self) -> _Course:
        """Return it with each frame the sum over 80 ms, one every 40 ms."""
        sums = np.cumsum(np.pad(self.frames, ((1, 0), (0, 0))), axis=0, dtype=np.float64)
        at = np.arange(0, len(self.frames) - _TOGETHER, _EVERY)
        frames = np.asarray(sums[at + _TOGETHER] - sums[at], dtype=np.float32)
        return _Course.of(frames, self.per_second // _EVERY, 1)

    def at_speed(self, speed: float) -> _Course:
        """Return it as it was before it was played `speed` times as long, to the nearest frame."""
        n = int(len(self.frames) / speed)
        at = np.minimum(np.rint(np.arange(n) * speed).astype(np.int64), len(self.frames) - 1)
        return replace(self, frames=self.frames[at])

    def windows(self, values: Array) -> Floats:
        """Return the sums of `values`, shape (k, n), of periods, over the window from each on; that shape."""
        if self.window == 1:
            return np.asarray(values, dtype=np.float64)
        rows = np.concatenate([np.zeros((len(values), 1)), values, values[:, : self.window - 1]], axis=1)
        sums = np.cumsum(rows, axis=1, dtype=np.float64)
        return np.asarray(sums[:, self.window :] - sums[:, : -self.window])


def _clearest(course: _Course, period_s: int, parts_s: range, speed: float) -> Folded:
    """Return where in the period `course`, brought back from `speed`, is most alike, by the clearest part.

    The period, and where ``parts_s`` begins, are multiples of its step.
    """
    n, period = len(course.frames), period_s * course.per_second
    together = _sum_of_turns(course.frames, period)
    own = _sum_of_turns(course.powers, period)[:, 0]
    # Each place of the period times all that are so many steps of parts from it: [step, step, frame].
    step = parts_s.step * course.per_second
    by_frame = together.reshape(period // step, step, -1).transpose(1, 0, 2)
    products = (by_frame @ by_frame.transpose(0, 2, 1)).transpose(1, 2, 0).copy()
    steps, parts = np.arange(period // step), np.array(parts_s)
    apart = np.concatenate([[0], parts // parts_s.step])[:, None]
    alike = products[steps, (steps + apart) % len(steps)].reshape(len(apart), period)
    alike = course.windows(np.concatenate([alike, own[None]]))
    pairs, shifts = alike[0] - alike[-1], parts * course.per_second
    # The mean over all pairs has the deviation of one, divided by the root of how many pairs there are.
    turns, more = n // period, np.arange(period) < n % period
    number = 2.0 * turns + np.arange(3)
    deviations = course.chance * np.sqrt(2.0 * number * (number - 1))
    n_more = more.astype(np.int64) + _rolled(more, shifts)
    heights = (pairs + _rolled(pairs, shifts) + 2 * alike[1:-1]) / deviations[n_more]
    highest = heights.argmax(axis=1)[:, None]
    height = np.take_along_axis(heights, highest, axis=1)[:, 0]
    beside = np.arange(-_BESIDE_S * course.per_second, _BESIDE_S * course.per_second + 1)
    there = highest + shifts[:, None] * np.array([0, 1, -1])
    hidden = (there[:, :, None] + beside).reshape(len(parts), -1)
    np.put_along_axis(heights, hidden % period, -np.inf, axis=1)
    elsewhere = heights.max(axis=1)
    # In the shortest periods nothing is elsewhere.
    elsewhere = np.where(np.isfinite(elsewhere), elsewhere, height)
    best = int((height - elsewhere).argmax())
    at, part = int(highest[best, 0]), int(shifts[best])
    firsts = np.arange(at, n, period)
    frames = np.concatenate([firsts, firsts + part, [at + part - period]])
    inside = np.sort(frames[(frames >= 0) & (frames < n)])
    found = np.rint(inside * speed / course.per_second / HOP_S).astype(np.int64)
    return Folded(found, period_s, int(parts[best]), speed, float(height[best]), float(elsewhere[best]))


def _rolled(values: npt.NDArray[Any], shifts: Steps) -> npt.NDArray[Any]:
    """Return what comes `shifts`, shape (k,), later than each of `values`, shape (n,); shape (k, n)."""
    return np.lib.stride_tricks.sliding_window_view(np.concatenate([values, values]), len(values))[shifts]


def _sum_of_turns(rows: Array, period: int) -> Array:
    """Return the sum of all turns of `period` steps of `rows`, shape (n, bands); shape (period, bands)."""
    whole = len(rows) // period * period
    total = rows[:whole].reshape(-1, period, rows.shape[1]).sum(axis=0)
    total[: len(rows) - whole] += rows[whole:]
    return np.asarray(total, dtype=np.float32)
