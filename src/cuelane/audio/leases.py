"""Records which clips of a store are in use, so that no other process prunes them.

::

    FOLDER/store.lock              held for a moment: to say what is used, or to prune
    FOLDER/leases/TOKEN.lock       held for as long as its owner lives
    FOLDER/leases/TOKEN.txt        what the owner uses, one name a line

The operating system lets go of a lock when its process ends, however it ends; so a lease is never judged by
its age, which a clock that jumps would falsify. Locks are those of `filelock`: flock where there is one,
msvcrt's on Windows.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from cuelane.audio.store_files import set_aside_unless_file, set_aside_unless_folder
from cuelane.base.errors import DeliveryError
from cuelane.base.ordinary import read_ordinary

# Pruning 20,000 files takes well under a second; a minute means that its process is stopped.
_PATIENCE_S = 60.0
_POLL_S = 0.002
_MOST_BYTES = 64_000_000


class Leases:
    """What one store object uses, and what all others on the same folder use.

    ``token`` names this owner; it is also part of the names of its temporary files.
    """

    def __init__(self, folder: Path) -> None:
        self.token = f"{os.getpid()}-{secrets.token_hex(8)}"
        self._folder = folder
        self._thread_lock = threading.RLock()
        self._claimed: set[str] = set()
        self._own: FileLock | None = None
        self._end: weakref.finalize[..., Leases] | None = None

    def claim(self, *names: str) -> None:
        """Keep what has these names (hex digests) from being pruned until released or this process ends.

        In a folder that cannot be written no claim can be recorded, but this user cannot prune there either.
        """
        with self._thread_lock:
            new = [name for name in names if name not in self._claimed]
            if not new:
                return
            with contextlib.suppress(OSError), self.locked():
                self._begin()
                with self._list_of(self.token).open("a", encoding="utf-8") as file:
                    file.writelines(f"{name}\n" for name in new)
                self._claimed.update(new)

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        """Lock the whole store against other processes and threads, to prune it or to record what is used.

        Raises
        ------
        DeliveryError : another process has held it for a minute.
        OSError : the folder cannot be written.
        """
        with self._thread_lock:
            self._folder.mkdir(parents=True, exist_ok=True)
            path = self._folder / "store.lock"
            set_aside_unless_file(path, self._folder)
            lock = _lock(path)
            try:
                lock.acquire(timeout=_PATIENCE_S, poll_interval=_POLL_S)
            except Timeout as error:
                raise DeliveryError(
                    f"another process has held the clip store {self._folder} for {_PATIENCE_S:.0f} s; end it "
                    "if it hangs, or set CUELANE_CACHE to another folder"
                ) from error
            try:
                yield
            finally:
                lock.release()

    def in_use(self) -> tuple[set[str], set[str]]:
        """Return the names that live owners use, and those owners' tokens; forget owners that are gone.

        To be called while :meth:`locked`.
        """
        used, live = set(self._claimed), {self.token}
        for path in sorted((self._folder / "leases").glob("*.txt")):
            if path.stem == self.token:
                continue
            if _is_held(path.with_suffix(".lock")):
                live.add(path.stem)
                # A list that cannot be read raises here: what it claims is unknown, so nothing may be pruned.
                with contextlib.suppress(FileNotFoundError):
                    used.update(read_ordinary(path, _MOST_BYTES).decode("ascii", "replace").split())
            else:
                _forget(path)
        return used, live

    def release(self) -> None:
        """Give up every claim."""
        with self._thread_lock:
            self._claimed.clear()
            if self._end is not None:
                self._end()
            self._own = self._end = None

    def _begin(self) -> None:
        if self._own is not None:
            return
        folder = self._folder / "leases"
        set_aside_unless_folder(folder, self._folder)
        folder.mkdir(exist_ok=True)
        path = self._list_of(self.token)
        own = _lock(path.with_suffix(".lock"))
        own.acquire(timeout=_PATIENCE_S)
        self._own = own
        self._end = weakref.finalize(self, _end, own, path, os.getpid())

    def _list_of(self, token: str) -> Path:
        return self._folder / "leases" / f"{token}.txt"


def _lock(path: Path) -> FileLock:
    # Taken in one thread and let go in another, by the finaliser: not a lock of the thread.
    return FileLock(path, thread_local=False)


def _is_held(path: Path) -> bool:
    lock = _lock(path)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        return True
    except OSError:
        return path.exists()
    lock.release()
    return False


def _end(own: FileLock, path: Path, owner: int) -> None:
    # A forked child has a copy of this object, but the lease is its parent's.
    if os.getpid() == owner:
        own.release()
        _forget(path)


def _forget(path: Path) -> None:
    for name in (path, path.with_suffix(".lock")):
        with contextlib.suppress(OSError):
            name.unlink()
