"""Freed memory is kept for the next array.

Glibc gives a freed array of a megabyte back to the system at once, and gets the next one page by page, each
zeroed first: streaming block after block, that took as long as a third of the work on them. Freeing one block
of just under 32 MiB raises what it gives back at once to that size (mallopt(3), M_MMAP_THRESHOLD: the bound
is dynamic, and 32 MiB the most). The block is never written to, so it costs nothing. Other systems' libraries
have no such bound and are left as they are.
"""

from __future__ import annotations

import numpy as np

_N_BYTES = (32 << 20) - (1 << 16)


def keep_freed_memory() -> None:
    np.empty(_N_BYTES, dtype=np.uint8)
