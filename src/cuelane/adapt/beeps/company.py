"""What sounds around an onset: music that is played over again returns with all of it, a signal does not."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]
Steps = npt.NDArray[np.int64]

# Chosen: surroundings are held against each other in half seconds of 64 ms steps and 16 bands.
_PIECE, _STEPS_TOGETHER, _BANDS_TOGETHER = 8, 8, 4
# Chosen, in those steps: 4 s to each side, but what an onset itself sounds like is no surroundings.
_SIDE, _JUST_BEFORE, _JUST_AFTER = 64, 5, 10
# Fitted on 152 fitting classes of the benchmark of boundaries: of the pairs of one class's boundaries at most
# 10 in 100, mostly none, have surroundings that are more alike; of the turns of a loop of music nearly all.
_WITH_COMPANY = 0.25
# Measured on 7 classes for fitting, in spreads: half seconds of music have a norm of 4 to 10, those of a room
# that is quiet 1 to 3. Quiet is alike everywhere, and no company.
_LEAST_NORM = 4.5
# Chosen: so many onsets at once bound the memory.
_SEEDS_TOGETHER = 32
# Chosen: the share of a set's pairs from which it is music; of a class's boundaries 1 in 10 at most are such.
_IN_COMPANY = 0.25


def surroundings(prints: Array, steps: Steps) -> Array:
    """Return what sounds around each of `steps`, in 16 half seconds, each of mean 0 and norm 1 or less.

    `prints` has shape (n, 64), `steps` (k,), what comes back (16, k, 128). What is nearer than 0.3 s before
    an onset and 0.6 s after it is left out.
    """
    n = len(prints) // _STEPS_TOGETHER
    n_bands = prints.shape[1] // _BANDS_TOGETHER
    cells = prints[: n * _STEPS_TOGETHER].reshape(n, _STEPS_TOGETHER, n_bands, _BANDS_TOGETHER)
    coarse = cells.mean(axis=(1, 3))
    lags = np.concatenate(
        [np.arange(-_JUST_BEFORE - _SIDE, -_JUST_BEFORE), np.arange(_JUST_AFTER, _JUST_AFTER + _SIDE)]
    )
    around = coarse[np.clip((steps // _STEPS_TOGETHER)[:, None] + lags, 0, n - 1)]
    pieces = around.reshape(len(steps), len(lags) // _PIECE, _PIECE * n_bands).transpose(1, 0, 2)
    pieces = pieces - pieces.mean(axis=2, keepdims=True)
    norm = np.linalg.norm(pieces, axis=2, keepdims=True)
    return np.asarray(pieces / np.maximum(norm, _LEAST_NORM), dtype=np.float32)


def with_company(around: Array, seeds: Steps) -> npt.NDArray[np.bool_]:
    """Return which onsets have surroundings like those of each of `seeds`, itself not; shape (m, k).

    `around` is as :func:`surroundings` gives it, (16, k, 128); `seeds`, shape (m,), are places among the k.
    Music that is played over again, or a figure of it, returns with all that is around it; a signal does
    not. Half of the half seconds must be alike, so that the pips before a signal, or its tail, are no
    company.
    """
    found = np.zeros((len(seeds), around.shape[1]), dtype=np.bool_)
    for start in range(0, len(seeds), _SEEDS_TOGETHER):
        some = seeds[start : start + _SEEDS_TOGETHER]
        alike = around[:, some] @ around.transpose(0, 2, 1)
        # The median exceeds it only where half of them do, which is told sooner.
        maybe = 2 * (alike > _WITH_COMPANY).sum(axis=0) >= len(alike)
        found[start : start + len(some)][maybe] = np.median(alike[:, maybe], axis=0) > _WITH_COMPANY
    found[np.arange(len(seeds)), seeds] = False
    return found


def keeps_company(around: Array, those: Steps) -> bool:
    """Whether so many pairs of `those` are company to each other that they are music played over again.

    `around` is that of some onsets, as :func:`surroundings` gives it; `those`, shape (m,), are places among
    them. What proposed them may be another note, which has company with none of them.
    """
    pairs = with_company(around[:, those], np.arange(len(those)))
    return bool(pairs.mean() > _IN_COMPANY)


def share_in_company(prints: Array, steps: Steps) -> float:
    """Return the share of `steps`, shape (m,), that have surroundings like those of another of them, 0 to 1.

    `prints` has shape (n, 64), apart from what is usual.
    """
    return float(with_company(surroundings(prints, steps), np.arange(len(steps))).any(axis=1).mean())
