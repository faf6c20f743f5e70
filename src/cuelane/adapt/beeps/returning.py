"""Sounds that return: among all onsets of a recording, those that are alike and come at a class's intervals.

Every onset's fingerprint is held against every other. An onset proposes the set of those that are like it,
at several grades of likeness; the set whose times look most like boundaries (see
:mod:`cuelane.adapt.beeps.regularity`) is what the onset stands for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from cuelane.adapt.beeps.company import keeps_company, surroundings, with_company
from cuelane.adapt.beeps.fingerprint import HOP_S
from cuelane.adapt.beeps.regularity import FEWEST, LEAST_INTERVAL_S, evidence_of_ten, firsts
from cuelane.adapt.beeps.sound_view import SoundView
from cuelane.adapt.beeps.tone_tracks import ToneTrack, grouped

Array = npt.NDArray[np.float32]
Steps = npt.NDArray[np.int64]

# Chosen: a click, a beep, and a sound of some parts, in steps of 8 ms.
LENGTHS = (12, 25, 60)
# Chosen: a window begins a step before its onset, so that the rise is in it.
BEFORE = 1
# Chosen: onsets kept a second; fewer lose beeps under talk, more cost time with their square.
_ONSETS_A_SECOND = 4.0
# Chosen on seeds 0 to 30 of the benchmark of boundaries: in steps, and in bands; with a step against the one
# before in all bands together, 2 of 13 whistles under music were among the onsets, with these 13.
_AFTER_RISE, _BEFORE_RISE, _TOGETHER = 6, 12, 5
# Chosen: in steps, about 50 ms; nearer tops are of one sound.
_LEAST_APART = 6
# Chosen: more sets cost time in what follows, fewer may leave out the right one: under a loud piece of music
# that is played over again it came 34th.
_MOST_SETS = 48
# Chosen, to rank only: so many nats is a set worth that is apart by 1 from all else, up to the second.
_APART_WORTH, _MOST_APART = 40.0, 0.3
# Chosen: sets of less cannot become a finding.
_LEAST_WORTH = 4.0
# Chosen: what has a smaller norm is silence, and like nothing.
_NO_NORM = 1e-6
# Derived: the least that a correlation can be.
_NOT_ALIKE = -1.0
# Chosen: this share of like tones comes no sooner than a class's intervals; of notes a smaller one does.
_MOSTLY_ALONE = 0.6
# Chosen: more tones cost time, and the right one is rarely beyond; fewer lost two tones of fitting classes.
_MOST_TONES = 24


@dataclass(frozen=True)
class Returning:
    """Steps at which a sound of `length` steps returns, and what speaks for their being boundaries.

    ``evidence`` is that of their times, in nats; ``apart`` by how much the least like of them is more like
    the one that proposed them than anything else is.
    """

    steps: Steps
    length: int
    evidence: float
    apart: float

    @property
    def worth(self) -> float:
        return max(0.0, self.evidence) + _APART_WORTH * min(self.apart, _MOST_APART)


def onsets(prints: Array) -> Steps:
    """Return the steps of `prints`, shape (n, 64), at which most rises, at most four a second, in order.

    `prints` are apart from what is usual. A rise is that of neighbouring bands together, 48 ms against the
    96 ms before: a whistle rises in few bands, and trembles after it has risen.
    """
    n = len(prints)
    at = np.arange(_BEFORE_RISE, n - _AFTER_RISE)
    if not len(at):
        return np.zeros(0, np.int64)
    sums = np.concatenate([np.zeros((1, prints.shape[1])), np.cumsum(prints, axis=0, dtype=np.float64)])
    now = (sums[at + _AFTER_RISE] - sums[at]) / _AFTER_RISE
    before = (sums[at] - sums[at - _BEFORE_RISE]) / _BEFORE_RISE
    risen = np.cumsum(np.pad(np.maximum(0, now - before), ((0, 0), (1, 0))), axis=1)
    rise = np.zeros(n, np.float32)
    rise[at] = (risen[:, _TOGETHER:] - risen[:, :-_TOGETHER]).max(axis=1)
    tops, _ = find_peaks(rise, distance=_LEAST_APART)
    most = int(_ONSETS_A_SECOND * n * HOP_S)
    kept = tops[np.argsort(-rise[tops], kind="stable")[:most]]
    return np.sort(kept[(kept > BEFORE) & (kept < n - max(LENGTHS))])


def patches(prints: Array, steps: Steps, length: int, least_norm: float = 0.0) -> Array:
    """Return the sound at each of `steps`, mean 0 and norm 1; shape (n, length * 64).

    What has a norm under `least_norm` is divided by that, and stays smaller.
    """
    windows = np.lib.stride_tricks.sliding_window_view(prints, length, axis=0)
    rows = windows[steps - BEFORE].reshape(len(steps), -1)
    rows = rows - rows.mean(axis=1, keepdims=True)
    norm = np.linalg.norm(rows, axis=1, keepdims=True)
    return np.asarray(rows / np.maximum(norm, max(least_norm, _NO_NORM)), dtype=np.float32)


@dataclass(frozen=True)
class Onsets:
    """The onsets of a stretch, and what is around them.

    Attributes
    ----------
    steps : where they are, shape (k,), in order.
    seeds : which of them propose sets, shape (m,), places among the k.
    around : their surroundings, as :func:`cuelane.adapt.beeps.company.surroundings` gives them.
    accompanied : which of them each seed has as company, shape (m, k).
    """

    steps: Steps
    seeds: Steps
    around: Array
    accompanied: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, prints: Array, near: tuple[int, int] | None = None) -> Onsets:
        """Return the onsets of `prints`, shape (n, 64), apart from what is usual.

        With `near`, (step, reach), only those so near to that step propose sets.
        """
        steps = onsets(prints)
        seeds = np.arange(len(steps))
        if near is not None:
            seeds = np.flatnonzero(np.abs(steps - near[0]) <= near[1])
        around = surroundings(prints, steps)
        return cls(steps, seeds, around, with_company(around, seeds))


def returning(found_at: Onsets, seen: Array, view: SoundView) -> list[Returning]:
    """Return the sets of like onsets that look most like boundaries, best first, none twice.

    `seen`, shape (n, 64), are the fingerprints in the `view` in which the onsets of `found_at` are held
    against each other.

    Each onset proposes a set by itself, and in some views one together with those that are likest: of what
    music and talk add to each of them, little is left in their mean.
    """
    found: list[Returning] = []
    steps, around = found_at.steps, found_at.around
    if len(steps) < FEWEST:
        return found
    most = len(seen) * HOP_S / LEAST_INTERVAL_S
    # Many onsets propose the same set.
    known: dict[bytes, float] = {}
    for length in LENGTHS:
        rows = patches(seen, steps, length)
        alike = rows @ rows.T
        for seed, others in zip(found_at.seeds, found_at.accompanied, strict=True):
            tried = [np.where(others, _NOT_ALIKE, alike[seed])]
            if view.joined > 1:
                tried.append(np.where(others, _NOT_ALIKE, _joined(alike, tried[0], view.joined)))
            for likeness in tried:
                found += _sets(likeness, steps, length, most, view.grades, known)
    found.sort(key=lambda one: -one.worth)
    kept: list[Returning] = []
    for one in found:
        own = np.searchsorted(steps, one.steps)
        if all(_shared(one, other) < 0.5 for other in kept) and not keeps_company(around, own):
            kept.append(one)
        if len(kept) == _MOST_SETS:
            break
    return kept


def tones_returning(tracks: Sequence[ToneTrack]) -> list[Returning]:
    """Return the sets of like tones among `tracks` that look most like boundaries, best first.

    Under loud music two onsets of a tone may hardly be alike, since the music is not, but its pitch and
    length are the same each time.
    """
    found: list[Returning] = []
    for group, tone in grouped(tracks):
        times = firsts(np.sort([track.onset_s for track in group]))
        if len(times) < max(FEWEST, _MOSTLY_ALONE * len(group)):
            continue
        length = max((n for n in LENGTHS if n * HOP_S <= tone.length_s), default=LENGTHS[0])
        steps = np.round(times / HOP_S).astype(np.int64)
        found.append(Returning(steps, length, evidence_of_ten(times), 0.0))
    found.sort(key=lambda one: -one.evidence)
    return [one for one in found[:_MOST_TONES] if one.evidence > _LEAST_WORTH]


def _joined(alike: Array, one: Array, n: int) -> Array:
    """Return how like each onset, (k,), is to the mean of the `n` that are likest to one.

    `alike`, shape (k, k), is how like the onsets are to each other; `one`, shape (k,), how like they are to
    that one, itself among them.
    """
    n = min(n, len(one))
    likest = np.argpartition(one, -n)[-n:]
    norm = np.sqrt(max(float(alike[np.ix_(likest, likest)].mean()), _NO_NORM))
    return np.asarray(alike[likest].mean(axis=0) / norm, dtype=np.float32)


def _sets(
    likeness: Array,
    steps: Steps,
    length: int,
    most: float,
    grades: Sequence[float],
    known: dict[bytes, float],
) -> list[Returning]:
    """Return the best set of onsets like one: of those at each grade, and of that before the widest step.

    `known` is the evidence of sets that were met before, which is added to.
    """
    ranked = np.sort(likeness)[::-1]
    falls = ranked[FEWEST - 1 : int(most)] - ranked[FEWEST : int(most) + 1]
    if not len(falls):
        return []
    widest = FEWEST + int(falls.argmax())
    best: Returning | None = None
    for size in sorted({widest, *(int((ranked >= grade).sum()) for grade in grades)}):
        if not FEWEST <= size <= 2 * most or size >= len(ranked):
            continue
        members = np.flatnonzero(likeness >= ranked[size - 1])
        times = firsts(steps[members].astype(np.float64) * HOP_S)
        if len(times) < FEWEST:
            continue
        apart = float(ranked[size - 1] - ranked[size])
        key = times.tobytes()
        if key not in known:
            known[key] = evidence_of_ten(times)
        one = Returning(np.round(times / HOP_S).astype(np.int64), length, known[key], apart)
        if best is None or one.worth > best.worth:
            best = one
    return [best] if best is not None and best.worth > _LEAST_WORTH else []


def _shared(one: Returning, other: Returning) -> float:
    """Return the share of `one` that `other` has too; what proposes a longer template is another sound."""
    if one.length != other.length:
        return 0.0
    apart = np.abs(one.steps[:, None] - other.steps[None, :]).min(axis=1)
    return float((apart * HOP_S < 0.1).mean())
