"""Words of pieces of sound that were heard before, kept in the user's cache folder.

So a class whose recognition was interrupted goes on where it was. A piece is known by its samples and by what
heard it; a file is whole or not there, and one that is damaged is heard again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from cuelane.audio.cache_folder import default_folder
from cuelane.audio.store import recipe_key
from cuelane.audio.store_files import canonical, touch, write_whole
from cuelane.base.ordinary import read_ordinary
from cuelane.recording.recogniser import Audio, HeardWord
from cuelane.recording.word_engines import WordEngine, WordListener

FOLDER = "heard"
# Chosen: some ten classes of an hour; a piece takes about 2 kB.
MAX_PIECES = 6_000
_MAX_BYTES = 1 << 20
# Chosen: when there are too many, so many stay, those used last.
_SHRINK_TO = 0.8
_TOKEN = "heard"


class HeardPieces:
    """A listener that hears no piece of sound twice.

    Parameters
    ----------
    listener : hears what was not heard before.
    engine : whose version and language belong to what is kept.
    store : the folder of everything kept; the user's cache folder by default.
    """

    def __init__(self, listener: WordListener, engine: WordEngine, store: Path | None = None) -> None:
        self._listener, self._engine = listener, engine
        self._store = store or default_folder()
        self.longest_s, self.join_s = listener.longest_s, listener.join_s
        self._forget_oldest()

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words in `samples`, shape (n,), 16 kHz mono, full scale 1.0, in order of time."""
        key = recipe_key(
            {
                "engine": self._engine.version,
                "language": self._engine.language,
                "samples": hashlib.sha256(np.ascontiguousarray(samples, np.float32).tobytes()).hexdigest(),
            }
        )
        path = self._store / FOLDER / key[:2] / f"{key}.json"
        known = _read(path, key)
        if known is not None:
            touch(path)
            return known
        words = self._listener.hear(samples)
        facts = {"key": key, "words": [asdict(word) for word in words]}
        sealed = {**facts, "seal": _seal(facts)}
        # A full or locked disk costs only that it is heard again.
        with contextlib.suppress(OSError):
            write_whole(path, canonical(sealed), self._store, _TOKEN)
        return words

    def _forget_oldest(self) -> None:
        with contextlib.suppress(OSError):
            kept = list((self._store / FOLDER).glob("??/*.json"))
            if len(kept) > MAX_PIECES:
                kept.sort(key=lambda path: path.stat().st_mtime_ns)
                for path in kept[: len(kept) - round(_SHRINK_TO * MAX_PIECES)]:
                    path.unlink(missing_ok=True)


def _read(path: Path, key: str) -> list[HeardWord] | None:
    """Return the words that `path` holds for `key`, None if there are none or it was damaged."""
    try:
        facts: dict[str, Any] = json.loads(read_ordinary(path, _MAX_BYTES, follow=False))
        if facts.pop("seal") != _seal(facts) or facts["key"] != key:
            return None
        return [HeardWord(**word) for word in facts["words"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _seal(facts: Mapping[str, Any]) -> str:
    return hashlib.sha256(canonical(facts)).hexdigest()
