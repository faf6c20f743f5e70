"""The media edge: any audio or video file to float blocks, and blocks to a file a phone plays.

The one place that knows which library or program does it: soundfile for WAV and FLAC, the ffmpeg program of
imageio-ffmpeg through pipes for everything else. ``decode``, ``probe`` and ``encode`` are all there is.
"""

from __future__ import annotations

from cuelane.base.memory import keep_freed_memory
from cuelane.media.probing import Chapter, MediaInfo, probe
from cuelane.media.reader import decode
from cuelane.media.writer import SUFFIXES, encode

__all__ = ["SUFFIXES", "Chapter", "MediaInfo", "decode", "encode", "probe"]

keep_freed_memory()
