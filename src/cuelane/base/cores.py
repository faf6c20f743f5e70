"""How many cores there are to work with."""

from __future__ import annotations

import os


def n_cores() -> int:
    """Return how many cores this process may use, 1 or more: fewer than there are where it was given few."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1
