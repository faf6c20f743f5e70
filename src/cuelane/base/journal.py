"""A set of files put in place as one step, which whoever comes next completes or undoes.

::

    FOLDER/.cuelane-1a2b3c4d/      one delivery's own folder, locked for as long as its process lives
        0.m4a 1.json ...           the new files, whole
        old-0 old-1 ...            what stood in their places, by a second name
        journal.json               from the first rename to the last: which goes where, with all digests

Without a journal nothing has been moved yet, and the folder can go. With one, the delivery is completed; if
a person has changed a file meanwhile, or a rename failed, it is undone. Files that are neither what was there
nor what was put there are never touched. Nothing here is judged by age: a dead owner's lock is free.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from cuelane.base.folder_lock import FolderLock, folder_locked
from cuelane.base.ordinary import OddFileError, read_ordinary
from cuelane.base.seals import digest_if_there, is_file, is_inside, status_of

STAGING = re.compile(r"\.cuelane-[0-9a-f]{8}")
JOURNAL = "journal.json"
_SCHEMA = "cuelane.journal/1"
_MAX_BYTES = 32_000_000
_PLAIN = re.compile(r"[A-Za-z0-9.-]{1,40}")


@dataclass(frozen=True)
class FileMove:
    """One file of a set: `staged` becomes `target`, or `target` goes where `staged` is None.

    ``target`` is relative to the folder; ``staged`` and ``kept`` are names in the staging folder. ``new`` and
    ``old`` are digests, None where there is no such file.
    """

    target: str
    staged: str | None
    new: str | None
    old: str | None
    kept: str


def put_in_place(staging: Path, moves: Sequence[FileMove]) -> None:
    """Put a set in place; the files are synced already, and the lock of the folder is held.

    Raises the error that prevented it. Everything is then as it was before, or will be when the next run has
    read the journal.
    """
    folder = staging.parent
    if len(moves) == 1 and moves[0].staged:
        # One rename is one step by itself.
        (staging / moves[0].staged).replace(folder / moves[0].target)
        sync_folder(folder)
        return
    for move in moves:
        if move.old is not None:
            _second_name(folder / move.target, staging / move.kept)
    _write(staging, "forward", moves)
    try:
        _forward(staging, moves)
    except BaseException:
        with contextlib.suppress(OSError):
            _write(staging, "back", moves)
        _back(staging, moves)
        (staging / JOURNAL).unlink()
        raise
    with contextlib.suppress(OSError):
        (staging / JOURNAL).unlink()


def recover(folder: Path) -> None:
    """Complete or undo what processes that died left in `folder`, and remove their leftovers.

    Raises
    ------
    OSError : the folder cannot be changed.
    DeliveryError : another process holds it.
    """
    if any(_stagings(folder)):
        with folder_locked(folder):
            recover_locked(folder)


def recover_locked(folder: Path) -> None:
    """Do what :func:`recover` does, for a caller that holds the folder's lock already."""
    for staging in list(_stagings(folder)):
        lock = FolderLock(staging)
        try:
            mine = lock.acquire()
        except OSError:
            # Gone meanwhile, or a file system without locks: then nobody knows whether its owner lives.
            continue
        if mine:
            try:
                _settle(staging)
                remove_staging(staging)
            finally:
                let_go(staging, lock)


def remove_staging(staging: Path) -> None:
    """Remove a staging folder that holds no journal any more; its lock is still held."""
    shutil.rmtree(staging, ignore_errors=True)


def let_go(staging: Path, lock: FolderLock) -> None:
    """Release the lock of a staging folder. Where that was a file inside, the empty folder goes only now."""
    lock.release()
    with contextlib.suppress(OSError):
        staging.rmdir()


def _stagings(folder: Path) -> Iterator[Path]:
    with contextlib.suppress(FileNotFoundError, NotADirectoryError), os.scandir(folder) as rows:
        for row in rows:
            if STAGING.fullmatch(row.name) and row.is_dir(follow_symlinks=False):
                yield folder / row.name


def _settle(staging: Path) -> None:
    direction, moves = _read(staging)
    if not moves:
        return
    if direction == "forward" and not any(_changed_meanwhile(staging, move) for move in moves):
        _forward(staging, moves)
    else:
        _back(staging, moves)
    (staging / JOURNAL).unlink()


def _changed_meanwhile(staging: Path, move: FileMove) -> bool:
    """Tell whether what is still to be replaced is no longer what the journal says."""
    now = _digest(staging.parent / move.target)
    if move.staged is None:
        return now not in (None, move.old)
    if status_of(staging / move.staged) is None:
        return False
    return now != move.old or _digest(staging / move.staged) != move.new


def _digest(path: Path) -> str | None:
    try:
        status = status_of(path)
        return "something else" if status is not None and not is_file(status) else digest_if_there(path)
    except OSError:
        return "something else"


def _forward(staging: Path, moves: Sequence[FileMove]) -> None:
    for move in moves:
        target = staging.parent / move.target
        if move.staged is None:
            target.unlink(missing_ok=True)
        elif status_of(staging / move.staged) is not None:
            (staging / move.staged).replace(target)
    _sync_targets(staging, moves)


def _back(staging: Path, moves: Sequence[FileMove]) -> None:
    for move in reversed(moves):
        target, kept = staging.parent / move.target, staging / move.kept
        if move.staged is not None and status_of(staging / move.staged) is not None:
            continue
        now = _digest(target)
        if move.old is not None and now in (None, move.new) and status_of(kept) is not None:
            kept.replace(target)
        elif move.old is None and now is not None and now == move.new:
            target.unlink()
    _sync_targets(staging, moves)


def _sync_targets(staging: Path, moves: Sequence[FileMove]) -> None:
    for folder in {(staging.parent / move.target).parent for move in moves}:
        sync_folder(folder)


def _second_name(path: Path, kept: Path) -> None:
    try:
        os.link(path, kept)
    except OSError:
        # A file system without hard links.
        shutil.copy2(path, kept)
        sync_file(kept)


def _write(staging: Path, direction: str, moves: Sequence[FileMove]) -> None:
    made = staging / "journal.new"
    value = {"schema": _SCHEMA, "direction": direction, "moves": [asdict(move) for move in moves]}
    made.write_text(json.dumps(value), encoding="utf-8")
    sync_file(made)
    made.replace(staging / JOURNAL)
    sync_folder(staging)


def _read(staging: Path) -> tuple[str, list[FileMove]]:
    """Return a journal's direction and moves; no moves if cuelane did not write it: then nothing is moved."""
    try:
        data = json.loads(read_ordinary(staging / JOURNAL, _MAX_BYTES, follow=False))
        moves = [FileMove(**row) for row in data["moves"]]
        if data["schema"] == _SCHEMA and all(_is_sound(staging, move) for move in moves):
            return data["direction"], moves
    except (FileNotFoundError, OddFileError, ValueError, TypeError, KeyError, RecursionError):
        # None, or one that we did not write: ours come whole, by a rename.
        pass
    return "", []


def _is_sound(staging: Path, move: FileMove) -> bool:
    names = [move.kept, *([] if move.staged is None else [move.staged])]
    if not is_inside(move.target) or not all(_PLAIN.fullmatch(name) for name in names):
        return False
    found = [status_of(staging / name) for name in names]
    folder = (staging.parent / move.target).parent
    return all(row is None or is_file(row) for row in found) and folder.resolve().is_relative_to(
        staging.parent.resolve()
    )


def sync_file(path: Path) -> None:
    """Have the disk take all of a file."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Have the disk take a folder's names, where a folder can be opened at all."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def is_under_way(folder: Path) -> bool:
    """Return whether a delivery into `folder` has begun to take its place and has not ended."""
    try:
        return any((staging / JOURNAL).exists() for staging in _stagings(folder))
    except OSError:
        return False
