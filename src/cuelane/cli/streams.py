"""Keeps a command running when its standard output or error is closed, full, or no longer read.

A command's exit code tells the result of its work, so nothing that happens to the streams may replace it: a
reader that left (``| head -1``) is no fault, and a result of 1 stays 1. Only a standard output that cannot be
written is reported, at the end, as a failure of the machine.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from pathlib import Path
from typing import Any

# Windows says EINVAL of a pipe whose reader has gone.
_READER_GONE = {errno.EPIPE, errno.ESHUTDOWN} | ({errno.EINVAL} if os.name == "nt" else set())


class ForgivingStream(io.RawIOBase):
    """A raw stream that keeps the first failed write in `failure`, and drops all text after it."""

    def __init__(self, raw: io.RawIOBase, owner: io.TextIOWrapper) -> None:
        self._raw = raw
        # The stream that `raw` came from would close it when it is collected.
        self._owner = owner
        self.failure: OSError | None = None

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._raw.fileno()

    def isatty(self) -> bool:
        return self._raw.isatty()

    def write(self, data: Any) -> int | None:
        if self.failure is None:
            try:
                return self._raw.write(data)
            except OSError as error:
                self.failure = error
        return memoryview(data).nbytes

    @property
    def lost(self) -> OSError | None:
        """The error that lost text, unless it was only that the reader had left."""
        failure = self.failure
        return None if failure is None or failure.errno in _READER_GONE else failure


def forgive() -> ForgivingStream | None:
    """Put forgiving streams in place of this process's own; return that of standard output."""
    _fill_closed()
    out, error = _forgiving(sys.stdout), _forgiving(sys.stderr)
    if error is not None:
        sys.stderr = _text(sys.stderr, error)
    if out is not None:
        sys.stdout = _text(sys.stdout, out)
    return out


def _fill_closed() -> None:
    """Give a closed stream the null device, or the next file opened would get its number, and its text."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            with contextlib.suppress(OSError):
                os.open(os.devnull, os.O_RDWR)
        if getattr(sys, name) is None:
            # Open until the process ends, as the streams it stands for.
            mode = "r" if number == 0 else "w"
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115


def _forgiving(stream: Any) -> ForgivingStream | None:
    """Return `stream`'s raw stream made forgiving; None of one that a test or a notebook put there."""
    if not isinstance(stream, io.TextIOWrapper):
        return None
    # Without a buffer, as PYTHONUNBUFFERED asks for, `buffer` is the raw stream itself.
    raw = getattr(stream.buffer, "raw", stream.buffer)
    return ForgivingStream(raw, stream) if isinstance(raw, io.RawIOBase) else None


def _text(stream: Any, raw: ForgivingStream) -> io.TextIOWrapper:
    # A terminal that cannot show a letter of a title shows a stand-in for it.
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors="replace",
        line_buffering=raw.isatty() or stream is sys.stderr,
    )
