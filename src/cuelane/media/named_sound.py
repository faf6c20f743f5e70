"""How libsndfile is told which file to read."""

from __future__ import annotations

import os
from pathlib import Path


def named_sound(path: Path) -> str | bytes:
    """Return a file's name as `soundfile` takes it.

    It writes a text as UTF-8 itself, and fails at a byte of a name that is none (a lone surrogate, PEP 383).
    On Windows a name is text, and stays text.
    """
    return str(path) if os.name == "nt" else os.fsencode(path)
