"""A cue's audio, and where its first and last audible samples are.

The rule, for speech: the *onset* is the first sample at which the RMS over a 5 ms window centred on that
sample comes within 35 dB of the clip's loudest 5 ms; the *end* is one past the last such sample. A centred
window keeps the onset within 2.5 ms of the one that a detector with leading or trailing windows finds.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError

Samples = npt.NDArray[np.float32]

WINDOW_MS = 5
AUDIBLE_RANGE_DB = 35.0


@dataclass(frozen=True)
class Clip:
    """One text spoken by one voice: mono float32 in [-1, 1], sample 0 the onset, its last sample the end - 1.

    ``sha256`` is :func:`content_hash` of the samples; ``voice`` the name of the voice that spoke it.
    ``words`` holds (word, onset_sample, end_sample) where the engine told them, else nothing. ``doubt`` is
    what was heard wrong in the sound that the clip was made of and cannot be heard in it, in a few words.
    """

    text: str
    voice: str
    sample_rate: int
    samples: Samples
    sha256: str
    words: tuple[tuple[str, int, int], ...] = ()
    doubt: str = ""

    @property
    def n_frames(self) -> int:
        return len(self.samples)


def content_hash(samples: Samples) -> str:
    """Return ``sha256:<hex>`` over `samples`, shape (n_frames,), as the 24-bit PCM that the store keeps."""
    return "sha256:" + hashlib.sha256(pcm24_bytes(samples)).hexdigest()


def pcm24_bytes(samples: Samples) -> bytes:
    """Return `samples` (shape (n,), [-1, 1)) as packed little-endian 24-bit integers, nearest value."""
    whole = np.clip(np.rint(samples.astype(np.float64) * 8_388_608.0), -8_388_608, 8_388_607).astype("<i4")
    return whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def quantise24(samples: npt.NDArray[np.floating]) -> Samples:
    """Return `samples`, of any shape, on the 24-bit grid, exact in float32: memory and store then hold
    the same values."""
    whole = np.clip(np.rint(samples.astype(np.float64) * 8_388_608.0), -8_388_608, 8_388_607)
    return np.asarray(whole / 8_388_608.0, dtype=np.float32)


def audible_span(samples: npt.NDArray[np.floating], sample_rate: int) -> tuple[int, int]:
    """Return (onset, end) of the speech in `samples` by the rule above; (0, 0) if it is silent.

    Parameters
    ----------
    samples : shape (n_frames,), full scale 1.0, finite.

    Raises
    ------
    SignalError : not 1-D, or not finite.
    """
    if samples.ndim != 1:
        raise SignalError(f"audible_span wants shape (n_frames,), got {samples.shape}")
    if samples.size == 0:
        return 0, 0
    if not np.isfinite(samples).all():
        raise SignalError("audible_span wants finite samples")
    window = max(1, sample_rate * WINDOW_MS // 1000)
    before = window // 2
    energy = np.square(samples.astype(np.float64))
    total = np.concatenate([np.zeros(before), energy, np.zeros(window - before)]).cumsum()
    total = np.concatenate([[0.0], total])
    power = total[window : window + samples.size] - total[: samples.size]
    loudest = float(power.max())
    if loudest <= 0.0:
        return 0, 0
    # The running sum cancels to about 1e-16 of its largest value, far below the -35 dB sought here.
    audible = np.flatnonzero(power >= loudest * 10 ** (-AUDIBLE_RANGE_DB / 10))
    return int(audible[0]), int(audible[-1]) + 1
