"""Turns a plan file's bytes into lines, or says why they are not a plan."""

from __future__ import annotations

import codecs
import re
import stat
from itertools import islice
from pathlib import Path

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.unsafe_text import UNSAFE
from cuelane.plan.file_kinds import other_kind
from cuelane.plan.phrases import did_you_mean

# The parser takes up to some 7 s for a MiB of the text that is hardest for it; a class of an hour with every
# cue at an explicit offset is about 100 KiB.
MAX_FILE_BYTES = 512 * 1024
MAX_ALL_CHARACTERS = 1024 * 1024
MAX_PROBLEMS = 200
MOST_ALIKE = 5
"""Chosen: of faults that mostly have one cause, as many as show what they have in common."""
_SHOWN_COLUMNS = 200
PLAN_SUFFIXES = (".yaml", ".yml")
# A plan may hold neither unsafe characters nor the marks that only say which way text runs.
_HIDDEN = re.compile(f"[{UNSAFE}\u061c\u200e\u200f]")


class Lines:
    """A file's lines as written, its name for messages, and its problems as they are found."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text
        self.lines = tuple(text.split("\n"))
        self.problems: list[Problem] = []
        self.n_unlisted = 0
        self.n_alike: dict[str, int] = {}

    @property
    def is_full(self) -> bool:
        """Whether there are as many problems as are listed; the rest are counted only."""
        return len(self.problems) >= MAX_PROBLEMS

    def shown(self, mark: Mark) -> str:
        """Return the line at `mark`, safe to print; empty where it is too long for a caret below it."""
        # A value that a series changes stands in another file.
        if mark.file != self.file or mark.line > len(self.lines) or mark.column > _SHOWN_COLUMNS:
            return ""
        line = self.lines[mark.line - 1][:_SHOWN_COLUMNS]
        return "".join("\ufffd" if is_hidden(character) else character for character in line)

    def problem(self, mark: Mark, message: str, hint: str = "") -> Problem:
        """Return a problem at `mark` with its line."""
        return Problem(mark, message, self.shown(mark), hint)

    def report(self, mark: Mark, message: str, hint: str = "", *, alike: str = "") -> None:
        """Note a problem at `mark`; of those `alike`, which mostly have one cause, only the first few."""
        if alike:
            self.n_alike[alike] = self.n_alike.get(alike, 0) + 1
        if self.is_full or self.n_alike.get(alike, 0) > MOST_ALIKE:
            self.n_unlisted += 1
            return
        self.problems.append(self.problem(mark, message, hint))


def is_hidden(character: str) -> bool:
    """Return whether `character` is a control character or hides or reorders what is around it."""
    return character not in "\t\n" and _HIDDEN.match(character) is not None


def read_lines(path: Path, file: str) -> Lines:
    """Return the lines of the plan at `path`, which messages call `file`; line ends become ``\\n``.

    Raises
    ------
    PlanError : no such file, not a file, too large, empty, or not UTF-8 text.
    """
    return Lines(file, text_of(_bytes(path, file), file))


def text_of(data: bytes, file: str) -> str:
    """Return the text of a plan whose file holds `data`; line ends become ``\\n``.

    Raises
    ------
    PlanError : as :func:`read_lines`.
    """
    if kind := other_kind(data):
        raise fail(file, f"this is {kind[0]}, not a plan", kind[1])
    if len(data) > MAX_FILE_BYTES:
        raise fail(file, "this file is larger than 512 KiB, the most a plan may have")
    return _decoded(data, file).replace("\r\n", "\n").replace("\r", "\n")


def fail(file: str, message: str, hint: str = "", line: int = 1, column: int = 1) -> PlanError:
    """Return an error about the file as a whole."""
    return PlanError([Problem(Mark(file, line, column), message, "", hint)])


def _bytes(path: Path, file: str) -> bytes:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            plan = next(iter(_plans_in(path)), "")
            hint = f"name a plan in it, such as {path / plan}" if plan else ""
            raise fail(file, "this is a folder, not a plan file", hint)
        if not stat.S_ISREG(mode):
            raise fail(file, "this is not an ordinary file, so it is not read as a plan")
        with path.open("rb") as handle:
            return handle.read(MAX_FILE_BYTES + 1)
    except PlanError:
        raise
    except FileNotFoundError as error:
        raise fail(file, "there is no such file", did_you_mean(path.name, _plans_in(path.parent))) from error
    except PermissionError as error:
        raise fail(file, "this file may not be read: permission is missing") from error
    except (OSError, ValueError) as error:
        raise fail(file, f"this file cannot be read: {getattr(error, 'strerror', None) or error}") from error


def _plans_in(folder: Path) -> list[str]:
    """Return the names of files in a folder that are called as plans are, the first of many."""
    try:
        return sorted(islice((path.name for path in folder.iterdir() if path.suffix in PLAN_SUFFIXES), 300))
    except OSError:
        return []


def _decoded(data: bytes, file: str) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)):
        raise fail(file, "this file is UTF-16 or UTF-32 text", "save it as UTF-8 text")
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\0" in data:
        line, column = _place(data, data.index(b"\0"))
        raise fail(
            file, "this is not text: it holds a zero byte", "save it as UTF-8 text", line=line, column=column
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line, column = _place(data, error.start)
        message = f"this is not UTF-8 text: byte 0x{data[error.start]:02x} does not belong here"
        raise fail(file, message, "save it as UTF-8 text", line=line, column=column) from error
    if not text.strip():
        raise fail(file, "this file is empty", "start one with: cuelane new")
    return text


def _place(data: bytes, offset: int) -> tuple[int, int]:
    before = data[:offset].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    last_line = before[before.rfind(b"\n") + 1 :]
    return before.count(b"\n") + 1, len(last_line.decode("utf-8", "replace")) + 1
