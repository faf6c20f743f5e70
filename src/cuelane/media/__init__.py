"""The media edge: any audio or video file to float blocks, and blocks to a file a phone plays.

The one place that knows which library or program does it: soundfile for WAV and FLAC, the ffmpeg program of
imageio-ffmpeg through pipes for everything else. ``decode``, ``probe`` and ``encode`` are all there is; what
can be written stands in :mod:`cuelane.media.formats`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cuelane.media.metadata import Metadata
    from cuelane.media.probing import Chapter, MediaInfo, probe
    from cuelane.media.reader import decode
    from cuelane.media.writer import encode

__all__ = ["Chapter", "MediaInfo", "Metadata", "decode", "encode", "probe"]

_HOMES = {
    "Chapter": "probing",
    "MediaInfo": "probing",
    "Metadata": "metadata",
    "probe": "probing",
    "decode": "reader",
    "encode": "writer",
}


def __getattr__(name: str) -> Any:
    # Imported when asked for, so that the command line can name the formats without NumPy.
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
