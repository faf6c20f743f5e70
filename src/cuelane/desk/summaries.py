"""What the shelf shows of a plan, kept from one start of the desk to the next, by the plan's content.

::

    CACHE/shelf/1234….json    title, length and cover of the plan with this text, and what it depends on

To plan a session takes a second and half of the program; to look up what came of it takes neither. A summary
counts only as long as the plan's text, the text of all that it includes, the files of its voice and the names
of the voices beside it are what they were. It is a cache: what cannot be read or written is left out, and
worked out again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from cuelane import __version__
from cuelane.base.ordinary import read_ordinary
from cuelane.plan.source_text import MAX_FILE_BYTES

_MOST_KEPT = 1_000
"""Each is a few kilobytes; nobody's folders hold more plans than this."""
_MOST_BYTES = 1 << 20
_FORM = 2
_VOICES = "voices"
"""The folder beside a plan in which a voice may stand in place of one that comes with the program."""


@dataclass(frozen=True)
class PlanSummary:
    """A plan in short.

    ``cover`` holds (class, path, transform) of each shape, see ``deliver.page_score.overview_paths``;
    ``settled`` tells whether all lines had been spoken, so that the length is as heard, not estimated.
    """

    title: str
    length_ms: int
    cover: tuple[tuple[str, str, str], ...]
    settled: bool


class Summaries:
    """Summaries in a folder, which is made when the first is kept. May be used from several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def get(self, plan: Path, text: str) -> PlanSummary | None:
        """Return the summary of the plan at `plan` with this `text`; None where there is none that counts."""
        try:
            kept = json.loads(read_ordinary(self._path(text), _MOST_BYTES))
            files = all(_digest_of(plan.parent, name) == digest for name, digest in kept["includes"].items())
            voice = all(_digest(Path(plan.parent, name)) == digest for name, digest in kept["voice"].items())
            if files and voice and kept["voices"] == _voices_beside(plan):
                return _summary(kept["summary"])
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return None
        return None

    def keep(
        self, plan: Path, text: str, includes: list[Path], voice: Sequence[Path], summary: PlanSummary
    ) -> None:
        """Keep `summary` of a plan.

        Parameters
        ----------
        includes : the files that the plan includes, all in its folder or below.
        voice : the files that say how its voice speaks, wherever they are.
        """
        path = self._path(text)
        temporary = path.with_name(f".{secrets.token_hex(6)}.tmp")
        with contextlib.suppress(OSError, ValueError):
            # On another drive there is no way from one to the other, which Windows says by a ValueError.
            names = {Path(os.path.relpath(path, plan.parent)).as_posix() for path in includes}
            digests = {name: _digest_of(plan.parent, name) for name in sorted(names)}
            spoken = {_name_of(plan.parent, path): _digest(path) for path in voice}
            beside = _voices_beside(plan)
            kept = {"includes": digests, "voice": spoken, "voices": beside, "summary": asdict(summary)}
            content = json.dumps(kept)
            self._folder.mkdir(parents=True, exist_ok=True)
            try:
                temporary.write_text(content, encoding="utf-8")
                temporary.replace(path)
            finally:
                temporary.unlink(missing_ok=True)
            self._drop_oldest()

    def _path(self, text: str) -> Path:
        key = f"{_FORM}\0{__version__}\0{text}"
        return self._folder / f"{hashlib.sha256(key.encode('utf-8', 'replace')).hexdigest()}.json"

    def _drop_oldest(self) -> None:
        there = list(self._folder.glob("*.json"))
        if len(there) > _MOST_KEPT:
            for path in sorted(there, key=lambda path: path.stat().st_mtime_ns)[: len(there) // 2]:
                path.unlink(missing_ok=True)


def _digest_of(folder: Path, name: str) -> str:
    parts = PurePosixPath(name).parts
    if not parts or ".." in parts or Path(name).is_absolute():
        raise ValueError(f"{name} does not lie in the plan's folder")
    return _digest(folder.joinpath(*parts))


def _digest(path: Path) -> str:
    return hashlib.sha256(read_ordinary(path, MAX_FILE_BYTES)).hexdigest()


def _name_of(folder: Path, path: Path) -> str:
    """Return a file's name as seen from `folder`, so that a folder that was copied asks for its own files."""
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path.absolute())


def _voices_beside(plan: Path) -> list[str]:
    folder = plan.parent / _VOICES
    return sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []


def _summary(kept: Mapping[str, Any]) -> PlanSummary:
    """Return a kept summary. Raises ValueError where it is of another form."""
    title, length_ms, settled = kept["title"], kept["length_ms"], kept["settled"]
    cover = tuple((str(cls), str(path), str(transform)) for cls, path, transform in kept["cover"])
    if not isinstance(title, str) or type(length_ms) is not int or type(settled) is not bool:
        raise ValueError("this is no summary")
    return PlanSummary(title, length_ms, cover, settled)
