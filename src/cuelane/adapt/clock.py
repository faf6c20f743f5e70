"""A time in a recording as a person reads it."""

from __future__ import annotations


def clock(seconds: float) -> str:
    """Return ``M:SS.T``."""
    minutes, tenths = divmod(round(seconds * 10), 600)
    return f"{minutes}:{tenths // 10:02d}.{tenths % 10}"
