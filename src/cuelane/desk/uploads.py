"""Sound that comes as the body of a request: into a file, never held in memory, and never past a limit."""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import IO, TypeVar

from starlette.requests import Request

from cuelane.base.errors import AudioFileError, UsageError
from cuelane.desk.words import Said

Given = TypeVar("Given")

MIB = 1 << 20
LARGE = {
    # Two minutes of one line, the most that may be, as float PCM of two channels take 92 MB.
    "/api/take/": 96 * MIB,
    # Six hours of a reading at 16 bits in one channel take 2 GB; an hour of a filmed class about as much.
    "/api/reading/": 2048 * MIB,
    "/api/class/": 4096 * MIB,
    # A song of an hour, uncompressed, takes 600 MB.
    "/api/music/": 768 * MIB,
}
"""The bytes that may come to these paths, for :class:`cuelane.desk.guard.Guard`."""


def most_bytes(path: str) -> int:
    """Return how many bytes may come to the path of a request."""
    return next(n for prefix, n in LARGE.items() if path.startswith(prefix))


async def stream_into(request: Request, file: IO[bytes]) -> int:
    """Write a request's body into `file` as it comes; return its length in bytes.

    Raises
    ------
    UsageError : it is larger than its path allows, or empty.
    """
    n_bytes, most = 0, most_bytes(request.url.path)
    async for part in request.stream():
        n_bytes += len(part)
        if n_bytes > most:
            raise UsageError(Said("wrong.too_large", n=most // MIB))
        file.write(part)
    if not n_bytes:
        raise UsageError(Said("wrong.empty_file"))
    return n_bytes


@asynccontextmanager
async def received(request: Request) -> AsyncIterator[Path]:
    """Give the path of a temporary file that holds a request's body; it is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="cuelane-desk-") as folder:
        path = Path(folder) / "sound"
        with path.open("wb") as file:
            await stream_into(request, file)
        yield path


def unnamed(path: Path, work: Callable[[], Given]) -> Given:
    """Return what `work` gives; an error about the file at `path` is told without its temporary name."""
    try:
        return work()
    except AudioFileError as error:
        raise AudioFileError(str(error).replace(f"{path}: ", "")) from error
