"""Which other files of a folder name a plan: plans that put it in, series that list it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from cuelane.base.errors import CuelaneError
from cuelane.base.files import same_file
from cuelane.desk.deleted import contents_of, put_away
from cuelane.desk.edits import EditError, Place, data_of
from cuelane.desk.folder import Folder
from cuelane.desk.named_files import files_named
from cuelane.desk.written_title import written_title
from cuelane.plan.source_text import read_lines


@dataclass(frozen=True)
class NamedBy:
    """A file that names a plan, at these places of its text.

    ``name`` is what the desk calls it, empty for one that lies in a folder below; ``title`` is its own.
    """

    path: Path
    name: str
    title: str
    places: tuple[tuple[Place, str], ...]


def naming(folder: Folder, target: Path) -> list[NamedBy]:
    """Return the files of a folder, and of those in it, that name the plan at `target`, with the names."""
    found = (_naming(one, one.path.parent, target) for one in _texts(folder, target))
    return [one for one in found if one.places]


def naming_once_back(folder: Folder, target: Path) -> list[NamedBy]:
    """Return the plans among what was deleted that name the plan at `target` once they are back."""
    held = [path for one in put_away(folder) for path in contents_of(one) if path.is_file()]
    found = (_naming(one, folder.path, target) for one in _read(((path, "") for path in held), target))
    return [one for one in found if one.places]


def _naming(one: _Text, seen_from: Path, target: Path) -> NamedBy:
    places = tuple(
        (place, written) for place, written in _names(one.text) if same_file(seen_from / written, target)
    )
    return NamedBy(one.path, one.name, written_title(one.text) or one.path.name, places)


def using(folder: Folder, home: Path) -> list[str]:
    """Return the titles of the plans outside the folder `home` that use a file in it, such as a recording."""
    found = []
    for one in _texts(folder, home):
        used = (Path(os.path.normpath(path)) for path in files_named(one.path, one.text))
        if not one.path.is_relative_to(home) and any(path.is_relative_to(home) for path in used):
            found.append(written_title(one.text) or one.path.name)
    return found


class _Text(NamedTuple):
    """A file, what the desk calls it, and what stands in it."""

    path: Path
    name: str
    text: str


def _texts(folder: Folder, target: Path) -> Iterator[_Text]:
    """Yield each file of a folder, and of those in it, that may name `target`."""
    plans = [(folder.path / name, name) for name in folder.files()]
    below = [(path, "") for home in folder.folders() for path in sorted(home.glob("*.y*ml"))]
    yield from _read([*plans, *below], target)


def _read(files: Iterable[tuple[Path, str]], target: Path) -> Iterator[_Text]:
    """Yield those of `files`, paths and names, that may name `target`, but for itself."""
    for path, name in files:
        if path == target or path.suffix not in (".yaml", ".yml"):
            continue
        try:
            text = read_lines(path, path.name).text
        except CuelaneError:
            continue
        # A season has a thousand plans, and to read one as YAML takes a thousand times as long as to look.
        if not target.name.isascii() or target.name.lower() in text.lower():
            yield _Text(path, name, text)


def _names(text: str) -> Iterator[tuple[Place, str]]:
    """Yield the places of a text at which plans are named, with the names."""
    try:
        data = data_of(text)
    except EditError:
        return
    if not isinstance(data, dict):
        return
    session = data.get("session")
    for n, part in enumerate(session if isinstance(session, list) else ()):
        name = part.get("include") if isinstance(part, dict) else None
        yield from _named(("session", n, "include"), name)
    plans = data.get("plans")
    yield from _named(("plans",), plans)
    for n, name in enumerate(plans if isinstance(plans, list) else ()):
        yield from _named(("plans", n), name)


def _named(place: Place, name: Any) -> Iterator[tuple[Place, str]]:
    if isinstance(name, str) and name and not Path(name).is_absolute() and "\\" not in name:
        yield place, name
