"""Printing for every command: plain text, JSON, progress. Text from a plan is never read as markup."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

Progress = Callable[[int, int], None]


def out(text: str = "") -> None:
    """Print one piece of text on standard output."""
    sys.stdout.write(text + "\n")


def note(text: str) -> None:
    """Print one line for the person at the keyboard on standard error."""
    sys.stderr.write(text + "\n")
    sys.stderr.flush()


def out_json(value: Any) -> None:
    """Print `value` as JSON on standard output."""
    out(json.dumps(value, ensure_ascii=False, indent=1))


def write_json(value: Any, target: str) -> None:
    """Write `value` as JSON to a file, or to standard output when `target` is ``-``."""
    if target == "-":
        out_json(value)
    else:
        Path(target).write_text(json.dumps(value, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


@contextmanager
def progress(label: str, *, quiet: bool = False) -> Iterator[Progress]:
    """Give a callable ``(done, total)`` that moves a bar on a terminal, and does nothing elsewhere."""
    if quiet or not sys.stderr.isatty():
        yield lambda done, total: None
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
        task = bar.add_task(label, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
