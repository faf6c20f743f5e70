"""Music as one or two channels, whatever the file holds."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.media import decode


def decode_one_or_two(path: Path, sample_rate: int) -> tuple[int, Iterator[npt.NDArray[np.float32]]]:
    """Return the number of channels, and blocks of shape (n, channels).

    Mono stays mono; more than two channels become two.

    Raises
    ------
    AudioFileError : it cannot be read.
    """
    blocks = decode(path, sample_rate=sample_rate, channels=None)
    first = next(blocks, np.zeros((0, 1), dtype=np.float32))
    n_channels = first.shape[1]
    if n_channels > 2:
        return 2, decode(path, sample_rate=sample_rate, channels=2)
    return n_channels, itertools.chain([first], blocks)
