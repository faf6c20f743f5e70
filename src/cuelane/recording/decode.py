"""A recording decoded once to disk: mono at 48 kHz to cut clips from, and at 16 kHz for recognition.

Both are 16-bit files that are read a piece at a time, so memory does not grow with the recording.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soxr

from cuelane.base.errors import AudioFileError
from cuelane.base.units import SAMPLE_RATE
from cuelane.media.reader import decode
from cuelane.recording.recogniser import LISTEN_RATE

Audio = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

CLIP_RATE = SAMPLE_RATE
MAX_SECONDS = 6 * 3600
_BLOCK_FRAMES = 1 << 18


class PcmFile:
    """16-bit samples in a file, read when they are sliced: a mapped file's pages are memory too."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._n_frames = path.stat().st_size // 2

    def __len__(self) -> int:
        return self._n_frames

    def __getitem__(self, at: slice) -> npt.NDArray[np.int16]:
        start, stop, _ = at.indices(self._n_frames)
        return np.fromfile(self._path, np.int16, max(0, stop - start), offset=2 * start)


Samples = npt.NDArray[np.int16] | PcmFile


class Recording:
    """The sound of one file, or a part of it. ``n_frames`` counts at 48 kHz, ``n_listen`` at 16 kHz.

    ``start_s`` is where a part begins in the whole; all other times count from the part's own start.
    """

    def __init__(
        self, source: Path, full: Samples, low: Samples, *, first_ms: int = 0, n_listen: int | None = None
    ) -> None:
        self.source = source
        self.start_s = first_ms / 1000
        self._full, self._low = full, low
        self._first, self._first_low = first_ms * CLIP_RATE // 1000, first_ms * LISTEN_RATE // 1000
        last_low = len(low) if n_listen is None else min(len(low), self._first_low + n_listen)
        last = len(full) if n_listen is None else min(len(full), last_low * CLIP_RATE // LISTEN_RATE)
        self.n_listen = max(0, last_low - self._first_low)
        self.n_frames = max(0, last - self._first)

    @property
    def seconds(self) -> float:
        return self.n_frames / CLIP_RATE

    def part(self, start_s: float, end_s: float) -> Recording:
        """Return the part from `start_s`, to the nearest millisecond, to `end_s` or the recording's end."""
        first_ms = max(0, round(start_s * 1000))
        n_listen = max(0, round(end_s * LISTEN_RATE) - first_ms * LISTEN_RATE // 1000)
        n_listen = min(n_listen, max(0, self.n_listen - first_ms * LISTEN_RATE // 1000))
        first_ms += round(self.start_s * 1000)
        return Recording(self.source, self._full, self._low, first_ms=first_ms, n_listen=n_listen)

    def full(self, start_s: float, end_s: float) -> Audio:
        """Return 48 kHz samples from `start_s` to `end_s`, as far as there are any; shape (n,), full scale
        1.0."""
        return self.full_frames(round(start_s * CLIP_RATE), round(end_s * CLIP_RATE))

    def full_frames(self, start: int, end: int) -> Audio:
        """Return 48 kHz samples from frame `start` to `end`, as far as there are any; shape (n,), full scale
        1.0."""
        first, last = (min(max(0, at), self.n_frames) + self._first for at in (start, end))
        return _float(self._full[first:last])

    def low(self, start_s: float, end_s: float) -> Audio:
        """Return 16 kHz samples from `start_s` to `end_s`, as far as there are any; shape (n,), full scale
        1.0."""
        return self.low_frames(round(start_s * LISTEN_RATE), round(end_s * LISTEN_RATE))

    def low_frames(self, start: int, end: int) -> Audio:
        """Return 16 kHz samples from frame `start` to `end`, as far as there are any; shape (n,)."""
        first, last = (min(max(0, at), self.n_listen) + self._first_low for at in (start, end))
        return _float(self._low[first:last])


def _float(samples: npt.NDArray[np.int16]) -> Audio:
    return np.asarray(samples, dtype=np.float32) / np.float32(32_768)


def open_recording(
    source: Path,
    scratch: Path,
    progress: Progress | None = None,
    *,
    least_s: float = 1.0,
    most_s: float = MAX_SECONDS,
) -> Recording:
    """Decode `source` (any audio or video file) into files in `scratch`, a folder of the caller's.

    Raises
    ------
    AudioFileError : not readable, or shorter than `least_s` or longer than `most_s`.
    """
    resampler = soxr.ResampleStream(CLIP_RATE, LISTEN_RATE, 1, dtype="float32")
    full_path, low_path = scratch / "full.pcm", scratch / "low.pcm"
    n_frames = 0
    with full_path.open("wb") as full_file, low_path.open("wb") as low_file:
        for block in decode(source, sample_rate=CLIP_RATE, channels=1, block_frames=_BLOCK_FRAMES):
            mono = np.ascontiguousarray(block[:, 0])
            n_frames += len(mono)
            if n_frames > most_s * CLIP_RATE:
                raise AudioFileError(f"{source}: longer than {_in_words(most_s)}; cut it first")
            full_file.write(_pcm(mono))
            low_file.write(_pcm(resampler.resample_chunk(mono)))
            if progress:
                progress(n_frames, 0)
        low_file.write(_pcm(resampler.resample_chunk(np.zeros(0, np.float32), last=True)))
    if n_frames < least_s * CLIP_RATE:
        least = "a second" if least_s == 1.0 else f"{least_s:g} s"
        raise AudioFileError(f"{source}: holds less than {least} of sound")
    return Recording(source, PcmFile(full_path), PcmFile(low_path))


def _in_words(seconds: float) -> str:
    return f"{seconds / 3600:g} hours" if seconds >= 3600 else f"{seconds:g} s"


def _pcm(samples: Audio) -> bytes:
    return bytes(np.clip(np.rint(samples * 32_768.0), -32_768, 32_767).astype(np.int16).tobytes())
