"""The clips that were read last, so that each pass over a session need not read and check them again."""

from __future__ import annotations

import threading
from collections import OrderedDict

from cuelane.audio.clip import Samples
from cuelane.render.mix import LoadClip

MOST_BYTES = 32 * 1024 * 1024
"""Of samples kept: three minutes of clips. Chosen: it holds the lines of a class, and little beside a mix."""


def recent(load_clip: LoadClip, most_bytes: int = MOST_BYTES) -> LoadClip:
    """Return `load_clip` so that it keeps what it gave last, up to `most_bytes`; nobody may change that."""
    kept: OrderedDict[str, Samples] = OrderedDict()
    lock = threading.Lock()
    n_bytes = 0

    def load(sha256: str) -> Samples:
        nonlocal n_bytes
        with lock:
            if sha256 in kept:
                kept.move_to_end(sha256)
                return kept[sha256]
        samples = load_clip(sha256)
        with lock:
            if sha256 not in kept and samples.nbytes <= most_bytes:
                kept[sha256] = samples
                n_bytes += samples.nbytes
                while n_bytes > most_bytes:
                    n_bytes -= kept.popitem(last=False)[1].nbytes
        return samples

    return load
