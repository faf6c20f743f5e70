"""How far the music goes down for each event, and the gains of the whole: decided before anything is mixed.

The track is read once. Each cue and pip is measured where it lies; the music that will lie under it is known
from the bed. Everything is heard with one ear (see :mod:`cuelane.bands`), speech at the median loudness of
the track's own cues standing for normal vocal effort.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.bands import band_powers, full_scale_db_spl, spectrum_levels_db
from cuelane.meter import clip_loudness_lufs
from cuelane.room import PIP_GOOD_DB, PIP_POOR_DB, Grade, cue_over_masker, pip_over_masker
from cuelane.schedule import Event, Schedule
from cuelane.sii import GOOD, POOR, highest_masker_gain_db
from cuelane.under.envelope import DEEPEST_DB, WHOLE_SLOPE_DB_PER_MS, Duck, duck_nodes, under_ceiling
from cuelane.under.grid import Profile, Profiler, loudness_of_nodes, node_frames
from cuelane.under.playlist import Bed, End, Song, lay_out

Array = npt.NDArray[np.float64]

MOST_TRACK_DIP_DB = 3.0
MOST_PEAK_DIP_DB = 3.0
"""Music that would often need deeper dips than this for its own peaks is played softer instead."""

MARGIN_SII = 0.02
"""Aimed at beyond a cue's target, for what frames of 100 ms do not see of the music."""


@dataclass(frozen=True, eq=False)
class Heard:
    """An event as it lies in the track: mono loudness, mean square, and mean square in each band."""

    event: Event
    loudness_lufs: float
    mean_square: float
    bands: Array


@dataclass(frozen=True, eq=False)
class TrackSound:
    profile: Profile
    n_channels: int
    heard: tuple[Heard, ...]
    speech_lufs: float
    """Median loudness of the cues; of the whole track when no cue can be heard."""


def listen(blocks: Iterable[npt.NDArray[np.floating]], n_channels: int, schedule: Schedule) -> TrackSound:
    """Measure a track, given as blocks of shape (n, 1 or 2), and each of its schedule's events.

    Memory holds one event's samples and a grid of 10 ms.
    """
    profiler = Profiler(schedule.sample_rate, n_channels)
    waiting = sorted(schedule.events, key=lambda event: event.onset_sample)
    open_events: list[tuple[Event, list[npt.NDArray[np.floating]]]] = []
    heard: list[Heard] = []
    at = 0
    for block in blocks:
        profiler.push(block)
        # Slices, since NumPy is slow to take the mean along so short an axis.
        mono = block[:, 0] if n_channels == 1 else 0.5 * (block[:, 0] + block[:, 1])
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


def _heard(event: Event, mono: npt.NDArray[np.floating], sample_rate: int) -> Heard:
    mean_square = float(np.square(mono, dtype=np.float64).mean()) if mono.size else 0.0
    return Heard(event, clip_loudness_lufs(mono, sample_rate), mean_square, band_powers(mono, sample_rate))


@dataclass(frozen=True)
class Need:
    """What an event needs of the music under it: ``depth_lu`` down, and what it then reaches.

    ``value`` is a cue's SII or a pip's dB over the masker in its critical band; ``reached`` says whether that
    is its target. ``wanted_lu`` is the depth that would be enough for it, inf where none is.
    """

    event: Event
    depth_lu: float
    value: float
    target: float
    wanted_lu: float

    @property
    def grade(self) -> Grade:
        if self.reached:
            return "good"
        return "fair" if self.value >= (POOR if self.event.kind == "cue" else PIP_POOR_DB) else "poor"

    @property
    def reached(self) -> bool:
        return self.value >= self.target - 1e-6


@dataclass(frozen=True, eq=False)
class MixPlan:
    """Gains for the mix: the track's (dB at nodes), the music's (dB at nodes), and what will be read: the
    loudness, and a true peak that is not passed.

    ``gain_db`` is the one gain of everything, contained in both. ``limited_by_peak`` says that peaks kept the
    sum below its loudness.
    """

    track_db: Array
    music_db: Array
    needs: tuple[Need, ...]
    gain_db: float
    loudness_lufs: float
    true_peak_dbtp: float
    limited_by_peak: bool
    deepest_peak_dip_db: float


def needs_of(
    track: TrackSound, bed: Bed, *, most_depth_lu: float, cue_target: float = GOOD
) -> tuple[Need, ...]:
    """Return what each event needs, at most `most_depth_lu`, in the order of their onsets."""
    full_scale_db = full_scale_db_spl(track.speech_lufs)
    most = min(most_depth_lu, DEEPEST_DB)
    needs = []
    for one in track.heard:
        event = one.event
        masker_db = spectrum_levels_db(bed.band_powers(event.onset_sample, event.end_sample), full_scale_db)
        if event.kind == "cue":
            speech_db = spectrum_levels_db(one.bands, full_scale_db)
            free_db = highest_masker_gain_db(speech_db, masker_db, cue_target + MARGIN_SII, highest_db=0.0)
            wanted = max(0.0, -free_db) if free_db is not None else math.inf
            depth = min(most, wanted)
            index = cue_over_masker(event, speech_db, masker_db, -depth).sii
            needs.append(Need(event, depth, index, cue_target, wanted))
        elif event.frequency_hz is not None:
            pip_db = 10 * math.log10(max(one.mean_square, 1e-20)) + full_scale_db
            free_db = pip_over_masker(event, pip_db, masker_db, 0.0).good_to_lu
            wanted = max(0.0, -free_db)
            depth = min(most, wanted)
            over_db = pip_over_masker(event, pip_db, masker_db, -depth).over_masker_db
            needs.append(Need(event, depth, over_db, PIP_GOOD_DB, wanted))
    return tuple(needs)


def plan_mix(
    track: TrackSound,
    bed: Bed,
    needs: Sequence[Need],
    *,
    n_channels: int,
    target_lufs: float,
    ceiling_dbtp: float,
) -> MixPlan:
    """Return the gains that land the sum on its loudness with no peak over the ceiling.

    Where peaks of speech and music could meet over the ceiling the music gives way, in ramps as smooth as its
    ducks; only where the track's own peaks pass it does the whole give way, by 3 dB at most. Nothing reacts
    to the sound: the bound on each 10 ms is known beforehand.
    """
    node, rate = node_frames(bed.sample_rate), bed.sample_rate
    music = bed.profile()
    voice = _padded(track.profile, bed.n_nodes)
    if track.n_channels == 1 and n_channels == 2:
        voice = replace(voice, power=2 * voice.power)
    music_power = music.power * _channel_ratio(bed, n_channels)
    ducks = [Duck(need.event.onset_sample, need.event.end_sample, need.depth_lu) for need in needs]
    ducked = duck_nodes(ducks, bed.n_nodes, node, rate)
    ceiling = 10 ** (ceiling_dbtp / 20)
    highest = float(voice.peak.max(initial=0.0))
    most_gain_db = ceiling_dbtp + MOST_TRACK_DIP_DB - 20 * math.log10(highest) if highest > 0 else 40.0
    gain_db, bed_db, dip_db, loudness = 0.0, ducked, np.zeros(bed.n_nodes + 1), -math.inf
    wanted_db = 0.0
    for _ in range(5):
        together = (voice.power + music_power * _inside(bed_db)) * _inside(dip_db)
        loudness = loudness_of_nodes(together)
        if not math.isfinite(loudness):
            break
        wanted_db = target_lufs - loudness
        gain_db = min(wanted_db, most_gain_db)
        gain = 10 ** (gain_db / 20)
        with np.errstate(divide="ignore", invalid="ignore"):
            # The music never has to give way by more than 20 dB for a peak; the rest is the whole's to give.
            left = np.maximum(ceiling / gain - voice.peak, music.peak * 10 ** (-20 / 20) * _peaks(ducked))
            most_db = np.where(music.peak > 0, 20 * np.log10(left / music.peak), np.inf)
            bed_db = under_ceiling(ducked, most_db, node, rate)
            sum_peak = gain * (voice.peak + music.peak * _peaks(bed_db))
            over_db = np.where(sum_peak > ceiling, 20 * np.log10(ceiling / sum_peak), np.inf)
        dip_db = under_ceiling(np.zeros(bed.n_nodes + 1), over_db, node, rate, WHOLE_SLOPE_DB_PER_MS)
    most_peak = float(
        (10 ** (gain_db / 20) * (voice.peak + music.peak * _peaks(bed_db)) * _peaks(dip_db)).max()
    )
    return MixPlan(
        track_db=dip_db + gain_db,
        music_db=dip_db + bed_db + gain_db,
        needs=tuple(needs),
        gain_db=gain_db,
        loudness_lufs=loudness + (gain_db if math.isfinite(loudness) else 0.0),
        true_peak_dbtp=20 * math.log10(most_peak) if most_peak > 0 else -math.inf,
        limited_by_peak=wanted_db > most_gain_db,
        deepest_peak_dip_db=float(-dip_db.min()),
    )


def fit_music(
    sound: TrackSound,
    songs: Sequence[Song],
    schedule: Schedule,
    loudness_lufs: float,
    *,
    end: End,
    most_depth_lu: float,
    target_lufs: float,
    ceiling_dbtp: float,
) -> tuple[Bed, MixPlan, int]:
    """Return the music laid out, the gains, and the number of channels.

    A song whose own peaks would need deep dips is made softer; that moves the gain of the whole, which moves
    where its peaks lie, so it is done again until it holds.
    """
    n_nodes = -(-schedule.n_frames // node_frames(schedule.sample_rate))
    most_peak_dbtp = math.inf
    for _ in range(5):
        bed = lay_out(songs, n_nodes, loudness_lufs, schedule.sample_rate, end, most_peak_dbtp=most_peak_dbtp)
        n_channels = max(sound.n_channels, *(placed.song.n_channels for placed in bed.placements))
        mix_plan = plan_mix(
            sound,
            bed,
            needs_of(sound, bed, most_depth_lu=most_depth_lu),
            n_channels=n_channels,
            target_lufs=target_lufs,
            ceiling_dbtp=ceiling_dbtp,
        )
        allowed_dbtp = ceiling_dbtp + MOST_PEAK_DIP_DB - mix_plan.gain_db
        if min(most_peak_dbtp, bed.peak_dbtp) <= allowed_dbtp + 0.1:
            break
        most_peak_dbtp = allowed_dbtp
    return bed, mix_plan, n_channels


def softer_songs(bed: Bed, loudness_lufs: float) -> dict[Path, float]:
    """Return each song that is played softer than `loudness_lufs`, and by how much, LU."""
    short_lu = {
        placed.song.path: loudness_lufs - placed.song.loudness_lufs - 20 * math.log10(placed.gain)
        for placed in bed.placements
    }
    return {path: missing_lu for path, missing_lu in short_lu.items() if missing_lu > 0.5}


def _inside(nodes_db: Array) -> Array:
    """Return the mean power gain inside each node."""
    power = 10 ** (nodes_db / 10)
    return np.asarray((power[:-1] + power[1:]) / 2)


def _peaks(nodes_db: Array) -> Array:
    """Return the largest linear gain inside each node."""
    return np.asarray(10 ** (np.maximum(nodes_db[:-1], nodes_db[1:]) / 20))


def _padded(profile: Profile, n_nodes: int) -> Profile:
    missing = max(0, n_nodes - len(profile.power))
    power, peak = (np.append(row, np.zeros(missing))[:n_nodes] for row in (profile.power, profile.peak))
    return Profile(profile.n_frames, power, peak)


def _channel_ratio(bed: Bed, n_channels: int) -> Array:
    """Return, by node, how the sum over channels grows when a mono song is played in two."""
    ratio = np.ones(bed.n_nodes)
    for placed in bed.placements:
        ratio[placed.start_node : placed.end_node] = n_channels / placed.song.n_channels
    return ratio
