"""The first frame of an MP3 file, which holds no sound but tells players its length, places and delay.

Laid out as ffmpeg writes it, byte for byte. Source: the Info tag of Xing and LAME as described in Gabriel
Bouvigne's "mp3 info tag specification", rev. 1 (read in a secondary source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from cuelane.media.frames import mp3_frame_bytes

DELAY_SAMPLES = 576 + 529
"""What LAME puts before the sound (576), and a decoder's own (529), which players add by themselves."""

FRAME_SAMPLES = 1_152
_DECODER_SAMPLES = 529
_TOC = 100
_BAGS = 400
_TAG_BYTES = 156


def _crc_table() -> np.ndarray:
    """Return the table of CRC-16 with the polynomial 0x8005, bits reflected; shape (256,), uint16."""
    table = np.arange(256, dtype=np.uint32)
    for _ in range(8):
        table = np.where(table & 1, table >> 1 ^ 0xA001, table >> 1)
    return table.astype(np.uint16)


_TABLE = _crc_table()


def crc16(data: bytes, before: int = 0) -> int:
    """Return CRC-16 (0x8005, reflected) of `data`, with that of what came before it.

    The bytes are laid out in rows of equal length, whose sums are made side by side and then put together:
    a loop in Python over each byte of a track would take half a minute.
    """
    head = bytearray(data)
    for at, byte in enumerate(before.to_bytes(2, "little")[: len(head)]):
        head[at] ^= byte
    if len(head) < 2:
        # What came before reaches past so short a piece.
        return int(_TABLE[head[0]] ^ before >> 8) if head else before
    n_columns = max(1, math.isqrt(len(head)))
    rows = np.frombuffer(bytes(-len(head) % n_columns) + bytes(head), np.uint8).reshape(-1, n_columns)
    sums = np.zeros(len(rows), np.uint16)
    for column in rows.T:
        sums = _TABLE[(sums ^ column) & 0xFF] ^ sums >> 8
    # The sum of a row, moved on by the length of a row: linear in its bits.
    moved = (1 << np.arange(16)).astype(np.uint16)
    for _ in range(n_columns):
        moved = _TABLE[moved & 0xFF] ^ moved >> 8
    basis, total = [int(value) for value in moved], 0
    for row in sums.tolist():
        on = 0
        for bit, value in enumerate(basis):
            if total >> bit & 1:
                on ^= value
        total = on ^ row
    return total


class InfoFrame:
    """Counts the frames that follow it. `first` is one of them, at a constant bitrate."""

    def __init__(self, first: bytes) -> None:
        mono = first[3] >> 6 == 3
        self._tag_at = 4 + (17 if mono else 32)
        # The bitrate of the others, or the next whose frame has room for all of the tag; padding off.
        for index in range(first[2] >> 4, 15):
            header = bytes([first[0], first[1] | 1, index << 4 | first[2] & 0x0C, 0xC0 if mono else 0])
            self.n_bytes = mp3_frame_bytes(header, 0)
            if self.n_bytes >= self._tag_at + _TAG_BYTES:
                break
        self._header = header
        self._n_frames, self._n_bytes, self._crc = 0, self.n_bytes, 0
        self._bags: list[int] = []
        self._want, self._seen = 1, 0

    def add(self, frames: Sequence[bytes]) -> None:
        for frame in frames:
            self._n_frames += 1
            self._seen += 1
            self._n_bytes += len(frame)
            if self._seen == self._want:
                self._seen = 0
                self._bags.append(self._n_bytes)
                if len(self._bags) == _BAGS:
                    self._bags = self._bags[1::2]
                    self._want *= 2
        self._crc = crc16(b"".join(frames), self._crc)

    def written(self, n_samples: int) -> bytes:
        """Return the frame for sound of `n_samples`; the rest of the last frame is padding."""
        toc = [0]
        for i in range(1, _TOC):
            place = self._bags[i * len(self._bags) // _TOC] if self._bags else 0
            toc.append(min(255, 256 * place // self._n_bytes))
        padding = self._n_frames * FRAME_SAMPLES - n_samples - DELAY_SAMPLES + _DECODER_SAMPLES
        delay = DELAY_SAMPLES - _DECODER_SAMPLES
        tag = b"Info" + (15).to_bytes(4, "big")
        tag += self._n_frames.to_bytes(4, "big") + self._n_bytes.to_bytes(4, "big") + bytes(toc)
        tag += bytes(4) + b"Lavf lame" + bytes(12)
        tag += (delay << 12 | padding).to_bytes(3, "big") + bytes(4)
        tag += self._n_bytes.to_bytes(4, "big") + self._crc.to_bytes(2, "big")
        frame = self._header + bytes(self._tag_at - 4) + tag
        # Over 190 bytes also where the tag, in mono, ends before them.
        frame += crc16(frame.ljust(190, b"\0")[:190]).to_bytes(2, "big")
        return frame + bytes(self.n_bytes - len(frame))
