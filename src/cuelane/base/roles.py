"""What a cue's words are for: each role, and what it weighs against the others."""

from __future__ import annotations

from typing import Literal

Role = Literal[
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "caution",
    "swap", "heavier", "time", "change", "praise", "side", "say",
]  # fmt: skip


ROLES: dict[Role, int] = {
    "announce": 90,
    "side": 85,
    "caution": 80,
    "change": 78,
    "setup": 75,
    "preview": 70,
    "heavier": 60,
    "remind": 50,
    "form": 40,
    "time": 35,
    "swap": 32,
    "easier": 30,
    "harder": 26,
    "say": 20,
    "praise": 10,
}
"""Each role's weight, by which its lines win the time there is; its words are in the language's page pack."""
