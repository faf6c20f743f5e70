"""Cues without a template: where speech begins and ends, by energy alone.

The onset rule is the one that clips are cut by: where the RMS over 5 ms first comes within 35 dB of the
cue's loudest 5 ms. A cue is a stretch of sound between silences; which stretch belongs to which cue is
decided by one-to-one matching, and only a stretch that also ends when it should is taken: the schedule
knows how long each cue is. Where music covers the silences nothing is claimed. (General onset detectors are
no help there: of 2400 onsets that librosa gave in ten minutes of music, which one is a cue is chance.)
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft

from cuelane.check.intake import ANALYSIS_RATE, CheckedSound
from cuelane.check.match import match

STEP = ANALYSIS_RATE // 1000
WINDOW = 5 * STEP
# Derived: the rule of an onset, within 35 dB of the loudest 5 ms, as clips are cut by.
RANGE_DB = 35.0
MARGIN_DB = 12.0
"""Chosen: speech must be so much louder than the sound around it for its edges to be found."""
# Chosen: longer than the closure of a p, t or k; a longer one joins two cues.
PAUSE_S = 0.12
# Chosen: farther from its place a cue without a template cannot be told from another.
REACH_S = 0.5
# Chosen: softer than this nothing is speech, even in a file at a low level.
QUIET_DBFS = -90.0
# Chosen: a cue may end so much earlier than its length says, where its last sound is soft.
END_S = 0.15
TAIL_S = 0.45
"""Chosen: a cue may end so much earlier or, in a room, later than its length says."""
COVERED_DB = 38.0
"""Chosen: sound between the cues must lie so far under them for an edge 35 dB down to be seen."""
# Chosen: lower reads an offset into another session's file, higher misses one under music.
MIN_ALIKE = 0.3


# Chosen: what sounds shorter begins no cue, but it may be the end of one: a t let go after its closure.
LEAST_S = 0.03


@dataclass(frozen=True)
class Speech:
    """A stretch of sound: onset and end in seconds of the file."""

    onset_s: float
    end_s: float

    def begins_cue(self) -> bool:
        """Tell whether it lasts long enough to be where a cue begins."""
        return self.end_s - self.onset_s >= LEAST_S - 1e-6


UNSURE = Speech(-1.0, -1.0)


def _power_db(sound: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """Return the level of the 5 ms centred on each millisecond, in dBFS."""
    energy = np.concatenate([[0.0], np.cumsum(np.square(sound, dtype=np.float64))])
    centre = np.arange(0, len(sound), STEP)
    low = np.clip(centre - WINDOW // 2, 0, len(sound))
    high = np.clip(centre + WINDOW // 2, 0, len(sound))
    return np.asarray(10 * np.log10(np.maximum((energy[high] - energy[low]) / WINDOW, 1e-12)))


def stretches(sound: npt.NDArray[np.float32], first_s: float) -> list[Speech]:
    """Return the stretches of sound in `sound`, shape (n,), 16 kHz, from `first_s` on, however short."""
    level = _power_db(sound)
    top = float(np.percentile(level, 99.5))
    floor = float(np.percentile(level, 10))
    threshold = max(top - RANGE_DB, floor + MARGIN_DB, QUIET_DBFS)
    if top < threshold:
        return []
    active = level >= threshold
    edges = np.flatnonzero(np.diff(np.concatenate([[False], active, [False]]).astype(np.int8)))
    runs = [(int(a), int(b)) for a, b in zip(edges[0::2], edges[1::2], strict=True)]
    joined: list[tuple[int, int]] = []
    for run in runs:
        if joined and run[0] - joined[-1][1] < PAUSE_S * 1000:
            joined[-1] = (joined[-1][0], run[1])
        else:
            joined.append(run)
    return [Speech(first_s + a / 1000, first_s + b / 1000) for a, b in joined]


def find_speech(
    recording: CheckedSound,
    places: Sequence[tuple[float, float]],
    blanked: Sequence[tuple[float, float]],
    between_dbfs: float,
    *,
    any_length: bool = False,
) -> list[Speech | None]:
    """Return the stretch of sound for each cue planned at (onset, end), in seconds of the file.

    `blanked` are stretches known to be something else, taken out first. `between_dbfs` is the usual level
    between events. A cue among other sound is returned as UNSURE, since it cannot be said to be missing
    either. With `any_length` a stretch need not end when the cue should, for a cue that another voice says.
    """
    pieces: list[Speech] = []
    covered: list[bool] = []
    quiet = sorted(blanked)
    longest = max((last - first for first, last in quiet), default=0.0)
    for onset, end in places:
        low = onset - REACH_S - 0.2
        n = round((end - onset + 2 * REACH_S + 0.4) * ANALYSIS_RATE)
        sound = recording.read(round(low * ANALYSIS_RATE), n)
        near = bisect_left(quiet, (low - longest - 0.02,))
        for first, last in quiet[near : bisect_left(quiet, (end + REACH_S + 0.22,))]:
            a = max(0, round((first - 0.02 - low) * ANALYSIS_RATE))
            b = min(len(sound), round((last + 0.02 - low) * ANALYSIS_RATE))
            if b > a:
                sound[a:b] = 0.0
        level = _power_db(sound)
        loud = float(np.percentile(level, 99.5))
        covered.append(between_dbfs > loud - COVERED_DB)
        if not covered[-1]:
            pieces += stretches(sound, low)
    starts = _once([piece.onset_s for piece in pieces if piece.begins_cue()])
    stops = _once([piece.end_s for piece in pieces])

    def ends(i: int, j: int) -> bool:
        due = starts[j] + places[i][1] - places[i][0]
        first = bisect_left(stops, due - END_S)
        return first < len(stops) and stops[first] <= due + TAIL_S

    found: list[Speech | None] = [UNSURE if blind else None for blind in covered]
    for i, j in match([onset for onset, _ in places], starts, REACH_S, None if any_length else ends):
        due = starts[j] + places[i][1] - places[i][0]
        if any_length:
            stop = stops[max(bisect_right(stops, starts[j]), bisect_right(stops, due + TAIL_S) - 1)]
        else:
            stop = min(stops, key=lambda t: abs(t - due))
        found[i] = Speech(starts[j], stop)
    return found


def _once(times: list[float]) -> list[float]:
    kept: list[float] = []
    for time in sorted(times):
        if not kept or time - kept[-1] > 0.02:
            kept.append(time)
    return kept


def find_offset(
    outline: npt.NDArray[np.float32], spans: Sequence[tuple[float, float]], per_s: float
) -> float | None:
    """Return by how much the file is later than the schedule, from where there is sound at all.

    `outline`, shape (n, 2), holds (lowest, highest) sample `per_s` times a second; `spans` (onset, end) of
    every event.
    """
    size = np.abs(outline).max(axis=1) if len(outline) else np.zeros(0, np.float32)
    if not size.any():
        return None
    heard = (size > np.percentile(size[size > 0], 95) * 10 ** (-RANGE_DB / 20)).astype(np.float32)
    planned = np.zeros(int(max(end for _, end in spans) * per_s) + 1, np.float32)
    for onset, end in spans:
        planned[int(onset * per_s) : int(end * per_s)] = 1.0
    n = next_fast_len(len(heard) + len(planned), real=True)
    alike = irfft(rfft(heard - heard.mean(), n) * np.conj(rfft(planned - planned.mean(), n)), n)
    top = int(np.argmax(alike))
    norm = float(np.sqrt(max(heard.var() * len(heard) * planned.var() * len(planned), 1e-9)))
    if alike[top] / norm < MIN_ALIKE:
        return None
    return (top if top < len(heard) else top - n) / per_s
