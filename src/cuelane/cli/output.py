"""Printing for every command: plain text, JSON, progress.

Text from a plan is never read as markup, and is printed without the characters that control a terminal.
"""

from __future__ import annotations

import json
import logging
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from cuelane.base.files import Staged
from cuelane.base.seals import sealable_json
from cuelane.base.unsafe_text import UNSAFE

Progress = Callable[[int, int], None]

_FOR_TERMINAL = re.compile(f"(?!\r?\n|\t)[{UNSAFE}]")
_FOR_JSON = re.compile(f"(?!\n)[{UNSAFE}]")


def safe_for_terminal(text: str) -> str:
    """Return `text` with every character that controls a terminal, or reorders text, replaced by its number.

    Line ends and tabs stay, since our output has lines. Source of the control characters: ECMA-48.
    """
    return _FOR_TERMINAL.sub(lambda found: _number(found[0]), text)


def _number(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def json_text(value: Any) -> str:
    """Return `value` as JSON on indented lines: the same value, with no raw control or direction signs."""
    text = json.dumps(value, ensure_ascii=False, indent=1)
    return _FOR_JSON.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def out(text: str = "") -> None:
    """Print one piece of text on standard output."""
    sys.stdout.write(safe_for_terminal(text) + "\n")


def note(text: str) -> None:
    """Print one line for the person at the keyboard on standard error."""
    sys.stderr.write(safe_for_terminal(text) + "\n")
    sys.stderr.flush()


def as_typed(argument: str | Path) -> str:
    """Return a name as it is typed into a command: in quotes where a shell would part it or take it amiss."""
    text = str(argument)
    return subprocess.list2cmdline([text]) if os.name == "nt" else shlex.quote(text)


def out_json(value: Any) -> None:
    """Print `value` as JSON on standard output."""
    out(json_text(value))


def file_named(target: str | None) -> Path | None:
    """Return the file that an option such as ``--json`` names; None for ``-``, which is standard output."""
    return None if target is None or target == "-" else Path(target)


def stage_json(staged: Staged, value: Any, target: str | None) -> None:
    """Stage `value` as JSON for the file that `target` names, if it names one."""
    path = file_named(target)
    if path is not None:
        staged.write_text(path, sealable_json(json_text(value)))


class _ForTerminal(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return safe_for_terminal(super().format(record))


def log_to_stderr(level: int) -> None:
    """Log what cuelane does from `level` on, and warnings of its libraries, on standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_ForTerminal("%(name)s: %(message)s"))
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
    logging.getLogger("cuelane").setLevel(level)


@contextmanager
def progress(label: str, *, quiet: bool = False) -> Iterator[Progress]:
    """Give a callable ``(done, total)`` that moves a bar on a terminal, and does nothing elsewhere."""
    with steps(quiet=quiet) as told:
        yield lambda done, total: told(label, done, total)


@contextmanager
def steps(*, quiet: bool = False) -> Iterator[Callable[[str, int, int], None]]:
    """Give a callable ``(what, done, total)`` that names the step on a bar and tells the time that is left.

    The time is that of the step: nobody knows at the start how long the later ones take.
    """
    if quiet or not sys.stderr.isatty():
        yield lambda what, done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f}%"),
        TimeRemainingColumn(),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        named = ""

        def tell(what: str, done: int, total: int) -> None:
            nonlocal named
            if what != named:
                named = what
                bar.reset(task, description=what[:1].upper() + what[1:])
            bar.update(task, completed=done, total=total or None)

        yield tell
