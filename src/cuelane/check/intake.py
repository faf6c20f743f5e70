"""The file under check, read once: its levels, its clipped runs, and its sound at 16 kHz to measure in."""

from __future__ import annotations

import contextlib
import queue
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from cuelane.check.analysis_stream import AnalysisStream
from cuelane.media import MediaInfo, decode, probe
from cuelane.media.reader import mean_of_channels
from cuelane.meter import Meter
from cuelane.meter.weighting import METERED_RATES

Signal = npt.NDArray[np.float32]

ANALYSIS_RATE = 16_000
"""Hz. Onsets are measured at this rate: 8 kHz loses pitch periods in rooms, 48 kHz gains nothing."""

REACH_S = 0.4
"""Chosen: how far from its place an event is sought first; farther away only where the coarse search
proposed a place."""

USUAL_RATE = 48_000
"""Hz. A file at a rate for which loudness has no filter is resampled to this before anything is measured."""

SILENCE = 1e-6
"""Chosen: -120 dBFS, above what a resampler leaves of digital silence."""

# Chosen: 0.004 dB under full scale, so that a 16-bit file's -32767 and a codec's rounding count.
FULL_SCALE = 0.9995
BLOCK_FRAMES = 262_144
"""Chosen: five seconds; with smaller blocks the threads mostly wait for the interpreter's lock."""
MOST_CLIPPED = 20
"""Chosen: of so many clipped crests the places are noted."""
CLIPPED_RUN = 3
"""Chosen: so many samples in a row at full scale are a clipped crest; one or two may be true peaks."""

# Chosen: finer than a line of the picture, and than where sound begins needs be known to at first.
PEAKS_PER_S = 100

Progress = Callable[[int, int], None]


class CheckedSound:
    """The mono sound at 16 kHz on disk, read by stretches so that a day of it fills no memory.

    Kept as half-precision floats: they follow the sound at -66 dB whatever its level, which moves no onset
    by a measurable amount, and halve the disk. They are kept 60 dB up, since a processor takes 25 times as
    long over numbers below the half's normal range. Outside the file it reads as silence.
    Threads may read at once.
    """

    _UP = np.float32(1024)
    _STEP = 1 << 14

    def __init__(self) -> None:
        self._file: IO[bytes] = tempfile.TemporaryFile(prefix="cuelane-")  # noqa: SIM115
        self._at_file = threading.Lock()
        self.n_frames = 0

    def append(self, block: Signal) -> None:
        """Take the next samples, shape (n,), 16 kHz mono, full scale 1.0. One thread may write."""
        half = np.zeros(len(block), dtype=np.float16)
        for first in range(0, len(block), self._STEP):
            part = block[first : first + self._STEP]
            if float(np.abs(part).max()) > SILENCE:
                half[first : first + len(part)] = np.clip(part * self._UP, -60_000, 60_000)
        self._file.seek(self.n_frames * 2)
        self._file.write(half.tobytes())
        self.n_frames += len(block)

    def read(self, start: int, n: int) -> Signal:
        """Return `n` samples from `start`, shape (n,), silent where they reach outside the file."""
        out = np.zeros(n, dtype=np.float32)
        first, last = max(0, start), min(self.n_frames, start + n)
        if last > first:
            with self._at_file:
                self._file.seek(first * 2)
                raw = self._file.read((last - first) * 2)
            out[first - start : last - start] = np.frombuffer(raw, dtype=np.float16)
            out *= 1 / self._UP
        return out

    @property
    def length_s(self) -> float:
        return self.n_frames / ANALYSIS_RATE

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> CheckedSound:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class _Beside:
    """Passes blocks to a listener on a thread of its own, since numpy releases the interpreter's lock."""

    def __init__(self, push: Callable[[Any], None]) -> None:
        self._push = push
        self._queue: queue.Queue[Any] = queue.Queue(maxsize=3)
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        while (block := self._queue.get()) is not None:
            if self._error is None:
                try:
                    self._push(block)
                except BaseException as error:
                    self._error = error

    def push(self, block: npt.NDArray[np.floating]) -> None:
        self._queue.put(block)

    def join(self) -> None:
        """Wait for the last block."""
        self._queue.put(None)
        self._thread.join()

    def settle(self) -> None:
        """Raise what the listener raised."""
        if self._error is not None:
            raise self._error


@dataclass
class Intake:
    """What one pass over the file gives. ``envelope`` holds (lowest, highest) sample of every 10 ms, or of a
    little less where that is no whole number of samples: ``outline_per_s`` times a second."""

    info: MediaInfo
    recording: CheckedSound
    loudness_lufs: float = float("-inf")
    true_peak_dbtp: float = float("-inf")
    clipped: list[float] = field(default_factory=list)
    n_clipped: int = 0
    damage: list[str] = field(default_factory=list)
    envelope: npt.NDArray[np.float32] = field(default_factory=lambda: np.zeros((0, 2), np.float32))
    outline_per_s: float = float(PEAKS_PER_S)
    length_s: float = 0.0


def take_in(path: Path, listeners: list[Any], progress: Progress | None = None) -> Intake:
    """Decode `path` once; every listener gets the 16 kHz sound by ``push(block)`` and then ``finish()``.

    Raises
    ------
    AudioFileError : missing, empty, or nothing in it can be decoded.
    """
    info = probe(path)
    intake = Intake(info, CheckedSound())
    rate = info.sample_rate if info.sample_rate in METERED_RATES else USUAL_RATE
    n_channels = info.n_channels if info.n_channels <= 2 else 1
    meter = Meter(rate, n_channels)
    metering = _Beside(meter.push)
    threads = [metering, *(_Beside(listener.push) for listener in listeners)]
    stream = AnalysisStream(rate, ANALYSIS_RATE)
    clipping = ClippingFinder(rate, n_channels, intake)
    expected = int((info.duration_s or 0.0) * rate)
    peaks: list[npt.NDArray[np.float32]] = []
    rest = np.zeros(0, np.float32)
    n_frames = 0

    def forward(block: Signal, last: bool = False) -> None:
        sound = stream.push(block, last=last)
        if sound.size:
            intake.recording.append(sound)
            for thread in threads[1:]:
                thread.push(sound)

    notice = intake.damage.append
    blocks = decode(path, sample_rate=rate, channels=n_channels, block_frames=BLOCK_FRAMES, on_damage=notice)
    with contextlib.ExitStack() as where_it_fails:
        where_it_fails.callback(intake.recording.close)
        try:
            for block in blocks:
                metering.push(block)
                clipping.push(block)
                n_frames += len(block)
                mono = mean_of_channels(block)
                forward(mono)
                rest = _outline(np.concatenate([rest, mono]), rate // PEAKS_PER_S, peaks)
                if progress is not None:
                    progress(n_frames, max(expected, n_frames))
            forward(np.zeros(0, np.float32), last=True)
        finally:
            for thread in threads:
                thread.join()
        for thread in threads:
            thread.settle()
        for listener in listeners:
            listener.finish()
        where_it_fails.pop_all()
    intake.loudness_lufs = meter.integrated_lufs
    intake.true_peak_dbtp = meter.true_peak_dbtp
    intake.envelope = np.concatenate(peaks) if peaks else intake.envelope
    intake.outline_per_s = rate / (rate // PEAKS_PER_S)
    intake.length_s = n_frames / rate
    return intake


def _outline(sound: Signal, step: int, peaks: list[npt.NDArray[np.float32]]) -> Signal:
    n = len(sound) // step
    if n:
        table = sound[: n * step].reshape(n, step)
        peaks.append(np.stack([table.min(axis=1), table.max(axis=1)], axis=1))
    return sound[n * step :]


class ClippingFinder:
    """Counts the clipped crests of a stream, whatever its blocks, and notes where the first ones are."""

    def __init__(self, sample_rate: int, n_channels: int, intake: Intake) -> None:
        self._sample_rate = sample_rate
        self._intake = intake
        self._first = 0
        # Of the latest samples, in which a crest may begin that ends in the next block: which are full, shape
        # (up to 2, n_channels), and which are in a crest that has been counted, the one before them too.
        self._full = np.zeros((0, n_channels), bool)
        self._counted = np.zeros(1, bool)

    def push(self, block: Signal) -> None:
        """Take the next samples, shape (n, n_channels), full scale 1.0."""
        full = np.concatenate([self._full, np.abs(block) >= FULL_SCALE])
        clipped = np.zeros(len(full) + 1, bool)
        if full.any():
            self._count(full, clipped)
        n_left = min(CLIPPED_RUN - 1, len(full))
        self._first += len(full) - n_left
        self._full, self._counted = full[len(full) - n_left :], clipped[len(full) - n_left :]

    def _count(self, full: npt.NDArray[np.bool_], clipped: npt.NDArray[np.bool_]) -> None:
        """Count the crests, and mark in `clipped`, shape (n + 1,), which of the samples are in one."""
        last = len(full) - CLIPPED_RUN + 1
        # A crest that is clipped in both channels is one.
        for channel in full.T if last > 0 else ():
            runs = np.logical_and.reduce([channel[n : last + n] for n in range(CLIPPED_RUN)])
            for n in range(CLIPPED_RUN):
                clipped[1 + n : 1 + last + n] |= runs
        known = np.zeros(len(clipped), bool)
        known[: len(self._counted)] = self._counted
        clipped |= known
        starts = np.flatnonzero(clipped[1:] & ~clipped[:-1] & ~known[1:])
        self._intake.n_clipped += len(starts)
        for start in starts[: max(0, MOST_CLIPPED - len(self._intake.clipped))]:
            self._intake.clipped.append((self._first + int(start)) / self._sample_rate)
