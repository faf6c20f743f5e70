"""A track and music into one file, step by step: measure, plan, mix and deliver.

Nothing is kept in memory but grids of 10 ms.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from cuelane.base import schedule as schedules
from cuelane.base.errors import UsageError
from cuelane.base.files import all_or_nothing, finish_interrupted
from cuelane.base.levels import CEILING_DBTP
from cuelane.base.schedule import Schedule, schedule_beside
from cuelane.media import probe
from cuelane.media.formats import LOSSLESS_WORDS, AudioFormat, format_of
from cuelane.media.media_limits import require_file
from cuelane.meter import Meter
from cuelane.under.carried_over import carried_over
from cuelane.under.gain_plan import MixPlan, Need, fit_music, softer_songs
from cuelane.under.measuring import departures, measured
from cuelane.under.mix_options import UnderOptions
from cuelane.under.mixdown import Mixdown, Progress, planned_ceiling_dbtp, write_under_ceiling
from cuelane.under.song import Song
from cuelane.under.track_sound import TrackSound

MOST_SONGS = 1_000
"""Chosen: more than any session holds, so that a folder given by mistake is refused at once."""


@dataclass(frozen=True, eq=False)
class UnderReport:
    """What was made, and of which songs. ``loudness_lufs`` and ``true_peak_dbtp`` are those of the file as a
    player decodes it; ``softened_lu`` is by how much each song is softer than asked because of its peaks."""

    out: Path
    schedule: Path
    songs: tuple[Song, ...]
    speech_lufs: float
    music_level_lu: float
    loudness_lufs: float
    true_peak_dbtp: float
    plan: MixPlan
    sample_rate: int
    softened_lu: float
    notes: tuple[str, ...]

    @property
    def short_of_target(self) -> tuple[Need, ...]:
        """The events that are not as well heard as they should be, even with the music at its lowest."""
        return tuple(need for need in self.plan.needs if not need.reached)


@dataclass(frozen=True, eq=False)
class _Planned:
    """The whole mix before a sample of it is written."""

    schedule: Schedule
    sound: TrackSound
    mixdown: Mixdown
    gains: MixPlan
    softer: dict[Path, float]
    notes: list[str]

    @property
    def songs(self) -> list[Song]:
        """Each song that will be heard, once, in the order in which they are played."""
        return list(dict.fromkeys(placed.song for placed in self.mixdown.bed.placements))


def under(
    track: Path,
    music: Sequence[Path],
    out: Path,
    options: UnderOptions | None = None,
    *,
    schedule: Path | None = None,
    progress: Progress = lambda done, total: None,
    force: bool = False,
) -> UnderReport:
    """Put the listener's own music under a track, lowered beneath each event; write it and its schedule.

    Parameters
    ----------
    track : any file the media edge reads; its chapters, tags and cover are kept.
    music : files in the order in which they are played, each brought to the same loudness.
    out : its suffix names one of :data:`cuelane.media.formats.FORMATS`; its schedule goes beside it, with the
        positions of the track's. A lossy file is decoded again to read its peaks, and made again where its
        encoder added some over -1 dBTP.
    schedule : the track's schedule; ``NAME.schedule.json`` beside it if None.
    progress : called with (frames done, frames in all); begins again with each encoding.

    Raises
    ------
    UsageError : no music, an option out of its range, an unknown suffix, `out` is one of the files given or,
        without `force`, one that cuelane did not write.
    AudioFileError : a file cannot be read, or the schedule is not this track's.
    DeliveryError : it cannot be written; an old file is untouched.
    """
    options = options or UnderOptions()
    schedule_path = schedule if schedule is not None else schedule_beside(track)
    finish_interrupted(track.parent, schedule_path.parent)
    form = format_of(out)
    _require_sources(track, music, schedule_path)
    options.require_in_range()
    made, inputs = schedule_beside(out), (track, schedule_path, *music)
    delivery = partial(all_or_nothing, out, made, inputs=inputs, listing=made, force=force)
    with delivery():
        # Refused here, before anything is measured.
        pass
    planned = _planned(track, music, schedule_path, form, options)
    mixdown, target_lufs = planned.mixdown, options.target_lufs
    with delivery() as staged:
        path = staged.path_for(out)
        gains, meter = write_under_ceiling(mixdown, path, planned.sound, planned.gains, target_lufs, progress)
        record = _record(planned.songs, options.music_level_lu, gains, meter)
        mixed = dataclasses.replace(planned.schedule, extra={**planned.schedule.extra, **record})
        staged.write_listing(
            partial(schedules.listed_schedule, mixed, out.name),
            partial(schedules.goes_with_another, out.name),
        )
    return _report(out, options, planned, gains, meter)


def _require_sources(track: Path, music: Sequence[Path], schedule: Path) -> None:
    """Raise UsageError or AudioFileError if there is nothing to put together."""
    if not music:
        raise UsageError("no music given: name at least one file after the track")
    if len(music) > MOST_SONGS:
        raise UsageError(f"{len(music)} files of music given; at most {MOST_SONGS} are read")
    if not schedule.exists():
        raise UsageError(f"{schedule}: no such file; give the track's schedule with --schedule")
    for given in (track, *music):
        require_file(given)


def _planned(
    track: Path, music: Sequence[Path], schedule_path: Path, form: AudioFormat, options: UnderOptions
) -> _Planned:
    """Measure what was given and decide each gain."""
    schedule, info = schedules.load_schedule(schedule_path), probe(track)
    n_track = min(2, info.n_channels)
    sound, songs = measured(track, n_track, music, schedule)
    notes = departures(track, schedule_path, schedule, sound)
    bed, gains, n_channels = fit_music(sound, songs, schedule, options, planned_ceiling_dbtp(form))
    softer = softer_songs(bed, sound.speech_lufs + options.music_level_lu)
    notes += [
        f"{path} is played {missing_lu:.1f} LU softer than asked: its peaks are too high, or it is too soft"
        for path, missing_lu in softer.items()
    ]
    metadata, left_out = carried_over(track, info, schedule, form)
    mixdown = Mixdown(track, n_track, schedule, bed, n_channels, metadata)
    return _Planned(schedule, sound, mixdown, gains, softer, notes + left_out)


def _report(out: Path, options: UnderOptions, planned: _Planned, gains: MixPlan, meter: Meter) -> UnderReport:
    return UnderReport(
        out=out,
        schedule=schedule_beside(out),
        songs=tuple(planned.songs),
        speech_lufs=planned.sound.speech_lufs,
        music_level_lu=options.music_level_lu,
        loudness_lufs=meter.integrated_lufs,
        true_peak_dbtp=meter.true_peak_dbtp,
        plan=gains,
        sample_rate=planned.schedule.sample_rate,
        softened_lu=max(planned.softer.values(), default=0.0),
        notes=(*planned.notes, *_peaks_over(format_of(out), meter)),
    )


def _peaks_over(form: AudioFormat, meter: Meter) -> list[str]:
    """Return a note if the encoder left peaks over the ceiling even so."""
    if not form.lossy or meter.true_peak_dbtp <= CEILING_DBTP:
        return []
    return [
        f"the encoder of {form.name} raises peaks to {meter.true_peak_dbtp:.1f} dBTP, above the limit of "
        f"{CEILING_DBTP:g}: write {LOSSLESS_WORDS} to stay under it, or use a lower --level"
    ]


def _record(songs: Sequence[Song], music_level_lu: float, plan: MixPlan, meter: Meter) -> dict[str, Any]:
    """Return what the schedule says of the mix."""

    def finite(value: float) -> float | None:
        return round(value, 2) if math.isfinite(value) else None

    record = {
        "music": [song.path.name for song in songs],
        "music_level_lu": music_level_lu,
        "loudness_lufs": finite(meter.integrated_lufs),
        "true_peak_dbtp": finite(meter.true_peak_dbtp),
        "gain_db": round(plan.gain_db, 3),
        "depth_lu": {need.event.id: round(need.depth_lu, 2) for need in plan.needs if need.depth_lu > 0},
    }
    assert json.dumps(record, allow_nan=False)
    return {"under": record}
