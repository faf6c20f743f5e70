"""Plans and voices for tests: a plan from a dict, and a voice that takes a known time for each text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan
from cuelane.session.arrange import Arranged, Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.model import Session

RATE = 48_000


def session_of(plan: dict[str, Any]) -> Session:
    """Return the session of a plan given as a dict; title and cautions may be left out."""
    whole = {"title": "Test", "cautions": "none"} | plan
    return expand(LoadedPlan(Plan.model_validate(whole), Path("test.yaml"), ()))


def steady_voice(candidate: Candidate) -> Sounding:
    """Speak at 0.3 s a word and 0.1 s a line, about what a person coaching does."""
    return Sounding(int(RATE * (0.1 + 0.3 * len(candidate.text.split()))))


def arranged(plan: dict[str, Any], seconds: dict[str, float] | None = None) -> Arranged:
    """Return a plan arranged with the steady voice, or with `seconds` for the texts it names."""

    def voice(candidate: Candidate) -> Sounding:
        if seconds and candidate.text in seconds:
            return Sounding(round(seconds[candidate.text] * RATE))
        return steady_voice(candidate)

    return arrange(session_of(plan), voice, RATE)


def exercise(name: str, **changes: Any) -> dict[str, Any]:
    """Return an exercise with a line for every role, each text naming the exercise and itself."""
    lines = {
        "preview": f"Here comes {name}.",
        "setup": f"Set up for {name} with care.",
        "remind": [f"Back into {name}.", f"Once more {name}."],
        "form": [f"First point for {name}.", f"Second point for {name}.", f"Third point for {name}."],
        "easier": f"Less of {name}.",
        "harder": f"More of {name}.",
        "change": f"After {name}, let go.",
    }
    return lines | changes
