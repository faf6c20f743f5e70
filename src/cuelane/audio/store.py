"""Clips on disk: content-addressed, checked on reading, shared by processes, bounded in size.

::

    FOLDER/recipes/ab/abcd….json   how a clip was made (hashed) → which audio it is
    FOLDER/audio/12/1234….wav      24-bit PCM, named by the hash of its samples
    FOLDER/audio/12/1234….json     what is said in it, and by whom

Every file is written to a temporary name in its own folder, synced, then renamed, so a reader meets a whole
file or none. Two processes that write the same clip write the same bytes. A file that does not hold what
its name promises is treated as absent and removed. What was used least recently goes first.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from cuelane.audio.clip import Clip, Samples, content_hash, quantise24
from cuelane.base.errors import DeliveryError, SignalError

FORMAT_VERSION = 1
MAX_BYTES = 2 * 1024**3

_HASH = re.compile(r"sha256:([0-9a-f]{64})")
_KEY = re.compile(r"[0-9a-f]{64}")
_BLOCK_FRAMES = 65_536
_SHRINK_TO = 0.9
_STALE_TEMP_S = 3_600
_PUTS_BETWEEN_SCANS = 256


def default_folder() -> Path:
    """Return the user's cache folder for clips, or ``CUELANE_CACHE`` where that is set."""
    chosen = os.environ.get("CUELANE_CACHE")
    if chosen:
        return Path(chosen).expanduser()
    import platformdirs

    return Path(platformdirs.user_cache_dir("cuelane", appauthor=False)) / "clips"


def recipe_key(parts: Mapping[str, Any]) -> str:
    """Return the hex SHA-256 of `parts` as canonical JSON; equal settings give equal keys on every machine.

    Raises
    ------
    TypeError, ValueError : a value that JSON has no form for, NaN among them.
    """
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


class ClipStore:
    """Clips by recipe or by content, in one folder.

    Parameters
    ----------
    folder : created when first written to; :func:`default_folder` if None.
    max_bytes : the files together stay below this, within the last few hundred clips written.
    """

    def __init__(self, folder: Path | None = None, *, max_bytes: int = MAX_BYTES) -> None:
        self.folder = Path(folder) if folder is not None else default_folder()
        self.max_bytes = max_bytes
        self._lock = threading.Lock()
        self._bytes: int | None = None
        self._puts = 0

    def get(self, recipe_key: str) -> Clip | None:
        """Return the clip made by this recipe, or None if it is absent or damaged."""
        if not _KEY.fullmatch(recipe_key):
            return None
        path = self._recipe_path(recipe_key)
        facts = _read_facts(path)
        clip = self._load(facts) if facts is not None else None
        if clip is None:
            _remove(path)
        else:
            _touch(path)
        return clip

    def put(self, recipe_key: str, clip: Clip) -> None:
        """Keep `clip` as what this recipe makes.

        Raises
        ------
        SignalError : samples off the 24-bit grid, or a hash that is not theirs.
        DeliveryError : the folder cannot be written.
        """
        if not _KEY.fullmatch(recipe_key):
            raise SignalError(f"a recipe key is 64 hex digits, got {recipe_key!r}")
        if not np.array_equal(quantise24(clip.samples), clip.samples):
            raise SignalError("the clip store keeps 24-bit samples; pass them through quantise24 first")
        if content_hash(clip.samples) != clip.sha256:
            raise SignalError(f"the clip of {clip.text!r} carries a hash that is not its samples'")
        audio, facts_path = self._audio_paths(clip.sha256)
        facts = json.dumps(
            {
                "format": FORMAT_VERSION,
                "sha256": clip.sha256,
                "text": clip.text,
                "voice": clip.voice,
                "sample_rate": clip.sample_rate,
                "n_frames": clip.n_frames,
                "words": [list(word) for word in clip.words],
            },
            ensure_ascii=False,
        ).encode("utf-8")
        try:
            written = 0
            if not audio.exists() or self._load_samples(clip.sha256, clip.n_frames) is None:
                written += _write_whole(audio, _wav_bytes(clip.samples, clip.sample_rate))
            written += _write_whole(facts_path, facts)
            written += _write_whole(self._recipe_path(recipe_key), facts)
        except OSError as error:
            raise DeliveryError(
                f"the clip store {self.folder} cannot be written ({error.strerror or error}); "
                "free some space there, or set CUELANE_CACHE to another folder"
            ) from error
        self._account(written)

    def by_hash(self, sha256: str) -> Clip | None:
        """Return the clip whose samples hash to `sha256` (``sha256:<hex>``), or None."""
        if not _HASH.fullmatch(sha256):
            return None
        facts = _read_facts(self._audio_paths(sha256)[1])
        if facts is None or facts["sha256"] != sha256:
            return None
        return self._load(facts)

    def _load(self, facts: dict[str, Any]) -> Clip | None:
        samples = self._load_samples(facts["sha256"], facts["n_frames"], facts["sample_rate"])
        if samples is None:
            return None
        for path in self._audio_paths(facts["sha256"]):
            _touch(path)
        return Clip(
            text=facts["text"],
            voice=facts["voice"],
            sample_rate=facts["sample_rate"],
            samples=samples,
            sha256=facts["sha256"],
            words=tuple((word, onset, end) for word, onset, end in facts["words"]),
        )

    def _load_samples(self, sha256: str, n_frames: int, sample_rate: int | None = None) -> Samples | None:
        import soundfile

        path, _ = self._audio_paths(sha256)
        try:
            whole, found_rate = soundfile.read(path, dtype="int32")
        except (OSError, soundfile.SoundFileError):
            _remove(path)
            return None
        samples = np.asarray((whole >> 8) / 8_388_608.0, dtype=np.float32)
        right = samples.ndim == 1 and len(samples) == n_frames and sample_rate in (None, found_rate)
        if not right or content_hash(samples) != sha256:
            _remove(path)
            return None
        return samples

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
            # Other processes write here too, so the running total is counted afresh now and then.
            if self._bytes is None or self._puts % _PUTS_BETWEEN_SCANS == 0:
                self._bytes = sum(size for _, _, size in self._files())
            else:
                self._bytes += written
            if self._bytes > self.max_bytes:
                self._bytes = self._shrink()

    def _files(self) -> Iterator[tuple[float, Path, int]]:
        for kind in ("audio", "recipes"):
            for path in (self.folder / kind).glob("??/*"):
                try:
                    status = path.stat()
                except OSError:
                    continue
                if path.name.startswith(".") and time.time() - status.st_mtime > _STALE_TEMP_S:
                    _remove(path)
                elif not path.name.startswith("."):
                    yield status.st_mtime_ns, path, status.st_size

    def _shrink(self) -> int:
        files = sorted(self._files(), key=lambda entry: (entry[0], entry[1].name))
        total = sum(size for _, _, size in files)
        for _, path, size in files:
            if total <= self.max_bytes * _SHRINK_TO:
                break
            _remove(path)
            total -= size
        return total


def _wav_bytes(samples: Samples, sample_rate: int) -> bytes:
    import io

    import soundfile

    whole = np.asarray(np.rint(samples.astype(np.float64) * 8_388_608.0), dtype=np.int32) << 8
    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer, "w", samplerate=sample_rate, channels=1, subtype="PCM_24", format="WAV"
    ) as file:
        for start in range(0, len(whole), _BLOCK_FRAMES):
            file.write(whole[start : start + _BLOCK_FRAMES])
    return buffer.getvalue()


def _read_facts(path: Path) -> dict[str, Any] | None:
    """Return what a store's JSON says, or None for one that is absent, damaged or of another format."""
    try:
        facts = json.loads(path.read_bytes())
        whole = (
            facts["format"] == FORMAT_VERSION
            and _HASH.fullmatch(facts["sha256"]) is not None
            and isinstance(facts["text"], str)
            and isinstance(facts["voice"], str)
            and type(facts["sample_rate"]) is int
            and type(facts["n_frames"]) is int
            and all(
                isinstance(word, str) and type(onset) is int and type(end) is int
                for word, onset, end in facts["words"]
            )
        )
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return facts if whole else None


def _write_whole(path: Path, content: bytes) -> int:
    """Write `content` to `path` whole or not at all; return the number of bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{os.getpid()}-{secrets.token_hex(8)}.tmp")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        _replace(temporary, path)
    except BaseException:
        _remove(temporary)
        raise
    return len(content)


def _replace(source: Path, target: Path) -> None:
    # On Windows a rename fails while another process has the target open for reading.
    for wait_s in (0.05, 0.2, 0.5):
        try:
            source.replace(target)
            return
        except PermissionError:
            time.sleep(wait_s)
    source.replace(target)


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except OSError:
        return


def _touch(path: Path) -> None:
    try:
        os.utime(path)
    except OSError:
        return
