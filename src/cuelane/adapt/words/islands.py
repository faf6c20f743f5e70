"""A recording without its beeps, and its islands: the stretches of sound between pauses.

Levels and islands come from librosa, a minute at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.countdown import Beep
from cuelane.recording.decode import Recording
from cuelane.recording.recogniser import LISTEN_RATE

Audio = npt.NDArray[np.float32]

# Common practice in speech work: a level every 10 ms, at 16 kHz.
HOP = 160
# Chosen: 30 ms hold three periods of a low voice; shorter ripples with its pitch.
WINDOW = 480
# Chosen: a minute at once bounds the memory.
_BLOCK_S = 60.0
# Chosen: shorter pauses are inside a phrase; more makes islands too long to listen to at once.
_JOIN_S = 0.25
# Chosen: silenced around each tone of a countdown, since rooms and codecs draw it out.
_EDGE_S = 0.03
# Chosen: a shorter quiet is the closure of a p, t or k, inside a word.
_SHORTEST_QUIET_S = 0.08


@dataclass(frozen=True)
class Island:
    """A stretch of sound between pauses, in seconds."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Loudness:
    """Typical levels in dBFS, RMS of 30 ms: the quiet between sounds, the loud part, the gate between."""

    floor_dbfs: float
    loud_dbfs: float
    gate_dbfs: float

    @property
    def is_noisy(self) -> bool:
        """Whether speech is hardly louder than the rest, as with music under it."""
        return self.loud_dbfs - self.floor_dbfs < 18.0


class Quiet:
    """Where a recording is as quiet as its room: stretches of 80 ms or more.

    ``is_blind`` says that pauses cannot be found, since speech is hardly louder than the rest.
    """

    def __init__(self, level_db: npt.NDArray[np.float32], loudness: Loudness) -> None:
        self.is_blind = loudness.is_noisy
        rise = np.clip(0.15 * (loudness.loud_dbfs - loudness.floor_dbfs), 4.0, 7.0)
        low = np.concatenate([[False], level_db < loudness.floor_dbfs + rise, [False]])
        edges = np.flatnonzero(np.diff(low.astype(int)))
        runs = np.array([edges[::2], edges[1::2]], dtype=float).T * HOP / LISTEN_RATE
        self._runs = runs[runs[:, 1] - runs[:, 0] >= _SHORTEST_QUIET_S]

    def within(self, start_s: float, end_s: float) -> list[tuple[float, float]]:
        """Return the stretches between two times, cut to them, that are still 80 ms long."""
        if self.is_blind:
            return []
        found = self._runs[(self._runs[:, 1] > start_s) & (self._runs[:, 0] < end_s)]
        cut = [(max(float(a), start_s), min(float(b), end_s)) for a, b in found]
        return [(a, b) for a, b in cut if b - a >= _SHORTEST_QUIET_S]


class Hearing:
    """16 kHz sound of a recording with every beep replaced by silence."""

    def __init__(self, recording: Recording, beep: Beep | None, boundaries: Sequence[Boundary]) -> None:
        self.recording = recording
        self.seconds = recording.seconds
        self.beeps = _beep_spans(beep, boundaries)
        self._starts = np.array([start for start, _ in self.beeps])
        self._level_db: npt.NDArray[np.float32] | None = None
        self._loudness: Loudness | None = None

    def low(self, start_s: float, end_s: float) -> Audio:
        """Return 16 kHz samples from `start_s` to `end_s`, silent where a beep sounds; shape (n,), full scale
        1.0."""
        start_s = max(0.0, start_s)
        samples = np.array(self.recording.low(start_s, end_s))
        first = max(0, int(np.searchsorted(self._starts, start_s - 2.0)))
        for begin, end in self.beeps[first:]:
            if begin > end_s:
                break
            a = max(0, round((begin - start_s) * LISTEN_RATE))
            samples[a : max(a, round((end - start_s) * LISTEN_RATE))] = 0.0
        return samples

    @property
    def level_db(self) -> npt.NDArray[np.float32]:
        """RMS level of 30 ms in dBFS, every 10 ms; shape (n_hops,), at least -120."""
        if self._level_db is None:
            import librosa

            parts = []
            at = 0.0
            while at < self.seconds:
                block = self.low(at, min(self.seconds, at + _BLOCK_S))
                rms = librosa.feature.rms(y=block, frame_length=WINDOW, hop_length=HOP)[0]
                parts.append(20 * np.log10(rms[: len(block) // HOP] + 1e-6).astype(np.float32))
                at += _BLOCK_S
            self._level_db = np.concatenate(parts)
        return self._level_db

    def loudness(self) -> Loudness:
        """Return the recording's typical levels; the quietest tenth is taken as the noise of its room."""
        if self._loudness is None:
            heard = self.level_db[self.level_db > -95.0]
            floor, loud = np.percentile(heard, [10, 95]) if len(heard) else (-100.0, -100.0)
            rise = np.clip(0.33 * (loud - floor), 5.0, 18.0) if len(heard) else 10.0
            self._loudness = Loudness(float(floor), float(loud), float(floor + rise))
        return self._loudness

    def quiet(self) -> Quiet:
        """Return where the recording is quiet."""
        return Quiet(self.level_db, self.loudness())

    def islands(self) -> list[Island]:
        """Return where there is sound above the gate, pauses under a quarter second closed."""
        import librosa

        loudness = self.loudness()
        found: list[Island] = []
        at = 0.0
        while at < self.seconds:
            block = self.low(at, min(self.seconds, at + _BLOCK_S))
            spans = librosa.effects.split(
                block,
                top_db=-loudness.gate_dbfs,
                ref=1.0,
                frame_length=WINDOW,
                hop_length=HOP,
            )
            for a, b in spans:
                start, end = at + a / LISTEN_RATE, at + b / LISTEN_RATE
                if found and start - found[-1].end_s < _JOIN_S:
                    found[-1] = Island(found[-1].start_s, end)
                else:
                    found.append(Island(start, end))
            at += _BLOCK_S
        return [island for island in found if island.end_s - island.start_s >= 0.12]

    def quietest(self, start_s: float, end_s: float) -> float:
        """Return the middle of the quietest 30 ms between two times."""
        a, b = round(start_s * 100), max(round(start_s * 100) + 1, round(end_s * 100))
        window = self.level_db[a:b]
        return start_s if not len(window) else (a + int(window.argmin())) / 100


def _beep_spans(beep: Beep | None, boundaries: Sequence[Boundary]) -> list[tuple[float, float]]:
    spans: list[tuple[float, float]] = []
    for boundary in boundaries if beep else ():
        assert beep is not None
        if not boundary.is_heard:
            continue
        for k in range(beep.count, 0, -1):
            at = boundary.at_s - k * beep.spacing_s
            spans.append((at - _EDGE_S, at + beep.short_s + _EDGE_S))
        spans.append((boundary.at_s - _EDGE_S, boundary.at_s + beep.long_s + _EDGE_S))
    return sorted(spans)
