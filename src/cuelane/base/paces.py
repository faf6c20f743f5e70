"""How fast a voice may be asked to speak, as a multiple of its own pace."""

from __future__ import annotations

# Chosen: beyond them a line is no longer easy to follow, or drags.
MIN_PACE, MAX_PACE = 0.8, 1.15
FASTER = (1.05, 1.10, MAX_PACE)
"""What is tried in turn where words do not fit at the usual pace."""
