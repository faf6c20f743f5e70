"""The files that are written beside a track: their texts, by the endings of their names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath

import numpy as np
import numpy.typing as npt

from cuelane.base.page_words import page_words
from cuelane.base.schedule import LISTING, Schedule
from cuelane.base.seals import digest_of_text, html_with_files, json_with
from cuelane.deliver.captions import to_srt, to_vtt
from cuelane.deliver.chapters import to_json_chapters
from cuelane.deliver.describe import describe
from cuelane.deliver.marks import to_csv
from cuelane.deliver.page import FileLink, PageExtras, write_page
from cuelane.deliver.waveform import envelope_of
from cuelane.hearing.safe_listening import advice
from cuelane.media import Chapter

ENDINGS = {
    ".vtt": "vtt",
    ".srt": "srt",
    ".chapters.json": "chapters",
    ".cues.csv": "cues",
    ".md": "description",
    LISTING: "schedule",
}
"""Of the files beside a track, with the key of what pages call each."""


def companions(
    schedule: Schedule,
    audio_name: str,
    chapters: Sequence[Chapter],
    blocks: Iterable[npt.NDArray[np.floating]],
    *,
    subtitles: bool = False,
    embed: bytes | None = None,
    audio_sha256: str | None = None,
) -> dict[str, str]:
    """Return the text of each file beside the track `audio_name`, by ending: ``.html``, ``.vtt`` and so on.

    Parameters
    ----------
    blocks : the track's audio, shape (n,) or (n, n_channels), for its picture; read once, as a stream.
    subtitles : captions as ``.srt`` too.
    embed : the encoded track, to be put inside the page.
    audio_sha256 : ``sha256:`` and digest of the track; page, captions and chapters name it, and the page
        lists all of these files with theirs.
    """
    words = page_words(schedule.language)
    hearing = advice(schedule.language)
    texts = {".vtt": to_vtt(schedule)}
    if subtitles:
        texts[".srt"] = to_srt(schedule)
    texts[".chapters.json"] = to_json_chapters(chapters, schedule.title)
    texts[".cues.csv"] = to_csv(schedule)
    texts[".md"] = describe(schedule, chapters=chapters, hearing=hearing)
    stem = PurePath(audio_name).stem
    links = [FileLink(stem + ending, words(f"files.{ENDINGS[ending]}")) for ending in (*texts, LISTING)]
    extras = PageExtras(
        files=(FileLink(audio_name, words("files.track")), *links),
        vtt=texts[".vtt"],
        chapters=chapters,
        hearing=hearing,
        embed=embed,
    )
    envelope = envelope_of(blocks, schedule.n_frames) if schedule.n_frames else None
    texts = {".html": write_page(schedule, audio_name=audio_name, envelope=envelope, extras=extras), **texts}
    if audio_sha256 is None:
        return texts
    texts |= _naming(audio_sha256, texts)
    digests = {stem + ending: digest_of_text(text) for ending, text in texts.items() if ending != ".html"}
    return {**texts, ".html": html_with_files(texts[".html"], {audio_name: audio_sha256, **digests})}


def _naming(audio_sha256: str, texts: Mapping[str, str]) -> dict[str, str]:
    """Return page, captions and chapters with the track's digest in them, so that `check` finds old ones."""
    mark = f'<meta name="audio-sha256" content="{audio_sha256}">\n</head>'
    return {
        ".html": texts[".html"].replace("</head>", mark, 1),
        ".vtt": texts[".vtt"].replace("WEBVTT\n", f"WEBVTT\n\nNOTE audio {audio_sha256}\n", 1),
        ".chapters.json": json_with(texts[".chapters.json"], "audio_sha256", audio_sha256),
    }
