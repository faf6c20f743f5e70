"""pydub, imported without its warning that no ffmpeg is installed: nothing here needs one."""

from __future__ import annotations

import warnings
from typing import Any


def audio_segment() -> Any:
    """Return pydub's class AudioSegment."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pydub import AudioSegment
    return AudioSegment
