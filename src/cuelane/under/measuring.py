"""Measures the track and its music before anything is mixed; tells whether the schedule is the track's."""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from cuelane.base.errors import AudioFileError
from cuelane.base.schedule import Schedule
from cuelane.media import decode
from cuelane.under.grid import node_frames
from cuelane.under.playlist import CROSSFADE_S, covered_nodes
from cuelane.under.song import Song, read_song
from cuelane.under.track_sound import TrackSound, listen

LOST_BELOW_SPEECH_LU = 20.0
"""Chosen: a cue that reads so far below the others is not there, or was faded out."""
MOST_LOST_SHARE = 10
"""Chosen: with more than one cue in ten lost it is another track; with fewer, one that somebody edited."""
LONGER_IS_TOLD_S = 0.5
"""Chosen: well over what an encoder adds to the end, and less than a person's edit would change."""
_MOST_WAITING = 3


def measured(
    track: Path, n_channels: int, music: Sequence[Path], schedule: Schedule
) -> tuple[TrackSound, list[Song]]:
    """Measure the track, and of the music no more than the session will need, two files at a time.

    Threads are enough: decoders are processes of their own, and the measures let other threads run.

    Raises
    ------
    AudioFileError : the track, or a song that the session needs, cannot be read or used.
    """
    rate, songs, left, covered = schedule.sample_rate, list[Song](), list(music), 0
    # A song longer than the session must not begin its crossfade inside it.
    most_frames = schedule.n_frames + round(CROSSFADE_S * rate)
    reading: list[tuple[Path, Future[Song]]] = []
    enough = threading.Event()

    def hoped() -> float:
        """Return the frames that the files being read may cover, estimated from their sizes in bytes."""
        of_read = sum(song.path.stat().st_size for song in songs)
        of_these = sum(path.stat().st_size for path, _ in reading)
        return covered * of_these / of_read if of_read else 0.0

    with ThreadPoolExecutor(max_workers=2) as pool:
        try:
            blocks = decode(track, sample_rate=rate, channels=n_channels)
            sound = pool.submit(listen, blocks, n_channels, schedule)
            while covered < schedule.n_frames and (reading or left):
                while (
                    left
                    and len(reading) < _MOST_WAITING
                    and (not reading or covered + hoped() < schedule.n_frames)
                ):
                    path = left.pop(0)
                    job = pool.submit(read_song, path, rate, most_frames, stop=enough)
                    reading.append((path, job))
                songs.append(reading.pop(0)[1].result())
                covered += covered_nodes(songs[-1], rate) * node_frames(rate)
            return sound.result(), songs
        finally:
            enough.set()
            pool.shutdown(wait=True, cancel_futures=True)


def departures(track: Path, schedule_path: Path, schedule: Schedule, sound: TrackSound) -> list[str]:
    """Return a note for each way in which the track departs from its schedule.

    Raises
    ------
    AudioFileError : so many cues are not where the schedule says that it cannot be this track's.
    """
    cues = [one for one in sound.heard if one.event.kind == "cue"]
    lost = [one for one in cues if not one.loudness_lufs > sound.speech_lufs - LOST_BELOW_SPEECH_LU]
    if not math.isfinite(sound.speech_lufs) or len(lost) > max(1, len(cues) // MOST_LOST_SHARE):
        raise AudioFileError(
            f"{track}: {len(lost)} of the {len(cues)} cues in {schedule_path} are not where it says; "
            "it belongs to another track, or this one was cut: run `cuelane check` on it"
        )
    notes = [f"cue {one.event.id} {one.event.text!r} cannot be heard in {track}" for one in lost]
    difference_s = (sound.profile.n_frames - schedule.n_frames) / schedule.sample_rate
    if abs(difference_s) > LONGER_IS_TOLD_S:
        longer = "longer" if difference_s > 0 else "shorter"
        notes.append(
            f"{track} is {abs(difference_s):.1f} s {longer} than its schedule, whose length was kept"
        )
    return notes
