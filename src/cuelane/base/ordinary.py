"""Files from a place that is not trusted: opened only if ordinary, read only up to a size.

A name may stand for a pipe that never ends, a device, or a sparse file of many gigabytes. So what it is and
how large it is are checked before the first byte is read, and once more on the file that was really opened.
"""

from __future__ import annotations

import io
import os
import stat
from pathlib import Path

# On a pipe an ordinary open waits for a writer; Windows has neither flag.
_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


class OddFileError(OSError):
    """Something that is no ordinary file, or is larger than it may be."""


def open_ordinary(path: Path, most_bytes: int, *, follow: bool = True) -> io.BufferedReader:
    """Open an ordinary file of at most `most_bytes` for reading; never waits.

    Parameters
    ----------
    follow : whether the name may be a link; links further up in the path are always followed.

    Raises
    ------
    OddFileError : a folder, pipe, socket or device, a link where none may be, or too large.
    OSError : not there, or not to be read.
    """
    try:
        _require(path.stat() if follow else path.lstat(), most_bytes)
        handle = os.open(path, _FLAGS | (0 if follow else _NO_LINK))
    except ValueError as error:
        raise OddFileError("its name holds a NUL or cannot be written for this system") from error
    try:
        _require(os.fstat(handle), most_bytes)
    except BaseException:
        os.close(handle)
        raise
    return os.fdopen(handle, "rb")


def read_ordinary(path: Path, most_bytes: int, *, follow: bool = True) -> bytes:
    """Return the content of an ordinary file of at most `most_bytes`. Raises as :func:`open_ordinary`."""
    with open_ordinary(path, most_bytes, follow=follow) as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OddFileError(f"is larger than {size_in_words(most_bytes)}, which is the most it may be")
    return content


def size_in_words(n_bytes: int) -> str:
    """Return a number of bytes as people say it: ``100 kB``, ``4 MB``."""
    for unit, name in ((1_000_000_000, "GB"), (1_000_000, "MB"), (1_000, "kB")):
        if n_bytes >= unit:
            return f"{n_bytes / unit:.3g} {name}"
    return f"{n_bytes} bytes"


def _require(status: os.stat_result, most_bytes: int) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise OddFileError("is a folder, not a file")
    if not stat.S_ISREG(status.st_mode):
        raise OddFileError("is not an ordinary file")
    if status.st_size > most_bytes:
        raise OddFileError(f"is larger than {size_in_words(most_bytes)}, which is the most it may be")
