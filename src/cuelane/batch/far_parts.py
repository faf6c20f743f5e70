"""Names for files on their way to an address, and which of them were left by processes that are gone.

``.part-TOKEN``: while a process puts the file, it holds a lock with the token's name in the folder of clips
here, which the system lets go of however the process ends. So what a dead process of this machine has left is
told at once. Of another machine's nothing is known here but the age, by
the clock of the place itself: such a file is there only while it is written and until it has its name, which
takes moments; after an hour it is taken for left over.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import fsspec
from filelock import FileLock, Timeout

from cuelane.audio.cache_folder import default_folder

# Chosen: far more than the move of a file takes after its last byte was written.
LEFT_OVER_AFTER = timedelta(hours=1)
_NAME = re.compile(r"\.part-([0-9]+-[0-9a-f]{16})")


@dataclass(frozen=True)
class FarPart:
    """A file on its way, by its name at the top of the place; while it is, its owner is known to live."""

    name: str

    @classmethod
    @contextlib.contextmanager
    def begun(cls) -> Iterator[FarPart]:
        """Give the name of a part, under a lock for as long as it is needed."""
        token = f"{os.getpid()}-{secrets.token_hex(8)}"
        lock, path = None, _locks() / f"{token}.lock"
        # Without a folder for locks, other machines' rule holds here too.
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            lock = FileLock(path, thread_local=False)
            lock.acquire(timeout=0)
        try:
            yield cls(f".part-{token}")
        finally:
            if lock is not None:
                lock.release()
                path.unlink(missing_ok=True)


def sweep(fs: fsspec.AbstractFileSystem, folder: str, fresh: str) -> None:
    """Take away what dead processes left half put in `folder`, a path for the filesystem.

    `fresh` is the path of a file put there just now: its time is that of the place's clock.
    """
    fs.invalidate_cache()
    for path in map(str, fs.ls(folder, detail=False)):
        if _is_dead(fs, path, fresh):
            with contextlib.suppress(FileNotFoundError):
                fs.rm_file(path)


def _is_dead(fs: fsspec.AbstractFileSystem, path: str, fresh: str) -> bool:
    name = path.rsplit("/", 1)[-1]
    owned = _NAME.fullmatch(name)
    if owned is None:
        return False
    if (lock := _locks() / f"{owned[1]}.lock").exists():
        try:
            with FileLock(lock, thread_local=False).acquire(timeout=0):
                pass
        except Timeout:
            return False
        lock.unlink(missing_ok=True)
        return True
    try:
        return bool(fs.modified(fresh) - fs.modified(path) > LEFT_OVER_AFTER)
    except Exception:
        # It was moved to its name meanwhile, or such a place tells no times: each kind of filesystem has an
        # error of its own for that. What cannot be told to be old stays, and the place is used all the same.
        return False


def _locks() -> Path:
    return default_folder() / "puts"
