"""Which files beside a plan its text names, and whether they are still what they were."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path, PureWindowsPath
from typing import Any

from cuelane.desk.edits import EditError, data_of

Stamp = tuple[Path, int, int]
"""A file, when it was changed, in ns, and its size in bytes; zeros where there is none."""


def stamps(paths: Iterable[Path]) -> tuple[Stamp, ...]:
    """Return the stamp of each file."""
    return tuple(map(stamp, paths))


def stamp(path: Path) -> Stamp:
    """Return a file's stamp."""
    try:
        about = path.stat()
    except (OSError, ValueError):
        return path, 0, 0
    return path, about.st_mtime_ns, about.st_size


def files_named(plan: Path, text: str) -> list[Path]:
    """Return the plans that a text includes and the recordings of its lines, whether they are there or not.

    Only those in its folder: to look for ``\\\\host\\share\\x`` would, on Windows, call another machine.
    """
    try:
        data = data_of(text)
    except EditError:
        return []
    return [plan.parent / name for name in _names(data) if name and stays_inside(name)]


def voice_named(text: str) -> str:
    """Return the voice that a plan's text names; empty where it names none."""
    try:
        data = data_of(text)
    except EditError:
        return ""
    voice = data.get("voice") if isinstance(data, dict) else None
    return voice if isinstance(voice, str) else ""


def stays_inside(name: str) -> bool:
    """Tell whether a file of this name, beside another, lies in that one's folder or below it."""
    # Windows' rules on every system: they know drives and hosts, and both kinds of slash.
    path = PureWindowsPath(name)
    return not path.anchor and ".." not in path.parts


def _names(data: Any) -> Iterator[str]:
    parts = data.get("session") if isinstance(data, dict) else None
    for part in parts if isinstance(parts, list) else ():
        name = part.get("include") if isinstance(part, dict) else None
        if isinstance(name, str):
            yield name
    waiting, seen = [data], {id(data)}
    while waiting:
        here = waiting.pop()
        name = here.get("clip") if isinstance(here, dict) else None
        if isinstance(name, str):
            yield name
        for inner in here.values() if isinstance(here, dict) else here if isinstance(here, list) else ():
            # An alias of what it stands in would go round in circles.
            if isinstance(inner, dict | list) and id(inner) not in seen:
                seen.add(id(inner))
                waiting.append(inner)
