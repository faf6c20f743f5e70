"""Freed memory is kept for the next array.

Glibc gives a freed array of a megabyte back to the system at once, and gets the next one page by page, each
zeroed first: streaming block after block, that took up to two thirds as long as the work on them. Freeing one
block of just under 32 MiB raises what it gives back at once to that size (mallopt(3), M_MMAP_THRESHOLD: the
bound is dynamic unless MALLOC_ variables fix it, and 32 MiB the most on 64 bits). The block is never written
to, so it costs nothing. Other systems' libraries have no such bound and are left as they are.
"""

from __future__ import annotations

import numpy as np

_N_BYTES = (32 << 20) - (1 << 16)


def keep_freed_memory() -> None:
    """Raise the bound for this process; called where streams are read or metered. More calls do no more."""
    np.empty(_N_BYTES, dtype=np.uint8)
