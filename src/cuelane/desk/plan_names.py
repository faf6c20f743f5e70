"""The name that a plan's file gets, made from its title."""

from __future__ import annotations

import unicodedata
from pathlib import Path

from cuelane.desk.deleted import OWN_FOLDERS
from cuelane.desk.device_names import is_device
from cuelane.desk.folder import Folder


def free_stem(folder: Folder, title: str, own: str = "") -> str:
    """Return a file's name without its ending for a plan of this title, which nothing in the folder has.

    `own` is such a name that the plan has already: it may keep that one.
    """
    stem = "-".join(_words_of(title.lower()))[:60].strip("-") or "plan"
    taken = folder.taken() | OWN_FOLDERS
    stems = (f"{stem}-{n}" if n > 1 else stem for n in range(1, 10_000))
    return next(
        free
        for free in stems
        if free.lower() == own.lower() or (free.lower() not in taken and not is_device(free))
    )


def new_plan_path(folder: Folder, title: str) -> Path:
    """Return where a new plan of this title is to lie."""
    return folder.path / f"{free_stem(folder, title)}.yaml"


def _words_of(title: str) -> list[str]:
    """Return the words of a title, of letters and figures alone."""
    found = ""
    # A letter may come as two signs, the accent by itself; some, such as vowels of Hindi, always do.
    for sign in unicodedata.normalize("NFC", title):
        goes_on = unicodedata.category(sign) in ("Mn", "Mc") and not found.endswith(" ") and found
        found += sign if sign.isalnum() or goes_on else " "
    return found.split()
