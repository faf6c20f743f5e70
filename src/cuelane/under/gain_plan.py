"""How far the music goes down for each event, and the gains of the whole: decided before anything is mixed.

Each cue and pip has been measured at its place in the track, and the music that will be under it is known
from the bed. All levels are for one ear (see :mod:`cuelane.hearing.bands`); speech at the median loudness of
the track's own cues stands for normal vocal effort.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.base.schedule import Event, Schedule
from cuelane.hearing.bands import full_scale_db_spl, spectrum_levels_db
from cuelane.hearing.room import (
    PIP_GOOD_DB,
    PIP_POOR_DB,
    Grade,
    highest_pip_masker_gain_db,
    pip_over_masker_db,
)
from cuelane.hearing.sii import GOOD, POOR, highest_masker_gain_db, speech_intelligibility_index
from cuelane.under.ducking import DEEPEST_DB, WHOLE_SLOPE_DB_PER_MS, Duck, duck_nodes, under_ceiling
from cuelane.under.grid import (
    NODES_PER_HOP,
    Profile,
    hop_powers,
    loudness_of_hops,
    node_frames,
)
from cuelane.under.mix_options import UnderOptions
from cuelane.under.playlist import Bed, lay_out
from cuelane.under.song import Song
from cuelane.under.track_sound import TrackSound

Array = npt.NDArray[np.float64]

MOST_TRACK_DIP_DB = 3.0
MOST_PEAK_DIP_DB = 3.0
"""Music that would often need deeper dips than this for its own peaks is played softer instead."""

_PART = 1_000 * NODES_PER_HOP
_SUM_ROUNDS = 5
"""Chosen: gain, dips and loudness depend on each other; each round changes the loudness less."""
_FIT_ROUNDS = 5
"""Chosen: a bound on rounds that end as soon as the songs' peaks stay where they are allowed."""

MARGIN_SII = 0.02
"""Added to a cue's target, for changes of the music within the frames of 100 ms."""


@dataclass(frozen=True)
class Need:
    """By how much the music must go down for an event, ``depth_lu``, and how well the event is then heard.

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
    sum below its loudness. ``deepest_peak_dip_db`` is by how much the whole, the voice too, is lowered at
    most where the track's own peaks would pass the ceiling: 0 where they do not.
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
            index = speech_intelligibility_index(speech_db, masker_db - depth)
            needs.append(Need(event, depth, index, cue_target, wanted))
        elif event.frequency_hz is not None:
            pip_db = 10 * math.log10(max(one.mean_square, 1e-20)) + full_scale_db
            free_db = highest_pip_masker_gain_db(event, pip_db, masker_db, PIP_GOOD_DB, highest_db=0.0)
            wanted = max(0.0, -free_db) if free_db is not None else math.inf
            depth = min(most, wanted)
            over_db = pip_over_masker_db(event, pip_db, masker_db - depth)
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

    Where peaks of speech and music together could exceed the ceiling the music is lowered, in ramps as smooth
    as its ducks; only where the track's own peaks exceed it is the whole lowered, by 3 dB at most. Nothing
    reacts to the sound as it comes: the bound on each 10 ms is known beforehand.
    """
    node, rate, n_nodes = node_frames(bed.sample_rate), bed.sample_rate, bed.n_nodes
    music, voice = bed.profile(n_channels), _padded(track.profile, bed.n_nodes)
    voice_weight = n_channels / track.n_channels
    ducks = [Duck(need.event.onset_sample, need.event.end_sample, need.depth_lu) for need in needs]
    ducked = duck_nodes(ducks, n_nodes, node, rate)
    ceiling = 10 ** (ceiling_dbtp / 20)
    highest = float(voice.peak.max(initial=0.0))
    most_gain_db = ceiling_dbtp + MOST_TRACK_DIP_DB - 20 * math.log10(highest) if highest > 0 else 40.0
    gain_db, bed_db, dip_db, loudness = 0.0, ducked, np.zeros(n_nodes + 1), -math.inf
    wanted_db = 0.0
    most_db, hops = np.empty(n_nodes, dtype=np.float32), np.empty(n_nodes // NODES_PER_HOP)
    # Part by part, so that a long session's arithmetic takes no more memory than a short one's.
    for _ in range(_SUM_ROUNDS):
        loudness = _loudness_of_sum(voice, voice_weight, music, bed_db, dip_db, hops)
        if not math.isfinite(loudness):
            break
        wanted_db = target_lufs - loudness
        gain_db = min(wanted_db, most_gain_db)
        gain = 10 ** (gain_db / 20)
        _room_for_music(ceiling / gain, voice, music, ducked, most_db)
        bed_db = under_ceiling(ducked, most_db, node, rate)
        for part, ends in _parts(n_nodes):
            sum_peak = gain * (voice.peak[part] + music.peak[part] * _peaks(bed_db[ends]))
            with np.errstate(divide="ignore"):
                most_db[part] = np.where(sum_peak > ceiling, 20 * np.log10(ceiling / sum_peak), np.inf)
        dip_db = under_ceiling(np.zeros(n_nodes + 1), most_db, node, rate, WHOLE_SLOPE_DB_PER_MS)
    most_peak = 10 ** (gain_db / 20) * max(
        float(((voice.peak[part] + music.peak[part] * _peaks(bed_db[ends])) * _peaks(dip_db[ends])).max())
        for part, ends in _parts(n_nodes)
    )
    bed_db = bed_db + dip_db
    bed_db += gain_db
    deepest_db = max(0.0, float(-dip_db.min()))
    dip_db += gain_db
    return MixPlan(
        track_db=dip_db,
        music_db=bed_db,
        needs=tuple(needs),
        gain_db=gain_db,
        loudness_lufs=loudness + (gain_db if math.isfinite(loudness) else 0.0),
        true_peak_dbtp=20 * math.log10(most_peak) if most_peak > 0 else -math.inf,
        limited_by_peak=wanted_db > most_gain_db,
        deepest_peak_dip_db=deepest_db,
    )


def _loudness_of_sum(
    voice: Profile, voice_weight: float, music: Profile, bed_db: Array, dip_db: Array, hops: Array
) -> float:
    """Return the loudness of both, given the gains at nodes in dB; `hops` is room for the work."""
    for part, ends in _parts(len(music.power)):
        power = voice_weight * voice.power[part] + music.power[part] * _inside(bed_db[ends])
        in_hops = hop_powers(power * _inside(dip_db[ends]))
        hops[part.start // NODES_PER_HOP :][: len(in_hops)] = in_hops
    return loudness_of_hops(hops)


def _room_for_music(
    ceiling: float, voice: Profile, music: Profile, ducked_db: Array, most_db: npt.NDArray[np.float32]
) -> None:
    """Fill `most_db` with the gain, in dB, at which the music's peak and the voice's meet the ceiling."""
    for part, ends in _parts(len(music.peak)):
        peak = music.peak[part]
        # The music is never lowered by more than 20 dB for a peak; beyond that the whole is lowered.
        left = np.maximum(ceiling - voice.peak[part], peak * 0.1 * _peaks(ducked_db[ends]))
        with np.errstate(divide="ignore", invalid="ignore"):
            most_db[part] = np.where(peak > 0, 20 * np.log10(left / peak), np.inf)


def _parts(n_nodes: int) -> Iterator[tuple[slice, slice]]:
    """Yield nodes in parts of whole hops, and the ends of those nodes."""
    for first in range(0, n_nodes, _PART):
        last = min(first + _PART, n_nodes)
        yield slice(first, last), slice(first, last + 1)


def fit_music(
    sound: TrackSound,
    songs: Sequence[Song],
    schedule: Schedule,
    options: UnderOptions,
    ceiling_dbtp: float,
) -> tuple[Bed, MixPlan, int]:
    """Return the music laid out, the gains, and the number of channels.

    A song whose own peaks would need deep dips is played softer. That changes the gain of the whole and so
    the level of its peaks, so it is repeated until no song changes.
    """
    n_nodes = -(-schedule.n_frames // node_frames(schedule.sample_rate))
    loudness_lufs = sound.speech_lufs + options.music_level_lu
    most_peak_dbtp = math.inf
    for _ in range(_FIT_ROUNDS):
        bed = lay_out(
            songs, n_nodes, loudness_lufs, schedule.sample_rate, options.end, most_peak_dbtp=most_peak_dbtp
        )
        n_channels = max(sound.n_channels, *(placed.song.n_channels for placed in bed.placements))
        mix_plan = plan_mix(
            sound,
            bed,
            needs_of(sound, bed, most_depth_lu=options.most_depth_lu),
            n_channels=n_channels,
            target_lufs=options.target_lufs,
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
    power, peak = (
        np.append(row, np.zeros(missing, dtype=np.float32))[:n_nodes] if missing else row[:n_nodes]
        for row in (profile.power, profile.peak)
    )
    return Profile(profile.n_frames, power, peak)
