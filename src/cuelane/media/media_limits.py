"""What an audio or video file may be at most, and the check of its name before the first byte is read.

Within these limits a file is read in blocks, so that memory does not grow with it and time is in proportion.
"""

from __future__ import annotations

from pathlib import Path

from cuelane.base.errors import AudioFileError
from cuelane.base.ordinary import OddFileError, open_ordinary, size_in_words
from cuelane.base.schedule_limits import MAX_LENGTH_S
from cuelane.base.units import SAMPLE_RATES

MAX_BYTES = 200_000_000_000
"""Some hours of a camera's film."""

MAX_CHANNELS = 32

MAX_TEXT_BYTES = 16_000_000
"""Of a file's tags and chapters together."""

MAX_CHAPTERS = 10_000


def require_file(path: Path) -> None:
    """Raise AudioFileError unless `path` is an ordinary file with something in it; never waits for a pipe."""
    try:
        with open_ordinary(path, MAX_BYTES) as file:
            empty = not file.read(1)
    except FileNotFoundError as error:
        raise AudioFileError(f"{path}: no such file") from error
    except OddFileError as error:
        raise AudioFileError(f"{path}: {error}; expected an audio or video file") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise AudioFileError(f"{path}: cannot read this file: {reason}") from error
    if empty:
        raise AudioFileError(f"{path}: the file is empty (0 bytes)")


def require_shape(path: Path, sample_rate: int, n_channels: int) -> None:
    """Raise AudioFileError if a file has more channels, or another sample rate in Hz, than can be read."""
    if not 1 <= n_channels <= MAX_CHANNELS:
        raise AudioFileError(f"{path}: has {n_channels} channels; at most {MAX_CHANNELS} can be read")
    if sample_rate not in SAMPLE_RATES:
        raise AudioFileError(
            f"{path}: has a sample rate of {sample_rate} Hz; "
            f"expected {SAMPLE_RATES[0]} to {SAMPLE_RATES[-1]} Hz"
        )


def require_length(path: Path, n_frames: int, sample_rate: int) -> None:
    """Raise AudioFileError if that many frames are longer than can be read."""
    if n_frames > MAX_LENGTH_S * sample_rate:
        raise AudioFileError(f"{path}: is longer than {MAX_LENGTH_S // 3600} hours; cut it first")


def too_much_text(path: Path) -> AudioFileError:
    return AudioFileError(
        f"{path}: its tags and chapters have more than {size_in_words(MAX_TEXT_BYTES)}; remove some first"
    )
