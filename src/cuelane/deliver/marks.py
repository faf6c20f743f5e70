"""A session's events for other programs: a CSV table, and cue marks inside a WAV.

Source: Multimedia Programming Interface and Data Specifications (RIFF): the ``cue `` chunk, and ``labl`` in a
``LIST`` of type ``adtl`` (value from a secondary source); RF64: EBU Tech 3306. Labels are UTF-8.
"""

from __future__ import annotations

import csv
import io
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cuelane.base.errors import SignalError
from cuelane.base.schedule import Event, Schedule
from cuelane.base.units import to_seconds
from cuelane.web.page_parts import plain

LABEL_BYTES = 120
_FORMULA = tuple("=+-@＝＋－＠")

_COLUMNS = (
    *("id", "kind", "role", "start_s", "end_s", "onset_sample", "end_sample"),
    *("interval", "block", "round", "exercise", "side", "text", "frequency_hz"),
)


@dataclass(frozen=True)
class CueMark:
    """A place in a WAV, and what an editor shows there."""

    sample: int
    label: str


def to_csv(schedule: Schedule) -> str:
    """Return the events as CSV (RFC 4180, but with plain line ends), a header and one row each.

    A text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    rows = {row.index: row for row in schedule.intervals}
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for event in schedule.events:
        row = rows.get(event.interval)
        writer.writerow(
            [
                *(cell(event.id), event.kind, cell(event.role)),
                f"{to_seconds(event.onset_sample, schedule.sample_rate):.6f}",
                f"{to_seconds(event.end_sample, schedule.sample_rate):.6f}",
                *(event.onset_sample, event.end_sample, event.interval),
                *(cell(row.block if row else None), row.round if row else None),
                *(cell(row.exercise if row else None), cell(row.side if row else None)),
                *(cell(event.text), event.frequency_hz),
            ]
        )
    return file.getvalue()


def cell(value: str | None) -> str:
    """Return `value` for a cell: on one line, and no formula to a spreadsheet.

    Source: OWASP, CSV Injection (value from memory): signs that begin a formula, their wide forms too.
    """
    text = plain(value or "")
    return f"'{text}" if text.startswith(_FORMULA) else text


def cue_marks(schedule: Schedule) -> list[CueMark]:
    """Return a mark at each event's onset, labelled with its words or its pip."""
    return [CueMark(event.onset_sample, _label(event)) for event in schedule.events]


def _label(event: Event) -> str:
    text = plain(event.text or "") if event.kind == "cue" else f"pip, {plain(event.role)}"
    return text.encode("utf-8")[:LABEL_BYTES].decode("utf-8", "ignore") or event.kind


def cue_chunks(marks: Sequence[CueMark]) -> bytes:
    """Return the ``cue `` and ``LIST`` chunks that hold `marks`; positions are samples from the start."""
    points = b"".join(
        struct.pack("<II4sIII", number, mark.sample, b"data", 0, 0, mark.sample)
        for number, mark in enumerate(marks, 1)
    )
    cue = _chunk(b"cue ", struct.pack("<I", len(marks)) + points)
    labels = b"".join(
        _chunk(b"labl", struct.pack("<I", number) + mark.label.replace("\0", " ").encode("utf-8") + b"\0")
        for number, mark in enumerate(marks, 1)
    )
    return cue + _chunk(b"LIST", b"adtl" + labels)


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def append_cue_marks(path: Path, marks: Sequence[CueMark]) -> None:
    """Add `marks` to the end of a WAV or RF64 file, in place, and set its size right.

    Raises
    ------
    SignalError : not such a file, marks in it already, or a mark at 2**32 samples or later.
    """
    if not marks:
        return
    if any(not 0 <= mark.sample < 1 << 32 for mark in marks):
        raise SignalError("a WAV's cue mark must lie below 2**32 samples")
    with path.open("r+b") as file:
        form, size_at, end = _layout(file)
        file.seek(end)
        if end % 2:
            file.write(b"\0")
        file.write(cue_chunks(marks))
        size = file.tell() - 8
        file.seek(size_at)
        file.write(struct.pack("<Q" if form == b"RF64" else "<I", size))


def _layout(file: io.BufferedRandom) -> tuple[bytes, int, int]:
    """Return (RIFF or RF64, where its size is written, the end of its last chunk)."""
    head = file.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:12] != b"WAVE":
        raise SignalError("cue marks go into a WAV or RF64 file")
    at, size_at, data_bytes = 12, 4, 0
    while len(start := _at(file, at, 8)) == 8:
        name, length = struct.unpack("<4sI", start)
        if name == b"cue ":
            raise SignalError("the file has cue marks already; a second cue chunk is not allowed")
        if name == b"ds64":
            size_at = at + 8
            (data_bytes,) = struct.unpack("<Q", _at(file, at + 16, 8))
        if name == b"data" and length == 0xFFFF_FFFF:
            length = data_bytes
        end = at + 8 + length
        at = end + end % 2
    return head[:4], size_at, end


def _at(file: io.BufferedRandom, position: int, n_bytes: int) -> bytes:
    file.seek(position)
    return file.read(n_bytes)


def add_cue_chunk(path: Path, schedule: Schedule) -> None:
    """Mark every event of `schedule` in the WAV at `path`, as :func:`append_cue_marks` does."""
    append_cue_marks(path, cue_marks(schedule))
