"""What the bytes of a container show without decoding: gapless tags, and a file that ends too early.

Sources: the LAME tag's layout (12-bit delay and padding, 21 bytes into the tag), RIFF chunks, ISO base
media boxes, and RFC 3533 for Ogg's end-of-stream flag.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

_TAIL = 65_536 + 300
_TOP_BOXES = 4_096


def has_gapless_info(path: Path, container: str, codec: str) -> bool:
    """Return whether the file tells its encoder's delay, so that readers can begin on the first sample."""
    if codec == "mp3" and container == "mp3":
        frame = _first_mp3_frame(path)
        return frame is not None and _lame_delay(frame) is not None
    # AAC in ADTS has no field for it.
    return not (codec == "aac" and container == "aac")


def sign_of_damage(path: Path) -> str | None:
    """Return a line that says how the file is cut short, or None if its structure looks whole."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] == b"RIFF":
            return _short_riff(head, size)
        if head[:4] == b"OggS":
            file.seek(max(0, size - _TAIL))
            return _short_ogg(file.read())
        if head[4:8] == b"ftyp":
            return _short_boxes(file, size)
    if head[:3] == b"ID3" or (len(head) > 1 and head[0] == 0xFF and head[1] & 0xE6 == 0xE2):
        return _short_mp3(path, size)
    return None


def _short_boxes(file: BinaryIO, size: int) -> str | None:
    position = 0
    for _ in range(_TOP_BOXES):
        file.seek(position)
        head = file.read(16)
        if len(head) < 8:
            return None
        length, name = struct.unpack(">I4s", head[:8])
        if length == 0:
            return None
        if length == 1 and len(head) == 16:
            length = int.from_bytes(head[8:], "big")
        position += max(length, 8)
        if position > size:
            return f"cut short: {position - size} bytes of its {name.decode('latin-1')} box are missing"
    return None


def _short_riff(head: bytes, size: int) -> str | None:
    if head[:4] != b"RIFF" or len(head) < 12:
        return None
    declared = int.from_bytes(head[4:8], "little") + 8
    # Streamed files declare 0 or the largest number; that is no sign of damage.
    if declared <= 8 or declared >= 0xFFFFFFFF or size >= declared:
        return None
    return f"cut short: {declared - size} of {declared} bytes are missing"


def _short_ogg(tail: bytes) -> str | None:
    last = tail.rfind(b"OggS")
    if last < 0 or last + 27 > len(tail):
        return "cut short: its last Ogg page is missing"
    n_segments = tail[last + 26]
    table = tail[last + 27 : last + 27 + n_segments]
    if len(table) < n_segments or len(tail) < last + 27 + n_segments + sum(table):
        return "cut short: its last Ogg page is incomplete"
    return None if tail[last + 5] & 4 else "cut short: no Ogg page is marked as the last"


def _first_mp3_frame(path: Path) -> bytes | None:
    """Return up to 1,024 bytes from the first MPEG audio frame, past any ID3v2 tags."""
    with path.open("rb") as file:
        position = 0
        while True:
            file.seek(position)
            head = file.read(10)
            if len(head) < 10:
                return None
            if head[:3] != b"ID3":
                break
            length = 0
            for byte in head[6:10]:
                length = length << 7 | (byte & 0x7F)
            position += 10 + length + (10 if head[5] & 0x10 else 0)
        file.seek(position)
        data = file.read(65_536)
    for offset in range(len(data) - 4):
        if data[offset] == 0xFF and data[offset + 1] & 0xE6 == 0xE2:
            return data[offset : offset + 1_024]
    return None


def _xing_offset(frame: bytes) -> int | None:
    mpeg1 = frame[1] & 0x18 == 0x18
    mono = frame[3] & 0xC0 == 0xC0
    offset = 4 + ((17 if mono else 32) if mpeg1 else (9 if mono else 17))
    return offset if frame[offset : offset + 4] in (b"Xing", b"Info") else None


def _lame_delay(frame: bytes) -> int | None:
    """Return the encoder delay in samples of a LAME-style tag, or None if there is none."""
    offset = _xing_offset(frame)
    if offset is None:
        return None
    flags = int.from_bytes(frame[offset + 4 : offset + 8], "big")
    tag = offset + 8 + (4 if flags & 1 else 0) + (4 if flags & 2 else 0)
    tag += (100 if flags & 4 else 0) + (4 if flags & 8 else 0)
    if frame[tag : tag + 4] not in (b"LAME", b"Lavf", b"Lavc"):
        return None
    return int.from_bytes(frame[tag + 21 : tag + 24], "big") >> 12


def _short_mp3(path: Path, size: int) -> str | None:
    frame = _first_mp3_frame(path)
    offset = _xing_offset(frame) if frame else None
    if frame is None or offset is None:
        return None
    flags = int.from_bytes(frame[offset + 4 : offset + 8], "big")
    if not flags & 2:
        return None
    at = offset + 8 + (4 if flags & 1 else 0)
    declared = int.from_bytes(frame[at : at + 4], "big")
    return f"cut short: {declared - size} of {declared} bytes are missing" if declared > size else None
