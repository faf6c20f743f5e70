"""A loudness and true-peak meter for a stream."""

from __future__ import annotations

import math
from array import array

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import SignalError
from cuelane.meter.gating import (
    BINS_PER_SECOND,
    GATING_HOP_BINS,
    MOMENTARY_BINS,
    SHORT_TERM_BINS,
    channel_weights,
    gated_loudness_lufs,
    loudness_of_power,
    loudness_range_lu,
)
from cuelane.meter.true_peak import TruePeak
from cuelane.meter.weighting import KWeighting

Array = npt.NDArray[np.float64]

_PIECE = 1 << 16


class Meter:
    """Measures a stream pushed block by block; any block sizes give the same readings.

    Energies are summed over 10 ms bins. Momentary (400 ms) and short-term (3 s) loudness are read at every
    bin, so a burst's place in time costs at most 0.02 LU; the integrated gate and the range take every tenth,
    as the standards say. Memory grows by 0.6 MB an hour, since the relative gate needs all earlier readings.

    Loudness of silence, or of less than one window, is -inf; the range then is 0.0. Never NaN.
    """

    def __init__(self, sample_rate: int, n_channels: int, *, true_peak: bool = True) -> None:
        self.sample_rate = sample_rate
        self.n_channels = n_channels
        self.n_frames = 0
        self._weighting = KWeighting(sample_rate, channel_weights(n_channels))
        self._true_peak = TruePeak(n_channels) if true_peak else None
        self._open_bin = 0.0
        self._n_bins = 0
        self._recent = np.zeros(0)
        self._gating_powers = array("d")
        self._range_powers = array("d")
        self._max_momentary = 0.0
        self._max_short_term = 0.0

    def push(self, block: npt.NDArray[np.floating]) -> None:
        """Take the next samples, shape (n_frames, n_channels), full scale 1.0.

        Raises
        ------
        SignalError : another shape, or not finite.
        """
        if block.ndim != 2 or block.shape[1] != self.n_channels:
            raise SignalError(f"the meter wants shape (n_frames, {self.n_channels}), got {block.shape}")
        for start in range(0, len(block), _PIECE):
            self._take(block[start : start + _PIECE])

    def _take(self, piece: npt.NDArray[np.floating]) -> None:
        if self._weighting.is_at_rest and not piece.any():
            if self._true_peak is not None:
                self._true_peak.push(piece)
            self._pass_silence(len(piece))
            return
        if not np.isfinite(piece).all():
            raise SignalError("the meter wants finite samples")
        if self._true_peak is not None:
            self._true_peak.push(piece)
        self._fill_bins(self._weighting.energy(piece))

    def _edges(self, first: int, last: int) -> npt.NDArray[np.int64]:
        """Return where bins `first` to `last` begin, in samples of the stream."""
        n_bins = np.arange(first, last + 1, dtype=np.int64)
        return (2 * n_bins * self.sample_rate + BINS_PER_SECOND) // (2 * BINS_PER_SECOND)

    def _edges_within(self, n_frames: int) -> npt.NDArray[np.int64]:
        """Count the next `n_frames`, and return where in them the open bin and those after it begin."""
        first = self.n_frames
        self.n_frames += n_frames
        edges = self._edges(self._n_bins, self.n_frames * BINS_PER_SECOND // self.sample_rate + 1) - first
        return edges[edges <= n_frames]

    def _pass_silence(self, n_frames: int) -> None:
        """Do as :meth:`_fill_bins` does for so many energies of 0; most of a track is silent."""
        bins = np.zeros(len(self._edges_within(n_frames)) - 1)
        if len(bins):
            bins[0], self._open_bin = self._open_bin, 0.0
            self._close_bins(bins)

    def _fill_bins(self, energy: Array) -> None:
        edges = self._edges_within(len(energy))
        if len(edges) == 1:
            self._open_bin += float(energy.sum())
            return
        edges[0] = 0
        if edges[-1] < len(energy):
            sums = np.add.reduceat(energy, edges)
        else:
            sums = np.append(np.add.reduceat(energy, edges[:-1]), 0.0)
        sums[0] += self._open_bin
        self._open_bin = float(sums[-1])
        self._close_bins(sums[:-1])

    def _close_bins(self, bins: Array) -> None:
        joined = np.concatenate([self._recent, bins])
        total = np.concatenate([[0.0], np.cumsum(joined)])
        n_before = self._n_bins - len(self._recent)
        self._n_bins += len(bins)

        def follow(n_window: int, loudest: float, kept: array[float]) -> float:
            """Read the windows that end in the new bins, keep every tenth, return the loudest so far."""
            ends = np.arange(max(n_window, len(self._recent) + 1), len(joined) + 1)
            if not ends.size:
                return loudest
            power = (total[ends] - total[ends - n_window]) / (n_window * self.sample_rate / BINS_PER_SECOND)
            power = np.maximum(power, 0.0)
            kept.extend(power[(ends - n_window + n_before) % GATING_HOP_BINS == 0])
            return max(loudest, float(power.max()))

        self._max_momentary = follow(MOMENTARY_BINS, self._max_momentary, self._gating_powers)
        self._max_short_term = follow(SHORT_TERM_BINS, self._max_short_term, self._range_powers)
        self._recent = joined[-SHORT_TERM_BINS:]

    def _latest(self, n_window: int) -> float:
        if len(self._recent) < n_window:
            return -math.inf
        span = n_window * self.sample_rate / BINS_PER_SECOND
        return loudness_of_power(float(self._recent[-n_window:].sum()) / span)

    @property
    def momentary_lufs(self) -> float:
        """Loudness of the latest 400 ms, to the latest whole 10 ms."""
        return self._latest(MOMENTARY_BINS)

    @property
    def short_term_lufs(self) -> float:
        """Loudness of the latest 3 s, to the latest whole 10 ms."""
        return self._latest(SHORT_TERM_BINS)

    @property
    def max_momentary_lufs(self) -> float:
        return loudness_of_power(self._max_momentary)

    @property
    def max_short_term_lufs(self) -> float:
        return loudness_of_power(self._max_short_term)

    @property
    def integrated_lufs(self) -> float:
        """Gated loudness of everything pushed; -inf when nothing passed the gates."""
        return gated_loudness_lufs(np.asarray(self._gating_powers, dtype=np.float64))

    @property
    def range_lu(self) -> float:
        """Loudness range (EBU Tech 3342); 0.0 when nothing passed the gates."""
        return loudness_range_lu(np.asarray(self._range_powers, dtype=np.float64))

    @property
    def true_peak_dbtp(self) -> float:
        """Highest inter-sample peak so far; -inf in silence.

        Raises
        ------
        SignalError : the meter was made with ``true_peak=False``.
        """
        if self._true_peak is None:
            raise SignalError("this meter was made without true peak")
        peak = self._true_peak.peak
        return 20 * math.log10(peak) if peak > 0 else -math.inf


def integrated_loudness_lufs(samples: npt.NDArray[np.floating], sample_rate: int) -> float:
    """Return the gated loudness (BS.1770) of `samples`, shape (n_frames,) or (n_frames, n_channels).

    -inf for silence and for less than 400 ms; use :func:`clip_loudness_lufs` for short clips.
    """
    table = samples[:, np.newaxis] if samples.ndim == 1 else samples
    meter = Meter(sample_rate, table.shape[1], true_peak=False)
    meter.push(table)
    return meter.integrated_lufs
