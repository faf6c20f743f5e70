"""Clips on disk: content-addressed, checked on reading, shared by processes, bounded in size.

::

    FOLDER/recipes/ab/abcd….json   how a clip was made (hashed) → which audio it is
    FOLDER/audio/12/1234….wav      24-bit PCM, named by the hash of its samples
    FOLDER/audio/12/1234….json     what is said in it, and by whom
    FOLDER/pieces/ab/abcd….piece   encoded pieces of tracks, see :mod:`cuelane.audio.kept_pieces`
    FOLDER/leases/                 which of them running processes use
    FOLDER/odd/                    folders and files of somebody else's that stood in a clip's place

Every file is written to a temporary name in its own folder, synced, then renamed, so a reader meets a whole
file or none. Two processes that write the same clip write the same bytes. A file that does not hold what
its name promises is treated as absent and removed, and the line is spoken again. When the store is too large,
the clips used least recently are removed first. A clip that a running process has read or written is never
removed, even if the store then stays too large.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import stat
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import numpy as np

from cuelane.audio.cache_folder import default_folder
from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.kept_pieces import MAX_PIECE_BYTES, SHARE, piece_path, read_piece, sealed_piece
from cuelane.audio.leases import Leases
from cuelane.audio.store_files import (
    FORMAT_VERSION,
    MAX_FRAMES,
    canonical,
    owner_of,
    read_record,
    read_wav,
    record_of,
    remove,
    touch,
    wav_bytes,
    write_whole,
)
from cuelane.base.errors import DeliveryError, SignalError

__all__ = ["FORMAT_VERSION", "ClipNote", "ClipStore", "default_folder", "recipe_key"]

MAX_BYTES = 2 * 1024**3

_HASH = re.compile(r"sha256:([0-9a-f]{64})")
_KEY = re.compile(r"[0-9a-f]{64}")
_Groups = dict[Path, list[tuple[Path, os.stat_result]]]
_SHRINK_TO = 0.9
_PUTS_BETWEEN_SCANS = 256
# A file's time of use further ahead of the clock than this comes from a wrong clock: it counts as the oldest.
_CLOCK_SLACK_NS = 300 * 10**9


def recipe_key(parts: Mapping[str, Any]) -> str:
    """Return the hex SHA-256 of `parts` as canonical JSON; equal settings give equal keys on every machine.

    Raises
    ------
    TypeError, ValueError : a value that JSON has no form for, NaN among them.
    """
    return hashlib.sha256(canonical(parts)).hexdigest()


@dataclass(frozen=True)
class ClipNote:
    """What a clip's record says of it, see :class:`Clip`; its sound has not been read."""

    text: str
    voice: str
    sample_rate: int
    n_frames: int
    sha256: str
    words: tuple[tuple[str, int, int], ...] = ()
    doubt: str = ""


class ClipStore:
    """Clips by recipe or by content, in one folder.

    What one object has returned or been given stays in the store until it is closed, or its process ends.

    Parameters
    ----------
    folder : created when first written to; :func:`default_folder` if None.
    max_bytes : above this size in all, files not in use are removed, least recently used first. Other
        processes' files are counted once in every few hundred clips written.
    """

    def __init__(self, folder: Path | None = None, *, max_bytes: int = MAX_BYTES) -> None:
        self.folder = Path(folder) if folder is not None else default_folder()
        self.max_bytes = max_bytes
        self._lock = threading.Lock()
        self._leases = Leases(self.folder)
        self._bytes: int | None = None
        self._puts = 0

    def close(self) -> None:
        """Release every clip that this object claimed. It can be used again, and then makes new claims."""
        self._leases.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def get(self, recipe_key: str) -> Clip | None:
        """Return the clip made by this recipe, or None if it is absent or damaged."""
        if not _KEY.fullmatch(recipe_key):
            return None
        path = self._recipe_path(recipe_key)
        facts = read_record(path, recipe_key)
        clip = None
        if facts is not None:
            self._leases.claim(recipe_key, facts["sha256"].removeprefix("sha256:"))
            clip = self._load(facts["sha256"], facts)
        if clip is None:
            remove(path, self.folder)
            return None
        beside = self._audio_paths(clip.sha256)[1]
        if read_record(beside, None) is None:
            # The clip itself is whole; the note of what is said in it can be written another time.
            with contextlib.suppress(DeliveryError):
                self._write(beside, record_of(clip, None))
        touch(path)
        return clip

    def note(self, recipe_key: str) -> ClipNote | None:
        """Return what is known of the clip made by this recipe, or None if it is absent.

        Its sound is not read, only looked for: it may prove damaged, and it is not claimed. Whoever needs it
        asks for it, by :meth:`by_hash`, and must be ready to find it gone.
        """
        facts = read_record(self._recipe_path(recipe_key), recipe_key) if _KEY.fullmatch(recipe_key) else None
        if facts is None:
            return None
        try:
            there = self._audio_paths(facts["sha256"])[0].lstat()
        except OSError:
            return None
        if not stat.S_ISREG(there.st_mode) or there.st_size < 3 * facts["n_frames"]:
            return None
        words = tuple((word, onset, end) for word, onset, end in facts["words"])
        rate, n_frames, doubt = facts["sample_rate"], facts["n_frames"], facts.get("doubt", "")
        return ClipNote(facts["text"], facts["voice"], rate, n_frames, facts["sha256"], words, doubt)

    def put(self, recipe_key: str, clip: Clip) -> None:
        """Keep `clip` as what this recipe makes.

        Raises
        ------
        SignalError : samples off the 24-bit grid, none or more than ten minutes of them, or a hash that does
            not match them.
        DeliveryError : the folder cannot be written.
        """
        if not _KEY.fullmatch(recipe_key):
            raise SignalError(f"a recipe key is 64 hex digits, got {recipe_key!r}")
        if not 0 < clip.n_frames <= MAX_FRAMES:
            raise SignalError(f"a clip has 1 to {MAX_FRAMES} samples, got {clip.n_frames}")
        if not np.array_equal(quantise24(clip.samples), clip.samples):
            raise SignalError("the clip store keeps 24-bit samples; pass them through quantise24 first")
        if content_hash(clip.samples) != clip.sha256:
            raise SignalError(f"the hash of the clip of {clip.text!r} does not match its samples")
        audio, beside = self._audio_paths(clip.sha256)
        # Claimed before it is written, so that it is never there and free to be pruned.
        self._leases.claim(recipe_key, audio.stem)
        written = 0
        found = read_wav(audio, clip.sha256)
        if found is None or found[1] != clip.sample_rate:
            written += self._write(audio, wav_bytes(clip.samples, clip.sample_rate))
        written += self._write(beside, record_of(clip, None))
        written += self._write(self._recipe_path(recipe_key), record_of(clip, recipe_key))
        self._account(written)

    def piece(self, key: str) -> bytes | None:
        """Return the encoded piece kept under `key`, 64 hex digits, or None if it is absent or damaged."""
        return read_piece(self.folder, key) if _KEY.fullmatch(key) else None

    def keep_piece(self, key: str, content: bytes) -> None:
        """Keep an encoded piece of a track. One that cannot be written will be encoded again: no error."""
        if not _KEY.fullmatch(key):
            raise SignalError(f"a piece's key is 64 hex digits, got {key!r}")
        if len(content) <= MAX_PIECE_BYTES:
            with contextlib.suppress(DeliveryError):
                self._account(self._write(piece_path(self.folder, key), sealed_piece(key, content)))

    def by_hash(self, sha256: str) -> Clip | None:
        """Return the clip whose samples hash to `sha256` (``sha256:<hex>``), or None.

        Its text, voice and words are empty where the note beside the audio is gone.
        """
        match = _HASH.fullmatch(sha256)
        if match is None:
            return None
        audio, beside = self._audio_paths(sha256)
        try:
            audio.lstat()
        except OSError:
            return None
        self._leases.claim(match[1])
        facts = read_record(beside, None)
        return self._load(sha256, facts if facts is not None and facts["sha256"] == sha256 else None)

    def _load(self, sha256: str, facts: dict[str, Any] | None) -> Clip | None:
        audio, beside = self._audio_paths(sha256)
        found = read_wav(audio, sha256)
        if found is None:
            remove(audio, self.folder)
            return None
        samples, sample_rate = found
        touch(audio)
        touch(beside)
        if facts is None:
            return Clip("", "", sample_rate, samples, sha256)
        if (facts["sample_rate"], facts["n_frames"]) != (sample_rate, len(samples)):
            # The samples are right, their file's header is not.
            remove(audio, self.folder)
            return None
        words = tuple((word, onset, end) for word, onset, end in facts["words"])
        doubt = facts.get("doubt", "")
        return Clip(facts["text"], facts["voice"], sample_rate, samples, sha256, words, doubt)

    def _write(self, path: Path, content: bytes) -> int:
        try:
            return write_whole(path, content, self.folder, self._leases.token)
        except OSError as error:
            full = error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
            raise DeliveryError(
                f"the clip store {self.folder} cannot be written ({error.strerror or error}); "
                + ("free some space there" if full else "see who may write there and what stands in the way")
                + ", or set CUELANE_CACHE to another folder"
            ) from error

    def _recipe_path(self, key: str) -> Path:
        return self.folder / "recipes" / key[:2] / f"{key}.json"

    def _audio_paths(self, sha256: str) -> tuple[Path, Path]:
        match = _HASH.fullmatch(sha256)
        if match is None:
            raise SignalError(f"expected sha256:<64 hex digits>, got {sha256!r}")
        stem = self.folder / "audio" / match[1][:2] / match[1]
        return stem.with_suffix(".wav"), stem.with_suffix(".json")

    def _account(self, written: int) -> None:
        with self._lock:
            self._puts += 1
            self._bytes = (self._bytes or 0) + written
            # Other processes write here too, so the running total is counted afresh now and then.
            if self._puts % _PUTS_BETWEEN_SCANS == 1 or self._bytes > self.max_bytes:
                try:
                    self._bytes = self._prune()
                except OSError:
                    # Pruning can wait for the next time; the clip is written.
                    return

    def _prune(self) -> int:
        """Bring the store under its size, sweep what dead processes left, and return its size in bytes."""
        with self._leases.locked():
            used, live = self._leases.in_use()
            groups: _Groups = {}
            kinds = ("audio", "recipes", "pieces")
            for path in (path for kind in kinds for path in self.folder.glob(f"{kind}/??/*")):
                try:
                    status = path.lstat()
                except OSError:
                    continue
                if not path.name.startswith("."):
                    groups.setdefault(path.with_suffix(""), []).append((path, status))
                elif path.suffix == ".tmp" and owner_of(path.name) not in live:
                    remove(path, self.folder)
            pieces = {stem: groups.pop(stem) for stem in list(groups) if stem.parts[-3] == "pieces"}
            clips = sum(status.st_size for files in groups.values() for _, status in files)
            # Speech is dearer to make again: no clip goes for a piece.
            most_bytes = max(0, min(int(self.max_bytes * SHARE), self.max_bytes - clips))
            left = self._shrink(pieces, most_bytes, set())
            return left + self._shrink(groups, self.max_bytes - left, used)

    def _shrink(self, groups: _Groups, most_bytes: int, used: set[str]) -> int:
        """Remove what was used least recently and is not in use, down to size; return the bytes left."""
        total = sum(status.st_size for files in groups.values() for _, status in files)
        if total <= most_bytes:
            return total
        now_ns = time.time_ns() + _CLOCK_SLACK_NS
        for stem in sorted(groups, key=lambda stem: (_last_use_ns(groups[stem], now_ns), stem.name)):
            if total <= most_bytes * _SHRINK_TO:
                break
            if stem.name not in used:
                for path, status in groups[stem]:
                    remove(path, self.folder)
                    total -= status.st_size
        return total


def _last_use_ns(files: list[tuple[Path, os.stat_result]], now_ns: int) -> int:
    return max(status.st_mtime_ns if status.st_mtime_ns <= now_ns else 0 for _, status in files)
