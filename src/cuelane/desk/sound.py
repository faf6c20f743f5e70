"""A session heard before it is rendered: a WAV file that does not exist, read at any place.

A player asks for byte ranges, and each is mixed when it is asked for. Lines that have not been spoken are
spoken first, those next under the playhead before all others; the schedule is then made again with their real
lengths, so that what is heard is what a render would place there. Nothing of it is kept but the clips.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from cuelane.audio.clip import Samples
from cuelane.base.errors import SignalError
from cuelane.base.schedule import Schedule
from cuelane.desk.words import Said
from cuelane.desk.workspace import ClipGoneError, Workspace
from cuelane.render.mix import span

HEADER_BYTES = 44
_FRAME_BYTES = 2
PREVIEW_GAIN_DB = 4.0
"""Clips lie at -20 LUFS with peaks of at most -7 dBTP, and a track at -16: about as loud, never clipped."""

MOST_BYTES = 1 << 20
"""The most that is answered at once, 11 s of sound at 48 kHz: a player asks for more when it needs it."""

LoadClip = Callable[[str], Samples]


@dataclass(frozen=True)
class Range:
    """The bytes from `first` up to but not including `last`, of `total`."""

    first: int
    last: int
    total: int


def total_bytes(n_frames: int) -> int:
    """Return the length of the WAV file: a header, and 16 bits for each frame of one channel."""
    return HEADER_BYTES + _FRAME_BYTES * n_frames


def asked_range(header: str | None, total: int, most: int | None = MOST_BYTES) -> Range | None:
    """Return what a ``Range`` header asks for, cut to `most` bytes if given; None where it cannot be met.

    By RFC 9110, section 14: ``bytes=a-b``, ``bytes=a-`` and ``bytes=-n``. Several ranges are answered by the
    first, and what is no range of bytes by the whole, as the RFC allows.
    """
    most = total if most is None else most
    if header is None or not header.startswith("bytes="):
        return Range(0, min(total, most), total)
    first_text, dash, last_text = header[6:].split(",")[0].strip().partition("-")
    digits = first_text + last_text
    if not dash or not digits.isascii() or not digits.isdigit() or len(digits) > 40:
        return None
    if not first_text:
        first, last = max(0, total - int(last_text)), total
    else:
        first = int(first_text)
        last = min(int(last_text) + 1, total) if last_text else total
    if first >= total or last <= first:
        return None
    return Range(first, min(last, first + most), total)


def frames_of(wanted: Range) -> tuple[int, int]:
    """Return the frames [first, last) that a range of bytes touches."""
    first = max(0, wanted.first - HEADER_BYTES) // _FRAME_BYTES
    last = -(-max(0, wanted.last - HEADER_BYTES) // _FRAME_BYTES)
    return first, last


def bytes_of(schedule: Schedule, load_clip: LoadClip, wanted: Range) -> bytes:
    """Return a range of the WAV file of a schedule.

    Raises
    ------
    SignalError : a cue in the range has no clip yet.
    """
    first, last = frames_of(wanted)
    sound = span(schedule, load_clip, first, last, gain_db=PREVIEW_GAIN_DB)
    body: bytes = np.clip(np.rint(sound * 32_768.0), -32_768, 32_767).astype("<i2").tobytes()
    head = header_of(schedule.sample_rate, schedule.n_frames)[wanted.first : min(wanted.last, HEADER_BYTES)]
    skipped = max(0, wanted.first - HEADER_BYTES) - first * _FRAME_BYTES
    return head + body[skipped : skipped + wanted.last - wanted.first - len(head)]


def header_of(sample_rate: int, n_frames: int) -> bytes:
    """Return the header of a mono 16-bit WAV file (RIFF, WAVE, PCM)."""
    n_bytes = _FRAME_BYTES * n_frames
    if n_bytes + 36 > 0xFFFF_FFFF:
        raise SignalError(Said("hear.too_long"))
    form = struct.pack("<4sI4s4sIHHIIHH", b"RIFF", 36 + n_bytes, b"WAVE", b"fmt ", 16, 1, 1, sample_rate,
                       sample_rate * _FRAME_BYTES, _FRAME_BYTES, 16)  # fmt: skip
    return form + struct.pack("<4sI", b"data", n_bytes)


def sound_of(workspace: Workspace, wanted: Range) -> bytes:
    """Return a range of a session's sound; lines that sound there are spoken first if need be.

    Raises
    ------
    SignalError : the plan cannot be heard at present.
    """
    lost: set[str] = set()
    while True:
        try:
            return _sound_of(workspace, wanted)
        except ClipGoneError as gone:
            # The store may be emptied, or grow too large, while the desk is open: then several are gone.
            if gone.sha256 in lost:
                raise
            lost.add(gone.sha256)
            workspace.lost(gone.sha256)


def _sound_of(workspace: Workspace, wanted: Range) -> bytes:
    schedule = workspace.ready(*frames_of(wanted))
    heard = [event for event in schedule.events if event.kind != "cue" or event.clip is not None]
    return bytes_of(replace(schedule, events=tuple(heard)), workspace.clip, wanted)
