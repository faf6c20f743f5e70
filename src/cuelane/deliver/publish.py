"""All that is written beside a track, as text by the ending of its file's name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from cuelane.base.schedule import Schedule
from cuelane.deliver.captions import to_srt, to_vtt
from cuelane.deliver.chapters import to_json_chapters
from cuelane.deliver.describe import describe
from cuelane.deliver.marks import to_csv
from cuelane.deliver.page import FileLink, PageExtras, write_page
from cuelane.deliver.waveform import envelope_of
from cuelane.hearing.safe_listening import ADVICE
from cuelane.media import Chapter

NOTES = {
    ".vtt": "captions, WebVTT",
    ".srt": "captions, SubRip",
    ".chapters.json": "chapters, JSON",
    ".cues.csv": "cues and pips, a table",
    ".md": "description, Markdown",
    ".schedule.json": "schedule, for checking",
}


def companions(
    schedule: Schedule,
    audio_name: str,
    chapters: Sequence[Chapter],
    blocks: Iterable[npt.NDArray[np.floating]],
    *,
    subtitles: bool = False,
    embed: bytes | None = None,
) -> dict[str, str]:
    """Return the text of each file beside the track `audio_name`, by ending: ``.html``, ``.vtt`` and so on.

    Parameters
    ----------
    blocks : the track's audio, shape (n,) or (n, n_channels), for its picture; read once, as a stream.
    subtitles : captions as ``.srt`` too.
    embed : the encoded track, to be put inside the page.
    """
    texts = {".vtt": to_vtt(schedule)}
    if subtitles:
        texts[".srt"] = to_srt(schedule)
    texts[".chapters.json"] = to_json_chapters(chapters, schedule.title)
    texts[".cues.csv"] = to_csv(schedule)
    texts[".md"] = describe(schedule, chapters=chapters, hearing=ADVICE)
    stem = PurePath(audio_name).stem
    links = [FileLink(stem + ending, NOTES[ending]) for ending in (*texts, ".schedule.json")]
    extras = PageExtras(
        files=(FileLink(audio_name, "the track"), *links),
        vtt=texts[".vtt"],
        chapters=chapters,
        hearing=ADVICE,
        embed=embed,
    )
    envelope = envelope_of(blocks, schedule.n_frames) if schedule.n_frames else None
    return {".html": write_page(schedule, audio_name=audio_name, envelope=envelope, extras=extras), **texts}
