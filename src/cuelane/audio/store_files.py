"""The files of the clip store: sealed records and 24-bit WAV, written whole; and what to do with odd ones.

A record's seal is a hash over everything else in it, the key of its recipe included: a record that was copied
over another, or changed in a single byte, is not accepted.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import secrets
import stat
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from cuelane.audio.clip import Clip, Samples, content_hash
from cuelane.base.ordinary import read_ordinary
from cuelane.base.units import SAMPLE_RATES

FORMAT_VERSION = 1
MAX_FRAMES = 600 * 48_000
"""Ten minutes: far more than a line takes, and small enough to read into memory."""

MAX_RECORD_BYTES = 1_000_000
MAX_WAV_BYTES = 3 * MAX_FRAMES + 4_096
_HASH = re.compile(r"sha256:[0-9a-f]{64}")
_BLOCK_FRAMES = 65_536


def canonical(parts: Mapping[str, Any]) -> bytes:
    """Return `parts` as canonical JSON in UTF-8. Raises TypeError or ValueError where JSON has no form."""
    text = json.dumps(parts, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def record_of(clip: Clip, recipe: str | None) -> bytes:
    """Return a clip's record, sealed to the key of its recipe, or to none for what lies beside the audio."""
    facts = {
        "format": FORMAT_VERSION,
        "sha256": clip.sha256,
        "text": clip.text,
        "voice": clip.voice,
        "sample_rate": clip.sample_rate,
        "n_frames": clip.n_frames,
        "words": [list(word) for word in clip.words],
        "recipe": recipe,
    }
    if clip.doubt:
        facts["doubt"] = clip.doubt
    sealed = {**facts, "seal": hashlib.sha256(canonical(facts)).hexdigest()}
    return json.dumps(sealed, ensure_ascii=False).encode("utf-8")


def read_record(path: Path, recipe: str | None) -> dict[str, Any] | None:
    """Return what a record says, or None for one that is absent, damaged, or another recipe's."""
    try:
        content = read_ordinary(path, MAX_RECORD_BYTES, follow=False)
    except OSError:
        return None
    return record_in(content, recipe)


def record_in(content: bytes, recipe: str | None) -> dict[str, Any] | None:
    """Return what a record with this content says, or None for one that is damaged or another recipe's."""
    try:
        facts = json.loads(content)
        seal = facts.pop("seal")
        whole = (
            seal == hashlib.sha256(canonical(facts)).hexdigest()
            and facts["format"] == FORMAT_VERSION
            and facts["recipe"] == recipe
            and _HASH.fullmatch(facts["sha256"]) is not None
            and isinstance(facts["text"], str)
            and isinstance(facts["voice"], str)
            and isinstance(facts.get("doubt", ""), str)
            and type(facts["sample_rate"]) is int
            and type(facts["n_frames"]) is int
            and all(
                isinstance(word, str) and type(onset) is int and type(end) is int
                for word, onset, end in facts["words"]
            )
        )
    except (ValueError, TypeError, KeyError, AttributeError, IndexError, RecursionError):
        return None
    return facts if whole else None


def read_wav(path: Path, sha256: str) -> tuple[Samples, int] | None:
    """Return (samples of shape (n_frames,), sample_rate) of a file, or None if not what its name promises."""
    try:
        content = read_ordinary(path, MAX_WAV_BYTES, follow=False)
    except OSError:
        return None
    return wav_in(content, sha256)


def wav_in(content: bytes, sha256: str) -> tuple[Samples, int] | None:
    """Return (samples of shape (n_frames,), sample_rate) of a WAV file, or None if it hashes otherwise."""
    try:
        with soundfile.SoundFile(io.BytesIO(content)) as file:
            # Asked before reading: another format's header could promise any number of frames.
            kind = (file.format, file.subtype, file.channels)
            if kind != ("WAV", "PCM_24", 1) or not 0 < 3 * file.frames <= len(content):
                return None
            sample_rate = file.samplerate
            whole = file.read(dtype="int32")
    except (OSError, ValueError, soundfile.SoundFileError):
        return None
    samples = np.asarray((whole >> 8) / 8_388_608.0, dtype=np.float32)
    if sample_rate not in SAMPLE_RATES or content_hash(samples) != sha256:
        return None
    return samples, sample_rate


def wav_bytes(samples: Samples, sample_rate: int) -> bytes:
    """Return `samples` of shape (n_frames,), on the 24-bit grid, as the bytes of a WAV file."""
    whole = np.asarray(np.rint(samples.astype(np.float64) * 8_388_608.0), dtype=np.int32) << 8
    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer, "w", samplerate=sample_rate, channels=1, subtype="PCM_24", format="WAV"
    ) as file:
        for start in range(0, len(whole), _BLOCK_FRAMES):
            file.write(whole[start : start + _BLOCK_FRAMES])
    return buffer.getvalue()


def write_whole(path: Path, content: bytes, store: Path, token: str) -> int:
    """Write `content` to `path` in `store` whole or not at all; return the number of bytes.

    Parameters
    ----------
    token : of the writer's lease; its temporary files are swept when that is gone.
    """
    _make_folder(path.parent, store)
    temporary = path.with_name(f".{token}.{secrets.token_hex(6)}.tmp")
    try:
        with temporary.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        set_aside_unless_file(path, store)
        _replace(temporary, path)
    except BaseException:
        remove(temporary, store)
        raise
    return len(content)


def owner_of(temporary: str) -> str:
    """Return the token in the name of a temporary file."""
    return temporary[1:].partition(".")[0]


def remove(path: Path, store: Path) -> None:
    """Remove what has a clip's name but is no clip; a folder with something in it is set aside instead."""
    try:
        if stat.S_ISDIR(path.lstat().st_mode):
            _set_aside(path, store)
        else:
            path.unlink()
    except OSError:
        return


def set_aside_unless_file(path: Path, store: Path) -> None:
    """Make way where something that is no ordinary file stands in a file's place."""
    with contextlib.suppress(FileNotFoundError):
        if not stat.S_ISREG(path.lstat().st_mode):
            _set_aside(path, store)


def set_aside_unless_folder(path: Path, store: Path) -> None:
    """Make way where something that is no folder stands in a folder's place; a link to a folder is one."""
    with contextlib.suppress(FileNotFoundError):
        # One look decides: a folder that another writer makes after it is not in the way.
        mode = path.lstat().st_mode
        if not (stat.S_ISDIR(mode) or (stat.S_ISLNK(mode) and path.is_dir())):
            _set_aside(path, store)


def touch(path: Path) -> None:
    """Note that `path` was used now."""
    with contextlib.suppress(OSError):
        os.utime(path)


def _set_aside(path: Path, store: Path) -> None:
    """Move what stands in a clip's place to ``odd/`` in the store; remove pipes, devices and links."""
    mode = path.lstat().st_mode
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
        (store / "odd").mkdir(exist_ok=True)
        path.rename(store / "odd" / f"{path.name[:100]}-{secrets.token_hex(4)}")
    else:
        path.unlink()


def _make_folder(folder: Path, store: Path) -> None:
    store.mkdir(parents=True, exist_ok=True)
    for part in (*reversed([above for above in folder.parents if store in above.parents]), folder):
        set_aside_unless_folder(part, store)
        part.mkdir(exist_ok=True)


def _replace(source: Path, target: Path) -> None:
    # On Windows a rename fails while another process has the target open for reading.
    for wait_s in (0.05, 0.2, 0.5):
        try:
            source.replace(target)
            return
        except PermissionError:
            time.sleep(wait_s)
    source.replace(target)
