"""A file that libsndfile writes through, so that the disk's own error is not lost.

Given a name, libsndfile reports every refusal of the system as "System error.". Given this file, the error
itself is kept, and raised.
"""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any


class SoundTarget(io.FileIO):
    """A file opened for writing. ``failure`` is the first error of a write; nothing is written after it."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, "w+b")
        self.failure: OSError | None = None

    def write(self, data: Any) -> int:
        """Write all of `data`; return 0 if the system refuses: no exception can pass libsndfile."""
        left = memoryview(data)
        n_bytes = left.nbytes
        try:
            while left and self.failure is None:
                left = left[super().write(left) or 0 :]
        except OSError as error:
            self.failure = error
        return 0 if self.failure else n_bytes


@contextlib.contextmanager
def sound_target(path: Path) -> Iterator[SoundTarget]:
    """Give a :class:`SoundTarget`, for a `soundfile.SoundFile` to write to; raises the OSError it kept."""
    with SoundTarget(path) as file:
        try:
            yield file
        except Exception as error:
            if file.failure is not None:
                raise file.failure from error
            raise
        if file.failure is not None:
            raise file.failure
