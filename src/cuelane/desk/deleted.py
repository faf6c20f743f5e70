"""What was deleted at the desk: it lies in a folder of the plans' own folder until somebody wants it back.

::

    deleted/2026-11-27 14.12.05 quayside-legs/    quayside-legs.yaml, and what had been made of it

Nothing else knows of it: whoever takes a folder out of there by hand has taken it for good.
"""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cuelane.base.errors import UsageError
from cuelane.base.ordinary import read_ordinary
from cuelane.desk.folder import OWN_PLAN, Folder, is_text
from cuelane.desk.words import Said
from cuelane.desk.written_title import written_title
from cuelane.plan.source_text import MAX_FILE_BYTES
from cuelane.web.page_parts import plain

DELETED = "deleted"
OWN_FOLDERS = frozenset({DELETED, "voices"})
"""Folders of the plans' folder that have a meaning: nothing that a person brings or makes is called so."""
_PLACE = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d)\.(\d\d)\.\d\d (.+)", re.DOTALL)
_MOST_SHOWN = 200
"""Chosen: the newest; older ones are in the folder still."""
_MOST_NAME_BYTES = 200
"""With the date before it and a number behind, within the 255 that file systems take."""


@dataclass(frozen=True)
class PutAway:
    """One thing that was deleted.

    ``key`` is the name of its folder, ``when`` a date and a time as ``2026-11-27 14:12``; ``is_plan`` is
    False for what is left of a plan that is somewhere else, or was never there.
    """

    key: str
    folder: Path
    title: str
    when: str
    is_plan: bool


def put_away(folder: Folder) -> list[PutAway]:
    """Return what can be brought back, the newest first; nothing of what lies there otherwise."""
    home = folder.folder(DELETED)
    try:
        places = sorted(home.iterdir(), reverse=True) if home is not None else []
    except OSError:
        return []
    found = (_put_away(place) for place in places)
    return [one for one in found if one is not None][:_MOST_SHOWN]


def put_away_as(folder: Folder, key: str) -> PutAway:
    """Return the one with this key. Raises UsageError where there is none."""
    for one in put_away(folder):
        if one.key == key:
            return one
    raise UsageError(Said("wrong.not_deleted"))


def contents_of(one: PutAway) -> list[Path]:
    """Return the files and folders of what was deleted, its plan last; no links, nothing hidden."""
    found = [path for path in one.folder.iterdir() if not path.name.startswith(".") and not path.is_symlink()]
    return sorted(found, key=lambda path: (path.suffix in (".yaml", ".yml"), path.name))


def new_place(folder: Folder, name: str) -> Path:
    """Make the folder for something called `name`, and return it. Raises OSError or UsageError."""
    home = folder.path / DELETED
    with contextlib.suppress(FileExistsError):
        home.mkdir()
    if folder.folder(DELETED) is None:
        raise UsageError(Said("wrong.no_place", name=DELETED))
    stamp = datetime.now().strftime("%Y-%m-%d %H.%M.%S")
    name = name.encode("utf-8")[:_MOST_NAME_BYTES].decode("utf-8", "ignore")
    for n in range(1, 10_000):
        place = home / (f"{stamp} {name}-{n}" if n > 1 else f"{stamp} {name}")
        try:
            place.mkdir()
        except FileExistsError:
            continue
        return place
    raise UsageError(Said("wrong.no_place", name=DELETED))


def _put_away(place: Path) -> PutAway | None:
    matched = _PLACE.fullmatch(place.name)
    if matched is None or not is_text(place.name) or place.is_symlink() or not place.is_dir():
        return None
    day, hour, minute, name = matched.groups()
    one = PutAway(place.name, place, plain(name), f"{day} {hour}:{minute}", False)
    try:
        held = contents_of(one)
    except OSError:
        return None
    if not held:
        return None
    plan = next((path for path in held if path.suffix in (".yaml", ".yml")), held[0] / OWN_PLAN)
    try:
        text = read_ordinary(plan, MAX_FILE_BYTES).decode("utf-8", "replace")
    except OSError:
        return one if not held[0].is_dir() else PutAway(one.key, place, one.title, one.when, True)
    return PutAway(one.key, place, plain(written_title(text)) or one.title, one.when, True)
