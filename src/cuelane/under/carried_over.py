"""What the mixed file takes over from its track: title and other tags, chapters, cover."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from cuelane.base.schedule import Schedule
from cuelane.base.units import to_ms
from cuelane.media import Chapter, MediaInfo, Metadata
from cuelane.media.attached_picture import cover_png
from cuelane.media.formats import AudioFormat
from cuelane.media.metadata import MAX_CHAPTERS, TAG_NAMES

_WHY_LEFT_OUT = (
    f"a file holds {MAX_CHAPTERS} at most, one after another, and none may begin after the session's end"
)


def carried_over(
    track: Path, info: MediaInfo, schedule: Schedule, form: AudioFormat
) -> tuple[Metadata, list[str]]:
    """Return what a file of the format `form` can hold of the track's own, and notes on what is left out."""
    tags = {name: info.tags[name] for name in TAG_NAMES if info.tags.get(name)}
    picture = cover_png(track, info) if form.holds_chapters else None
    chapters, left_out = chapters_held(info, schedule)
    notes = []
    if left_out and form.holds_chapters:
        notes.append(
            f"{left_out} of the {len(info.chapters)} chapters in {track} are left out: {_WHY_LEFT_OUT}"
        )
    return Metadata({"title": schedule.title, **tags}, chapters, picture), notes


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
