"""The folder of a desk: its plans by name, each with one document for all tabs, and nothing outside it."""

from __future__ import annotations

import threading
from pathlib import Path

from cuelane.base.errors import UsageError
from cuelane.base.ordinary import read_ordinary
from cuelane.base.schedule import LISTING
from cuelane.desk.document import Document
from cuelane.desk.words import Said
from cuelane.plan.file_kinds import is_series
from cuelane.plan.source_text import MAX_FILE_BYTES

OWN_PLAN = "plan.yaml"
"""The plan of a folder of its own, such as one made from a recorded class."""


class Folder:
    """The plans of one folder; nothing outside it is opened. Each plan has one document for all tabs."""

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        self._lock = threading.Lock()
        self._open: dict[str, Document] = {}
        self._renamed: dict[str, str] = {}
        self._series: dict[str, tuple[tuple[int, int], bool]] = {}

    def names(self) -> list[str]:
        """Return the names of the plan files of the folder, sorted; files in folders below are not listed.

        Nor is a series, which has no session that could be shown or put into another.
        Raises UsageError where the folder is gone.
        """
        return [name for name in self.files() if not self._is_series(self.path / name)]

    def files(self) -> list[str]:
        """Return the names of all plan files and series of the folder. Raises as :meth:`names` does."""
        plans = (path for path in self._entries() if path.suffix in (".yaml", ".yml"))
        return sorted(path.name for path in plans if self._is_own(path))

    def folders(self) -> list[Path]:
        """Return the folders that lie directly in this one; none that is hidden or a link."""
        return sorted(path for path in self._entries() if self._is_folder(path))

    def folder(self, name: str) -> Path | None:
        """Return the one of :meth:`folders` that is called `name`, None where there is none."""
        path = self.path / name
        plain = name and name == Path(name).name and not name.startswith(".") and is_text(name)
        return path if plain and self._is_folder(path) else None

    def names_below(self) -> list[str]:
        """Return the names of plans in folders of their own, such as a class: ``FOLDER:plan.yaml``."""
        return [f"{path.name}:{OWN_PLAN}" for path in self.folders() if _is_in(path / OWN_PLAN, path)]

    def plan_below(self, name: str) -> Path | None:
        """Return the plan in the folder called `name`, None where there is none."""
        folder = self.folder(name)
        return folder / OWN_PLAN if folder is not None and _is_in(folder / OWN_PLAN, folder) else None

    def path_of(self, name: str) -> Path:
        """Return where the plan called `name` lies. Raises UsageError where there is none in this folder."""
        below = self.plan_below(name.removesuffix(f":{OWN_PLAN}")) if name.endswith(f":{OWN_PLAN}") else None
        if below is not None:
            return below
        path = self.path / name
        plain = name == Path(name).name and not name.startswith(".") and is_text(name)
        if plain and path.suffix in (".yaml", ".yml") and self._is_own(path):
            return path
        # Where the whole folder is gone, that is said.
        self._entries()
        with self._lock:
            now = self._renamed.get(name)
        if now is not None:
            raise UsageError(Said("wrong.renamed", name=name, now=now))
        raise UsageError(Said("wrong.no_plan", name=name))

    def taken(self) -> set[str]:
        """Return the names, in small letters, that nothing new may have: of folders, plans and their tracks.

        What is made of a plan bears its name without the ending; so what is left of one that is gone would
        be taken for the new one's.
        """
        ends = (".yaml", ".yml", LISTING)
        names = [path.name.lower() for path in self._entries()]
        return {name.removesuffix(end) for name in names for end in ends if name.endswith(end)} | {*names}

    def is_renamed(self, name: str, now: str) -> None:
        """A plan's file has another name: its document, with all its steps, goes on under that."""
        with self._lock:
            document = self._open.pop(name, None)
            if document is not None:
                document.moved(self.plan_below(now.removesuffix(f":{OWN_PLAN}")) or self.path / now)
                self._open[now] = document
            self._renamed.pop(now, None)
            self._renamed[name] = now

    def is_gone(self, name: str) -> None:
        """A plan lies no longer in this folder."""
        with self._lock:
            self._open.pop(name, None)

    def document(self, name: str) -> Document:
        """Return the document of the plan called `name`.

        Raises
        ------
        UsageError : there is no such plan in this folder.
        PlanError : the file is no text.
        """
        path = self.path_of(name)
        with self._lock:
            if name not in self._open:
                self._open[name] = Document(path)
            return self._open[name]

    def _entries(self) -> list[Path]:
        """Return what lies in the folder and can be shown: not hidden, and its name is text."""
        try:
            every = list(self.path.iterdir())
        except OSError as error:
            raise UsageError(
                f"{self.path}: the folder cannot be read ({error.strerror}); put it back, or start the desk "
                "with another folder"
            ) from error
        return [path for path in every if not path.name.startswith(".") and is_text(path.name)]

    def _is_folder(self, path: Path) -> bool:
        return path.is_dir() and path.resolve() == self.path / path.name

    def _is_series(self, path: Path) -> bool:
        # Asked for all files at each edit: a file is looked at again only when it has been changed.
        try:
            about = path.stat()
            stamp = about.st_mtime_ns, about.st_size
            known = self._series.get(path.name)
            if known is None or known[0] != stamp:
                text = read_ordinary(path, MAX_FILE_BYTES).decode("utf-8", "replace")
                known = self._series[path.name] = stamp, is_series(text)
        except OSError:
            # What cannot be read is shown, with the reason.
            return False
        return known[1]

    def _is_own(self, path: Path) -> bool:
        return _is_in(path, self.path)


def is_text(name: str) -> bool:
    """Tell whether a name can stand in an address; a byte that is no text comes as a surrogate (PEP 383)."""
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _is_in(path: Path, folder: Path) -> bool:
    """Tell whether `path` is an ordinary file that lies in `folder` (resolved), links followed."""
    try:
        return path.is_file() and path.resolve().parent == folder
    except (OSError, ValueError):
        return False
