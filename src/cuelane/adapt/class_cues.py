"""A kept cue of a recorded class, with its clip."""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.roles import Role


@dataclass(frozen=True)
class CutCue:
    """A kept cue with its clip: when it is audible in the recording, in ms, and the clip's name.

    ``judged`` is what it is for, with words for what a plan has no role for (`words.role_judge.NAMES`);
    ``is_sure`` says whether that is no guess.
    """

    onset_ms: int
    end_ms: int
    text: str
    role: Role
    interval: int
    clip: str
    judged: str = ""
    is_sure: bool = True

    @property
    def purpose(self) -> str:
        """What it is for."""
        return self.judged or self.role
