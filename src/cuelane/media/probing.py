"""What a media file says of itself, and signs that it is cut short or will be read late."""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import IO

import soundfile

from cuelane.base.errors import AudioFileError, DeliveryError
from cuelane.media import ffmpeg
from cuelane.media.container_bytes import has_gapless_info, sign_of_damage
from cuelane.media.media_limits import (
    MAX_CHAPTERS,
    MAX_TEXT_BYTES,
    require_file,
    require_shape,
    too_much_text,
)
from cuelane.media.named_sound import named_sound
from cuelane.media.reader import magic

_ROOM_BYTES = 65_536
"""Chosen: more than the program writes at once: where it found no room for that, there is none for this."""

_STREAM = re.compile(r"^  Stream #0:\d+[^:]*: (Audio|Video): (\S+?)(?: |,|$)(.*)$")
_INPUT = re.compile(r"^Input #0, ([^ ]+?), from ")
_DURATION = re.compile(r"^  Duration: (\d+):(\d\d):(\d\d\.\d+)")
_NAMED_LAYOUTS = {"mono": 1, "stereo": 2, "downmix": 2, "quad": 4, "hexagonal": 6, "octagonal": 8, "cube": 8}


@dataclass(frozen=True)
class Chapter:
    """A titled stretch of a file; integer milliseconds from the first sample that is played."""

    start_ms: int
    end_ms: int
    title: str


@dataclass(frozen=True)
class MediaInfo:
    """What a file says of itself.

    ``duration_s`` is exact for WAV and FLAC, to 10 ms or so for the rest, and None where the file does not
    say. ``has_gapless_info`` is False where nothing tells the encoder's delay, so that every reader plays
    the sound late (MP3 without a LAME tag: by 1105 samples and more). ``damage`` is a line that says how the
    file is cut short, as far as its structure shows without decoding.
    """

    n_channels: int
    sample_rate: int
    duration_s: float | None
    codec: str
    container: str
    chapters: tuple[Chapter, ...]
    tags: dict[str, str]
    has_video: bool
    has_gapless_info: bool
    damage: str | None = None


def probe(path: Path | str) -> MediaInfo:
    """Return what `path` says of itself, without decoding it.

    Tag names are in lower case. Chapters come in order of time.

    Raises
    ------
    AudioFileError : missing, not audio or video, or no sound in it.
    DeliveryError : the disk of temporary files is full.
    """
    path = Path(path)
    require_file(path)
    said, written = _asked(path)
    container = next((found[1] for line in said if (found := _INPUT.match(line))), None)
    if container is None:
        raise AudioFileError(f"{path}: not an audio or video file that can be read, or too damaged to be")
    head = said[: next((i for i, line in enumerate(said) if line.startswith("Output #0")), len(said))]
    streams = [found for line in head if (found := _STREAM.match(line))]
    audio = next((found for found in streams if found[1] == "Audio"), None)
    if audio is None:
        raise AudioFileError(f"{path}: holds no sound")
    sample_rate, n_channels = _shape(audio[3])
    require_shape(path, sample_rate, n_channels)
    tags, chapters = parse_ffmetadata(written)
    if container in ("wav", "w64", "aiff"):
        # A WAV's cue marks and an AIFF's markers are places in a sound, not chapters.
        chapters = []
    duration = next((found for line in head if (found := _DURATION.match(line))), None)
    duration_s = (
        int(duration[1]) * 3600 + int(duration[2]) * 60 + float(duration[3]) if duration is not None else None
    )
    if magic(path) is not None:
        duration_s = _exact_duration(path) or duration_s
    return MediaInfo(
        n_channels=n_channels,
        sample_rate=sample_rate,
        duration_s=duration_s,
        codec=audio[2],
        container=container,
        chapters=tuple(chapters),
        tags=tags,
        has_video=any(found[1] == "Video" and "(attached pic)" not in found[3] for found in streams),
        has_gapless_info=has_gapless_info(path, container, audio[2]),
        damage=sign_of_damage(path),
    )


def _asked(path: Path) -> tuple[list[str], str]:
    """Return what the program says of `path`, by lines, and its tags and chapters as ffmetadata."""
    # Without -copyts ffmpeg moves chapters by the first packet's time, which for MP3 is the encoder's delay.
    command = [*ffmpeg.quiet(loglevel="info"), "-copyts"]
    # One packet has to be copied for the stream's own tags, which is where Ogg keeps all of them.
    output = ["-map", "0:a:0", "-c", "copy", "-frames:a", "1", "-f", "ffmetadata", "pipe:1"]
    # Into files, since a hostile one holds gigabytes of tags.
    with (
        ffmpeg.input_file(path) as (opened, file),
        tempfile.TemporaryFile(prefix="cuelane-") as written,
        tempfile.TemporaryFile(prefix="cuelane-") as said,
    ):
        try:
            subprocess.run(
                [*command, *opened, *output],
                stdin=file or subprocess.DEVNULL, stdout=written, stderr=said, timeout=120, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            raise AudioFileError(f"{path}: its header could not be read within two minutes") from error
        texts = []
        for stream in (said, written):
            _require_all_was_written(stream)
            stream.seek(0)
            texts.append(stream.read(MAX_TEXT_BYTES + 1))
    if max(map(len, texts)) > MAX_TEXT_BYTES:
        raise too_much_text(path)
    return texts[0].decode("utf-8", "replace").splitlines(), texts[1].decode("utf-8", "replace")


def _require_all_was_written(stream: IO[bytes]) -> None:
    """Raise DeliveryError if the disk of temporary files is full, since the program goes on silently then."""
    try:
        size = stream.seek(0, os.SEEK_END)
        stream.write(bytes(_ROOM_BYTES))
        stream.flush()
        stream.truncate(size)
    except OSError as error:
        raise DeliveryError(f"a temporary file cannot be written: {error.strerror or error}") from error


def _shape(description: str) -> tuple[int, int]:
    """Return (sample_rate, n_channels) from ``..., 44100 Hz, 5.1(side), fltp, ...``."""
    found = re.search(r"(\d+) Hz, ([^,]+)", description)
    if found is None:
        return 0, 0
    layout = re.sub(r"\(.*", "", found[2]).strip()
    if layout in _NAMED_LAYOUTS:
        return int(found[1]), _NAMED_LAYOUTS[layout]
    if counted := re.match(r"(\d+) channels", layout):
        return int(found[1]), int(counted[1])
    if re.fullmatch(r"[\d.]+", layout):
        return int(found[1]), sum(int(part) for part in layout.split(".") if part)
    return int(found[1]), 1


def _exact_duration(path: Path) -> float | None:
    try:
        return float(soundfile.info(named_sound(path)).duration)
    except soundfile.SoundFileError:
        return None


def _logical_lines(text: str) -> Iterator[str]:
    """Yield ffmetadata's lines with escaped line ends joined; escapes are kept."""
    parts: list[str] = []
    for part in text.split("\n"):
        parts.append(part)
        # An odd number of backslashes at the end escapes the line end itself.
        if (len(part) - len(part.rstrip("\\"))) % 2 == 0:
            yield "\n".join(parts)
            parts = []


def _unescape(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text, flags=re.DOTALL)


def parse_ffmetadata(text: str) -> tuple[dict[str, str], list[Chapter]]:
    """Return (tags, chapters) from ffmpeg's metadata text; a file's own tags go before its stream's."""
    tags: dict[str, str] = {}
    stream_tags: dict[str, str] = {}
    chapters: list[dict[str, str]] = []
    current, in_chapter = tags, False
    for line in _logical_lines(text):
        if line in ("[CHAPTER]", "[STREAM]"):
            current = stream_tags
            in_chapter = line == "[CHAPTER]"
            if in_chapter:
                current = {}
                chapters.append(current)
            continue
        if line.startswith(";") or not (found := re.match(r"((?:[^\\=]|\\.)*)=(.*)", line, re.DOTALL)):
            continue
        key = _unescape(found[1])
        if in_chapter:
            # The times come first; a chapter's own tags may have any name, START too.
            current.setdefault(key, _unescape(found[2]))
        else:
            current[key.lower()] = _unescape(found[2])
    made = [_chapter(row) for row in chapters[:MAX_CHAPTERS]]
    return {**stream_tags, **tags}, sorted(made, key=lambda chapter: (chapter.start_ms, chapter.end_ms))


def _chapter(row: dict[str, str]) -> Chapter:
    base = Fraction(row.get("TIMEBASE", "1/1000")) * 1000
    start, end = (round(int(row.get(key, "0")) * base) for key in ("START", "END"))
    return Chapter(start, end, row.get("title", ""))
