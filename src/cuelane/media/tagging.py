"""Tags, chapters and a cover into a file whose sound is written, by mutagen: ID3v2.4, FLAC and Ogg.

ffmpeg's own writers are not used, for they go wrong: an Ogg chapter's seconds are rounded before its
milliseconds are added, so that 1.500 s becomes 2.500 s; FLAC gets no chapters; an ID3 chapter's size is
written as a plain number, so that one over 127 bytes hides all that follow it.

Sources: ID3 tag version 2.4.0 and the ID3v2 Chapter Frame Addendum 1.0 (read in a secondary source); for
FLAC's picture block RFC 9639, 8.8; ``CHAPTERxxx`` comments are common practice, as written by Xiph's tools.
"""

from __future__ import annotations

import base64
import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import mutagen
from mutagen import id3
from mutagen.flac import FLAC, Picture, VCFLACDict
from mutagen.id3 import PictureType

from cuelane.base.errors import DeliveryError
from cuelane.media.formats import TagStyle
from cuelane.media.metadata import Metadata, cut_utf8

if TYPE_CHECKING:
    from mutagen.flac import Picture

_CHAPTER_FRAME_BYTES = 127
"""The most that reads the same by the standard, whose sizes have 7 bits to a byte, and by ffmpeg, which takes
them for plain numbers and loses the chapter otherwise."""

_FIXED_BYTES = len("\0") + 16 + 10 + len("\x03") + len("\0")
"""Of a chapter frame: all but its element's name and its title."""

_ID_DIGITS = 3
MAX_ID3_TITLE_BYTES = _CHAPTER_FRAME_BYTES - _FIXED_BYTES - _ID_DIGITS


def write_tags(path: Path, style: TagStyle, metadata: Metadata) -> None:
    """Write `metadata`, checked, into the file at `path`, in place; its frames of sound stay as they are.

    Where a file was tagged as it was written (MPEG-4, RIFF), or there is nothing to say, nothing happens.

    Raises
    ------
    DeliveryError : the file is not what its style says, or too short to hold sound.
    """
    writer = {TagStyle.ID3: _write_id3, TagStyle.FLAC: _write_flac, TagStyle.OGG: _write_ogg}.get(style)
    if writer is None or not metadata:
        return
    try:
        writer(path, metadata)
    except mutagen.MutagenError as error:
        raise DeliveryError(f"tags cannot be written as {style.value}: {error}") from error


def _no_padding(_info: object) -> int:
    return 0


def _write_id3(path: Path, metadata: Metadata) -> None:
    tag = id3.ID3()
    frames: dict[str, Callable[..., Any]] = {
        "title": id3.TIT2,
        "artist": id3.TPE1,
        "album": id3.TALB,
        "date": id3.TDRC,
    }
    for name, frame in frames.items():
        if name in metadata.tags:
            tag.add(frame(encoding=id3.Encoding.UTF8, text=[metadata.tags[name]]))
    if "comment" in metadata.tags:
        # Without a description: that is the one that players show.
        text = [metadata.tags["comment"]]
        tag.add(id3.COMM(encoding=id3.Encoding.UTF8, lang="eng", desc="", text=text))
    titles = [cut_utf8(chapter.title, MAX_ID3_TITLE_BYTES) for chapter in metadata.chapters]
    names = _element_names(titles)
    for name, title, chapter in zip(names, titles, metadata.chapters, strict=True):
        tag.add(
            id3.CHAP(
                element_id=name,
                start_time=chapter.start_ms,
                end_time=chapter.end_ms,
                sub_frames=[id3.TIT2(encoding=id3.Encoding.UTF8, text=[title])],
            )
        )
    if names:
        flags = id3.CTOCFlags.TOP_LEVEL | id3.CTOCFlags.ORDERED
        tag.add(id3.CTOC(element_id="toc", flags=flags, child_element_ids=names, sub_frames=[]))
    if metadata.cover_png is not None:
        tag.add(
            id3.APIC(
                encoding=id3.Encoding.UTF8,
                mime="image/png",
                type=id3.PictureType.COVER_FRONT,
                desc="",
                data=metadata.cover_png,
            )
        )
    tag.save(path, v1=id3.ID3v1SaveOptions.REMOVE, v2_version=4, padding=_no_padding)


def _element_names(titles: list[str]) -> list[str]:
    """Return a name for each chapter's element, such that frames of one size come out in order of time.

    mutagen orders frames by size, then by name, and many players list chapters in the order of their frames.
    So a name is filled up by as much as its title is shorter than the longest.
    """
    sizes = [len(title.encode("utf-8")) if title else -_UNTITLED_BYTES for title in titles]
    longest = max(sizes, default=0)
    return [f"{i:0{_ID_DIGITS}d}".ljust(_ID_DIGITS + longest - size, ".") for i, size in enumerate(sizes)]


_UNTITLED_BYTES = 10 + len("\x03") + len("\0")
"""What a chapter frame is shorter by where its title is empty, for mutagen writes none then."""


def _comments(metadata: Metadata) -> Iterator[tuple[str, str]]:
    yield from metadata.tags.items()
    for number, chapter in enumerate(metadata.chapters):
        seconds, millis = divmod(chapter.start_ms, 1000)
        minutes, seconds = divmod(seconds, 60)
        hours, minutes = divmod(minutes, 60)
        yield f"CHAPTER{number:03d}", f"{hours:02d}:{minutes:02d}:{seconds:02d}.{millis:03d}"
        yield f"CHAPTER{number:03d}NAME", chapter.title


def _picture(cover_png: bytes) -> Picture:
    picture = Picture()
    picture.type, picture.mime, picture.depth = PictureType.COVER_FRONT, "image/png", 24
    picture.width, picture.height = struct.unpack(">II", cover_png[16:24])
    picture.data = cover_png
    return picture


def _write_flac(path: Path, metadata: Metadata) -> None:
    file = FLAC(path)
    if file.tags is None:
        file.add_tags()
    assert isinstance(file.tags, VCFLACDict)
    for name, text in _comments(metadata):
        file.tags[name] = [text]
    if metadata.cover_png is not None:
        file.add_picture(_picture(metadata.cover_png))
    file.save(padding=_no_padding)


def _write_ogg(path: Path, metadata: Metadata) -> None:
    file = mutagen.File(path)
    if file is None or file.tags is None:
        raise DeliveryError("the encoder wrote no Ogg file that can be tagged")
    for name, text in _comments(metadata):
        file.tags[name] = [text]
    if metadata.cover_png is not None:
        block = _picture(metadata.cover_png).write()
        file.tags["METADATA_BLOCK_PICTURE"] = [base64.b64encode(block).decode("ascii")]
    file.save(padding=_no_padding)
