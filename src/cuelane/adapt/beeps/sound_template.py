"""A returning sound's template: what its returns have in common, where else it is, and when it begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.fingerprint import HOP_S
from cuelane.adapt.beeps.returning import BEFORE, Returning, patches
from cuelane.adapt.beeps.tone_tracks import SPACINGS_S

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Chosen: bands in which a sound is so high, as a share of its highest, are its own. Of 79 boundaries of 159
# fitting classes that are less alike than what counts, under talk or music, 62 are rarer than one place in
# 500 by the likeness and that in these bands together, 35 by the likeness alone (before both were whitened).
_OWN_BAND = 0.3
# Chosen: around each return, in steps of 8 ms; 4 s hold a countdown before and a gong after.
AROUND = 500
# Chosen: 64 ms hold an onset; longer blurs where it is, shorter is not told from others.
_WINDOW = 8
# Chosen, in spreads: half of what windows of so many cells usually have as their norm, 22. Quiet ones, 4 to 7
# on fitting classes, are alike everywhere; first sounds have 20 and more. With 8 to 14 all signals of 109
# classes are placed as well or better.
LEAST_NORM = 11.0
# Chosen: how far a return may be off from where it was proposed, in steps.
_SLACK = 3
# Chosen, as a share of how alike the returns are at their clearest: less joins what is around by chance. On
# 42 fitting classes of the benchmark of boundaries talk and music just before signals had up to 0.17 of it,
# first sounds 0.59 and more.
_ALIKE_AGAIN = 0.5
# Chosen, in steps: windows that hold a part of a sound are alike for nearly as long as one; what is alike
# for less is so by chance, as it is between few returns under music. With it 1,711 of 1,795 boundaries of 135
# fitting classes were at their place, without it 1,678 of 1,810 of 136.
_SHORTEST = 6
# Chosen: strokes of one signal are closer than this, the tones of a countdown are not; in seconds.
_STROKES_S = 0.4
# Chosen, in steps: the stretch before a signal by which its rise is judged, and within which it rises.
_QUIET, _RISE = 24, 60
# Fitted on 42 classes of the benchmark of boundaries, seeds 118, 188 and 700 to 739: with 0.25 a word that
# begins with a hiss is late, with less what comes before is nearer; from 0.1 on all is within 40 ms.
_RISEN = 0.15
# Derived, in steps: a window that begins sooner than so much before a signal's rise lies mostly outside it.
_HALF_IN = _WINDOW // 2
# Chosen, in steps: a soft beginning before a rise is no longer than so much; so many steps just before it are
# held against its first ones.
_SOFT, _BEFORE_SOFT, _SOFT_FIRST = 31, 8, 3
# Fitted on 540 sets of returns of 159 fitting classes of the benchmark of boundaries: with 1.2 and 3, 51 of
# them begin sooner, 45 nearer to the truth and 6 up to 24 ms less near; 1.0 and 1.5 gain less, and so does 2.
_SURELY_THERE, _MORE_THAN_BEFORE = 1.2, 3.0
# Chosen, in steps: so much is held against a template at once, which bounds the memory.
_AT_ONCE = 4096
# Chosen: what has a smaller norm is silence, and like nothing.
_NO_NORM = 1e-6
# Chosen, in spreads squared: a band that hardly moves from return to return is no surer than so.
_LEAST_VARIANCE = 0.25
# Chosen: three of four returns exceed it; a lower share has single ones with loud music before them decide,
# a higher one takes talk that comes before every second return.
_NEARLY_ALL = 0.25
# Chosen, in steps: so much beside a pip still sounds of it; after it, twice as much.
_BESIDE = 10


@dataclass(frozen=True)
class SoundTemplate:
    """What returns of a sound, whitened, have in common: a mean and a weight for each cell, (length, 64)."""

    mean: Array
    weight: Array

    @property
    def length(self) -> int:
        return len(self.mean)


def template_of(prints: Array, found: Returning) -> tuple[SoundTemplate, Steps]:
    """Return the template of `found` and its returns, each moved by up to 3 steps to where it fits best.

    `prints` has shape (n, 64), whitened, as it has in :func:`likeness`.
    """
    steps = found.steps[(found.steps > BEFORE + _SLACK) & (found.steps < len(prints) - found.length - _SLACK)]
    for _ in range(2):
        mean = patches(prints, steps, found.length).mean(axis=0)
        moved = [patches(prints, steps + by, found.length) @ mean for by in range(-_SLACK, _SLACK + 1)]
        steps = steps + np.argmax(moved, axis=0) - _SLACK
        steps = np.clip(steps, BEFORE + _SLACK + 1, len(prints) - found.length - _SLACK - 1)
    rows = patches(prints, steps, found.length).reshape(len(steps), -1, found.length).transpose(0, 2, 1)
    mean, spread = rows.mean(axis=0), rows.var(axis=0)
    # Cells that are the same each time count for more; the floor is half the usual spread.
    weight = 1.0 / (spread + 0.5 * float(np.median(spread)) + 1e-9)
    weight = np.minimum(weight / np.median(weight), 4.0)
    return SoundTemplate(mean.astype(np.float32), weight.astype(np.float32)), steps


def likeness(prints: Array, template: SoundTemplate) -> Array:
    """Return the weighted correlation of `template` with the sound at each step; shape (n,), -1 to 1."""
    weight, mean = template.weight, template.mean
    total = float(weight.sum())
    mean = mean - float((weight * mean).sum()) / total
    norm = float((weight * mean * mean).sum())
    out = np.zeros(len(prints), np.float32)
    n = len(prints) - template.length + 1
    for start in range(0, n, _AT_ONCE):
        end = min(n, start + _AT_ONCE)
        block = prints[start : end + template.length - 1]
        sums = _window_sums(block, weight)
        power = np.maximum(_window_sums(block * block, weight) - sums**2 / total, 1e-6 * total)
        like = _window_sums(block, weight * mean) / np.sqrt(power * norm)
        # Only as many steps as there are windows; a window begins a step before its onset.
        out[BEFORE + start : BEFORE + end] = like[: max(0, len(out) - BEFORE - start)]
    return out


def _window_sums(prints: Array, cells: Array) -> Floats:
    """Return the sum of each window of `prints`, shape (n, bands), times `cells`, (length, bands).

    Its shape is (n - length + 1,). Each step is multiplied by all rows of cells at once, and the sum of a
    window is along a diagonal of that: one large product is some five times as fast as one for each row.
    """
    parts = prints @ np.ascontiguousarray(cells.T, dtype=np.float32)
    down, across = parts.strides
    shape = (len(prints) - len(cells) + 1, len(cells))
    diagonals = np.lib.stride_tricks.as_strided(parts, shape, (down, down + across), writeable=False)
    return np.asarray(diagonals.sum(axis=1, dtype=np.float64))


def own_bands(template: SoundTemplate) -> tuple[SoundTemplate, Steps]:
    """Return `template` in the bands in which it is loudest, and which those are; shape (n,)."""
    height = np.maximum(0, template.mean).mean(axis=0)
    bands = np.flatnonzero(height >= _OWN_BAND * height.max())
    return SoundTemplate(template.mean[:, bands], template.weight[:, bands]), bands


def alike_around(prints: Array, steps: Steps, least_norm: float = LEAST_NORM) -> Floats:
    """Return how alike the sound is at each lag from -4 to +4 s of `steps`, from one to another; 0 to 1.

    Shape (1001,): the mean correlation of 64 ms from each lag on, over all pairs of returns. What has a norm
    under `least_norm` counts for less: a room is alike whenever nobody talks, and would make a signal begin
    long before it.
    """
    steps = steps[(steps > AROUND + BEFORE) & (steps < len(prints) - AROUND - _WINDOW)]
    out = np.zeros(2 * AROUND + 1)
    n = len(steps)
    if n < 2:
        return out
    lags = np.arange(-AROUND - BEFORE, AROUND - BEFORE + _WINDOW)
    around = prints[steps + lags[:, None]]
    cells = _WINDOW * prints.shape[1]
    mean = _over_windows(around.sum(axis=2, dtype=np.float64)) / cells
    power = _over_windows(np.einsum("lkb,lkb->lk", around, around, dtype=np.float64)) - cells * mean**2
    share = 1.0 / np.maximum(np.sqrt(np.maximum(power, 0)), max(least_norm, _NO_NORM))
    # Over all pairs: the square of what all returns add up to, without each one's own.
    together = -(share**2 * power).sum(axis=1)
    parts, level = share.astype(np.float32)[:, None, :], (share * mean).sum(axis=1).astype(np.float32)
    for step in range(_WINDOW):
        added = (parts @ around[step : step + 2 * AROUND + 1 : 2])[:, 0] - level[:, None]
        together += np.einsum("lb,lb->l", added, added, dtype=np.float64)
    out[::2] = together / (n * (n - 1))
    out[1::2] = 0.5 * (out[:-1:2] + out[2::2])
    return np.clip(out, 0, 1)


def _over_windows(values: Floats) -> Floats:
    """Return the sums of `values`, shape (n_lags, k), over the window at every second lag, (n_windows, k).

    Every second lag is enough: a window holds eight steps.
    """
    sums = np.cumsum(np.concatenate([np.zeros((1, values.shape[1])), values]), axis=0)
    return np.asarray((sums[_WINDOW:] - sums[:-_WINDOW])[::2])


def begins_at(alike: Floats) -> tuple[int, int, list[tuple[int, int]]]:
    """Return (first step, last step, parts) of the signal around lag 0 of `alike`, in steps.

    `alike` has shape (n,), with lag 0 at `AROUND`. The parts are those of a countdown, (first step, last
    step) each; there are none without one.

    From where the returns are alike it goes to both sides over gaps of up to 0.4 s. Where like stretches
    come before or after at one distance of 0.4 to 2.2 s, they are a countdown, and its last is the boundary.
    """
    there = alike >= _level(alike)
    edges = np.diff(np.concatenate([[0], there.astype(np.int8), [0]]))
    runs: list[list[int]] = []
    for start, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if end - start < _SHORTEST:
            continue
        if runs and (start - runs[-1][1]) * HOP_S < _STROKES_S:
            runs[-1][1] = int(end)
        else:
            runs.append([int(start), int(end)])
    own = next((k for k, run in enumerate(runs) if run[0] <= AROUND + 2 and run[1] >= AROUND - 2), None)
    if own is None:
        return 0, _WINDOW, []
    # A tone of a countdown is about as clear as the others; what is hardly alike is so by chance.
    enough = _ALIKE_AGAIN * alike[slice(*runs[own])].max()
    last = own
    while last + 1 < len(runs) and _is_next(runs[last], runs[last + 1], alike, enough):
        last += 1
    first = own
    while first and _is_next(runs[first], runs[first - 1], alike, enough):
        first -= 1
    # Two alone may be a signal and what is always said after it.
    chosen = runs[last] if last - first >= 2 else runs[own]
    parts = [(run[0] - AROUND, run[1] - AROUND) for run in runs[first : last + 1]]
    return chosen[0] - AROUND, chosen[1] - AROUND, parts if last - first >= 2 else []


def _level(alike: Floats) -> float:
    """Return how alike the sound must be to belong to the signal around lag 0 of `alike`, shape (n,)."""
    return max(_ALIKE_AGAIN * float(alike[AROUND - 2 : AROUND + 3].max()), 0.2)


def _is_next(one: list[int], other: list[int], alike: Floats, enough: float) -> bool:
    """Whether `other` is the tone of a countdown beside `one`; `alike` has shape (n,), 0 to 1."""
    apart_s = abs(other[0] - one[0]) * HOP_S
    return SPACINGS_S[0] <= apart_s <= SPACINGS_S[1] and alike[slice(*other)].max() >= enough


def rises_at(prints: Array, steps: Steps, first: int, last: int, alike: Floats) -> int:
    """Return the lag from `steps`, in steps, at which the signal that is alike from `first` to `last` rises.

    `prints` has shape (n, 64), `steps` (k,), `alike` (m,) with lag 0 at `AROUND`.

    The course that nearly all returns exceed is taken, in the bands that their mean raises, since talk and
    loud music come before some returns only. The first of its rises counts from which the returns are alike:
    what else comes before nearly all is not the same each time, a signal's own soft beginning is. A signal
    that is never above what was before, or does not rise out of what is loud before it, is taken to begin
    where it is alike.
    """
    steps = steps[(steps > _QUIET - first) & (steps < len(prints) - last - _RISE)]
    if not len(steps):
        return first
    lags = np.arange(first - _QUIET, min(last, first + _RISE))
    rows = prints[steps[:, None] + lags]
    mean = rows.mean(axis=0)
    before = np.median(mean[: _QUIET // 2], axis=0)
    raised = np.maximum(0, mean[_QUIET // 2 :].max(axis=0) - before)
    usual = np.quantile((rows - before) @ raised, _NEARLY_ALL, axis=0)[_QUIET // 2 :]
    if usual.max() <= 0:
        return first
    high = usual >= _RISEN * usual.max()
    rises = lags[_QUIET // 2 + np.flatnonzero(high & ~np.concatenate([[False], high[:-1]]))]
    own = rises[alike[AROUND + rises] >= _level(alike)]
    if not len(own):
        own = rises[rises >= first - _HALF_IN]
    return int(own[0]) if len(own) else first


def begins_softly(prints: Array, steps: Steps, at: int) -> int:
    """Return the lag, in steps, at which what is there at nearly every one of `steps` begins, `at` or sooner.

    `prints` has shape (n, 64), apart from what is usual; `steps` has shape (k,). A word may begin with a
    consonant a tenth as high as its vowel, which music hides or no rise shows; the mean of all returns does.
    """
    lags = np.arange(at - _SOFT - _BEFORE_SOFT, at + 1)
    steps = steps[(steps + lags[0] >= 0) & (steps + at < len(prints))]
    if len(steps) < 2:
        return at
    rows = prints[steps[:, None] + lags]
    # Student's t of each band, with a floor; what is quieter than usual is no beginning.
    surely = rows.mean(axis=0) * np.sqrt(len(steps) / (rows.var(axis=0) + _LEAST_VARIANCE))
    there = np.sqrt((np.maximum(surely, 0) ** 2).mean(axis=1))
    first = len(lags) - 1
    while first > _BEFORE_SOFT and there[first - 1] >= _SURELY_THERE:
        first -= 1
    own = float(there[first : first + _SOFT_FIRST].mean())
    before = float(there[first - _BEFORE_SOFT : first - 1].mean())
    is_end_of_search = first == _BEFORE_SOFT
    return at if is_end_of_search or own < _MORE_THAN_BEFORE * before else int(lags[first])


def company_of(alike: Floats, parts: Sequence[tuple[int, int]]) -> float:
    """Return how alike the surroundings of a signal are, 0 to 1: in music they return with it.

    `alike` has shape (n,), with lag 0 at `AROUND`. `parts` are (first step, last step) of the signal and,
    before it, of the pips that lead up to it: they are no surroundings, but what is between them is.
    """
    outside = np.ones(len(alike), dtype=bool)
    for first, last in parts[:-1]:
        outside[max(0, AROUND + first - _BESIDE) : AROUND + last + 2 * _BESIDE] = False
    first, last = parts[-1]
    outside[max(0, AROUND + first - 30) : AROUND + last + 60] = False
    return float(alike[outside].mean()) if outside.any() else 1.0
