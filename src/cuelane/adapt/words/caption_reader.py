"""Captions of a recorded class: WebVTT, SubRip, or plain text with a time before each line.

They are read as people and programs really write them: times with a comma or a dot, hours or none, tags, cue
settings, entities, byte order marks. Their times are coarse; the words are later placed by alignment.

webvtt-py, with which the tests read what we write, is not enough for what others wrote: it drops cues whose
times have a comma, refuses a file without its first line or its numbers, leaves entities as they are, and has
no limits.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass
from pathlib import Path

from cuelane.base.errors import AudioFileError
from cuelane.base.ordinary import read_ordinary
from cuelane.plan.source_text import is_hidden

# Chosen, as the next: six hours of captions, one every 3 s, are 7,200 and under 1 MB.
MAX_BYTES = 5_000_000
# Chosen, as the last.
MAX_CAPTIONS = 20_000
MAX_CHARACTERS = 2_000
"""Chosen: in one caption."""

MAX_IN_A_MINUTE = 6_000
"""Characters. Chosen: speech has some 1,200; captions that roll up say each line two or three times. Words
are aligned in groups by time, which takes memory and time with the square of a group."""

# Chosen: a line without an end lasts so long at most; longer windows place words wrongly.
_LONGEST_S = 12.0

_CLOCK = r"(?:(\d{1,3}):)?(\d{1,2}):(\d{2})(?:[.,](\d{1,3}))?"
_ARROW = re.compile(rf"^\s*{_CLOCK}\s*-->\s*{_CLOCK}(?:\s.*)?$")
_STAMP = re.compile(rf"^\s*[\[(]?{_CLOCK}[\])]?\s*[-–:|]?\s*(.*)$")
# Neither reaches past the next bracket of its kind, so that a hundred thousand of them take no longer.
_TAG = re.compile(r"<[^<>]*>|\{\\[^{}]*\}")
# Python reads no whole number of more than some thousand digits, and no character has a number of nine.
_NO_CHARACTER = re.compile(r"&#[xX]?[0-9a-fA-F]{9,};?")


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
        text = read_ordinary(path, MAX_BYTES).decode("utf-8-sig", "replace")
    except OSError as error:
        raise AudioFileError(f"{path}: cannot read the captions: {error.strerror or error}") from error
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    found = _timed_blocks(path, lines) if "-->" in text or text.startswith("WEBVTT") else _plain(path, lines)
    found = [caption for caption in found if caption.text]
    if not found:
        raise AudioFileError(
            f"{path}: no captions found; expected WebVTT, SubRip, or lines such as '1:05 Heels heavy.'"
        )
    found.sort(key=lambda caption: caption.start_s)
    _require_sayable(path, found)
    return found


def _require_sayable(path: Path, captions: list[ReadCaption]) -> None:
    """Raise AudioFileError if there are too many captions, or more words at once than anybody says."""
    if len(captions) > MAX_CAPTIONS:
        raise AudioFileError(f"{path}: has {len(captions)} captions; at most {MAX_CAPTIONS} are read")
    first = within = 0
    for caption in captions:
        if len(caption.text) > MAX_CHARACTERS:
            raise AudioFileError(
                f"{path}: the caption at {caption.start_s:.1f} s has {len(caption.text)} characters; "
                f"at most {MAX_CHARACTERS} are read"
            )
        within += len(caption.text)
        while captions[first].start_s <= caption.start_s - 60:
            within -= len(captions[first].text)
            first += 1
        if within > MAX_IN_A_MINUTE:
            raise AudioFileError(
                f"{path}: holds more than {MAX_IN_A_MINUTE} characters for the minute before "
                f"{caption.start_s:.1f} s, which nobody can say; are these its captions?"
            )


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
    """Return the words alone: no tags, and no characters that only say which way text runs."""
    plain = html.unescape(_NO_CHARACTER.sub("\ufffd", _TAG.sub("", text))).replace("\0", " ")
    return " ".join("".join(c for c in plain if c.isspace() or not is_hidden(c)).split())
