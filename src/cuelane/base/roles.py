"""What a cue's words are for: each role, what pages call it, and what it weighs against the others."""

from __future__ import annotations

from typing import Literal, NamedTuple

Role = Literal[
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "caution",
    "swap", "heavier", "time", "change", "praise", "side", "say",
]  # fmt: skip


class RoleEntry(NamedTuple):
    """A role: the word for it on pages, and the weight of its lines, by which they win the time there is."""

    word: str
    weight: int


ROLES: dict[Role, RoleEntry] = {
    "announce": RoleEntry("Name", 90),
    "side": RoleEntry("Side", 85),
    "caution": RoleEntry("Caution", 80),
    "change": RoleEntry("Change", 78),
    "setup": RoleEntry("Set-up", 75),
    "preview": RoleEntry("Preview", 70),
    "heavier": RoleEntry("Heavier", 60),
    "remind": RoleEntry("Reminder", 50),
    "form": RoleEntry("Form", 40),
    "time": RoleEntry("Time", 35),
    "swap": RoleEntry("Instead", 32),
    "easier": RoleEntry("Easier", 30),
    "harder": RoleEntry("Harder", 26),
    "say": RoleEntry("Words", 20),
    "praise": RoleEntry("Praise", 10),
}
