"""A schedule and its clips to a stream of sample blocks, and the one gain that lands it on its loudness.

Nothing here holds the session: a block is zeros plus whatever events reach into it, each sample the sum of
its events in the order of their onsets, whatever the block size. Outside events the samples are exactly zero.

Loudness without rendering. Silence adds only blocks that BS.1770's gate leaves out, so only the stretches
with sound are filtered, each with enough silence after it for the filter to come to rest, and their energies
are added up on the 100 ms grid of the whole file, half of the stretches on each of two threads. The result is
what a meter reads on the rendered file.

Level. Clips come at -20 LUFS with true peaks of at most -7 dBTP, and pips keep to the same limits, so one
gain brings the file to its target loudness under its ceiling. Where the two conflict, the ceiling is kept and
``limited_by_peak`` says so. Lossy encoders raise peaks: `headroom_db` keeps the mix so far under the ceiling.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.signal import sosfilt

from cuelane.audio.clip import Samples
from cuelane.audio.tones import render_pip
from cuelane.base.errors import SignalError
from cuelane.base.levels import CEILING_DBTP, TARGET_LUFS
from cuelane.base.schedule import Event, Schedule
from cuelane.meter import TruePeak, k_weighting_sos
from cuelane.meter.gating import gated_loudness_lufs

LoadClip = Callable[[str], Samples]

_Stretch = tuple[int, int, tuple[object, ...] | None]
"""(start, end, key), see :func:`_stretches`."""

BLOCK_FRAMES = 65_536

_KEPT_BYTES = 24 * 1024 * 1024
# The filter's state decays by 240 nepers a second: after this silence nothing of it is left that counts.
_REST_S = 0.2
_NEARLY_NOTHING = 1e-20


@dataclass(frozen=True)
class Levels:
    """The gain for the whole session, and what a meter will read after it.

    ``limited_by_peak`` says that the ceiling kept the session below its target loudness. A session without
    sound has gain 0 and reads -inf.
    """

    gain_db: float
    integrated_lufs: float
    true_peak_dbtp: float
    limited_by_peak: bool


def plan_levels(
    schedule: Schedule,
    load_clip: LoadClip,
    *,
    headroom_db: float,
    target_lufs: float = TARGET_LUFS,
    ceiling_dbtp: float = CEILING_DBTP,
) -> Levels:
    """Return the gain that brings the session to `target_lufs`, its true peak at most the ceiling.

    Parameters
    ----------
    load_clip : gives a clip's samples, shape (n_frames,), for an event's hash. It is called on two threads.
    headroom_db : kept below `ceiling_dbtp` for what the encoder adds to peaks, as the format's record says.

    Raises
    ------
    SignalError : an event out of range, or a clip whose length is not its event's.
    """
    loudness, peak = _measured(schedule, load_clip)
    if not np.isfinite(peak):
        return Levels(0.0, loudness, peak, limited_by_peak=False)
    allowed = ceiling_dbtp - headroom_db - peak
    # A session of nothing but a pip or two may be too short to have a loudness; its pips are at -20.
    wanted = target_lufs - (loudness if np.isfinite(loudness) else -20.0)
    gain_db = min(wanted, allowed)
    return Levels(gain_db, loudness + gain_db, peak + gain_db, limited_by_peak=allowed < wanted)


def blocks(
    schedule: Schedule, load_clip: LoadClip, *, gain_db: float, block_frames: int = BLOCK_FRAMES
) -> Iterator[Samples]:
    """Yield the session's samples, shape (n, 1), float32; every block but the last has `block_frames`.

    Silent blocks are one shared, read-only array. Raises SignalError as :func:`plan_levels` does.
    """
    return _Mixer(schedule, load_clip, gain_db=gain_db).between(0, schedule.n_frames, block_frames)


def span(schedule: Schedule, load_clip: LoadClip, first: int, last: int, *, gain_db: float) -> Samples:
    """Return the session's samples from `first` up to but not including `last`, shape (n,), float32.

    Only the events in that span are read. Raises SignalError as :func:`plan_levels` does.
    """
    near = [event for event in schedule.events if event.onset_sample < last and event.end_sample > first]
    mixer = _Mixer(replace(schedule, events=tuple(near)), load_clip, gain_db=gain_db)
    found = list(mixer.between(first, last, max(1, last - first)))
    return found[0][:, 0] if found else np.zeros(0, dtype=np.float32)


def _measured(schedule: Schedule, load_clip: LoadClip) -> tuple[float, float]:
    """Return (integrated LUFS, true peak dBTP) of the session at gain 0."""
    rate = schedule.sample_rate
    edges = (2 * np.arange(10 * schedule.n_frames // rate + 2, dtype=np.int64) * rate + 10) // 20
    # Always in the same two parts, also on one core, so that no bit depends on how many there are.
    with ThreadPoolExecutor(2) as pool:
        parts = [
            pool.submit(_measured_part, stretches, _Mixer(schedule, load_clip, gain_db=0.0), edges, rate)
            for stretches in _halves(_stretches(schedule))
        ]
        energy = sum((part.result()[0] for part in parts), np.zeros(len(edges) - 1))
        peak = max(part.result()[1] for part in parts)
    # Only whole 400 ms blocks count: the last bin may reach past the end.
    whole = energy[: int(np.searchsorted(edges, schedule.n_frames, side="right")) - 1]
    sums = np.convolve(whole, np.ones(4), "valid") if len(whole) >= 4 else np.zeros(0)
    return gated_loudness_lufs(sums / (0.4 * rate)), 20 * math.log10(peak) if peak > 0 else -math.inf


def _measured_part(
    stretches: Sequence[_Stretch], mixer: _Mixer, edges: npt.NDArray[np.int64], rate: int
) -> tuple[npt.NDArray[np.float64], float]:
    """Return the weighted energy of these stretches between `edges`, shape (len(edges) - 1,), and their
    true peak, linear."""
    sos = k_weighting_sos(rate)
    energy = np.zeros(len(edges) - 1)
    true_peak = TruePeak(1)
    seen: set[tuple[object, ...]] = set()
    for start, end, key in stretches:
        state = np.zeros((2, 2))
        for block in mixer.between(start, end, BLOCK_FRAMES):
            if key is None or key not in seen:
                true_peak.push(block)
            # The filter's state would decay to subnormal numbers, forty times as slow to work with.
            weighted, state = sosfilt(sos, block[:, 0] + _NEARLY_NOTHING, zi=state)
            last = start + len(block)
            first_bin = int(np.searchsorted(edges, start, side="right")) - 1
            last_bin = int(np.searchsorted(edges, last, side="left"))
            cuts = np.maximum(edges[first_bin:last_bin] - start, 0)
            energy[first_bin:last_bin] += np.add.reduceat(np.square(weighted), cuts)
            start = last
        if key is not None:
            seen.add(key)
    return energy, true_peak.peak


def _halves(stretches: list[_Stretch]) -> tuple[list[_Stretch], list[_Stretch]]:
    """Return `stretches` in two parts, in order, of about the same length in all."""
    ends = np.cumsum([end - start for start, end, _ in stretches], dtype=np.int64)
    first = int(np.searchsorted(ends, ends[-1] // 2)) + 1 if len(ends) else 0
    return stretches[:first], stretches[first:]


def _stretches(schedule: Schedule) -> list[_Stretch]:
    """Return (start, end, key) of each stretch with sound and the silence after it; key names a lone event's
    sound."""
    rest = int(_REST_S * schedule.sample_rate)
    spans: list[_Stretch] = []
    for event in sorted(schedule.events, key=lambda event: event.onset_sample):
        start, end = event.onset_sample, min(event.end_sample + rest, schedule.n_frames)
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], end), None)
        else:
            spans.append((start, end, _sound_key(event) if end == event.end_sample + rest else None))
    return spans


def _sound_key(event: Event) -> tuple[object, ...]:
    return (event.clip, event.role, event.frequency_hz, event.end_sample - event.onset_sample)


class _Mixer:
    """Sums events into any span of the session."""

    def __init__(self, schedule: Schedule, load_clip: LoadClip, *, gain_db: float) -> None:
        self._rate = schedule.sample_rate
        self._events = sorted(schedule.events, key=lambda event: (event.onset_sample, event.id))
        self._load_clip = load_clip
        self._gain = np.float32(10 ** (gain_db / 20))
        self._kept: OrderedDict[tuple[object, ...], Samples] = OrderedDict()
        self._kept_bytes = 0
        for event in self._events:
            if not 0 <= event.onset_sample < event.end_sample <= schedule.n_frames:
                raise SignalError(
                    f"event {event.id} lies at {event.onset_sample} to {event.end_sample}, "
                    f"outside a session of {schedule.n_frames} samples"
                )

    def between(self, start: int, end: int, block_frames: int) -> Iterator[Samples]:
        if block_frames < 1:
            raise SignalError(f"block_frames must be at least 1, got {block_frames}")
        silence = np.zeros((block_frames, 1), dtype=np.float32)
        silence.flags.writeable = False
        upcoming = iter(event for event in self._events if event.end_sample > start)
        following = next(upcoming, None)
        sounding: list[tuple[int, Samples]] = []
        for first in range(start, end, block_frames):
            last = min(first + block_frames, end)
            sounding = [(onset, sound) for onset, sound in sounding if onset + len(sound) > first]
            while following is not None and following.onset_sample < last:
                sounding.append((following.onset_sample, self._sound(following)))
                following = next(upcoming, None)
            yield _summed(sounding, first, last) if sounding else silence[: last - first]

    def _sound(self, event: Event) -> Samples:
        """Return the event's samples at the session's gain; the latest used are kept."""
        n_frames = event.end_sample - event.onset_sample
        key = _sound_key(event)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        if event.kind == "pip":
            if event.frequency_hz is None:
                raise SignalError(f"pip {event.id} has no frequency")
            sound = render_pip(event.role, event.frequency_hz, n_frames, self._rate)
        else:
            if event.clip is None:
                raise SignalError(f"cue {event.id} names no clip")
            sound = self._load_clip(event.clip)
            if sound.shape != (n_frames,):
                raise SignalError(
                    f"cue {event.id} lasts {n_frames} samples, but its clip has shape {sound.shape}"
                )
        sound = np.asarray(sound * self._gain, dtype=np.float32)
        self._kept[key] = sound
        self._kept_bytes += sound.nbytes
        while self._kept_bytes > _KEPT_BYTES and len(self._kept) > 1:
            self._kept_bytes -= self._kept.popitem(last=False)[1].nbytes
        return sound


def _summed(sounding: Sequence[tuple[int, Samples]], first: int, last: int) -> Samples:
    block = np.zeros((last - first, 1), dtype=np.float32)
    for onset, sound in sounding:
        begin, stop = max(onset, first), min(onset + len(sound), last)
        if begin < stop:
            block[begin - first : stop - first, 0] += sound[begin - onset : stop - onset]
    return block
