"""What a prepared plan shows before anything is rendered: warnings, what does not fit, and the room."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cuelane.audio.store import ClipStore
from cuelane.base.schedule import to_json
from cuelane.hearing.report import as_dict
from cuelane.hearing.room import Room, room
from cuelane.lint import LintWarning, lint
from cuelane.render.run import Prepared, clip_loader
from cuelane.speech.estimate import LineLengths
from cuelane.speech.prepare import spoken_as


@dataclass(frozen=True)
class Preview:
    """A prepared plan with its warnings, and its room over music where that was measured."""

    prepared: Prepared
    warnings: tuple[LintWarning, ...]
    room: Room | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the schedule as JSON holds it, with ``warnings``, ``misfits`` and, if measured, ``room``."""
        schedule = self.prepared.schedule
        data: dict[str, Any] = json.loads(to_json(schedule))
        data["warnings"] = [warning.to_dict() for warning in self.warnings]
        data["misfits"] = [
            {
                "interval": row.interval,
                "missing_s": row.missing_s,
                "words_to_cut": row.words_to_cut,
                "place": row.place,
                "remedies": list(row.remedies),
            }
            for row in self.prepared.advice
        ]
        data["voice_notes"] = list(self.prepared.voice_notes)
        data["doubts"] = self.prepared.voiced.doubts
        if self.room is not None:
            data["room"] = as_dict(self.room, schedule.sample_rate)
        return data


def preview(prepared: Prepared) -> Preview:
    """Return what there is to say about `prepared`."""
    pace, voice, language = prepared.pace, prepared.voiced.voice, prepared.schedule.language
    lengths = LineLengths(voice)
    warnings = lint(
        prepared.loaded,
        prepared.session,
        lambda text: lengths.seconds(text, pace),
        lambda text: spoken_as(text, language),
    )
    return Preview(prepared, tuple(warnings))


def room_over_music(
    prepared: Prepared, store: ClipStore, *, music: Path | None, music_level_lu: float
) -> Room:
    """Return how well each cue is heard over `music`, at `music_level_lu` relative to speech.

    Programme-like noise is taken where `music` is None.

    Raises
    ------
    AudioFileError : the music cannot be read or is silent.
    """
    return room(prepared.schedule, clip_loader(store), music=music, music_level_lu=music_level_lu)
