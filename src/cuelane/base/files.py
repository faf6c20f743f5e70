"""The one writer of files for a person: several at once, whole or not at all, and never over somebody's work.

No file is written onto one that the command reads, under whatever name. A file that is there already is
replaced if cuelane wrote it and nobody has changed it since (:mod:`cuelane.base.seals`), or if the person
says so. Each file is made in a folder of the delivery's own beside its target; when all are there, and on the
disk, they take their places as one step (:mod:`cuelane.base.journal`). Whatever goes wrong, a file that was
there before is still there and whole, and what stays of a process that died is cleared up by the next.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import secrets
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cuelane.base import journal, seals
from cuelane.base.errors import DeliveryError, UsageError
from cuelane.base.folder_lock import FolderLock, folder_locked
from cuelane.base.ordinary import read_ordinary

Keep = Callable[[str, dict[str, Any]], bool]
"""Takes a file's name in the previous set's list, and that whole list; returns whether the file stays."""

_MAX_LIST_BYTES = 64_000_000
# Renames of a set take milliseconds; chosen so that a slow disk is waited for, and a dead run is not.
_LOOKS, _BETWEEN_LOOKS_S = 250, 0.02


@dataclass(frozen=True)
class Rules:
    """What a delivery may write onto.

    Attributes
    ----------
    inputs : what the command reads; never written onto, not even with `force`.
    owned : files that the command exists to change, such as a plan that is open on the desk.
    force : files that cuelane did not write, or that were changed since, are replaced too.
    listing : the file that lists the files of the set, with their digests.
    home : a folder that the command makes if it is not there.
    """

    inputs: tuple[Path, ...] = ()
    owned: list[Path] = field(default_factory=list)
    force: bool = False
    listing: Path | None = None
    home: Path | None = None
    page: Path | None = None

    def place_of(self, target: Path) -> Path:
        """Return where `target` really lies, links followed, if it may be written there.

        Raises
        ------
        UsageError : it may not; the message names the file and says why.
        """
        if self.listing is not None and any("\ud800" <= sign <= "\udfff" for sign in target.name):
            # A byte that is no text comes as such a sign (PEP 383), which no list of a set can hold.
            raise UsageError(f"{target}: its name is not UTF-8 text; choose another")
        place = Path(os.path.realpath(target))
        for given in self.inputs:
            if same_file(given, target):
                raise UsageError(f"{given}: would be overwritten by the result; choose another name for that")
        try:
            status = seals.status_of(place)
        except OSError as error:
            if error.errno == errno.ENAMETOOLONG:
                raise UsageError(f"{target}: is too long for a file's name; choose a shorter one") from error
            raise DeliveryError(f"{target}: cannot be written: {reason(error)}") from error
        if target.is_dir():
            raise UsageError(f"{target}: is a folder; give the name of a file")
        below = self.home is not None and place.is_relative_to(os.path.realpath(self.home))
        if not below and not place.parent.is_dir():
            raise UsageError(f"{target}: the folder {target.parent} does not exist; make it first")
        if status is None:
            return place
        if not seals.is_file(status):
            raise UsageError(f"{target}: is no ordinary file; choose another name")
        if self.force or any(same_file(one, target) for one in self.owned):
            return place
        listed = self._listed(place)
        if not self._is_ours(place):
            what = "was not written by cuelane" if listed is None else "was changed since cuelane wrote it"
            raise UsageError(
                f"{target}: there is a file already, and it {what}; choose another name, or replace it with "
                "--force"
            )
        return place

    def _is_ours(self, place: Path) -> bool:
        """Return whether cuelane wrote the file and nobody changed it since.

        Another delivery may be putting its set in place at this moment. So the answer no is final only if no
        delivery was under way before and after the look, and the file and its list are still the same ones.
        """
        for _ in range(_LOOKS):
            seen = self._standing(place)
            if seals.is_ours(place, self._listed(place)) or not os.path.lexists(place):
                return True
            if seen is not None and seen == self._standing(place):
                return False
            time.sleep(_BETWEEN_LOOKS_S)
        return False

    def _standing(self, place: Path) -> tuple[object, ...] | None:
        """Return which files stand at `place` and as its list; None while a delivery is put in place."""
        found = []
        for path in (place, self.listing):
            try:
                status = path.stat() if path is not None else None
            except OSError:
                status = None
            found.append(status and (status.st_ino, status.st_mtime_ns, status.st_size))
        return None if journal.is_under_way(place.parent) else tuple(found)

    def _listed(self, place: Path) -> str | None:
        if self.listing is None:
            return None
        home = Path(os.path.realpath(self.listing)).parent
        if not place.is_relative_to(home):
            return None
        known = seals.listed_files(self.listing)
        if not known and self.page is not None:
            known = seals.files_in_page(self.page)
        return known.get(place.relative_to(home).as_posix())


@dataclass
class _Group:
    """The files of one delivery in and below one folder. ``names`` holds the staged name of each target."""

    home: Path
    staging: Path
    lock: FolderLock
    names: dict[Path, str] = field(default_factory=dict)


class Staged:
    """The files of one delivery, under their temporary names."""

    def __init__(self, rules: Rules) -> None:
        self._rules = rules
        self._home = None if rules.home is None else Path(os.path.realpath(rules.home))
        self._groups: dict[Path, _Group] = {}
        self._given: dict[Path, Path] = {}
        self._checks: list[Callable[[], None]] = []
        self._list: tuple[Path, Callable[[dict[str, Any]], str], Keep] | None = None

    def own(self, target: Path) -> None:
        """Let `target` be replaced, whatever it holds: the command knows it for one of its own."""
        self._rules.owned.append(target)

    def check_last(self, check: Callable[[], None]) -> None:
        """Call `check` when all is ready and other deliveries are held off. If it raises, nothing is put."""
        self._checks.append(check)

    def path_for(self, target: Path) -> Path:
        """Return the temporary path, with the same suffix, at which to write what becomes `target`.

        Raises
        ------
        UsageError : `target` may not be written: see :meth:`Rules.place_of`.
        DeliveryError : nothing can be written in its folder.
        """
        place = self._rules.place_of(target)
        group = self._group(place)
        if place not in group.names:
            group.names[place] = f"{len(group.names)}{place.suffix[:20]}"
            self._given[place] = target
        return group.staging / group.names[place]

    def write_text(self, target: Path, text: str) -> None:
        """Write `text` as UTF-8 with plain line ends to what becomes `target`, its blank seal filled in."""
        self.write_bytes(target, text.encode("utf-8"))

    def write_bytes(self, target: Path, content: bytes) -> None:
        """Write `content` to what becomes `target`. Raises DeliveryError if the disk does not take it."""
        path = self.path_for(target)
        try:
            path.write_bytes(seals.sealed(content))
        except OSError as error:
            raise DeliveryError(f"{target}: cannot be written: {reason(error)}") from error

    def seal(self, target: Path) -> None:
        """Fill in the blank seal of a file that was written at :meth:`path_for`, if it has one."""
        self.write_bytes(target, self.path_for(target).read_bytes())

    def digest_of(self, target: Path) -> str:
        """Return ``sha256:`` and the digest of what was written for `target`."""
        return seals.digest_of(self.path_for(target))

    def write_listing(self, make: Callable[[dict[str, Any]], str], keep: Keep) -> None:
        """Write the list of the set last: `make` gets digests by name, and returns the text, sealable.

        A file of the previous list that nobody has changed and that is not written now is removed, unless
        `keep` says that it stays; then it is listed again, with its old entry.
        """
        assert self._rules.listing is not None
        self.path_for(self._rules.listing)
        self._list = Path(os.path.realpath(self._rules.listing)), make, keep

    def _group(self, place: Path) -> _Group:
        below = self._home is not None and place.parent.is_relative_to(self._home)
        home = self._home if below and self._home is not None else place.parent
        if home not in self._groups:
            try:
                staging, lock = _new_staging(home)
            except OSError as error:
                raise DeliveryError(f"{home}: cannot write in this folder: {reason(error)}") from error
            self._groups[home] = _Group(home, staging, lock)
        return self._groups[home]

    def _commit(self) -> None:
        for group in self._groups.values():
            with folder_locked(group.home):
                journal.recover_locked(group.home)
                for place in group.names:
                    self._rules.place_of(self._given[place])
                drops = self._write_list(group)
                moves = self._moves(group) + drops
                journal.sync_folder(group.staging)
                while self._checks:
                    self._checks.pop(0)()
                journal.put_in_place(group.staging, moves)

    def _moves(self, group: _Group) -> list[journal.FileMove]:
        moves = []
        for number, (place, name) in enumerate(group.names.items()):
            made = group.staging / name
            if not made.exists():
                raise DeliveryError(f"{self._given[place]}: was promised but not written")
            journal.sync_file(made)
            target = place.relative_to(group.home).as_posix()
            new, old = seals.digest_of(made), seals.digest_if_there(place)
            moves.append(journal.FileMove(target, name, new, old, f"old-{number}"))
        return moves

    def _write_list(self, group: _Group) -> list[journal.FileMove]:
        """Write the set's list, if it goes into this group; return the moves that remove what went before."""
        if self._list is None or self._list[0] not in group.names:
            return []
        place, make, keep = self._list
        files: dict[str, Any] = {
            other.relative_to(group.home).as_posix(): seals.digest_of(group.staging / name)
            for other, name in group.names.items()
            if other != place
        }
        before = _object_at(place)
        drops: list[journal.FileMove] = []
        known = seals.listed_files(place)
        for name in sorted(set(seals.names_of(known)) - set(files)):
            path = group.home / name
            if path in group.names or any(same_file(given, path) for given in self._rules.inputs):
                continue
            try:
                unchanged = path.resolve() == path and seals.digest_if_there(path) == known[name]
            except OSError:
                unchanged = False
            if unchanged and keep(name, before):
                files[name] = before["files"][name]
            elif unchanged:
                drops.append(journal.FileMove(name, None, None, known[name], f"gone-{len(drops)}"))
        self.write_text(self._given[place], make(files))
        return drops

    def _in_their_names(self, text: str) -> str:
        """Return `text` with the names that files will have in place of their temporary ones."""
        for group in self._groups.values():
            for place, name in group.names.items():
                text = text.replace(str(group.staging / name), str(self._given[place]))
        return text

    def _discard(self) -> None:
        for group in self._groups.values():
            try:
                # Where there is a journal, the next run completes or undoes the delivery.
                if not (group.staging / journal.JOURNAL).exists():
                    journal.remove_staging(group.staging)
            finally:
                journal.let_go(group.staging, group.lock)


@contextlib.contextmanager
def all_or_nothing(
    *targets: Path,
    home: Path | None = None,
    inputs: Sequence[Path | None] = (),
    owned: Sequence[Path] = (),
    listing: Path | None = None,
    page: Path | None = None,
    force: bool = False,
) -> Iterator[Staged]:
    """Give a :class:`Staged`; its files take their places when the block ends without an error.

    Those in one folder do so as one step; with `home`, a folder that may not be there yet, all below it.

    Parameters
    ----------
    targets : what will be written, as far as it is known: refused before any work is done.
    inputs, owned, listing, page, force : as :class:`Rules` has them.

    Raises
    ------
    UsageError : a file may not be written, or two are the same.
    DeliveryError : a promised file is missing, or the disk refused.
    """
    rules = Rules(tuple(path for path in inputs if path is not None), list(owned), force, listing, home, page)
    with contextlib.ExitStack() as stack:
        stack.enter_context(_as_delivery_errors())
        for folder in {target.parent for target in targets} | ({home} if home is not None else set()):
            journal.recover(folder)
        places = [rules.place_of(target) for target in targets]
        for target, place in zip(targets, places, strict=True):
            if places.count(place) > 1:
                raise UsageError(f"{target}: is named for two results; give each a name of its own")
    staged = Staged(rules)
    try:
        try:
            yield staged
        except DeliveryError as error:
            raise DeliveryError(staged._in_their_names(str(error))) from error
        with _as_delivery_errors():
            staged._commit()
    finally:
        staged._discard()


def finish_interrupted(*folders: Path) -> None:
    """Complete or undo what a process that died left in these folders, before something in them is read.

    Where that cannot be done, as on a disk that is read only, what is there is read as it is.
    """
    for folder in {Path(os.path.realpath(folder)) for folder in folders}:
        with contextlib.suppress(OSError, DeliveryError):
            journal.recover(folder)


def same_file(one: Path, other: Path) -> bool:
    """Tell whether two names stand for one file: hard links and links followed, or the same absent file."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return os.path.realpath(one) == os.path.realpath(other)


def reason(error: OSError) -> str:
    """Return why the system refused, as a person says it."""
    said = error.strerror or str(error)
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)):
        return f"the disk is full ({said})"
    return said


@contextlib.contextmanager
def _as_delivery_errors() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise DeliveryError(f"the files cannot be put in place: {reason(error)}") from error


def _new_staging(home: Path) -> tuple[Path, FolderLock]:
    """Make a folder of this delivery's own in `home` and lock it."""
    while True:
        staging = home / f".cuelane-{secrets.token_hex(4)}"
        try:
            staging.mkdir()
        except FileExistsError:
            continue
        lock = FolderLock(staging)
        try:
            # Another process may take a folder that is not locked yet for a dead one's, and remove it.
            if lock.acquire() and staging.is_dir():
                return staging, lock
        except FileNotFoundError:
            pass
        except OSError:
            # A file system without locks: nobody will clear this folder up but its owner.
            return staging, lock
        lock.release()


def _object_at(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(read_ordinary(path, _MAX_LIST_BYTES))
    except (OSError, ValueError, RecursionError):
        return {}
    return data if isinstance(data, dict) else {}
