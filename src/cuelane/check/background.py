"""The level of sound between the events, where a finished track is silent."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.check.intake import ANALYSIS_RATE, CheckedSound

STEP = ANALYSIS_RATE // 10
GUARD_S = 0.15
"""Chosen: codecs smear and rooms ring, so sound closer to an event than this is taken for the event's own."""
READ = STEP * 600
SILENCE_DBFS = -60.0
"""Chosen: what is louder than this between events counts as sound; the noise floors of good recordings lie
below (value from memory)."""


@dataclass(frozen=True)
class Background:
    """Levels in dBFS (RMS at 16 kHz) outside events; -inf where there is no sound, or no such stretch.

    ``level_dbfs`` is over all of it; ``usual_dbfs`` the median of its tenths of a second; ``first_s`` the
    first place louder than -60 dBFS.
    """

    level_dbfs: float
    usual_dbfs: float
    loudest_dbfs: float
    loudest_s: float | None
    first_s: float | None


def _db(power: float) -> float:
    return 10 * float(np.log10(power)) if power > 0 else float("-inf")


def tenths(recording: CheckedSound) -> npt.NDArray[np.float32]:
    """Return the mean square of each tenth of a second of the file, shape (n_tenths,), full scale 1.0."""
    powers = []
    for start in range(0, recording.n_frames - STEP + 1, READ):
        block = recording.read(start, min(READ, recording.n_frames - start))
        n = len(block) // STEP
        powers.append(np.square(block[: n * STEP]).reshape(n, STEP).mean(axis=1))
    return np.concatenate(powers) if powers else np.zeros(0, np.float32)


def background(power: npt.NDArray[np.float32], spans: Iterable[tuple[float, float]]) -> Background:
    """Return the level outside `spans`, (first, last) in seconds of the file.

    `power` is as :func:`tenths` gives it, shape (n_tenths,).
    """
    is_open = np.ones(len(power), bool)
    for first_s, last_s in spans:
        low = max(0, int((first_s - GUARD_S) * 10))
        is_open[low : max(low, int(np.ceil((last_s + GUARD_S) * 10)))] = False
    where = np.flatnonzero(is_open)
    if not len(where):
        return Background(float("-inf"), float("-inf"), float("-inf"), None, None)
    quiet = power[where]
    top = int(np.argmax(quiet))
    loud = np.flatnonzero(quiet > 10 ** (SILENCE_DBFS / 10))
    return Background(
        _db(float(quiet.mean(dtype=np.float64))), _db(float(np.median(quiet))), _db(float(quiet[top])),
        float(where[top]) / 10, float(where[loud[0]]) / 10 if len(loud) else None,
    )  # fmt: skip
