"""A lock on a folder, held against other processes and threads, that its process loses when it ends.

The operating system lets go of it however the process ends, so that a dead owner is known from a live one
without looking at ages or process numbers. Where folders can be locked themselves (POSIX: flock), nothing is
left in them; elsewhere the lock is that of `filelock` on a file inside.
"""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from cuelane.base.errors import DeliveryError

_PATIENCE_S = 60.0
_POLL_S = 0.005

if sys.platform == "win32":
    from filelock import FileLock, Timeout

    def _take(folder: Path) -> Callable[[], object] | None:
        """Lock `folder` and return what unlocks it; None if somebody else holds it."""
        lock = FileLock(folder / ".cuelane.lock", thread_local=False)
        try:
            lock.acquire(timeout=0)
        except Timeout:
            return None
        return lock.release

else:
    import fcntl

    def _take(folder: Path) -> Callable[[], object] | None:
        """Lock `folder` and return what unlocks it; None if somebody else holds it."""
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            return None
        except BaseException:
            os.close(handle)
            raise
        return partial(os.close, handle)


class FolderLock:
    """The lock on `folder`; see the module."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._unlock: Callable[[], object] | None = None

    def acquire(self) -> bool:
        """Take the lock at once; return whether nobody else holds it. OSError: it cannot be locked."""
        self._unlock = _take(self._folder)
        return self._unlock is not None

    def release(self) -> None:
        """Let go."""
        unlock, self._unlock = self._unlock, None
        if unlock is not None:
            unlock()

    def __del__(self) -> None:
        self.release()


@contextlib.contextmanager
def folder_locked(folder: Path) -> Iterator[None]:
    """Hold the lock on `folder`, waiting for whoever has it.

    Where a file system knows no locks, it goes on without: then two deliveries at once are not kept apart.

    Raises
    ------
    DeliveryError : another process has held it for a minute.
    """
    lock, end_s = FolderLock(folder), time.monotonic() + _PATIENCE_S
    with contextlib.suppress(OSError):
        while not lock.acquire():
            if time.monotonic() > end_s:
                raise DeliveryError(
                    f"{folder}: another process has been putting files in place there for "
                    f"{_PATIENCE_S:.0f} s; end it if it hangs"
                )
            time.sleep(_POLL_S)
    try:
        yield
    finally:
        lock.release()
