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
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import fsspec
from fsspec.core import url_to_fs

from cuelane.base.errors import DeliveryError, UsageError
from cuelane.batch import records
from cuelane.batch.jobs_made import Order

# One letter before the colon is a drive of Windows. Chains such as dir::file:///x are fsspec's own form.
_ADDRESS = re.compile(r"[a-z][a-z0-9+.-]+(::[a-z0-9+.-]+)*://")


def is_address(out: str) -> bool:
    """Tell whether results are to go to an address, and not to a folder of this machine."""
    return _ADDRESS.match(out) is not None


@dataclass(frozen=True)
class FarFolder:
    """The folder of results at an address; names are paths from it, with ``/``."""

    fs: fsspec.AbstractFileSystem
    root: str

    @classmethod
    def at(cls, address: str) -> FarFolder:
        """Return the folder at `address`. Nothing is sent yet.

        Raises
        ------
        UsageError : no such kind of address, or its package is not installed.
        DeliveryError : it does not answer.
        """
        try:
            fs, root = url_to_fs(address)
        except (ImportError, ValueError) as error:
            raise UsageError(f"{address}: cannot be used for results: {error}") from error
        except Exception as error:
            # Some kinds connect at once, and each has errors of its own.
            raise DeliveryError(f"{address}: cannot be reached: {error}") from error
        return cls(fs, str(root).rstrip("/"))

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
        """Return a track's record; None where there is none that can be used."""
        try:
            with self.fs.open(self.path(name), "rb") as file:
                return records.record_from(file.read(records.MOST_BYTES))
        except Exception:
            # Each filesystem has errors of its own. Without a record the track is made again, and nothing
            # that lies there is replaced unasked.
            return None

    def put(self, name: str, content: Path | bytes) -> None:
        """Put a file there, whole: under a temporary name, then moved in place of the one before."""
        target = self.path(name)
        staged = f"{posixpath.dirname(target)}/.part-{secrets.token_hex(8)}"
        self.fs.makedirs(posixpath.dirname(target), exist_ok=True)
        try:
            if isinstance(content, bytes):
                self.fs.pipe_file(staged, content)
            else:
                self.fs.put_file(str(content), staged)
            self.fs.mv(staged, target)
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
        with self._told():
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
        with self._told():
            self.put(record_name, _text(record))

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise DeliveryError(f"{self.root}: cannot be written: {error.strerror or error}") from error
        except NotImplementedError as error:
            raise DeliveryError(f"{self.root}: cannot be written: such addresses can only be read") from error


def is_there(order: Order, record: records.Record, far: FarFolder | None) -> bool:
    """Tell whether all that a track's record says was written lies there: far away, or in the folder here."""
    if far is None:
        return records.is_whole(record, order.track)
    try:
        return records.is_all_there(record, order.track.name, lambda name: far.digest(order.prefix + name))
    except Exception:
        # Not to be read now: it is made again, and what is wrong is told then.
        return False


def _digests_of(record: records.Record | None) -> set[str]:
    return {*record.outputs.values(), *record.also_ours} if record is not None else set()


def _text(record: records.Record) -> bytes:
    return json.dumps(asdict(record), ensure_ascii=False).encode()
