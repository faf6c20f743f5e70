"""Loudness from the energies of 10 ms bins: gating, range, and the whole-clip readings.

Source: ITU-R BS.1770-5, Annex 1 (400 ms blocks, 75 % overlap, gates at -70 LUFS and -10 LU); EBU Tech 3342
(range: 3 s windows, gates at -70 LUFS and -20 LU, 10th to 95th percentile). Values from a secondary source,
Tech 3342 from the primary text.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError
from cuelane.meter.weighting import k_weight

Array = npt.NDArray[np.float64]

ABSOLUTE_GATE_LUFS = -70.0
OFFSET_LU = -0.691
BINS_PER_SECOND = 100
MOMENTARY_BINS = 40
SHORT_TERM_BINS = 300
GATING_HOP_BINS = 10


def loudness_of_power(power: float) -> float:
    """Return LUFS of a K-weighted, channel-weighted mean square (full scale 1.0); zero gives -inf."""
    return OFFSET_LU + 10 * math.log10(power) if power > 0 else -math.inf


def power_of_loudness(loudness_lufs: float) -> float:
    return float(10 ** ((loudness_lufs - OFFSET_LU) / 10))


def channel_weights(n_channels: int) -> Array:
    """Return the standard's weight of each channel: all 1 up to three; L R C Ls Rs; L R C LFE Ls Rs.

    Shape (n_channels,), linear.

    Raises
    ------
    SignalError : there are no weights here for so many channels.
    """
    if 1 <= n_channels <= 3:
        return np.ones(n_channels)
    if n_channels == 5:
        return np.array([1.0, 1.0, 1.0, 1.41, 1.41])
    if n_channels == 6:
        return np.array([1.0, 1.0, 1.0, 0.0, 1.41, 1.41])
    raise SignalError(f"loudness wants 1, 2, 3, 5 or 6 channels, got {n_channels}")


def gated_loudness_lufs(block_powers: Array, relative_gate_lu: float = -10.0) -> float:
    """Return the gated loudness of `block_powers`, shape (n_blocks,); -inf if none passes the gates."""
    audible = block_powers[block_powers > power_of_loudness(ABSOLUTE_GATE_LUFS)]
    if not audible.size:
        return -math.inf
    threshold = float(audible.mean()) * 10 ** (relative_gate_lu / 10)
    return loudness_of_power(float(audible[audible > threshold].mean()))


def loudness_range_lu(short_term_powers: Array) -> float:
    """Return EBU Tech 3342's loudness range of `short_term_powers` (mean squares of 3 s windows, 10 a
    second; shape (n,)), at least 0.

    0.0 when none passes the gates. Not meaningful for isolated utterances, as Tech 3342 itself says.
    """
    audible = short_term_powers[short_term_powers >= power_of_loudness(ABSOLUTE_GATE_LUFS)]
    if not audible.size:
        return 0.0
    kept = np.sort(audible[audible >= float(audible.mean()) * 10 ** (-20.0 / 10)])

    def percentile(percent: float) -> float:
        # round((n - 1) * p / 100 + 1), 1-based, halves up, as in the text's own program.
        return float(kept[math.floor((len(kept) - 1) * percent / 100 + 0.5)])

    return 10 * math.log10(percentile(95) / percentile(10))


def clip_loudness_lufs(samples: npt.NDArray[np.floating], sample_rate: int) -> float:
    """Return the loudness of a short mono clip, such as a spoken cue, in LUFS.

    Under 400 ms: the K-weighted mean square over the whole clip, ungated. From 400 ms: gated as in BS.1770,
    over whole 400 ms blocks every 10 ms and one that ends with the clip. Both agree at 400 ms, and neither
    counts the silence around a clip. (BS.1770 defines nothing under 400 ms.)

    Parameters
    ----------
    samples : shape (n_frames,), full scale 1.0.

    Returns
    -------
    -inf for digital silence, for no samples, and for a clip all below -70 LUFS.

    Raises
    ------
    SignalError : not 1-D, or not finite.
    """
    if samples.ndim != 1:
        raise SignalError(f"clip_loudness_lufs wants shape (n_frames,), got {samples.shape}")
    if not np.isfinite(samples).all():
        raise SignalError("clip_loudness_lufs wants finite samples")
    if not samples.size:
        return -math.inf
    energy = np.square(k_weight(samples, sample_rate))
    block = sample_rate * 2 // 5
    if energy.size < block:
        loudness = loudness_of_power(float(energy.mean()))
        return loudness if loudness > ABSOLUTE_GATE_LUFS else -math.inf
    total = np.concatenate([[0.0], np.cumsum(energy)])
    hop = max(1, sample_rate // BINS_PER_SECOND)
    last = energy.size - block
    starts = np.append(np.arange(0, last, hop), last)
    return gated_loudness_lufs((total[starts + block] - total[starts]) / block)
