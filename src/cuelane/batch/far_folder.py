"""Results at an address that fsspec understands: a bucket, another machine, a folder that is mounted nowhere.

A track is rendered in a temporary folder and then put there. Each file is uploaded under a temporary name
and moved to its own, so nobody meets half a file where the filesystem moves in one step; where a move is a
copy, as in buckets, the store itself shows only whole files. The files of a track do not change in one step:
its record is put last, and until then the track does not count as made and is made again by the next run. As
on a disk, what cuelane did not write, or somebody changed since, is not replaced unless that is asked for.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import posixpath
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import fsspec
from fsspec.core import url_to_fs

from cuelane.base.errors import CuelaneError, DeliveryError, UsageError
from cuelane.batch import far_parts, records
from cuelane.batch.jobs_made import Order

# Of these, "making a folder" makes a bucket where there is none, by a slip of the pen too.
_WITHOUT_FOLDERS = {"s3", "s3a", "gs", "gcs", "abfs", "abfss", "az"}
# One letter before the colon is a drive of Windows. Chains such as dir::file:///x are fsspec's own form.
# Capitals count for nothing in the kind of an address (RFC 3986, 3.1), but fsspec knows small letters only.
_ADDRESS = re.compile(r"[a-z][a-z0-9+.-]+(::[a-z0-9+.-]+)*://", re.I)


def is_address(out: str) -> bool:
    """Tell whether results are to go to an address, and not to a folder of this machine."""
    return _ADDRESS.match(out) is not None


@dataclass(frozen=True)
class FarFolder:
    """The folder of results at ``address``; names are paths from it, with ``/``."""

    fs: fsspec.AbstractFileSystem
    root: str
    address: str

    @classmethod
    def at(cls, address: str) -> FarFolder:
        """Return the folder at `address`. Nothing is sent yet.

        Raises
        ------
        UsageError : no such kind of address, or its package is not installed.
        DeliveryError : it does not answer.
        """
        try:
            kind, sign, rest = address.partition("://")
            fs, root = url_to_fs(kind.lower() + sign + rest)
        except (ImportError, ValueError) as error:
            raise UsageError(f"{address}: cannot be used: {error}") from error
        except Exception as error:
            # Some kinds connect at once, and each has errors of its own.
            raise DeliveryError(f"{address}: cannot be reached: {_reason(error)}") from error
        return cls(fs, str(root).rstrip("/"), address)

    @classmethod
    def tried(cls, address: str) -> FarFolder:
        """Return the folder at `address` once a file could be put there, read and taken away again.

        What runs that were killed left half put there is taken away.

        Raises
        ------
        UsageError : as :meth:`at`, or other processes would not find there what one has put.
        DeliveryError : it does not answer, or does not let this be done.
        """
        far = cls.at(address)
        if "memory" in _protocols(far.fs):
            raise UsageError(f"{address}: only the process that puts a file there finds it; name a folder")
        with far.told(), far_parts.FarPart.begun() as part:
            fresh, content = far.path(part.name), part.name.encode()
            far.makedirs("")
            far.fs.pipe_file(fresh, content)
            try:
                if far.fs.cat_file(fresh) != content:
                    raise DeliveryError(f"{address}: what is put there is not what is read there")
                far_parts.sweep(far.fs, far.root, fresh)
            finally:
                far.fs.rm_file(fresh)
        return far

    def makedirs(self, folder: str) -> None:
        """Make a folder where the filesystem has such things."""
        if not _protocols(self.fs) & _WITHOUT_FOLDERS:
            self.fs.makedirs(self.path(folder).rstrip("/"), exist_ok=True)

    def path(self, name: str) -> str:
        """Return a file's path for the filesystem."""
        return f"{self.root}/{name}"

    def digest(self, name: str) -> str | None:
        """Return ``sha256:`` and the digest of a file's content, all of it read; None where there is none."""
        try:
            with self.fs.open(self.path(name), "rb") as file:
                found = hashlib.sha256()
                while piece := file.read(1 << 20):
                    found.update(piece)
        except (FileNotFoundError, IsADirectoryError):
            return None
        return "sha256:" + found.hexdigest()

    def record(self, name: str) -> records.Record | None:
        """Return a track's record; None where there is none, or none that can be used.

        Raises
        ------
        DeliveryError : it cannot be told whether there is one. Were that taken for none, all would be made
            again.
        """
        with self.told():
            try:
                with self.fs.open(self.path(name), "rb") as file:
                    return records.record_from(file.read(records.MOST_BYTES))
            except FileNotFoundError:
                return None

    def put(self, name: str, content: Path | bytes) -> None:
        """Put a file there, whole: under a temporary name at the top, then moved to its own."""
        self.makedirs(posixpath.dirname(name))
        with far_parts.FarPart.begun() as part:
            staged = self.path(part.name)
            try:
                if isinstance(content, bytes):
                    self.fs.pipe_file(staged, content)
                else:
                    self.fs.put_file(str(content), staged)
                self.fs.mv(staged, self.path(name))
            except BaseException:
                with contextlib.suppress(Exception):
                    self.fs.rm_file(staged)
                raise

    def deliver(
        self, folder: Path, prefix: str, record_name: str, record: records.Record, *, force: bool
    ) -> None:
        """Put a track's files there, then its record.

        Parameters
        ----------
        folder : where the files lie that the record lists.
        prefix : their folder in the results: empty, or ending with ``/``.

        Raises
        ------
        UsageError : a file that is not ours stands in the way, and not `force`. Nothing is put then.
        DeliveryError : the filesystem failed.
        """
        with self.told():
            before = self.record(record_name)
            ours = _digests_of(before) | set(record.outputs.values())
            for name in record.outputs:
                there = None if force else self.digest(prefix + name)
                if there is not None and there not in ours:
                    raise UsageError(
                        f"{prefix}{name}: there is a file already, and it was not written by cuelane or was "
                        "changed since, or goes with this track in another format (-f a -f b, given at once, "
                        "makes each in a folder of its own); take it away, or replace it with --force"
                    )
            # Should this end half-way, the next run knows both the old files and the new ones as ours.
            begun = replace(record, program="", basis="", also_ours=sorted(_digests_of(before)))
            self.put(record_name, _text(begun))
            for name in record.outputs:
                self.put(prefix + name, folder / name)
            # As on a disk: what went with the track before goes, unless somebody changed it.
            for name, digest in (before.outputs if before is not None else {}).items():
                if name not in record.outputs and self.digest(prefix + name) == digest:
                    self.fs.rm_file(self.path(prefix + name))
            self.put(record_name, _text(record))

    def renew(self, record_name: str, record: records.Record) -> None:
        """Put a track's record in place of the one before."""
        with self.told():
            self.put(record_name, _text(record))

    @contextlib.contextmanager
    def told(self) -> Iterator[None]:
        """Tell every error as one that names the address; each kind of filesystem has errors of its own."""
        try:
            yield
        except CuelaneError:
            raise
        except Exception as error:
            raise DeliveryError(f"{self.address}: cannot be used: {_reason(error)}") from error


def is_there(order: Order, record: records.Record, far: FarFolder | None) -> bool:
    """Tell whether all that a track's record says was written lies there: far away, or in the folder here.

    Raises
    ------
    DeliveryError : it cannot be read there now.
    """
    if far is None:
        return records.is_whole(record, order.track)
    with far.told():
        return records.is_all_there(record, order.track.name, lambda name: far.digest(order.prefix + name))


def _protocols(fs: fsspec.AbstractFileSystem) -> set[str]:
    """Return the kinds of a filesystem and of those that it passes on to."""
    named = (fs.protocol,) if isinstance(fs.protocol, str) else fs.protocol
    under = getattr(fs, "fs", None)
    return {*named} | (_protocols(under) if isinstance(under, fsspec.AbstractFileSystem) else set())


def _reason(error: Exception) -> str:
    """Return what is wrong in words: some errors have no text, or only a number."""
    told = str(getattr(error, "strerror", None) or error).strip().strip("'\"")
    kind = type(error).__name__
    if isinstance(error, FileNotFoundError):
        return f"there is no such place ({told})"
    if isinstance(error, PermissionError):
        return f"it does not let this account do that ({told})"
    if isinstance(error, RuntimeError) and not told:
        # What fsspec raises, without a text, where a kind of place does not take what is asked of it.
        return "such addresses can only be read, or do not take all that is needed; use another"
    return told if isinstance(error, OSError) and told else f"{told} ({kind})".strip()


def _digests_of(record: records.Record | None) -> set[str]:
    return {*record.outputs.values(), *record.also_ours} if record is not None else set()


def _text(record: records.Record) -> bytes:
    return json.dumps(asdict(record)).encode()
