"""Several files written whole, together, or not at all.

Each file is made under a temporary name beside its target. Only when all are there, and on the disk, are they
renamed; if a rename fails, those before it are undone. Whatever goes wrong, Ctrl-C included, a file that was
there before is still there and whole, and no temporary file stays.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path

from cuelane.base.errors import DeliveryError, UsageError


class Staged:
    """The files of one delivery, under their temporary names."""

    def __init__(self) -> None:
        self._names: dict[Path, Path] = {}

    def path_for(self, target: Path) -> Path:
        """Return the temporary path, with the same suffix, at which to write what becomes `target`.

        Raises
        ------
        UsageError : `target` is a folder, or its folder does not exist.
        """
        if target in self._names:
            return self._names[target]
        if target.is_dir():
            raise UsageError(f"{target}: is a folder; give the name of a file")
        if not target.parent.is_dir():
            raise UsageError(f"{target}: the folder {target.parent} does not exist; make it first")
        name = f".{target.stem[:60]}.{secrets.token_hex(6)}.partial{target.suffix}"
        self._names[target] = target.with_name(name)
        return self._names[target]

    def write_text(self, target: Path, text: str) -> None:
        """Write `text` as UTF-8 with plain line ends to what becomes `target`."""
        self.write_bytes(target, text.encode("utf-8"))

    def write_bytes(self, target: Path, content: bytes) -> None:
        """Write `content` to what becomes `target`. Raises DeliveryError if the disk does not take it."""
        try:
            self.path_for(target).write_bytes(content)
        except OSError as error:
            raise DeliveryError(f"{target}: cannot be written: {error.strerror or error}") from error

    def _commit(self) -> None:
        for target, made in self._names.items():
            if not made.exists():
                raise DeliveryError(f"{target}: was promised but not written")
            with made.open("r+b") as file:
                os.fsync(file.fileno())
        undo: list[tuple[Path, Path | None]] = []
        try:
            for target, made in self._names.items():
                undo.append((target, _set_aside(target)))
                made.replace(target)
        except BaseException:
            for target, old in reversed(undo):
                if old is not None:
                    # Renaming one name of a file to another of the same file does nothing and leaves both.
                    old.replace(target)
                    old.unlink(missing_ok=True)
                elif not self._names[target].exists():
                    target.unlink(missing_ok=True)
            raise
        for _, old in undo:
            if old is not None:
                old.unlink(missing_ok=True)
        for folder in {target.parent for target in self._names}:
            _sync_folder(folder)

    def _discard(self) -> None:
        for made in self._names.values():
            with contextlib.suppress(OSError):
                made.unlink(missing_ok=True)


@contextlib.contextmanager
def all_or_nothing() -> Iterator[Staged]:
    """Give a :class:`Staged`; its files take their places when the block ends without an error.

    Raises
    ------
    DeliveryError : a promised file is missing, or the disk refused.
    """
    staged = Staged()
    try:
        yield staged
        try:
            staged._commit()
        except OSError as error:
            raise DeliveryError(f"the files cannot be put in place: {error.strerror or error}") from error
    finally:
        staged._discard()


def _set_aside(target: Path) -> Path | None:
    """Give an existing file a second name, so that it can be put back; it stays in place meanwhile."""
    if not target.exists():
        return None
    old = target.with_name(f".{target.stem[:60]}.{secrets.token_hex(6)}.previous{target.suffix}")
    try:
        os.link(target, old)
    except OSError:
        # A file system without hard links.
        shutil.copy2(target, old)
    return old


def _sync_folder(folder: Path) -> None:
    # Where a folder can be opened at all, syncing it makes the renames outlast a power cut.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
