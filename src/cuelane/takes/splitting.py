"""Where a recording has speech and where it pauses, by level alone.

pydub finds the pauses; the threshold it needs comes from the recording itself. Two detectors of voice
activity were measured beside it (tests/benchmarks/bench_takes.py split: 67 readings each by three voices,
room noise at -60 and -45 dBFS, pauses of 0.9 to 2 s and hurried ones of 0.35 to 0.7 s). What decides is how
many readings were joined to the next one, since lines are put together from up to five pieces but never
taken apart: pydub 0 everywhere; WebRTC's detector in mode 3 up to 4 and in mode 1 up to 28 of 67 when
hurried; Silero's up to 2, and it is one more package. pydub splits more readings in two (1 to 26 of 67;
WebRTC in these modes 0 to 7, Silero 0 to 4). Lines placed of 57, none wrong by any: a neural voice 53 and
hurried 52 by pydub, 54 and 53 by WebRTC in mode 3, 54 and 44 in mode 1; a formant voice 37 and 39, 42 and
36, 40 and 20.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.recording.quiet_pydub import audio_segment

Audio = npt.NDArray[np.float32]

# Shortest pause that splits. Chosen: pieces can be joined to a line later, but never taken apart.
PAUSE_MS = 300
SEEK_STEP_MS = 10
_CHUNK_S = 300.0
_HOP_S = 0.010
# Chosen: shorter sounds are clicks; higher would lose short words.
_SHORTEST_MS = 60


@dataclass(frozen=True)
class FrameLevels:
    """Levels of a recording in dBFS (RMS over 10 ms): its quiet, its speech, and the gate between."""

    floor_dbfs: float
    speech_dbfs: float

    @property
    def gate_dbfs(self) -> float:
        # A third of the way up, but clear of the noise's own swing and never above soft consonants.
        rise = self.speech_dbfs - self.floor_dbfs
        return self.floor_dbfs + min(max(6.0, rise * 0.33), 20.0)


@dataclass(frozen=True)
class SpokenPiece:
    """A stretch of sound between two pauses, in seconds from the recording's start."""

    start_s: float
    end_s: float


def measure_levels(samples: Audio, sample_rate: int) -> FrameLevels:
    """Return the levels of `samples` (mono, shape (n,)): its 10th and 95th percentile of RMS."""
    hop = max(1, round(sample_rate * _HOP_S))
    n_hops = len(samples) // hop
    power = (samples[: n_hops * hop].reshape(n_hops, hop).astype(np.float64) ** 2).mean(axis=1)
    level = 10 * np.log10(power + 1e-10)
    floor, speech = np.percentile(level, [10, 95])
    return FrameLevels(float(floor), float(speech))


def segment(samples: Audio, sample_rate: int) -> Any:
    """Return `samples` (mono, shape (n,), full scale 1.0) as a pydub segment of 16 bits."""
    data = np.clip(np.rint(samples * 32_767.0), -32_768, 32_767).astype("<i2").tobytes()
    return audio_segment()(data=data, sample_width=2, frame_rate=sample_rate, channels=1)


def split_at_pauses(samples: Audio, sample_rate: int, levels: FrameLevels | None = None) -> list[SpokenPiece]:
    """Return the pieces of `samples` that stand between pauses of at least 300 ms, in order.

    Parameters
    ----------
    samples : mono, shape (n,), full scale 1.0; worked through in stretches of five minutes.
    levels : of the whole recording; measured here if None.
    """
    # Before pydub is imported from elsewhere, or its warning is shown after all.
    audio_segment()
    from pydub.silence import detect_nonsilent

    levels = levels or measure_levels(samples, sample_rate)
    found: list[SpokenPiece] = []
    chunk = round(_CHUNK_S * sample_rate)
    for first in range(0, len(samples), chunk):
        spans = detect_nonsilent(
            segment(samples[first : first + chunk], sample_rate),
            min_silence_len=PAUSE_MS,
            silence_thresh=levels.gate_dbfs,
            seek_step=SEEK_STEP_MS,
        )
        for start_ms, end_ms in spans:
            start, end = first / sample_rate + start_ms / 1000, first / sample_rate + end_ms / 1000
            # A phrase that a stretch's end cut in two is joined again.
            if found and start - found[-1].end_s < PAUSE_MS / 1000:
                found[-1] = SpokenPiece(found[-1].start_s, end)
            else:
                found.append(SpokenPiece(start, end))
    return [piece for piece in found if (piece.end_s - piece.start_s) * 1000 >= _SHORTEST_MS]
