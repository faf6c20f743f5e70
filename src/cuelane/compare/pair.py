"""The comparison of two files, each a schedule or a track with its schedule beside it."""

from __future__ import annotations

from pathlib import Path

from cuelane.base.errors import UsageError
from cuelane.base.schedule import LISTING, Schedule, load_schedule
from cuelane.compare.pair_report import Comparison
from cuelane.compare.schedules import changes
from cuelane.compare.sounds import sound_changes


def compare(before: Path, after: Path) -> Comparison:
    """Return what differs between two schedules or two tracks; the sound only where both are tracks.

    Raises
    ------
    UsageError : a track without its schedule beside it.
    AudioFileError : a file that cannot be read.
    """
    sessions = [schedule_of(path) for path in (before, after)]
    tracks = not any(_is_schedule(path) for path in (before, after))
    sound = sound_changes(before, after) if tracks else None
    return Comparison(str(before), str(after), changes(*sessions), sound)


def schedule_of(path: Path) -> Schedule:
    """Return the schedule that `path` is, or that lies beside the track that it is."""
    if not path.is_file():
        raise UsageError(f"{path}: {'is no file' if path.exists() else 'there is no such file'}")
    if path.suffix.lower() in (".yaml", ".yml"):
        raise UsageError(f"{path}: is a plan; name the tracks that were made of it, or their schedules")
    if _is_schedule(path):
        return load_schedule(path)
    beside = path.with_name(path.stem + LISTING)
    if not beside.is_file():
        hint = "name a schedule (.json), or a track that lies with its own"
        raise UsageError(f"{path}: there is no {beside.name} beside it; {hint}")
    return load_schedule(beside)


def _is_schedule(path: Path) -> bool:
    return path.suffix.lower() == ".json"
