"""Sets and rests that are of one length each, found before any sound is: a recording is folded at a period.

A timer's class comes round every work and rest. Laid over itself at that period, what marks its boundaries
adds up, and music and talk do not; so a signal is found that is never clear by itself, nor begins clearly.
That is epoch folding, by which pulses of known shape or none are found in noise (Leahy and others, "On
searches for pulsed emission", Astrophysical Journal 266, 1983; from memory). Here the evidence is how alike
the sounds at all returns are, and a period must have two such places, where work and where rest begins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.fingerprint import HOP_S

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Derived: fingerprints come every 8 ms.
_PER_SECOND = round(1 / HOP_S)
# Chosen, in whole seconds, as timers are set: work and rest together; neither is shorter than the last.
_LEAST_PERIOD, _MOST_PERIOD, _LEAST_PART = 14, 120, 4
# Chosen: fewer turns say nothing.
_FEWEST_TURNS = 3
# Chosen, in steps: 96 ms hold an onset. Of 17 boundaries under drums, longer ones were told less clearly.
_WINDOW = 12
# Chosen, in steps: within 4 s of a boundary are the tones that lead up to it, and its own tail.
_BESIDE = 500
# Chosen, in steps: these lags have no period in common that music keeps, and tell what chance likeness is.
_LAGS = (1009, 2503, 4999)
# Derived: keeps silence from being divided by nothing.
_NO_POWER = 1e-6


@dataclass(frozen=True)
class Folded:
    """A work and a rest at whose ends a recording is alike.

    Attributes
    ----------
    steps : where work and rest would begin, in steps of 8 ms, shape (n,), in order.
    period_s, part_s : the two together, and one of them, in whole seconds.
    height : how alike the sounds there are, all pairs together, in standard deviations of chance.
    elsewhere : the same at other places of that period and part, at the most; music that keeps the period is
        as alike there.
    """

    steps: Steps
    period_s: int
    part_s: int
    height: float
    elsewhere: float

    @property
    def clear(self) -> float:
        return self.height - self.elsewhere


def folded(seen: Array) -> list[Folded]:
    """Return the likeliest work and rest of each period of `seen`, shape (n, 64), whitened, clearest first.

    Of two periods of which one is a multiple of the other only the clearer is there.
    """
    frames = _of_one_height(seen)
    if len(frames) <= max(_LAGS) + _WINDOW:
        return []
    usual = _chance(frames)
    best = [
        max(_at_period(frames, period_s, usual), key=lambda one: one.clear)
        for period_s in range(_LEAST_PERIOD, _MOST_PERIOD + 1)
        if len(frames) >= _FEWEST_TURNS * period_s * _PER_SECOND
    ]
    kept: list[Folded] = []
    for one in sorted(best, key=lambda one: -one.clear):
        if all(one.period_s % other.period_s and other.period_s % one.period_s for other in kept):
            kept.append(one)
    return kept


def _of_one_height(seen: Array) -> Array:
    """Return each step of `seen`, shape (n, 64), divided by the norm of the window around it; (n, 64)."""
    power = np.concatenate([[0.0], np.cumsum(np.einsum("nb,nb->n", seen, seen, dtype=np.float64))])
    at = np.arange(len(seen)) - _WINDOW // 2
    around = power[np.clip(at + _WINDOW, 0, len(seen))] - power[np.clip(at, 0, len(seen))]
    return np.asarray(seen / np.sqrt(np.maximum(around, _NO_POWER))[:, None], dtype=np.float32)


def _chance(frames: Array) -> float:
    """Return the standard deviation of how alike windows of `frames`, shape (n, 64), are by chance."""
    products = [np.einsum("nb,nb->n", frames[:-lag], frames[lag:], dtype=np.float64) for lag in _LAGS]
    return float(np.mean([np.convolve(one, np.ones(_WINDOW), "valid").std() for one in products]))


def _at_period(frames: Array, period_s: int, usual: float) -> Iterator[Folded]:
    """Yield for each part of the period where in it `frames`, shape (n, 64), are most alike.

    `usual` is the standard deviation of chance likeness.
    """
    n, period = len(frames), period_s * _PER_SECOND
    together = _sum_of_turns(frames, period)
    own = _sum_of_turns(np.einsum("nb,nb->n", frames, frames)[:, None], period)[:, 0]
    # Each place of the period times all that are whole seconds from it: [step in its second, second, second].
    by_step = together.reshape(period_s, _PER_SECOND, -1).transpose(1, 0, 2)
    products = by_step @ by_step.transpose(0, 2, 1)
    second, beside = np.arange(period_s), np.arange(-_BESIDE, _BESIDE + 1)

    def apart(by_s: int) -> Floats:
        return _windows(products[:, second, (second + by_s) % period_s].T.ravel())

    pairs = apart(0) - _windows(own)
    n_turns = np.where(np.arange(period) < n % period, n // period + 1, n // period)
    for part_s in range(_LEAST_PART, period_s // 2 + 1):
        part = part_s * _PER_SECOND
        number = n_turns + np.roll(n_turns, -part)
        # The mean over all pairs has the deviation of one, divided by the root of how many pairs there are.
        heights = (pairs + np.roll(pairs, -part) + 2 * apart(part_s)) / (
            usual * np.sqrt(2.0 * number * (number - 1))
        )
        at = int(heights.argmax())
        height = float(heights[at])
        heights[(np.array([[at], [at + part], [at - part]]) + beside) % period] = -np.inf
        elsewhere = float(heights.max())
        firsts = np.arange(at, n, period)
        steps = np.concatenate([firsts, firsts + part, [at + part - period]])
        inside = np.sort(steps[(steps >= 0) & (steps < n)])
        # In the shortest periods nothing is elsewhere.
        yield Folded(inside, period_s, part_s, height, elsewhere if np.isfinite(elsewhere) else height)


def _sum_of_turns(rows: Array, period: int) -> Array:
    """Return the sum of all turns of `period` steps of `rows`, shape (n, bands); shape (period, bands)."""
    whole = len(rows) // period * period
    total = rows[:whole].reshape(-1, period, rows.shape[1]).sum(axis=0)
    total[: len(rows) - whole] += rows[whole:]
    return np.asarray(total, dtype=np.float32)


def _windows(values: Array) -> Floats:
    """Return the sums of `values`, shape (n,), of a period, over the window from each on; shape (n,)."""
    sums = np.cumsum(np.concatenate([[0.0], values, values[: _WINDOW - 1]]), dtype=np.float64)
    return np.asarray(sums[_WINDOW:] - sums[:-_WINDOW])
