"""The kept cues of a recorded class with their clips, and what is heard at the clips' ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuelane.adapt.piece_ends import QUIET, PieceEnds
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.audio.clip import AUDIBLE_RANGE_DB
from cuelane.base.roles import Role

CLICKS = "its clip may begin or end with a click; listen to it"


@dataclass(frozen=True)
class CutCue:
    """A kept cue with its clip: when it is audible in the recording, in ms, and the clip's name.

    ``judged`` is what it is for, with words for what a plan has no role for (`words.role_judge.NAMES`);
    ``is_sure`` says whether that is no guess. ``ends`` is what is heard where its clip begins and ends.
    """

    onset_ms: int
    end_ms: int
    text: str
    role: Role
    interval: int
    clip: str
    judged: str = ""
    is_sure: bool = True
    ends: PieceEnds = QUIET

    @property
    def purpose(self) -> str:
        """What it is for."""
        return self.judged or self.role


def uncut(cue: FoundCue) -> CutCue:
    """Return `cue` as one that has no clip: it is not kept, but what it names is done all the same."""
    first, last = (cue.words[at] for at in (0, -1))
    onset_ms, end_ms = round(first.onset_s * 1000), round(last.end_s * 1000)
    return CutCue(onset_ms, end_ms, cue.text, cue.role, cue.interval, "", cue.judged, cue.is_sure)


def clicking(cues: Sequence[CutCue]) -> list[CutCue]:
    """Return the cues whose clips may be heard to click at an end."""
    return [cue for cue in cues if cue.ends.clicks]


def ends_told(cues: Sequence[CutCue]) -> str:
    """Return what the clips' ends are like, as a sentence for the report; at least one is needed."""
    steps, tones = [cue.ends.step_db for cue in cues], [cue.ends.tone_db for cue in cues]
    return (
        f"Clips: the largest step of the wave at an end is {max(steps):.0f} dB against the clip's loudest "
        f"moment (above {-AUDIBLE_RANGE_DB:.0f} dB it may be heard as a click); the room's tone before the "
        f"words is at {min(tones):.0f} to {max(tones):.0f} dB."
    )
