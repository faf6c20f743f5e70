"""Processes that make tracks, one at a time and one after another.

A process that dies, or fills the memory, takes the track it was making with it and no other. It is kept for
the next track, since to start one takes as long as to make a short track: 3 s of processor of 8, for 20
minutes to FLAC. It ends by itself when the one that started it dies, so that no track is made twice at once.

Who makes what, and when, Dask decides; here each of its threads only keeps the process it has started. It is
a bare process and no worker of a library's pool: Dask's own workers are daemons of ``multiprocessing``,
which lets those have no children.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator

_MOST_TRACKS = 100
"""Chosen: what a library may lose of memory with each track stays small, and so does the time to start."""

_END_S = 60
"""Chosen: far more than a process takes to end once its output is closed."""

_idle: list[Maker] = []


class Maker:
    """One such process, which runs `program`: Python that reads lines and answers each with a line."""

    def __init__(self, program: str) -> None:
        self.program = program
        self._n_asked = 0
        self._stderr = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the process
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", program],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._stderr,
            )
        except BaseException:
            self._stderr.close()
            raise

    def answer(self, request: bytes) -> bytes:
        """Return the line with which the process answers `request`, a line too; empty if it has died."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._n_asked += 1
        # Its standard input stays open: its end tells the process that nobody waits any more.
        # Windows tells of a process that has ended by another error than a broken pipe.
        with contextlib.suppress(OSError):
            self._process.stdin.write(request)
            self._process.stdin.flush()
        return self._process.stdout.readline()

    def is_fresh(self) -> bool:
        """Tell whether it can be asked for another track."""
        return self._n_asked < _MOST_TRACKS and self._process.poll() is None

    def death(self) -> str:
        """Return how it ended, with the last line that it said. Only for one that has stopped answering."""
        try:
            code = self._process.wait(_END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            code = self._process.wait()
        if code < 0:
            try:
                return f"was ended by {signal.Signals(-code).name}; run the batch again"
            except ValueError:
                return f"was ended by signal {-code}; run the batch again"
        self._stderr.seek(0)
        lines = self._stderr.read().decode("utf-8", "replace").strip().splitlines() or [""]
        return f"ended with {code}; run the batch again. {lines[-1][:300]}".rstrip()

    def end(self) -> None:
        """End it, whatever it does."""
        self._process.kill()
        for stream in (self._process.stdin, self._process.stdout):
            assert stream is not None
            with contextlib.suppress(OSError):
                stream.close()
        self._process.wait()
        self._stderr.close()


@contextlib.contextmanager
def a_maker(program: str) -> Iterator[Maker]:
    """Give a process that runs `program`, one that has nothing to do if there is; it is kept afterwards."""
    maker = _taken(program) or Maker(program)
    try:
        yield maker
    except BaseException:
        maker.end()
        raise
    if maker.is_fresh():
        _idle.append(maker)
    else:
        maker.end()


def _taken(program: str) -> Maker | None:
    while True:
        try:
            maker = _idle.pop()
        except IndexError:
            return None
        if maker.program == program and maker.is_fresh():
            return maker
        maker.end()


@atexit.register
def end_idle() -> None:
    """End the processes that are kept for another track."""
    with contextlib.suppress(IndexError):
        while True:
            _idle.pop().end()


def requests() -> Iterator[bytes]:
    """Yield the lines of standard input, in a process that makes tracks; end this process when they end.

    It ends even in the middle of a track: whoever asked for it is gone then.
    """
    lines: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    def read() -> None:
        held = b""
        # Not through sys.stdin, whose lock would be held when the interpreter ends.
        while part := os.read(sys.stdin.fileno(), 1 << 16):
            *whole, held = (held + part).split(b"\n")
            for line in whole:
                lines.put(line)
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=read, daemon=True).start()
    while True:
        yield lines.get()
