"""Tags, chapters and cover in the text that ffmpeg reads, and in Vorbis comments.

Chapters go into Ogg and FLAC as ``CHAPTERxxx`` comments of our own: ffmpeg's own writer rounds the seconds of
an Ogg chapter before it adds the milliseconds, so that 1.500 s becomes 2.500 s, and it writes none to FLAC.
"""

from __future__ import annotations

import base64
import re
import struct
from collections.abc import Mapping, Sequence

from cuelane.base.errors import SignalError
from cuelane.media.probing import Chapter

TAG_NAMES = ("title", "artist", "album", "date", "comment")
MAX_CHAPTERS = 255
"""What both an ID3 table of contents and a Nero chapter list can hold: each counts in one byte."""

MAX_MP4_TITLE_BYTES = 255


def clean(text: str) -> str:
    """Return `text` without control characters; a line end stays, since tags may hold several lines."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").encode("utf-8", "replace").decode("utf-8")
    return re.sub(r"[\x00-\x09\x0b-\x1f\x7f]", " ", text)


def _escape(text: str) -> str:
    # ffmpeg takes a backslash before a line end for an escape even if it is escaped itself: hence the space.
    text = clean(text)
    return re.sub(r"([=;#\\\n])", r"\\\1", text + " " if text.endswith("\\") else text)


def cut_utf8(text: str, n_bytes: int) -> str:
    """Return as much of `text` as fits in `n_bytes` of UTF-8 without cutting a character."""
    return text.encode("utf-8")[:n_bytes].decode("utf-8", "ignore")


def checked_chapters(chapters: Sequence[Chapter]) -> list[Chapter]:
    """Return `chapters` if a file can hold them: in order, not overlapping, at most 255."""
    if len(chapters) > MAX_CHAPTERS:
        raise SignalError(f"at most {MAX_CHAPTERS} chapters fit in a file, got {len(chapters)}")
    last_ms = 0
    for chapter in chapters:
        if not last_ms <= chapter.start_ms < chapter.end_ms:
            raise SignalError(f"chapters must follow one another and have a length, got {chapter}")
        last_ms = chapter.end_ms
    return list(chapters)


def checked_tags(tags: Mapping[str, str]) -> dict[str, str]:
    if unknown := set(tags) - set(TAG_NAMES):
        raise SignalError(f"tags can be {', '.join(TAG_NAMES)}; got {', '.join(sorted(unknown))}")
    return {name: tags[name] for name in TAG_NAMES if tags.get(name)}


def global_ffmetadata(
    tags: Mapping[str, str],
    chapters: Sequence[Chapter],
) -> str:
    """Return ffmetadata with tags and real chapters, for MP4."""
    lines = [";FFMETADATA1"]
    lines += [f"{name}={_escape(value)}" for name, value in tags.items()]
    for chapter in chapters:
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={chapter.start_ms}", f"END={chapter.end_ms}"]
        # ffmpeg cuts a longer title at this many bytes, in the midst of a character.
        lines.append(f"title={_escape(cut_utf8(chapter.title, MAX_MP4_TITLE_BYTES))}")
    return "\n".join(lines) + "\n"


def vorbis_ffmetadata(tags: Mapping[str, str], chapters: Sequence[Chapter], cover_png: bytes | None) -> str:
    """Return ffmetadata with chapters as ``CHAPTERxxx`` comments and the cover as a picture block."""
    rows = dict(tags)
    for number, chapter in enumerate(chapters):
        seconds, millis = divmod(chapter.start_ms, 1000)
        minutes, seconds = divmod(seconds, 60)
        hours, minutes = divmod(minutes, 60)
        rows[f"CHAPTER{number:03d}"] = f"{hours:02d}:{minutes:02d}:{seconds:02d}.{millis:03d}"
        rows[f"CHAPTER{number:03d}NAME"] = chapter.title
    if cover_png is not None:
        rows["METADATA_BLOCK_PICTURE"] = picture_block(cover_png)
    return "\n".join([";FFMETADATA1", *(f"{key}={_escape(value)}" for key, value in rows.items())]) + "\n"


def picture_block(cover_png: bytes) -> str:
    """Return `cover_png` as the base64 of a FLAC picture block (RFC 9639, 8.8), type 3, front cover."""
    width, height = struct.unpack(">II", cover_png[16:24])
    mime = b"image/png"
    head = struct.pack(">II", 3, len(mime)) + mime + struct.pack(">I", 0)
    return base64.b64encode(
        head + struct.pack(">IIIII", width, height, 24, 0, len(cover_png)) + cover_png
    ).decode("ascii")
