"""Encoded pieces of tracks in the clip store: sealed, read whole or not at all.

::

    FOLDER/pieces/ab/abcd….piece   32 bytes SHA-256 of the key and the frames, then the frames

A piece can be made again from clips in a second, so pieces have a quarter of the store at most, and go first.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from cuelane.audio.store_files import remove, touch
from cuelane.base.ordinary import OddFileError, read_ordinary

SHARE = 0.25
"""Of the store's size, for all pieces."""

MAX_PIECE_BYTES = 16 * 1024 * 1024
_SEAL_BYTES = 32


def piece_path(store: Path, key: str) -> Path:
    return store / "pieces" / key[:2] / f"{key}.piece"


def sealed_piece(key: str, content: bytes) -> bytes:
    return _seal(key, content) + content


def read_piece(store: Path, key: str) -> bytes | None:
    """Return the piece kept under `key`, or None if it is absent or damaged; what is damaged is removed."""
    path = piece_path(store, key)
    try:
        whole = read_ordinary(path, MAX_PIECE_BYTES + _SEAL_BYTES, follow=False)
    except FileNotFoundError:
        return None
    except OddFileError:
        whole = b""
    except OSError:
        # Such as too many open files: it says nothing about the piece.
        return None
    seal, content = whole[:_SEAL_BYTES], whole[_SEAL_BYTES:]
    if seal != _seal(key, content):
        remove(path, store)
        return None
    touch(path)
    return content


def _seal(key: str, content: bytes) -> bytes:
    return hashlib.sha256(key.encode("ascii") + content).digest()
