"""Measures a track at each of its schedule's events, in one reading."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from cuelane.base.schedule import Event, Schedule
from cuelane.hearing.bands import N_BANDS, band_powers
from cuelane.media.reader import mean_of_channels
from cuelane.meter import clip_loudness_lufs
from cuelane.under.grid import Profile, Profiler, loudness_of_nodes

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class HeardEvent:
    """An event as it lies in the track: its mono mean square; of a cue its loudness and bands as well."""

    event: Event
    mean_square: float
    loudness_lufs: float = -math.inf
    bands: Array = field(default_factory=lambda: np.zeros(N_BANDS))


@dataclass(frozen=True, eq=False)
class TrackSound:
    profile: Profile
    n_channels: int
    heard: tuple[HeardEvent, ...]
    speech_lufs: float
    """Median loudness of the cues; of the whole track when no cue can be heard."""


def listen(blocks: Iterable[npt.NDArray[np.floating]], n_channels: int, schedule: Schedule) -> TrackSound:
    """Measure a track, given as blocks of shape (n, 1 or 2), and each of its schedule's events.

    Memory holds one event's samples and a grid of 10 ms.
    """
    profiler = Profiler(schedule.sample_rate, n_channels)
    waiting = sorted(schedule.events, key=lambda event: event.onset_sample)
    open_events: list[tuple[Event, list[npt.NDArray[np.floating]]]] = []
    heard: list[HeardEvent] = []
    at = 0
    for block in blocks:
        profiler.push(block)
        mono = mean_of_channels(block)
        end = at + len(block)
        while waiting and waiting[0].onset_sample < end:
            open_events.append((waiting.pop(0), []))
        for event, parts in open_events:
            parts.append(mono[max(0, event.onset_sample - at) : max(0, event.end_sample - at)])
        for event, parts in open_events:
            if event.end_sample <= end:
                heard.append(_heard(event, np.concatenate(parts), schedule.sample_rate))
        open_events = [(event, parts) for event, parts in open_events if event.end_sample > end]
        at = end
    for event, parts in open_events:
        heard.append(_heard(event, np.concatenate(parts), schedule.sample_rate))
    heard.extend(_heard(event, np.zeros(0), schedule.sample_rate) for event in waiting)
    profile, _ = profiler.finish()
    cues = [one.loudness_lufs for one in heard if one.event.kind == "cue"]
    spoken = [loudness_lufs for loudness_lufs in cues if math.isfinite(loudness_lufs)]
    whole = loudness_of_nodes(profile.power) - 10 * math.log10(n_channels)
    return TrackSound(profile, n_channels, tuple(heard), float(np.median(spoken)) if spoken else whole)


def _heard(event: Event, mono: npt.NDArray[np.floating], sample_rate: int) -> HeardEvent:
    mean_square = float(np.square(mono, dtype=np.float64).mean()) if mono.size else 0.0
    if event.kind != "cue":
        return HeardEvent(event, mean_square)
    return HeardEvent(
        event, mean_square, clip_loudness_lufs(mono, sample_rate), band_powers(mono, sample_rate)
    )
