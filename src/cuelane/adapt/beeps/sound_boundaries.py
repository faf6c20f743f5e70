"""Where a sound that returns marks boundaries in a whole recording, by itself or held against a plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d
from scipy.signal import find_peaks

from cuelane.adapt.beeps.boundaries import SURE_BOUNDARY, Boundary, PlaceScores
from cuelane.adapt.beeps.boundary_sound import BoundarySound
from cuelane.adapt.beeps.fingerprint import HOP_S, fingerprints
from cuelane.adapt.beeps.regularity import LEAST_INTERVAL_S, faint_between, firsts, settled
from cuelane.adapt.beeps.sound_returns import exact_places
from cuelane.adapt.beeps.sound_template import likeness, own_bands
from cuelane.adapt.beeps.tone_filter import SCORE_RATE
from cuelane.recording.decode import Recording

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Chosen: five minutes at once bound the memory; the overlap is longer than any template, and the lead lets
# the running means of the fingerprints settle.
_BLOCK_S, _OVERLAP_S, _LEAD_S = 300.0, 4.0, 3.0
# Chosen: likeness by which a return exceeds what is no return, from which it is sure.
_SURE_BEYOND = 0.1
# Chosen, in steps, about 50 ms: nearer tops are of one stroke.
_LEAST_APART = 6
# Chosen, in steps, 40 ms: two courses of one return are highest within it.
_BESIDE = 5
# Chosen: more faint returns than one in so many seconds would be beside any place by chance.
_FAINT_EVERY_S = 2.0
# Chosen: a return that is so much less like the others still counts where two usual lengths meet.
_FAINTER = 0.25


def likeness_over(recording: Recording, sound: BoundarySound) -> Array:
    """Return the likeness of `sound` at each 8 ms of `recording`, shape (n,), -1 to 1; a block at a time."""
    return _over(recording, sound.course)


def _over(recording: Recording, course: Callable[[Array], Array]) -> Array:
    """Return `course` of the fingerprints of `recording`, one row for each 8 ms; a block at a time."""
    parts = []
    at = 0.0
    while at < recording.seconds:
        lead_s = min(at, _LEAD_S)
        part = recording.part(at - lead_s, min(recording.seconds, at + _BLOCK_S + _OVERLAP_S))
        rows = course(fingerprints(part))[round(lead_s / HOP_S) :]
        is_last = at + _BLOCK_S >= recording.seconds
        parts.append(rows if is_last else rows[: round(_BLOCK_S / HOP_S)])
        at += _BLOCK_S
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def sound_boundaries(recording: Recording, sound: BoundarySound) -> tuple[list[Boundary], list[Boundary]]:
    """Return every boundary of `recording` that `sound` marks, and fainter returns; each in order of time."""
    loudest, bands = own_bands(sound.template)

    def both(prints: Array) -> Array:
        seen = sound.view.of(sound.usual, prints)
        return np.stack([likeness(seen, sound.template), likeness(seen[:, bands], loudest)], axis=1)

    courses = _over(recording, both)
    if not len(courses):
        return [], []
    like = np.ascontiguousarray(courses[:, 0])
    tops, _ = find_peaks(like, height=max(0.0, sound.least_like - _FAINTER), distance=round(1.0 / HOP_S))
    clear = like[tops] >= sound.least_like
    strokes, _ = find_peaks(like, height=max(0.0, sound.least_like - _FAINTER), distance=_LEAST_APART)
    times = settled(firsts(tops[clear].astype(np.float64) * HOP_S), strokes * HOP_S)
    between = faint_between(times, tops[~clear] * HOP_S)
    times = np.sort(np.concatenate([times, between]))
    places = np.round(times / HOP_S).astype(np.int64)
    if sound.row is not None:
        places = np.unique(sound.row.last(like, places))
    scores = [_score(value, sound) for value in like[places].tolist()]
    found = _boundaries(exact_places(like, places) + sound.offset_s, scores, recording.seconds)
    rare, scores = faint_returns(courses, places)
    return found, _boundaries(exact_places(like, rare) + sound.offset_s, scores, recording.seconds)


def _boundaries(times_s: Floats, scores: Sequence[float], seconds: float) -> list[Boundary]:
    """Return a boundary for each of `times_s`, shape (n,), that is within the recording."""
    rows = zip(times_s.tolist(), scores, strict=True)
    return [Boundary(at_s, score) for at_s, score in rows if 0 <= at_s < seconds]


def faint_returns(courses: Array, clear: Steps) -> tuple[Steps, list[float]]:
    """Return where both of `courses`, shape (n, 2), are rarely so high, in order, and a score of each.

    What is nearer to one of `clear`, shape (k,), in order, than an interval is long is left out: its echoes.

    The courses are the likeness in all bands and in the sound's own ones: talk over a signal changes the
    first, music in its bands the second. What counts is how rarely each is as high as there, both together;
    the score orders them, and none is sure.
    """
    near = maximum_filter1d(courses, 2 * _BESIDE + 1, axis=0)
    rarity = np.zeros(len(courses))
    for course in near.T:
        ordered = np.sort(course)
        rarity -= np.log((len(course) - np.searchsorted(ordered, course) + 0.5) / len(course))
    tops, _ = find_peaks(rarity, distance=_LEAST_APART)
    if len(clear):
        tops = tops[np.abs(tops[:, None] - clear[None, :]).min(axis=1) * HOP_S >= LEAST_INTERVAL_S]
    most = round(len(courses) * HOP_S / _FAINT_EVERY_S)
    tops = np.sort(tops[np.argsort(-rarity[tops], kind="stable")[:most]])
    together = courses.sum(axis=1)
    around = np.clip(tops[:, None] + np.arange(-_BESIDE, _BESIDE + 1), 0, len(courses) - 1)
    rows = np.arange(len(tops))
    places = around[rows, together[around].argmax(axis=1)]
    as_rare = np.argsort(np.argsort(-rarity[tops], kind="stable"), kind="stable")
    # Two tops beside one return lead to the same place.
    places, first = np.unique(places, return_index=True)
    return places, (SURE_BOUNDARY * (1.0 - (as_rare[first] + 1.0) / (len(tops) + 1))).tolist()


def _score(like: float, sound: BoundarySound) -> float:
    return float(np.clip(0.6 + (like - sound.beyond - _SURE_BEYOND), 0.0, 1.0))


class SoundScores(PlaceScores):
    """How well a sound's boundary fits each millisecond of a recording, as a plan's search wants it."""

    def __init__(self, recording: Recording, sound: BoundarySound) -> None:
        like = likeness_over(recording, sound)
        at = np.arange(recording.n_listen * SCORE_RATE // 16_000) / SCORE_RATE - sound.offset_s
        together = np.interp(at, np.arange(len(like)) * HOP_S, like) if len(like) else np.zeros(len(at))
        # What the likest other sound scores is the zero of what a plan may follow.
        scale = max(0.05, 1.0 - sound.beyond)
        super().__init__(np.clip((together - sound.beyond) / scale, 0, 1).astype(np.float32))

    def refine(self, at: int) -> float:
        return at / SCORE_RATE
