"""How a command ended: the one place that turns an error into a message and an exit code.

Exit codes: 0 done; 1 it ran and found the work wanting; 2 bad input or usage; 3 the machine failed, or
cuelane did; 130 stopped from the keyboard. An error that nobody foresaw is always 3, never 1 or 2, since
those are statements about the person's work.
"""

from __future__ import annotations

import io
import logging
import os
import stat
import sys
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cuelane import __version__
from cuelane.base.errors import CuelaneError
from cuelane.cli.output import note
from cuelane.cli.streams import ForgivingStream

MACHINE_FAILED = 3
STOPPED = 130
"""128 and the signal's number, as shells count (common practice, no source)."""

MAX_LOG_BYTES = 1_000_000
_MOST_SIGNS = 300


def exit_code_of(command: Callable[[], Any], out: ForgivingStream | None = None) -> int:
    """Run `command`, which returns its exit code or raises; say what went wrong, and return the exit code.

    `out` is the standard output, if it is one that can lose text.
    """
    try:
        code = _outcome(command)
    except KeyboardInterrupt:
        code = STOPPED
    if out is not None:
        sys.stdout.flush()
        if out.lost is not None:
            note(f"cuelane: standard output: {out.lost.strerror}; what was printed is not complete")
            return MACHINE_FAILED
    return code


def _outcome(command: Callable[[], Any]) -> int:
    try:
        return int(command() or 0)
    except CuelaneError as error:
        note(f"cuelane: {error}")
        return error.exit_code
    except OSError as error:
        place = f"{os.fsdecode(error.filename)}: " if isinstance(error.filename, str | bytes) else ""
        note(f"cuelane: {place}{error.strerror or error}")
        _show_trace(error)
        return MACHINE_FAILED
    except Exception as error:
        if (code := _told_by_typer(error)) is not None:
            return code
        note(f"cuelane: {in_plain_words(error)} {_where_to_look(error)}")
        _show_trace(error)
        return MACHINE_FAILED


def _told_by_typer(error: Exception) -> int | None:
    """Show a message of the command line's own parser as it words it, and return its exit code."""
    show, code = getattr(error, "show", None), getattr(error, "exit_code", None)
    if callable(show) and isinstance(code, int):
        words = io.StringIO()
        show(file=words)
        note(words.getvalue().rstrip("\n"))
        return code
    # Raised where a question at the keyboard is not answered.
    return STOPPED if type(error).__name__ == "Abort" else None


def in_plain_words(error: Exception) -> str:
    """Return one sentence on an error that nobody foresaw."""
    first = (str(error).strip().splitlines() or [""])[0]
    named = type(error).__name__ + (f": {first}" if first else "")
    named = named if len(named) <= _MOST_SIGNS else named[:_MOST_SIGNS] + "…"
    if isinstance(error, MemoryError):
        return f"there is not enough memory for this ({named})."
    if isinstance(error, RecursionError):
        return f"something here is nested deeper than cuelane can follow ({named})."
    if isinstance(error, ImportError):
        return f"a library that cuelane needs cannot be loaded ({named})."
    return f"an unexpected error stopped this; it does not mean that your work is wrong ({named})."


def log_path() -> Path:
    """Return where unforeseen errors are kept, in this person's own folder for logs."""
    import platformdirs

    return platformdirs.user_log_path("cuelane", appauthor=False) / "errors.log"


def _where_to_look(error: Exception) -> str:
    try:
        path = log_path()
        _append(path, error)
    except Exception as reason:
        # Whatever keeps the log from being written must not hide the message.
        return f"No log could be written ({type(reason).__name__}); run it again with -v to see more."
    return f"The log says where: {path}"


def _append(path: Path, error: Exception) -> None:
    """Add the time, the version and the trace to the log; one that has grown large begins anew."""
    path.parent.mkdir(parents=True, exist_ok=True)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    system = f"Python {sys.version.split()[0]}, {sys.platform}"
    text = f"{now} cuelane {__version__}, {system}\n{_trace(error)}\n".encode("utf-8", "backslashreplace")
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT
    for name in ("O_NONBLOCK", "O_CLOEXEC", "O_BINARY", "O_NOFOLLOW"):
        flags |= getattr(os, name, 0)
    handle = os.open(path, flags, 0o600)
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            raise OSError("the log is no ordinary file")
        if status.st_size > MAX_LOG_BYTES:
            os.ftruncate(handle, 0)
        os.write(handle, text[:MAX_LOG_BYTES])
    finally:
        os.close(handle)


def _trace(error: Exception) -> str:
    return "".join(traceback.format_exception(error, limit=-200))


def _show_trace(error: Exception) -> None:
    if logging.getLogger("cuelane").isEnabledFor(logging.INFO):
        note(_trace(error).rstrip("\n"))
