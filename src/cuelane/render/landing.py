"""The level at which a session leaves: its loudness reached, its peaks under the ceiling, in steps of 0.1 dB.

In steps, because one changed line changes the loudness of a session by a hundredth of a decibel or so. With
a gain as fine as that, every sample of the track would change with it, and no encoded piece could be used
again. A loudness meter shows tenths (EBU Tech 3341, value from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

from cuelane.base.levels import CEILING_DBTP
from cuelane.base.schedule import Schedule
from cuelane.render import mix
from cuelane.render.mix import LoadClip
from cuelane.render.recent_clips import recent
from cuelane.speech.finish import hold_peaks

# A session of few, short words measures below its clips' loudness and needs more gain than their peaks allow.
# The peaks may be limited further by so much, which is not heard; where more were needed, the session stays
# quieter.
MOST_HOLD_DB = 3.0
_LANDINGS = 4

_STEPS_IN_DB = 10


def landed(
    schedule: Schedule, load_clip: LoadClip, target_lufs: float, headroom_db: float
) -> tuple[mix.Levels, LoadClip]:
    """Return the levels that bring a session to its loudness, and its clips with peaks that allow it.

    The loudness is at most 0.05 dB beside `target_lufs`, and below it where peaks do not allow more.
    """
    levels = mix.plan_levels(
        schedule, load_clip, target_lufs=target_lufs, ceiling_dbtp=CEILING_DBTP, headroom_db=headroom_db
    )
    clips = load_clip
    uncut_db = levels.true_peak_dbtp - levels.gain_db
    for _ in range(_LANDINGS):
        if not levels.limited_by_peak:
            break
        # Limiting peaks costs a little loudness, which then needs a little more gain: hence the rounds.
        wanted_db = target_lufs - (levels.integrated_lufs - levels.gain_db)
        cap_db = max(CEILING_DBTP - headroom_db - wanted_db - 0.05, uncut_db - MOST_HOLD_DB)
        clips = _held(load_clip, _step_below(cap_db))
        levels = mix.plan_levels(
            schedule, clips, target_lufs=target_lufs, ceiling_dbtp=CEILING_DBTP, headroom_db=headroom_db
        )
    levels = stepped(levels, CEILING_DBTP - headroom_db)
    # By less than a meter shows, it is what was asked for.
    is_short = levels.integrated_lufs < target_lufs - 0.5 / _STEPS_IN_DB
    return replace(levels, limited_by_peak=levels.limited_by_peak and is_short), clips


def stepped(levels: mix.Levels, most_dbtp: float) -> mix.Levels:
    """Return `levels` with the nearest gain of whole tenths under which peaks keep to `most_dbtp`."""
    gain_db = round(levels.gain_db * _STEPS_IN_DB) / _STEPS_IN_DB
    if levels.true_peak_dbtp + gain_db - levels.gain_db > most_dbtp:
        gain_db = _step_below(levels.gain_db)
    more_db = gain_db - levels.gain_db
    return replace(
        levels,
        gain_db=gain_db,
        integrated_lufs=levels.integrated_lufs + more_db,
        true_peak_dbtp=levels.true_peak_dbtp + more_db,
    )


def _step_below(level_db: float) -> float:
    return math.floor(level_db * _STEPS_IN_DB) / _STEPS_IN_DB


def _held(load_clip: LoadClip, cap_dbtp: float) -> LoadClip:
    return recent(lambda sha256: hold_peaks(load_clip(sha256), cap_dbtp))
