"""Where what was made once is kept for the next time, on this person's machine."""

from __future__ import annotations

import os
from pathlib import Path


def default_folder() -> Path:
    """Return the user's cache folder for clips, or ``CUELANE_CACHE`` where that is set."""
    chosen = os.environ.get("CUELANE_CACHE")
    if chosen:
        return Path(chosen).expanduser()
    import platformdirs

    return Path(platformdirs.user_cache_dir("cuelane", appauthor=False)) / "clips"
