"""Captions of a recorded class: WebVTT, SubRip, or plain text with a time before each line.

Read as people and programs really write them: times with a comma or a dot, hours or none, tags, cue settings,
entities, byte order marks. Times are coarse anyway; words are placed by listening.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass
from pathlib import Path

from cuelane.base.errors import AudioFileError

MAX_BYTES = 5_000_000
MAX_CAPTIONS = 20_000
_LONGEST_S = 12.0

_CLOCK = r"(?:(\d{1,3}):)?(\d{1,2}):(\d{2})(?:[.,](\d{1,3}))?"
_ARROW = re.compile(rf"^\s*{_CLOCK}\s*-->\s*{_CLOCK}(?:\s.*)?$")
_STAMP = re.compile(rf"^\s*[\[(]?{_CLOCK}[\])]?\s*[-–:|]?\s*(.*)$")
_TAG = re.compile(r"<[^>]*>|\{\\[^}]*\}")


@dataclass(frozen=True)
class ReadCaption:
    """Words and the seconds between which they are roughly spoken."""

    start_s: float
    end_s: float
    text: str


def read_captions(path: Path) -> list[ReadCaption]:
    """Return the captions in `path`, in order of time.

    Raises
    ------
    AudioFileError : unreadable, too large, or no line with a time in it.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise AudioFileError(f"{path}: captions may have {MAX_BYTES // 1_000_000} MB at most")
        text = path.read_bytes().decode("utf-8-sig", "replace")
    except OSError as error:
        raise AudioFileError(f"{path}: cannot read the captions: {error.strerror or error}") from error
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    found = _timed_blocks(path, lines) if "-->" in text or text.startswith("WEBVTT") else _plain(path, lines)
    found = [caption for caption in found if caption.text]
    if not found:
        raise AudioFileError(
            f"{path}: no captions found; expected WebVTT, SubRip, or lines such as '1:05 Heels heavy.'"
        )
    return sorted(found, key=lambda caption: caption.start_s)[:MAX_CAPTIONS]


def _timed_blocks(path: Path, lines: list[str]) -> list[ReadCaption]:
    found: list[ReadCaption] = []
    index = 0
    while index < len(lines):
        if "-->" not in lines[index]:
            index += 1
            continue
        match = _ARROW.match(lines[index])
        if match is None:
            raise AudioFileError(
                f"{path}:{index + 1}: {lines[index].strip()[:60]!r} is not a time; "
                "expected such as 00:01:05.000 --> 00:01:08.500"
            )
        words = []
        index += 1
        while index < len(lines) and lines[index].strip() and "-->" not in lines[index]:
            words.append(lines[index])
            index += 1
        start, end = _seconds(match.groups()[:4]), _seconds(match.groups()[4:])
        found.append(ReadCaption(start, max(end, start + 0.5), _clean(" ".join(words))))
    return found


def _plain(path: Path, lines: list[str]) -> list[ReadCaption]:
    starts: list[tuple[float, list[str]]] = []
    for number, line in enumerate(lines, 1):
        match = _STAMP.match(line)
        if match:
            starts.append((_seconds(match.groups()[:4]), [match[5]]))
        elif line.strip() and starts:
            starts[-1][1].append(line)
        elif line.strip():
            raise AudioFileError(
                f"{path}:{number}: {line.strip()[:60]!r} has no time before it, such as 1:05"
            )
    ends = [start for start, _ in starts[1:]] + [starts[-1][0] + _LONGEST_S] if starts else []
    return [
        ReadCaption(start, min(max(end, start + 1.0), start + _LONGEST_S), _clean(" ".join(words)))
        for (start, words), end in zip(starts, ends, strict=True)
    ]


def _seconds(parts: tuple[str | None, ...]) -> float:
    hours, minutes, seconds, fraction = parts
    return int(hours or 0) * 3600 + int(minutes or 0) * 60 + int(seconds or 0) + float(f"0.{fraction or 0}")


def _clean(text: str) -> str:
    return " ".join(html.unescape(_TAG.sub("", text)).split())
