"""The newest audio beside a plan, and what is known of it without reading its schedule.

There is no database: the files say it. A check is kept beside the audio as ``NAME.check.json``.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from cuelane.base.ordinary import open_ordinary, read_ordinary
from cuelane.desk.named_files import stays_inside
from cuelane.media.formats import FORMATS

_MOST_BYTES = 32 * 1024 * 1024
_MOST_READ_BYTES = 4 * 1024**3
"""Chosen: as much as a WAV file holds, read in a few seconds; of what is larger, size and time count."""


def plan_sha256(text: str) -> str:
    """Return what tells one text of a plan from another."""
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def digests_beside(folder: Path, paths: Iterable[Path]) -> dict[str, str]:
    """Return the digests of those of `paths` that lie in `folder` or below, by their names as seen from it.

    A file that is not there has an empty one.
    """
    # A plan in a folder of its own may name what is beside that: "parts/../walk.yaml".
    whole, own = {Path(os.path.normpath(path)) for path in paths}, Path(os.path.normpath(folder))
    inside = sorted(path for path in whole if path.is_relative_to(own))
    return {path.relative_to(own).as_posix(): _digest(path) for path in inside}


def newest_audio(plan: Path) -> Path | None:
    """Return the newest audio of a plan that a render wrote, None where there is none. Raises OSError."""
    found = [path for form in FORMATS if (path := plan.with_suffix(form.suffix)).is_file()]
    if not found or not plan.with_suffix(".schedule.json").is_file():
        return None
    return max(found, key=lambda path: path.stat().st_mtime_ns)


def check_kept(plan: Path, audio: Path) -> dict[str, Any]:
    """Return the check that was made of `audio`, or nothing if it is of another or older than the sound.

    Raises OSError where the audio is gone.
    """
    path = plan.with_suffix(".check.json")
    made_ns = audio.stat().st_mtime_ns
    try:
        about = path.stat()
        if about.st_size > _MOST_BYTES or about.st_mtime_ns < made_ns:
            return {}
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return data if isinstance(data, dict) and data.get("audio") == audio.name else {}


def verdict_in(kept: dict[str, Any]) -> bool | None:
    """Return what a kept check said, None where it says nothing."""
    ok = kept.get("ok")
    return ok if isinstance(ok, bool) else None


def is_fresh(plan: Path, audio: Path, kept: dict[str, Any], text: str) -> bool:
    """Tell whether the plan and what it uses are as they were when the audio was made. Raises OSError."""
    if "plan" in kept:
        return kept["plan"] == plan_sha256(text) and _as_before(plan.parent, kept.get("beside", {}))
    return plan.stat().st_mtime_ns <= audio.stat().st_mtime_ns


def _as_before(folder: Path, beside: object) -> bool:
    """Tell whether what a kept check names beside its plan is there as it was; it may name anything."""
    if not isinstance(beside, dict):
        return False
    return all(stays_inside(name) and _digest(folder / name) == digest for name, digest in beside.items())


def _digest(path: Path) -> str:
    """Return what tells a file's content from another; empty where there is no ordinary file."""
    try:
        about = path.stat()
        if about.st_size > _MOST_READ_BYTES:
            return f"{about.st_size} bytes of {about.st_mtime_ns}"
        if about.st_size > _MOST_BYTES:
            return _digest_of_large(path, about.st_size, about.st_mtime_ns, about.st_ino)
        return hashlib.sha256(read_ordinary(path, _MOST_BYTES)).hexdigest()
    except (OSError, ValueError):
        return ""


# The shelf asks for it each time that it is shown: what has neither another size nor another time is not read
# again. A smaller file is: that takes no time, and one may change twice within a tick of the disk's clock.
@lru_cache(maxsize=64)
def _digest_of_large(path: Path, _size: int, _changed_ns: int, _number: int) -> str:
    with open_ordinary(path, _MOST_READ_BYTES) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
