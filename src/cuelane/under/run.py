"""A track and music into one file: measure, plan, mix and deliver. Nothing is kept but grids of 10 ms."""

from __future__ import annotations

import dataclasses
import json
import math
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base import schedule as schedules
from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.files import Staged, all_or_nothing, finish_interrupted
from cuelane.base.schedule import Schedule
from cuelane.base.units import to_ms
from cuelane.media import Chapter, MediaInfo, Metadata, decode, encode, probe
from cuelane.media.attached_picture import cover_png
from cuelane.media.formats import LOSSLESS_WORDS, format_of
from cuelane.media.media_limits import require_file
from cuelane.media.metadata import MAX_CHAPTERS, TAG_NAMES
from cuelane.meter import Meter
from cuelane.under.ducking import DEEPEST_DB, gain_of_nodes
from cuelane.under.gain_plan import MixPlan, Need, fit_music, plan_mix, softer_songs
from cuelane.under.grid import node_frames
from cuelane.under.playlist import CROSSFADE_S, Bed, End, covered_nodes
from cuelane.under.song import Song, read_song
from cuelane.under.track_sound import TrackSound, listen

Block = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

DEFAULT_DEPTH_LU = 14.0
DEFAULT_LEVEL_LU = -3.0
DEFAULT_TARGET_LUFS = -16.0
CEILING_DBTP = -1.0
LOWERED_BEYOND_DB = (0.2, 1.0)
"""Where an encoder's noise adds more than its headroom, it is elsewhere each time the mix is another, so the
whole is encoded again under a ceiling lower by what was too much, and by this much beyond; then once more."""

MOST_SONGS = 1_000
_WHY_LEFT_OUT = (
    f"a file holds {MAX_CHAPTERS} at most, one after another, and none may begin after the session's end"
)
_BLOCK_NODES = 128


@dataclass(frozen=True, eq=False)
class UnderReport:
    """What was made of which songs. ``loudness_lufs`` and ``true_peak_dbtp`` are those of the file as a
    player decodes it, ``softened_lu`` how far its peaks keep a song under its level."""

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


def under(
    track: Path,
    music: Sequence[Path],
    out: Path,
    *,
    schedule: Path | None = None,
    music_level_lu: float = DEFAULT_LEVEL_LU,
    most_depth_lu: float = DEFAULT_DEPTH_LU,
    end: End = "loop",
    target_lufs: float = DEFAULT_TARGET_LUFS,
    progress: Progress = lambda done, total: None,
    force: bool = False,
) -> UnderReport:
    """Put the listener's own music under a track, lowered beneath each event; write it and its schedule.

    Parameters
    ----------
    track : any file the media edge reads; its chapters, tags and cover are kept.
    music : files in the order in which they are played, each brought to the same loudness.
    out : its suffix names one of :data:`cuelane.media.formats.FORMATS`; its schedule goes beside it, with the
        positions of the track's.
    schedule : the track's schedule; ``NAME.schedule.json`` beside it if None.
    music_level_lu : the music's loudness between events, relative to speech.
    most_depth_lu : how far down music may go for an event, 0 to 27 LU.
    end : ``loop`` repeats the music until the session ends, ``stop`` plays it once.
    target_lufs : integrated loudness of the sum; its true peak stays at or under -1 dBTP. A lossy file is
        decoded again to know, and made again where its encoder added peaks over that.
    progress : called with (frames done, frames in all); begins again with each encoding.

    Raises
    ------
    UsageError : no music, an impossible option, an unknown suffix, `out` is one of the files given or,
        without `force`, one that cuelane did not write.
    AudioFileError : a file cannot be read, or the schedule is not this track's.
    DeliveryError : it cannot be written; an old file is untouched.
    """
    schedule_path = schedule if schedule is not None else schedule_beside(track)
    finish_interrupted(track.parent, schedule_path.parent)
    _check(track, music, out, schedule_path, music_level_lu, most_depth_lu, target_lufs)
    made = schedule_beside(out)

    def delivery() -> AbstractContextManager[Staged]:
        inputs = (track, schedule_path, *music)
        return all_or_nothing(out, made, inputs=inputs, listing=made, force=force)

    with delivery():
        # Told before anything is measured.
        pass
    plan = schedules.load_schedule(schedule_path)
    info = probe(track)
    rate, notes = plan.sample_rate, list[str]()
    n_track = min(2, info.n_channels)
    sound, songs = _measured(track, n_track, music, plan)
    notes += _fits(track, schedule_path, plan, sound)
    form = format_of(out)
    lossy = form.lossy
    ceiling_dbtp = CEILING_DBTP - form.mix_headroom_db
    bed, mix_plan, n_channels = fit_music(
        sound,
        songs,
        plan,
        sound.speech_lufs + music_level_lu,
        end=end,
        most_depth_lu=most_depth_lu,
        target_lufs=target_lufs,
        ceiling_dbtp=ceiling_dbtp,
    )
    songs = list(dict.fromkeys(placed.song for placed in bed.placements))
    softer = softer_songs(bed, sound.speech_lufs + music_level_lu)
    notes += [
        f"{path} is played {missing_lu:.1f} LU softer than asked: its peaks are too tall, or it is too soft"
        for path, missing_lu in softer.items()
    ]
    picture = cover_png(track, info) if form.holds_chapters else None
    chapters, left_out = chapters_held(info, plan)
    if left_out and form.holds_chapters:
        notes.append(
            f"{left_out} of the {len(info.chapters)} chapters in {track} are left out: {_WHY_LEFT_OUT}"
        )

    def write(path: Path, mix_plan: MixPlan) -> Meter:
        """Return what was read in all that a player will decode; a lossless file holds what was mixed."""
        meter = Meter(rate, n_channels)
        mixed = _followed(_mixed(track, n_track, plan, bed, mix_plan, n_channels), plan.n_frames, progress)
        encode(
            path,
            mixed if lossy else _metered(mixed, meter),
            sample_rate=rate,
            n_channels=n_channels,
            n_frames=plan.n_frames,
            metadata=Metadata(_tags(info, plan), chapters, picture),
        )
        if lossy:
            for block in decode(path, sample_rate=rate, channels=n_channels):
                meter.push(block)
        return meter

    with delivery() as staged:
        path = staged.path_for(out)
        meter = write(path, mix_plan)
        for beyond_db in LOWERED_BEYOND_DB if lossy else ():
            over_db = meter.true_peak_dbtp - CEILING_DBTP
            if over_db <= 0:
                break
            ceiling_dbtp -= over_db + beyond_db
            mix_plan = plan_mix(
                sound,
                bed,
                mix_plan.needs,
                n_channels=n_channels,
                target_lufs=target_lufs,
                ceiling_dbtp=ceiling_dbtp,
            )
            meter = write(path, mix_plan)
        if lossy and meter.true_peak_dbtp > CEILING_DBTP:
            notes.append(
                f"the encoder of {form.name} adds peaks up to {meter.true_peak_dbtp:.1f} dBTP, where "
                f"{CEILING_DBTP:g} was meant: write {LOSSLESS_WORDS} to be under it, or use a lower --level"
            )
        record = _record(songs, music_level_lu, mix_plan, meter)
        mixed = dataclasses.replace(plan, extra={**plan.extra, **record})
        staged.write_listing(
            partial(schedules.listed_schedule, mixed, out.name),
            partial(schedules.goes_with_another, out.name),
        )
    return UnderReport(
        out=out,
        schedule=made,
        songs=tuple(songs),
        speech_lufs=sound.speech_lufs,
        music_level_lu=music_level_lu,
        loudness_lufs=meter.integrated_lufs,
        true_peak_dbtp=meter.true_peak_dbtp,
        plan=mix_plan,
        sample_rate=rate,
        softened_lu=max(softer.values(), default=0.0),
        notes=tuple(notes),
    )


def schedule_beside(track: Path) -> Path:
    """Return where the schedule of `track` lies by default."""
    return track.with_name(track.stem + schedules.LISTING)


def _check(
    track: Path,
    music: Sequence[Path],
    out: Path,
    schedule: Path,
    music_level_lu: float,
    most_depth_lu: float,
    target_lufs: float,
) -> None:
    if not music:
        raise UsageError("no music given: name at least one file after the track")
    if len(music) > MOST_SONGS:
        raise UsageError(f"{len(music)} files of music given; at most {MOST_SONGS} are read")
    format_of(out)
    if not schedule.exists():
        raise UsageError(f"{schedule}: no such file; give the track's schedule with --schedule")
    for given in (track, *music):
        require_file(given)
    for name, value, low, high in (
        ("--depth", most_depth_lu, 0.0, math.floor(DEEPEST_DB)),
        ("--level", music_level_lu, -40.0, 20.0),
        ("the target loudness", target_lufs, -40.0, -8.0),
    ):
        if not low <= value <= high:
            raise UsageError(f"{name} must be between {low:g} and {high:g}, got {value:g}")


def _fits(track: Path, schedule_path: Path, schedule: Schedule, sound: TrackSound) -> list[str]:
    """Return notes on how the track departs from its schedule. Raises if it cannot be its schedule."""
    cues = [one for one in sound.heard if one.event.kind == "cue"]
    lost = [one for one in cues if not one.loudness_lufs > sound.speech_lufs - 20.0]
    if not math.isfinite(sound.speech_lufs) or len(lost) > max(1, len(cues) // 10):
        raise AudioFileError(
            f"{track}: {len(lost)} of the {len(cues)} cues in {schedule_path} are not where it says; "
            "it belongs to another track, or this one was cut: run `cuelane check` on it"
        )
    notes = [f"cue {one.event.id} {one.event.text!r} cannot be heard in {track}" for one in lost]
    difference_s = (sound.profile.n_frames - schedule.n_frames) / schedule.sample_rate
    if abs(difference_s) > 0.5:
        longer = "longer" if difference_s > 0 else "shorter"
        notes.append(
            f"{track} is {abs(difference_s):.1f} s {longer} than its schedule, whose length was kept"
        )
    return notes


def _measured(
    track: Path, n_channels: int, music: Sequence[Path], schedule: Schedule
) -> tuple[TrackSound, list[Song]]:
    """Measure the track, and of the music no more than the session will need, two files at a time.

    Threads are enough: decoders are processes of their own, and the measures let other threads run.
    """
    rate, songs, left, covered = schedule.sample_rate, list[Song](), list(music), 0
    # A song longer than the session must not begin its crossfade inside it.
    most_frames = schedule.n_frames + round(CROSSFADE_S * rate)
    reading: list[tuple[Path, Future[Song]]] = []
    enough = threading.Event()

    def hoped() -> float:
        """Return what the files that are being read may cover, by what those before have held to a byte."""
        of_read = sum(song.path.stat().st_size for song in songs)
        of_these = sum(path.stat().st_size for path, _ in reading)
        return covered * of_these / of_read if of_read else 0.0

    with ThreadPoolExecutor(max_workers=2) as pool:
        try:
            blocks = decode(track, sample_rate=rate, channels=n_channels)
            sound = pool.submit(listen, blocks, n_channels, schedule)
            while covered < schedule.n_frames and (reading or left):
                while left and len(reading) < 3 and (not reading or covered + hoped() < schedule.n_frames):
                    path = left.pop(0)
                    job = pool.submit(read_song, path, rate, most_frames, stop=enough)
                    reading.append((path, job))
                songs.append(reading.pop(0)[1].result())
                covered += covered_nodes(songs[-1], rate) * node_frames(rate)
            return sound.result(), songs
        finally:
            enough.set()
            pool.shutdown(wait=True, cancel_futures=True)


def _mixed(
    track: Path, n_track: int, schedule: Schedule, bed: Bed, plan: MixPlan, n_channels: int
) -> Iterator[Block]:
    """Yield the sum, shape (n, n_channels), exactly as long as the schedule says."""
    node = node_frames(schedule.sample_rate)
    voice = decode(
        track, sample_rate=schedule.sample_rate, channels=n_track, block_frames=_BLOCK_NODES * node
    )
    first = 0
    for music in bed.blocks(n_channels, _BLOCK_NODES):
        n_nodes = len(music) // node
        gains = slice(first, first + n_nodes + 1)
        block = _scaled(music, gain_of_nodes(plan.music_db[gains], node))
        spoken = next(voice, None)
        if spoken is not None and spoken.any():
            n_spoken = min(len(spoken), len(block))
            sound = _scaled(spoken[:n_spoken], gain_of_nodes(plan.track_db[gains], node)[:n_spoken])
            # Channel by channel, since NumPy is slow along so short an axis.
            for channel in range(n_channels):
                block[:n_spoken, channel] += sound[:, channel % n_track]
        yield block[: schedule.n_frames - first * node]
        first += n_nodes
    if hasattr(voice, "close"):
        voice.close()


def _scaled(block: Block, gain: Block) -> Block:
    """Return `block`, shape (n, n_channels), times `gain`, shape (n,)."""
    if block.shape[1] == 2 and block.flags.c_contiguous:
        # Two channels as one complex number are scaled in a third of the time.
        return (block.view(np.complex64)[:, 0] * gain)[:, np.newaxis].view(np.float32)
    return block * gain[:, np.newaxis]


def _followed(blocks: Iterator[Block], n_frames: int, progress: Progress) -> Iterator[Block]:
    done = 0
    for block in blocks:
        done += len(block)
        progress(done, n_frames)
        yield block


def _metered(blocks: Iterator[Block], meter: Meter) -> Iterator[Block]:
    for block in blocks:
        meter.push(block)
        yield block


def chapters_held(info: MediaInfo, schedule: Schedule) -> tuple[list[Chapter], int]:
    """Return the track's chapters that a file can hold, within the session, and how many are left out."""
    end_ms = to_ms(schedule.n_frames, schedule.sample_rate)
    kept: list[Chapter] = []
    for chapter in info.chapters:
        cut = dataclasses.replace(chapter, end_ms=min(chapter.end_ms, end_ms))
        follows = cut.start_ms >= (kept[-1].end_ms if kept else 0)
        if follows and cut.start_ms < cut.end_ms and len(kept) < MAX_CHAPTERS:
            kept.append(cut)
    return kept, len(info.chapters) - len(kept)


def _tags(info: MediaInfo, schedule: Schedule) -> dict[str, str]:
    tags = {name: info.tags[name] for name in TAG_NAMES if info.tags.get(name)}
    return {"title": schedule.title, **tags}


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
