"""Where a sound that returns marks boundaries in a whole recording, by itself or held against a plan."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from cuelane.adapt.beeps.boundaries import Boundary, PlaceScores
from cuelane.adapt.beeps.boundary_sound import BoundarySound, exact_places
from cuelane.adapt.beeps.fingerprint import HOP_S, fingerprints
from cuelane.adapt.beeps.regularity import faint_between, firsts, settled
from cuelane.adapt.beeps.sound_template import likeness
from cuelane.adapt.beeps.tone_filter import SCORE_RATE
from cuelane.recording.decode import Recording

Array = npt.NDArray[np.float32]

# Chosen: five minutes at once bound the memory; the overlap is longer than any template, and the lead lets
# the running means of the fingerprints settle.
_BLOCK_S, _OVERLAP_S, _LEAD_S = 300.0, 4.0, 3.0
# Chosen: likeness by which a return exceeds what is no return, from which it is sure.
_SURE_BEYOND = 0.1
# Chosen, in steps, about 50 ms: nearer tops are of one stroke.
_LEAST_APART = 6
# Chosen: a return that is so much less like the others still counts where two usual lengths meet.
_FAINTER = 0.25


def likeness_over(recording: Recording, sound: BoundarySound) -> Array:
    """Return the likeness of `sound` at each 8 ms of `recording`, shape (n,), -1 to 1; a block at a time."""
    parts = []
    at = 0.0
    while at < recording.seconds:
        lead_s = min(at, _LEAD_S)
        part = recording.part(at - lead_s, min(recording.seconds, at + _BLOCK_S + _OVERLAP_S))
        like = likeness(sound.usual.apart(fingerprints(part)), sound.template)[round(lead_s / HOP_S) :]
        is_last = at + _BLOCK_S >= recording.seconds
        parts.append(like if is_last else like[: round(_BLOCK_S / HOP_S)])
        at += _BLOCK_S
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def sound_boundaries(recording: Recording, sound: BoundarySound) -> tuple[list[Boundary], list[Boundary]]:
    """Return every boundary of `recording` that `sound` marks, and fainter returns; each in order of time."""
    like = likeness_over(recording, sound)
    tops, _ = find_peaks(like, height=max(0.0, sound.least_like - _FAINTER), distance=round(1.0 / HOP_S))
    clear = like[tops] >= sound.least_like
    strokes, _ = find_peaks(like, height=max(0.0, sound.least_like - _FAINTER), distance=_LEAST_APART)
    times = settled(firsts(tops[clear].astype(np.float64) * HOP_S), strokes * HOP_S)
    between = faint_between(times, tops[~clear] * HOP_S)
    times = np.sort(np.concatenate([times, between]))
    found = []
    for chosen in (times, np.setdiff1d(tops[~clear] * HOP_S, between)):
        places = np.round(chosen / HOP_S).astype(np.int64)
        exact = exact_places(like, places) + sound.offset_s
        rows = zip(exact.tolist(), like[places].tolist(), strict=True)
        found.append([Boundary(t, _score(value, sound)) for t, value in rows if 0 <= t < recording.seconds])
    return found[0], found[1]


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
