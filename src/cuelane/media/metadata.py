"""What a file can tell of itself: tags, chapters and a cover, checked before anything is written."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from cuelane.base.errors import SignalError
from cuelane.base.unsafe_text import UNSAFE
from cuelane.media.probing import Chapter

TAG_NAMES = ("title", "artist", "album", "date", "comment")
MAX_CHAPTERS = 255
"""What both an ID3 table of contents and a Nero chapter list can hold: each counts in one byte."""

_UNSAFE = re.compile(f"(?!\n)[{UNSAFE}]")
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"


@dataclass(frozen=True)
class Metadata:
    """What is written into a file beside its sound.

    Attributes
    ----------
    tags : any of title, artist, album, date (ISO 8601: MP3 has no place for another) and comment.
    chapters : in order, at most 255; right to the millisecond. WAV holds none: see `cuelane.deliver.marks`.
        Long titles are cut: to 95 bytes in MP3, 255 in M4A.
    cover_png : a PNG picture; WAV holds none.
    """

    tags: Mapping[str, str] = field(default_factory=dict)
    chapters: Sequence[Chapter] = ()
    cover_png: bytes | None = None

    def __bool__(self) -> bool:
        return bool(self.tags or self.chapters or self.cover_png)

    def checked(self) -> Metadata:
        """Return the same with empty tags left out and control characters in texts replaced.

        Raises
        ------
        SignalError : an unknown tag, more than 255 chapters or chapters that overlap, or no PNG picture.
        """
        if unknown := set(self.tags) - set(TAG_NAMES):
            raise SignalError(f"tags can be {', '.join(TAG_NAMES)}; got {', '.join(sorted(unknown))}")
        if len(self.chapters) > MAX_CHAPTERS:
            raise SignalError(f"at most {MAX_CHAPTERS} chapters fit in a file, got {len(self.chapters)}")
        last_ms = 0
        for chapter in self.chapters:
            if not last_ms <= chapter.start_ms < chapter.end_ms:
                raise SignalError(f"chapters must follow one another and have a length, got {chapter}")
            last_ms = chapter.end_ms
        if self.cover_png is not None and not self.cover_png.startswith(PNG_SIGNATURE):
            raise SignalError("cover_png must hold a PNG picture")
        return Metadata(
            {name: clean(self.tags[name]) for name in TAG_NAMES if self.tags.get(name)},
            tuple(Chapter(row.start_ms, row.end_ms, clean(row.title)) for row in self.chapters),
            self.cover_png,
        )


def clean(text: str) -> str:
    """Return `text` without control and direction signs; a line end stays: tags may hold several lines."""
    return _UNSAFE.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n"))


def cut_utf8(text: str, n_bytes: int) -> str:
    """Return as much of `text` as fits in `n_bytes` of UTF-8 without cutting a character."""
    return text.encode("utf-8")[:n_bytes].decode("utf-8", "ignore")
