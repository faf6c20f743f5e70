"""The whole folder as one zip file, made while it is sent: no copy on the disk, no link followed."""

from __future__ import annotations

import os
import stat
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, cast

from cuelane.base.errors import UsageError
from cuelane.desk.words import Said

MOST_FILES = 20_000
_CHUNK = 1 << 18
_READ = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
_PACKED = (".m4a", ".mp3", ".opus", ".flac", ".zip", ".jpg", ".jpeg", ".png", ".mp4", ".webm", ".mov", ".mkv")
_LARGE = 1 << 30
"""Half of what an entry without ZIP64 may hold: packing can lengthen it, and so may a writer meanwhile."""
_FIRST, _LAST = (1980, 1, 1, 0, 0, 0), (2107, 12, 31, 23, 59, 58)
"""The times that a zip file can tell (PKWARE APPNOTE 4.4.6, MS-DOS format; value from memory)."""
_PASSING = (".partial", ".part", ".tmp", ".crdownload", "~")


def files_of(folder: Path) -> list[Path]:
    """Return the ordinary files of a folder and of those below it, sorted.

    Links are left out, and so is what is hidden or only there for a moment.

    Raises
    ------
    UsageError : there are more than any series has, so that it is some other folder; or one cannot be read.
    """
    found: list[Path] = []
    waiting = [folder]
    while waiting:
        for entry in _entries(waiting.pop()):
            if entry.name.startswith(".") or entry.name.endswith(_PASSING) or entry.is_symlink():
                continue
            if entry.is_dir(follow_symlinks=False):
                waiting.append(Path(entry.path))
            elif entry.is_file(follow_symlinks=False):
                found.append(Path(entry.path))
        if len(found) + len(waiting) > MOST_FILES:
            raise UsageError(Said("wrong.many_files", n=MOST_FILES))
    return sorted(found)


def _entries(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            return list(entries)
    except OSError as error:
        raise UsageError(
            f"{folder}: the folder cannot be read ({error.strerror}); nothing was packed"
        ) from error


class _Passing:
    """Holds what the zip writer has written until it is fetched; nobody can seek in it."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: bytes) -> int:
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        pass

    def fetched(self) -> bytes:
        data = b"".join(self._parts)
        self._parts.clear()
        return data


def zipped(folder: Path, files: list[Path]) -> Iterator[bytes]:
    """Yield a zip file of `files`, which lie in `folder`; memory stays flat.

    A file that went away meanwhile is left out.
    """
    passing = _Passing()
    with zipfile.ZipFile(cast("IO[bytes]", passing), "w", zipfile.ZIP_DEFLATED) as archive:
        for path in files:
            try:
                handle = os.open(path, _READ)
            except OSError:
                continue
            with os.fdopen(handle, "rb") as source:
                about = os.fstat(source.fileno())
                if not stat.S_ISREG(about.st_mode):
                    continue
                entry = zipfile.ZipInfo(_name(path.relative_to(folder)), _moment(about.st_mtime))
                packed = path.suffix.lower() in _PACKED
                entry.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                with archive.open(entry, "w", force_zip64=about.st_size > _LARGE) as target:
                    while chunk := source.read(_CHUNK):
                        target.write(chunk)
                        yield passing.fetched()
            yield passing.fetched()
    yield passing.fetched()


def _name(path: Path) -> str:
    """Return a file's name in the archive; one that is no UTF-8 is read as Latin-1, as old disks have it."""
    name = path.as_posix()
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return os.fsencode(name).decode("latin-1")
    return name


def _moment(time_s: float) -> tuple[int, int, int, int, int, int]:
    """Return when a file was changed as a zip file tells it: of any other time, the nearest that it can."""
    try:
        year, month, day, hour, minute, second, *_ = time.localtime(time_s)
    except (OSError, OverflowError, ValueError):
        return _FIRST if time_s < 0 else _LAST
    return min(max(_FIRST, (year, month, day, hour, minute, second)), _LAST)
