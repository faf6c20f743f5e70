"""One lossy track encoded as pieces, several at once, whose frames are then joined into one stream.

A piece owns a fixed number of the track's frames. Its encoder is a fresh process that is fed some frames
before it (so that windows, filters and rate control have settled) and after it (so that it can look ahead);
what it makes of those is dropped at the border of a frame. A piece is therefore a pure function of the
samples fed and of the encoder, whichever machine, order or number of processes made it, and one that was
kept can stand in for it. What has been fed and not yet written is a few pieces, however long the track is.
"""

from __future__ import annotations

import functools
import hashlib
import platform
from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from cuelane.base.cores import n_cores
from cuelane.base.errors import DeliveryError
from cuelane.media import ffmpeg
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import Joining, LossyCoding
from cuelane.media.frames import split_frames
from cuelane.media.lossy import write_lossy
from cuelane.media.reader import Block
from cuelane.media.silence import with_silence, without_long_silence

MOST_ENCODERS = 3
"""More would gain little: the samples of the mix come from one thread."""

_RECIPE = "cuelane piece 1"
_TAIL_FRAMES = 4


class KeptPieces(Protocol):
    """Where pieces are kept between renders. ``keep_piece`` may do nothing; ``piece`` gives what was kept."""

    def piece(self, key: str) -> bytes | None: ...

    def keep_piece(self, key: str, content: bytes) -> None: ...


@dataclass(frozen=True)
class Piecework:
    """How pieces are made: ``n_encoders`` at once (as many as there are cores if None), and where kept."""

    kept: KeptPieces | None = None
    n_encoders: int | None = None

    def encoders(self) -> int:
        if self.n_encoders is not None:
            return max(1, self.n_encoders)
        return min(MOST_ENCODERS, n_cores())


@functools.cache
def processor() -> str:
    """Return which vector instructions there are: with others, an encoder adds up in another order."""
    found = np.show_config(mode="dicts")["SIMD Extensions"]
    return " ".join((*found.get("baseline", ()), *found.get("found", ())))


@dataclass(frozen=True)
class EncoderSettings:
    """Everything but the samples that decides about a piece's bytes."""

    coding: LossyCoding
    joining: Joining
    sample_rate: int
    n_channels: int
    bitrate_kbps: int

    def stated(self) -> str:
        machine = (platform.system(), platform.machine(), processor())
        named = (ffmpeg.build(), *machine, self.coding.encoder)
        options = (*self.coding.options, self.coding.makeup_gain(self.bitrate_kbps))
        return repr(
            (_RECIPE, named, options, self.joining, self.sample_rate, self.n_channels, self.bitrate_kbps)
        )


@dataclass(frozen=True)
class Fed:
    """The samples for one piece: blocks of shape (n, n_channels), of which `skip_frames` only prime it."""

    number: int
    blocks: tuple[Block, ...]
    skip_frames: int
    last: bool


def fed_pieces(blocks: Iterable[Block], joining: Joining) -> Iterator[Fed]:
    """Yield what each piece is fed, in order; the blocks are views of those given, shape (n, n_channels)."""
    unit = joining.frame_samples
    held: deque[tuple[int, Block]] = deque()
    end, number = 0, 0

    def between(first: int, stop: int) -> tuple[Block, ...]:
        cut = (block[max(first - at, 0) : stop - at] for at, block in held if at < stop)
        return tuple(part for part in cut if len(part))

    def fed(last: bool) -> Fed:
        begin = max(number * joining.piece_frames - joining.priming_frames, 0)
        skip = number * joining.piece_frames - begin
        stop = end if last else ((number + 1) * joining.piece_frames + _TAIL_FRAMES) * unit
        return Fed(number, between(begin * unit, stop), skip, last)

    for block in blocks:
        held.append((end, block))
        end += len(block)
        # One sample more than the tail: then this piece is certainly not the last.
        while end > ((number + 1) * joining.piece_frames + _TAIL_FRAMES) * unit:
            yield fed(last=False)
            number += 1
            needed = (number * joining.piece_frames - joining.priming_frames) * unit
            while held[0][0] + len(held[0][1]) <= needed:
                held.popleft()
    # The end may lie in the tail of a piece that is not the last.
    while end > (number + 1) * joining.piece_frames * unit:
        yield replace(fed(last=True), last=False)
        number += 1
    yield fed(last=True)


def joined_pieces(
    blocks: Iterable[Block], settings: EncoderSettings, folder: Path, work: Piecework
) -> Generator[list[bytes], None, None]:
    """Yield the frames of each piece of the track, in order.

    Parameters
    ----------
    blocks : arrays of shape (n, n_channels), float32.

    Raises
    ------
    DeliveryError : an encoder failed.
    """
    n_encoders = work.encoders()
    waiting: deque[Future[list[bytes]]] = deque()
    with ThreadPoolExecutor(n_encoders) as pool:
        try:
            for fed in fed_pieces(blocks, settings.joining):
                waiting.append(pool.submit(_made, fed, settings, folder, work.kept))
                if len(waiting) > n_encoders:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()


def piece_key(fed: Fed, settings: EncoderSettings) -> str:
    """Return the hex SHA-256 of all that decides about a piece's frames. Silence counts by its length."""
    whole = hashlib.sha256(f"{settings.stated()} {fed.skip_frames} {fed.last}".encode())
    silent = 0
    for block in fed.blocks:
        if not block.any():
            silent += len(block)
            continue
        whole.update(b"|silence %d|sound %d|" % (silent, len(block)))
        whole.update(block.data)
        silent = 0
    whole.update(b"|silence %d|" % silent)
    return whole.hexdigest()


def _made(fed: Fed, settings: EncoderSettings, folder: Path, kept: KeptPieces | None) -> list[bytes]:
    key = piece_key(fed, settings) if kept is not None else ""
    found = kept.piece(key) if kept is not None else None
    if found is not None:
        return split_frames(found, settings.joining)
    frames = _encoded(fed, settings, folder)
    if kept is not None:
        kept.keep_piece(key, b"".join(frames))
    return frames


def _encoded(fed: Fed, settings: EncoderSettings, folder: Path) -> list[bytes]:
    joining, coding = settings.joining, settings.coding
    if settings.sample_rate not in joining.cycle_rates:
        joining = replace(joining, cycle_frames=1)
    path = folder / f"piece{fed.number}.{joining.muxer}"
    blocks, gaps = without_long_silence(fed.blocks, joining)
    frames = with_silence(_stream(path, blocks, settings), gaps, joining)
    if frames is None:
        frames = _stream(path, fed.blocks, settings)
    wanted = frames[fed.skip_frames :] if fed.last else frames[fed.skip_frames :][: joining.piece_frames]
    if not fed.last and len(wanted) != joining.piece_frames:
        raise DeliveryError(
            f"the {coding.encoder} encoder made {len(wanted)} frames of {joining.piece_frames}"
        )
    return wanted


def _stream(path: Path, blocks: Iterable[Block], settings: EncoderSettings) -> list[bytes]:
    """Return the frames that an encoder makes of `blocks`; `path` is where it writes them meanwhile."""
    joining = settings.joining
    coding = replace(
        settings.coding, muxer=joining.muxer, options=(*settings.coding.options, *joining.options)
    )
    sound = CountedBlocks(blocks, settings.n_channels)
    write_lossy(path, sound, coding, settings.sample_rate, settings.bitrate_kbps)
    frames = split_frames(path.read_bytes(), joining)
    path.unlink()
    return frames
