"""The cover picture inside a file, by the ffmpeg program.

It finds a picture in every container it reads and converts it to PNG; with mutagen that would be a reader for
each kind of tag, and Pillow for the rest.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

from cuelane.media import ffmpeg
from cuelane.media.media_limits import require_file
from cuelane.media.metadata import PNG_SIGNATURE
from cuelane.media.probing import MediaInfo, probe
from cuelane.media.reader import magic

MAX_BYTES = 32 * 1024 * 1024


def cover_png(path: Path | str, info: MediaInfo | None = None) -> bytes | None:
    """Return the picture attached to an audio file as PNG, or None where there is none that can be read.

    A PNG comes back byte for byte; another picture is converted. `info` is what `probe` said, if it is known.

    Raises
    ------
    AudioFileError : missing, or not audio or video.
    """
    path = Path(path)
    require_file(path)
    if magic(path) == "wav" or (info or probe(path)).has_video:
        # A WAV holds no picture, and a film's first frame is no cover.
        return None
    for codec in (["-c:v", "copy"], ["-c:v", "png", "-frames:v", "1"]):
        output = ["-map", "0:v:0", "-an", *codec, "-fs", str(2 * MAX_BYTES), "-f", "image2pipe", "pipe:1"]
        try:
            with ffmpeg.input_file(path) as (opened, file):
                done = subprocess.run(
                    [*ffmpeg.quiet(), *opened, *output],
                    stdin=file or subprocess.DEVNULL, capture_output=True, timeout=60, check=False,
                )  # fmt: skip
        except subprocess.TimeoutExpired:
            return None
        if done.returncode == 0 and done.stdout.startswith(PNG_SIGNATURE) and len(done.stdout) <= MAX_BYTES:
            return done.stdout
    return None
