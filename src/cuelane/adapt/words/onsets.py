"""Where a word begins: by the aligner inside a phrase, by the level of the sound after a pause.

The aligner counts the end of a silence as part of the word after it: some 30 ms in the median, more where a
breath or a room's reverberation fills the silence, and all of it where it misses the pause of a comma. There
the level shows where sound starts, so it is used after a pause, but only near the aligner's onset. Inside a
phrase the level has no such edge, and the aligner no bias: measured by tests/benchmarks/bench_adapt.py on six
voices, the median error of words inside a phrase is -9 to 0 ms clean and +2 to +10 ms in a room. (One neural
voice shows a bias of 40 to 50 ms, which is an error of its labels: see tests/kit/classgen_speech.py.)
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from cuelane.adapt.words.islands import Hearing
from cuelane.recording.recogniser import LISTEN_RATE, HeardWord

Audio = npt.NDArray[np.float32]
Levels = npt.NDArray[np.float64]
Sounding = npt.NDArray[np.bool_]

# Chosen: half the window, so that an onset is read to 2.5 ms.
HOP_S = 0.0025
# Measured: the median that is named above.
PAUSE_BIAS_S = 0.030
# Chosen: the 5 ms over which clips' own onsets are read.
_WINDOW_S = 0.005
# Chosen: how far the aligner may be off beside a pause; more finds the pause of another word.
_NEAR_S = 0.20
# Chosen: a pause that the aligner heard may hold a click; one that it did not hear must be longer than a
# closure.
_HEARD_PAUSE_S, _UNHEARD_PAUSE_S = 0.05, 0.08
# Chosen: a pause that begins later is after the word's first sound.
_LATEST_PAUSE_S = 0.06
# Chosen: over the pause's own level; lower hears breath as speech, higher loses soft beginnings.
_RISE_DB = 9.0
# Chosen: so far below the word's loudest sound; where a pause is known, softer sounds of the word are treated
# as noise.
_BELOW_KNOWN_DB, _BELOW_UNKNOWN_DB = 33.0, 45.0
# Chosen: longer than a click of the mouth, shorter than the softest consonant.
_STEADY_S = 0.015


def onset_s(word: HeardWord, before_s: float, hearing: Hearing) -> float:
    """Return where `word` begins in the recording, in seconds; so are the times in it.

    Parameters
    ----------
    before_s : where the aligner ended the word before it.
    """
    low = max(before_s - 0.06, word.onset_s - _NEAR_S - _HEARD_PAUSE_S)
    level = levels_db(hearing.low(low, max(word.onset_s + _NEAR_S, word.end_s)))
    low = max(0.0, low)
    at = round((word.onset_s - low) / HOP_S)
    if word.paused:
        quiet = levels_db(hearing.low(max(before_s, word.onset_s - 0.3), word.onset_s - 0.02))
        quiet_dbfs = float(np.percentile(quiet, 30)) if len(quiet) else -100.0
        found = pauses(sounding(level, quiet_dbfs, _BELOW_KNOWN_DB), _HEARD_PAUSE_S)
        ends = [end for _, end in found if abs(end - at) * HOP_S <= _NEAR_S]
        if ends:
            return low + min(ends, key=lambda end: abs(end - at)) * HOP_S
        return word.onset_s + PAUSE_BIAS_S
    sound = sounding(level, hearing.loudness().floor_dbfs, _BELOW_UNKNOWN_DB)
    for start, end in pauses(sound, _UNHEARD_PAUSE_S):
        if (start - at) * HOP_S <= _LATEST_PAUSE_S and at <= end:
            return low + end * HOP_S
    return word.onset_s


def levels_db(samples: Audio) -> Levels:
    """Return RMS levels of `samples` (16 kHz mono, shape (n,)) in dBFS, at least -100, 5 ms every 2.5 ms."""
    hop, window = round(HOP_S * LISTEN_RATE), round(_WINDOW_S * LISTEN_RATE)
    if not len(samples):
        return np.zeros(0)
    power = np.convolve(samples.astype(np.float64) ** 2, np.full(window, 1 / window), "same")
    return np.asarray(10 * np.log10(power[::hop] + 1e-10))


def sounding(level: Levels, quiet_dbfs: float, below_peak_db: float) -> Sounding:
    """Return where there is sound in `level`, 15 ms of it at least: single clicks do not count.

    `level` is as :func:`levels_db` gives it, shape (n,); so is the answer's shape.

    Parameters
    ----------
    quiet_dbfs : the level of a pause nearby; sound must be louder by a margin.
    below_peak_db : how far below the loudest of `level` sound may be.
    """
    gate = max(quiet_dbfs + _RISE_DB, float(level.max(initial=-100.0)) - below_peak_db)
    return _without_runs(level > gate, _STEADY_S)


def _without_runs(sound: Sounding, shorter_than_s: float) -> Sounding:
    out = sound.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], sound, [False]]).astype(int)))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if (end - start) * HOP_S < shorter_than_s:
            out[start:end] = False
    return out


def pauses(sound: Sounding, shortest_s: float) -> list[tuple[int, int]]:
    """Return (start, end) of the pauses in `sound` of at least `shortest_s` that are followed by sound.

    `sound` has shape (n,), one each 2.5 ms; start and end are indices into it.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[True], sound, [True]]).astype(int)))
    found = zip(edges[::2], edges[1::2], strict=True)
    return [(int(a), int(b)) for a, b in found if (b - a) * HOP_S >= shortest_s and b < len(sound)]
