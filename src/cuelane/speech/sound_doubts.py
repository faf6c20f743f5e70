"""What a rule can hear in a spoken line: too short, too long, nearly silent, a hole inside, an end cut off.

A model can swallow a word or stop within one, and no exception says so. Each bound is one that lines which a
recogniser understands keep by a wide margin; ``tests/benchmarks/bench_voices.py`` counts how many do not.
"""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import audible_span

_STEP_MS = 10
# Chosen: a hundredth as loud as the loudest is a pause to a listener, and this long it is no stop consonant.
_HOLE_DB = -40.0
_HOLE_MS = 600
# A vowel that is cut shows as a last step nearly as loud as the loudest; speech that ends has died away.
_CUT_DB = -12.0
_SILENT_RMS = 0.003
_SHORTEST, _LONGEST, _BESIDES_S = 0.45, 2.2, 0.3
_PAUSES = re.compile(r"[,;:—…]|[.!?](?=\s)")


def sound_doubt(
    samples: npt.NDArray[np.float32],
    sample_rate: int,
    text: str,
    expected_s: float | None,
    *,
    trimmed: bool = False,
) -> str:
    """Return what is wrong with how a line sounds, in a few words; nothing where no rule hears anything.

    Parameters
    ----------
    samples : shape (n_frames,), full scale 1.0: what an engine gave, or a clip.
    text : what was spoken, as words or as phonemes: each mark inside it may be heard as a pause.
    expected_s : about how long it should be, above 0; None where nobody knows.
    trimmed : this is a clip, which starts and ends with its sound.
    """
    if samples.size == 0 or not np.isfinite(samples).all():
        return "there is no sound"
    start, end = (0, len(samples)) if trimmed else audible_span(samples, sample_rate)
    speech = samples[start:end].astype(np.float64)
    step = max(1, sample_rate * _STEP_MS // 1000)
    levels = np.sqrt(np.square(speech[: len(speech) // step * step].reshape(-1, step)).mean(axis=1))
    if not levels.size or levels.max() < _SILENT_RMS:
        return "it is nearly silent"
    if of_length := length_doubt(len(speech) / sample_rate, expected_s):
        return of_length
    quiet = levels < levels.max() * 10 ** (_HOLE_DB / 20)
    if _holes(quiet) > len(_PAUSES.findall(text)):
        return f"there is a silence of over {_HOLE_MS / 1000:g} s inside"
    if not trimmed and end >= len(samples) - step and levels[-1] > levels.max() * 10 ** (_CUT_DB / 20):
        return "its end is cut off"
    return ""


def length_doubt(length_s: float, expected_s: float | None) -> str:
    """Return what is wrong with how long a line takes; nothing where nobody knows how long it should."""
    if expected_s is None or expected_s * _SHORTEST <= length_s <= expected_s * _LONGEST + _BESIDES_S:
        return ""
    return f"it takes {length_s:.1f} s, where about {expected_s:.1f} s were expected"


def _holes(quiet: npt.NDArray[np.bool_]) -> int:
    """Return how many runs of quiet steps, shape (n_steps,), are too long for a pause within a word."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], quiet.astype(np.int8), [0]])))
    return int(np.count_nonzero(edges[1::2] - edges[::2] > _HOLE_MS // _STEP_MS))
