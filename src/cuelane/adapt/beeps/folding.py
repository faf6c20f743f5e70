"""Sets and rests that are of one length each, found before any sound is: a recording is folded at a period.

A timer's class comes round every work and rest. Laid over itself at that period, what marks its boundaries
adds up, and music and talk do not; so a signal is found that is never clear by itself, nor begins clearly.
That is epoch folding, by which pulses of known shape or none are found in noise (Leahy and others, "On
searches for pulsed emission", Astrophysical Journal 266, 1983; from memory). Here the evidence is how alike
the sounds at all returns are, and a period must have two such places, where work and where rest begins.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

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
    near = [
        one
        for speed in speeds.tolist()
        for one in _at_period(course.at_speed(speed), rough.period_s, [rough.part_s], speed)
    ]
    return max(near, key=lambda one: one.clear)


def _likeliest(course: _Course, period_s: int, part_step_s: int, speed: float) -> Folded | None:
    """Return the clearest parts of a period, None if the course is too short for it."""
    if len(course.frames) < _FEWEST_TURNS * period_s * course.per_second:
        return None
    least_s = max(_LEAST_PART, part_step_s)
    parts_s = range(least_s, period_s // 2 + 1, part_step_s)
    return max(_at_period(course, period_s, parts_s, speed), key=lambda one: one.clear)


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

    @classmethod
    def of(cls, frames: Array, per_second: int, window: int) -> _Course:
        lags = [round(lag_s * per_second) for lag_s in _LAGS_S]
        if len(frames) <= max(lags) + window:
            return cls(frames[:0], per_second, window, 1.0)
        products = (np.einsum("nb,nb->n", frames[:-lag], frames[lag:], dtype=np.float64) for lag in lags)
        deviations = [np.convolve(one, np.ones(window), "valid").std() for one in products]
        return cls(frames, per_second, window, float(np.mean(deviations)))

    @classmethod
    def fine(cls, seen: Array) -> _Course:
        """Return that of `seen`, shape (n, 64), each step divided by the norm of the window around it."""
        power = np.concatenate([[0.0], np.cumsum(np.einsum("nb,nb->n", seen, seen, dtype=np.float64))])
        at = np.arange(len(seen)) - _WINDOW // 2
        around = power[np.clip(at + _WINDOW, 0, len(seen))] - power[np.clip(at, 0, len(seen))]
        frames = seen / np.sqrt(np.maximum(around, _NO_POWER))[:, None]
        return cls.of(np.asarray(frames, dtype=np.float32), round(1 / HOP_S), _WINDOW)

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
        """Return the sums of `values`, shape (n,), of a period, over the window from each on; shape (n,)."""
        sums = np.cumsum(np.concatenate([[0.0], values, values[: self.window - 1]]), dtype=np.float64)
        return np.asarray(sums[self.window :] - sums[: -self.window])


def _at_period(course: _Course, period_s: int, parts_s: Iterable[int], speed: float) -> Iterator[Folded]:
    """Yield for each of `parts_s` where in the period `course`, brought back from `speed`, is most alike."""
    n, period = len(course.frames), period_s * course.per_second
    together = _sum_of_turns(course.frames, period)
    own = _sum_of_turns(np.einsum("nb,nb->n", course.frames, course.frames)[:, None], period)[:, 0]
    # Each place of the period times all that are whole seconds from it: [step in its second, second, second].
    by_step = together.reshape(period_s, course.per_second, -1).transpose(1, 0, 2)
    products = by_step @ by_step.transpose(0, 2, 1)
    second = np.arange(period_s)
    beside = np.arange(-_BESIDE_S * course.per_second, _BESIDE_S * course.per_second + 1)

    def apart(by_s: int) -> Floats:
        return course.windows(products[:, second, (second + by_s) % period_s].T.ravel())

    pairs = apart(0) - course.windows(own)
    n_turns = np.where(np.arange(period) < n % period, n // period + 1, n // period)
    for part_s in parts_s:
        part = part_s * course.per_second
        number = n_turns + np.roll(n_turns, -part)
        # The mean over all pairs has the deviation of one, divided by the root of how many pairs there are.
        heights = (pairs + np.roll(pairs, -part) + 2 * apart(part_s)) / (
            course.chance * np.sqrt(2.0 * number * (number - 1))
        )
        at = int(heights.argmax())
        height = float(heights[at])
        heights[(np.array([[at], [at + part], [at - part]]) + beside) % period] = -np.inf
        elsewhere = float(heights.max())
        firsts = np.arange(at, n, period)
        frames = np.concatenate([firsts, firsts + part, [at + part - period]])
        inside = np.sort(frames[(frames >= 0) & (frames < n)])
        steps = np.rint(inside * speed / course.per_second / HOP_S).astype(np.int64)
        # In the shortest periods nothing is elsewhere.
        elsewhere = elsewhere if np.isfinite(elsewhere) else height
        yield Folded(steps, period_s, part_s, speed, height, elsewhere)


def _sum_of_turns(rows: Array, period: int) -> Array:
    """Return the sum of all turns of `period` steps of `rows`, shape (n, bands); shape (period, bands)."""
    whole = len(rows) // period * period
    total = rows[:whole].reshape(-1, period, rows.shape[1]).sum(axis=0)
    total[: len(rows) - whole] += rows[whole:]
    return np.asarray(total, dtype=np.float32)
