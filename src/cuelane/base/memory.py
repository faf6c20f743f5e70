"""Makes the process keep freed memory for its next array.

Glibc returns a freed array of a megabyte to the system at once, and gets the memory of the next one page by
page, each zeroed first. With a stream of blocks that took up to two thirds as long as the work on the blocks.
Only arrays above a threshold are returned so, and freeing one block of just under 32 MiB raises the threshold
to that size (mallopt(3), M_MMAP_THRESHOLD: it adapts so unless MALLOC_ variables fix it, to 32 MiB at most on
64 bits). The block is never written to, so it costs nothing. The C libraries of other systems have no such
threshold, and there the call changes nothing.
"""

from __future__ import annotations

import numpy as np

_N_BYTES = (32 << 20) - (1 << 16)


def keep_freed_memory() -> None:
    """Raise the threshold for this process, where streams are read or metered. Later calls change nothing."""
    np.empty(_N_BYTES, dtype=np.uint8)
