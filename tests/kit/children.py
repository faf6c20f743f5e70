"""Python processes that need not import everything again: a server imports once, and forks for each.

What a command says, and how it ends, is a process's own; what it imports on the way is the same each time,
and takes longer than most commands. Where a system cannot fork (Windows) each process starts afresh.
"""

from __future__ import annotations

import functools
import multiprocessing
import os
import subprocess
import tempfile
from collections.abc import Callable
from multiprocessing.context import BaseContext
from pathlib import Path

import pytest

LOADED = (
    "cuelane.cli.app",
    "cuelane.render.preview",
    "cuelane.check.run",
    "cuelane.under.run",
    "cuelane.desk.app",
)
"""What the server imports; a module that is missing here is imported by each process that needs it."""


@functools.cache
def children() -> BaseContext:
    """Return the context of `multiprocessing` whose processes begin with most things imported."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(LOADED))
    return context


def fork_instead(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let what asks for spawned processes have these; one test of each such place leaves it as it is."""
    context = children()
    monkeypatch.setattr(multiprocessing, "get_context", lambda method: context)


def run_command(
    *arguments: str | Path,
    cwd: Path | None = None,
    timeout_s: float = 300.0,
    first: Callable[[], None] | None = None,
) -> subprocess.CompletedProcess[str]:
    """Run the program with these arguments in a process of its own, and return what it printed.

    `first` is called in that process before the program: a module's function, so that it can be sent there.
    """
    with tempfile.TemporaryDirectory() as folder:
        said = [Path(folder, name) for name in ("out", "err")]
        values = (
            [str(one) for one in arguments],
            str(cwd or Path.cwd()),
            dict(os.environ),
            *map(str, said),
            first,
        )
        process = children().Process(target=_command, args=values)  # type: ignore[attr-defined]
        process.start()
        process.join(timeout_s)
        if process.exitcode is None:
            process.kill()
            process.join()
            raise subprocess.TimeoutExpired(values[0], timeout_s)
        texts = [path.read_text(encoding="utf-8") if path.exists() else "" for path in said]
        return subprocess.CompletedProcess(values[0], process.exitcode, *texts)


def _command(
    arguments: list[str],
    cwd: str,
    environment: dict[str, str],
    out: str,
    err: str,
    first: Callable[[], None] | None,
) -> None:
    """Do what the installed program does, with files in place of the two streams."""
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(cwd)
    for number, path in ((1, out), (2, err)):
        opened = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o600)
        os.dup2(opened, number)
        os.close(opened)
    if first is not None:
        first()
    from cuelane.cli import main

    main(arguments)
