"""Where a recording has speech and where it pauses, by level alone.

pydub finds the pauses; the threshold it needs comes from the recording itself. Two detectors of voice
activity were measured beside it (tests/benchmarks/bench_takes.py split: 67 readings each by three voices,
room noise at -60 and -45 dBFS, pauses of 0.9 to 2 s, and of 0.35 to 0.7 s when hurried). A line can be put
together from up to five pieces, but a piece is never divided, so a reading that is joined to the next one is
lost:

======================= ================== ================== ==================== ====================
detector                readings joined    readings split     lines placed of 57   lines placed of 57
                        of 67, hurried     in two, of 67      by a neural voice,   by a formant voice,
                                                              calm and hurried     calm and hurried
======================= ================== ================== ==================== ====================
pydub                   0                  1 to 26            53, 52               37, 39
WebRTC, mode 3          up to 4            0 to 7             54, 53               42, 36
WebRTC, mode 1          up to 28           0 to 7             54, 44               40, 20
Silero                  up to 2            0 to 4             (not measured; one more package)
======================= ================== ================== ==================== ====================

None placed a line wrongly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.recording.quiet_pydub import audio_segment
from cuelane.recording.recogniser import LISTEN_RATE

Audio = npt.NDArray[np.float32]
Frames = Callable[[int, int], Audio]
"""Gives the mono samples, full scale 1.0, from one frame to before another; shape (n,)."""

# Shortest pause that splits. Chosen: pieces can be joined to a line later, but never taken apart.
PAUSE_MS = 300
SEEK_STEP_MS = 10
_CHUNK_S = 300.0
_HOP_S = 0.010
# Chosen, in dB: levels are counted in steps that no gate can tell apart, so that memory is flat in length.
_STEP_DB, _LOWEST_DB, _HIGHEST_DB = 0.01, -100.0, 20.0
# Chosen: shorter sounds are clicks; higher would lose short words.
_SHORTEST_MS = 60
# Chosen: a piece too long to be heard at once is cut in its last quarter, in the quietest 30 ms.
_CUT_FROM, _QUIET_FRAMES = 0.75, 480


@dataclass(frozen=True)
class FrameLevels:
    """Levels of a recording in dBFS (RMS over 10 ms): its quiet, its speech, and the gate between."""

    floor_dbfs: float
    speech_dbfs: float

    @property
    def gate_dbfs(self) -> float:
        # A third of the way up, but above the fluctuation of the noise and never above soft consonants.
        rise = self.speech_dbfs - self.floor_dbfs
        return self.floor_dbfs + min(max(6.0, rise * 0.33), 20.0)


@dataclass(frozen=True)
class SpokenPiece:
    """A stretch of sound between two pauses, in seconds from the recording's start."""

    start_s: float
    end_s: float


def frames_of(samples: Audio) -> Frames:
    """Return `samples`, mono, shape (n,), as what is read a stretch at a time."""
    return lambda start, end: samples[start:end]


def measure_levels(frames: Frames, n_frames: int, sample_rate: int) -> FrameLevels:
    """Return the levels of `n_frames` of a recording: its 10th and 95th percentile of RMS, to 0.01 dB.

    The recording is read in stretches of five minutes.
    """
    hop = max(1, round(sample_rate * _HOP_S))
    n_steps = round((_HIGHEST_DB - _LOWEST_DB) / _STEP_DB)
    counts = np.zeros(n_steps + 1, np.int64)
    # Whole hops, so that no hop is divided between two stretches.
    chunk = round(_CHUNK_S / _HOP_S) * hop
    for first in range(0, n_frames // hop * hop, chunk):
        samples = frames(first, min(first + chunk, n_frames))
        n_hops = len(samples) // hop
        power = (samples[: n_hops * hop].reshape(n_hops, hop).astype(np.float64) ** 2).mean(axis=1)
        level = 10 * np.log10(power + 1e-10)
        steps = np.rint((level - _LOWEST_DB) / _STEP_DB).astype(np.int64)
        counts += np.bincount(np.clip(steps, 0, n_steps), minlength=n_steps + 1)
    # As numpy's "lower" percentile: the level of the hop at that rank of all.
    ranks = [int(share * max(0, int(counts.sum()) - 1)) for share in (0.10, 0.95)]
    floor, speech = np.searchsorted(np.cumsum(counts), ranks, side="right") * _STEP_DB + _LOWEST_DB
    return FrameLevels(float(floor), float(speech))


def segment(samples: Audio, sample_rate: int) -> Any:
    """Return `samples` (mono, shape (n,), full scale 1.0) as a pydub segment of 16 bits."""
    data = np.clip(np.rint(samples * 32_767.0), -32_768, 32_767).astype("<i2").tobytes()
    return audio_segment()(data=data, sample_width=2, frame_rate=sample_rate, channels=1)


def split_at_pauses(
    frames: Frames, n_frames: int, sample_rate: int, levels: FrameLevels | None = None
) -> list[SpokenPiece]:
    """Return the pieces of a recording that stand between pauses of at least 300 ms, in order.

    Parameters
    ----------
    frames, n_frames : the recording, read in stretches of five minutes and a pause on either side.
    levels : of the whole recording; measured here if None.
    """
    # Before pydub is imported from elsewhere, or its warning is shown after all.
    audio_segment()
    from pydub.silence import detect_nonsilent

    levels = levels or measure_levels(frames, n_frames, sample_rate)
    found: list[tuple[int, int]] = []
    chunk_ms = round(_CHUNK_S * 1000)
    for first_ms in range(0, -(-1000 * n_frames // sample_rate), chunk_ms):
        # With a pause on either side, so that none is missed where two stretches meet, nor at the end.
        begin_ms, stop_ms = max(0, first_ms - PAUSE_MS), first_ms + chunk_ms + PAUSE_MS
        begin, stop = (ms * sample_rate // 1000 for ms in (begin_ms, stop_ms))
        spans = detect_nonsilent(
            segment(frames(begin, min(stop, n_frames)), sample_rate),
            min_silence_len=PAUSE_MS,
            silence_thresh=levels.gate_dbfs,
            seek_step=SEEK_STEP_MS,
        )
        for start_ms, end_ms in spans:
            # A phrase that a stretch's end cut in two is joined again.
            if found and begin_ms + start_ms - found[-1][1] < PAUSE_MS:
                found[-1] = found[-1][0], begin_ms + end_ms
            else:
                found.append((begin_ms + start_ms, begin_ms + end_ms))
    return [SpokenPiece(start / 1000, end / 1000) for start, end in found if end - start >= _SHORTEST_MS]


def parts_of(
    sound: Callable[[float, float], Audio], start_s: float, end_s: float, longest_s: float
) -> list[tuple[float, float]]:
    """Return a piece as parts, (start, end) in s, none longer than `longest_s`, cut where it is quietest.

    `sound` gives 16 kHz samples between two times, shape (n,). A part is cut in the last quarter of what can
    be heard at once, so that no word is cut where there is a pause of 30 ms.
    """
    parts: list[tuple[float, float]] = []
    while end_s - start_s > longest_s:
        first_s = start_s + _CUT_FROM * longest_s
        power = np.square(sound(first_s, start_s + longest_s).astype(np.float64))
        sums = np.concatenate([[0.0], np.cumsum(power)])
        loud = sums[_QUIET_FRAMES:] - sums[:-_QUIET_FRAMES]
        # Where all is equally quiet, as in digital silence, the latest place.
        quietest = len(loud) - 1 - int(loud[::-1].argmin())
        cut_s = first_s + (quietest + _QUIET_FRAMES / 2) / LISTEN_RATE
        parts.append((start_s, cut_s))
        start_s = cut_s
    return [*parts, (start_s, end_s)]
