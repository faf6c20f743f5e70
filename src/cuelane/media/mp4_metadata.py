"""Tags, chapters and a cover for MPEG-4, given to the ffmpeg program as text while it writes the file.

mutagen writes MPEG-4 tags too, but no chapters.
"""

from __future__ import annotations

import re
from pathlib import Path

from cuelane.media.metadata import Metadata, cut_utf8

MAX_TITLE_BYTES = 255


def ffmetadata(metadata: Metadata) -> str:
    """Return tags and chapters in ffmpeg's own text form."""
    lines = [";FFMETADATA1"]
    lines += [f"{name}={_escape(value)}" for name, value in metadata.tags.items()]
    for chapter in metadata.chapters:
        lines += ["[CHAPTER]", "TIMEBASE=1/1000", f"START={chapter.start_ms}", f"END={chapter.end_ms}"]
        # ffmpeg cuts a longer title at this many bytes, in the midst of a character.
        lines.append(f"title={_escape(cut_utf8(chapter.title, MAX_TITLE_BYTES))}")
    return "\n".join(lines) + "\n"


def _escape(text: str) -> str:
    # ffmpeg takes a backslash before a line end for an escape even if it is escaped itself: hence the space.
    return re.sub(r"([=;#\\\n])", r"\\\1", text + " " if text.endswith("\\") else text)


def mp4_options(folder: Path, metadata: Metadata) -> list[str]:
    """Return the options that add `metadata` to the sound of input 0; its parts are put into `folder`."""
    text = folder / "metadata.txt"
    text.write_text(ffmetadata(metadata), encoding="utf-8", newline="\n")
    options = ["-f", "ffmetadata", "-i", f"file:{text}"]
    if metadata.cover_png is not None:
        picture = folder / "cover.png"
        picture.write_bytes(metadata.cover_png)
        options += ["-f", "png_pipe", "-i", f"file:{picture}", "-map", "2:v", "-c:v", "copy"]
        options += ["-disposition:v:0", "attached_pic", "-metadata:s:v", "comment=Cover (front)"]
    return [*options, "-map", "0:a", "-map_metadata", "1", "-map_chapters", "1"]
