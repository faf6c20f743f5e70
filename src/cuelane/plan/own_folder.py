"""Files that a plan names: only ordinary ones inside its own folder, however the name is written."""

from __future__ import annotations

import unicodedata
from pathlib import Path, PureWindowsPath

from cuelane.plan.phrases import nearest, quoted


def file_inside(root: Path, folder: Path, name: str) -> Path | tuple[str, str]:
    """Return the file `name` names, seen from `folder`, or why it cannot be used, with a hint.

    The file must lie inside `root`, links followed.
    """
    windows = PureWindowsPath(name)
    if name.startswith("/") or windows.is_absolute() or windows.drive or windows.root:
        return f"'{name}' is not a relative path", "name a file beside this plan, such as warm-up.yaml"
    if "\\" in name:
        return f"'{name}' holds a '\\'", "write '/' between folders"
    path = folder / name
    try:
        target = path.resolve()
        inside = target.is_relative_to(root.resolve())
        is_file, exists = target.is_file(), target.exists()
    except (OSError, RuntimeError, ValueError):
        return f"'{name}' cannot be reached", "links may go in a circle"
    if not inside:
        return f"'{name}' lies outside the plan's folder", "a plan may use only files in its own folder"
    if not exists:
        return f"there is no file '{name}'", _alike(path)
    if not is_file:
        return f"'{name}' is not an ordinary file", ""
    return path


def _names(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())[:500]
    except OSError:
        return []


def _alike(path: Path) -> str:
    """Return a question with the file most likely meant; stems are compared, since all plans end in .yaml."""
    names = _names(path.parent)
    if any(unicodedata.normalize("NFC", name) == path.name for name in names):
        # A plan's text is composed (NFC); names from a Mac are often not, and elsewhere they are two names.
        return "the file there spells its accents in another encoding (NFD); rename it to this very name"
    by_stem = {Path(name).stem: name for name in names if Path(name).suffix == path.suffix}
    found = nearest(path.stem, by_stem)
    return f"did you mean {quoted(by_stem[found])}?" if found else ""
