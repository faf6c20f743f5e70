"""The levels of all sound that is made here: of a clip and a pip, and of a finished file.

Clips and pips are equally loud, so that one gain brings a whole session to its target.
"""

from __future__ import annotations

REFERENCE_LUFS = -20.0
"""Loudness (ITU-R BS.1770) of every clip, and as loud as which every pip is heard. Chosen: low enough that a
clip's peaks need little limiting."""

TARGET_LUFS = -16.0
"""Integrated loudness of a finished file: usual for speech on phones (common practice, no source)."""

CEILING_DBTP = -1.0
"""The most that a finished file's true peak may reach once decoded: EBU R 128, at most -1 dBTP."""
