"""What is heard where a clip of a recorded class begins and ends: a click, and the room's tone.

Between clips a track is silent. A clip begins and ends in its recording's room tone, faded in and out; a step
in its wave there is heard as a click, and tones of two clips that differ as a change of level. Both are given
against the clip's loudest 5 ms, as the rule for where speech is audible is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import AUDIBLE_RANGE_DB
from cuelane.recording.decode import CLIP_RATE

# Chosen: about a period of a low voice, the shortest that is loud or soft by itself.
_LOUDEST_S = 0.005
# Derived: the air before a clip's onset is 80 ms, and its first half is faded in (recording/cutting.py).
_END_S, _TONE_FROM_S, _TONE_TO_S = 0.005, 0.045, 0.070
# Chosen: stands for no sound at all; a step of 24 bits is -144 dB.
_SILENT_DB = -150.0


@dataclass(frozen=True)
class PieceEnds:
    """The largest step from sample to sample within 5 ms of a clip's ends, and its room tone before the first
    word, both in dB against the RMS of its loudest 5 ms.
    """

    step_db: float
    tone_db: float

    @property
    def clicks(self) -> bool:
        """Whether the step is as loud as what counts as audible speech."""
        return self.step_db > -AUDIBLE_RANGE_DB


QUIET = PieceEnds(_SILENT_DB, _SILENT_DB)


def piece_ends(clip: npt.NDArray[np.float32]) -> PieceEnds:
    """Return how a clip begins and ends; shape (n,), 48 kHz, full scale 1.0, at least 0.1 s."""
    n_loud = round(_LOUDEST_S * CLIP_RATE)
    whole = clip[: len(clip) // n_loud * n_loud].reshape(-1, n_loud).astype(np.float64)
    loudest = float(np.sqrt((whole**2).mean(axis=1)).max(initial=0.0)) or 1.0
    n_end = round(_END_S * CLIP_RATE)
    # On both sides lies silence.
    ends = np.concatenate([[0.0], clip[:n_end], [np.nan], clip[-n_end:], [0.0]])
    step = float(np.nanmax(np.abs(np.diff(ends))))
    tone = clip[round(_TONE_FROM_S * CLIP_RATE) : round(_TONE_TO_S * CLIP_RATE)].astype(np.float64)
    return PieceEnds(_db(step / loudest), _db(float(np.sqrt((tone**2).mean())) / loudest))


def _db(ratio: float) -> float:
    return round(20 * np.log10(ratio), 1) if ratio > 0 else _SILENT_DB
