"""What is in a stream, 100 ms by 100 ms: the power in each band, and how K-weighting changes the whole.

One transform gives both. Its frames overlap in ramps whose squares add to one, so that together they hold
exactly the energy of the sound. A stereo sound is one complex signal: the power of its spectrum, summed over
both signs of the frequency, is the sum of the channels' powers.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
from scipy.fft import fft, next_fast_len, rfft
from scipy.signal import sosfreqz

from cuelane.hearing.bands import EDGES_HZ, FRAMES_PER_SECOND, N_BANDS
from cuelane.meter.weighting import k_weighting_sos

Block = npt.NDArray[np.float32]

_BATCH = 16
_RAMP = 0.25


def hop_frames(sample_rate: int) -> int:
    return sample_rate // FRAMES_PER_SECOND


class BandSpectra:
    """Follows a stream of one or two channels; rows are 100 ms."""

    def __init__(self, sample_rate: int, n_channels: int) -> None:
        self._n_channels = n_channels
        self._hop = hop_frames(sample_rate)
        self._n_fft = next_fast_len(round((1 + _RAMP) * self._hop), real=True)
        ramp = self._n_fft - self._hop
        rise = np.sin(np.pi / 2 * (np.arange(ramp) + 0.5) / ramp)
        self._window = np.concatenate([rise, np.ones(self._hop - ramp), rise[::-1]]).astype(np.float32)
        self._matrix = _matrix(sample_rate, n_channels, self._n_fft, self._hop)
        # The first frame is centred on the first 100 ms.
        self._pending = np.zeros((ramp // 2, n_channels), dtype=np.float32)
        self._rows: list[Block] = []

    def push(self, block: Block) -> None:
        """Take the next samples, shape (n_frames, n_channels)."""
        joined = np.concatenate([self._pending, block])
        n_ready = max(0, (len(joined) - self._n_fft) // self._hop + 1)
        self._pending = joined[n_ready * self._hop :]
        flat = joined.view(np.complex64)[:, 0] if self._n_channels == 2 else joined[:, 0]
        for first in range(0, n_ready, _BATCH):
            n_frames = min(_BATCH, n_ready - first)
            part = flat[first * self._hop :]
            taken = np.lib.stride_tricks.as_strided(
                part, (n_frames, self._n_fft), (self._hop * part.itemsize, part.itemsize), writeable=False
            )
            sounding = [i for i in range(n_frames) if taken[i].any()]
            rows = np.zeros((n_frames, N_BANDS + 2), dtype=np.float32)
            if sounding:
                framed = taken[sounding] * self._window if len(sounding) < n_frames else taken * self._window
                stereo = self._n_channels == 2
                parts = (fft(framed, overwrite_x=True) if stereo else rfft(framed)).view(np.float32)
                np.square(parts, out=parts)
                # Few rows at once: larger products are split over threads, which then wait for each other.
                for i in range(0, len(sounding), 2):
                    rows[sounding[i : i + 2]] = parts[i : i + 2] @ self._matrix
            self._rows.append(rows)

    def finish(self) -> tuple[Block, Block]:
        """Return the mean square in each band, mean over channels, shape (n, 18), and the ratio of K-weighted
        to plain power, shape (n,). Silence is taken to follow."""
        self.push(np.zeros((self._n_fft, self._n_channels), dtype=np.float32))
        rows = np.concatenate(self._rows)
        weighted, plain = rows[:, N_BANDS], rows[:, N_BANDS + 1]
        ratio = np.divide(weighted, plain, out=np.zeros_like(plain), where=plain > 0)
        return np.ascontiguousarray(rows[:, :N_BANDS]) / np.float32(self._n_channels), ratio


@functools.lru_cache(maxsize=8)
def _matrix(sample_rate: int, n_channels: int, n_fft: int, hop: int) -> Block:
    """Return the matrix that sums the squared parts of a spectrum, shape (2 * n_bins, 20): 18 bands, the
    K-weighted power and the plain power."""
    bin_hz = sample_rate / n_fft
    if n_channels == 2:
        bins = np.abs(np.fft.fftfreq(n_fft, 1 / n_fft))
        count = np.ones(n_fft)
    else:
        bins = np.arange(n_fft // 2 + 1, dtype=np.float64)
        # A real sound's other half is not computed.
        count = np.where((bins == 0) | (2 * bins == n_fft), 1.0, 2.0)
    upper = np.minimum(EDGES_HZ[np.newaxis, 1:] / bin_hz, bins[:, np.newaxis] + 0.5)
    lower = np.maximum(EDGES_HZ[np.newaxis, :-1] / bin_hz, bins[:, np.newaxis] - 0.5)
    bands = np.clip(upper - lower, 0, 1)
    _, response = sosfreqz(k_weighting_sos(sample_rate), 2 * np.pi * bins / n_fft)
    columns = np.column_stack([bands, np.square(np.abs(response)), np.ones(len(bins))])
    columns *= count[:, np.newaxis] / (n_fft * hop)
    return np.repeat(columns, 2, axis=0).astype(np.float32)
