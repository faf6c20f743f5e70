"""The commands, each in a module of its own."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from importlib import import_module
from typing import Annotated, Any

import typer

from cuelane import __version__
from cuelane.base.errors import DeliveryError
from cuelane.cli.output import log_to_stderr, out

app = typer.Typer(
    name="cuelane",
    help="Turn a session plan into one voice-guided audio track, exactly on time, and prove it.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

COMMANDS = (
    "new",
    "schema",
    "schedule",
    "render",
    "check",
    "voices",
    "script",
    "takes",
    "adapt",
    "under",
    "compare",
    "batch",
    "shelf",
    "desk",
)


def _version(wanted: bool) -> None:
    if wanted:
        out(f"cuelane {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    verbose: Annotated[
        int, typer.Option("-v", "--verbose", count=True, help="Log what happens; twice for more.")
    ] = 0,
) -> None:
    log_to_stderr(logging.WARNING - 10 * min(verbose, 2))


def _command(name: str) -> Callable[..., Any]:
    """Return a decorator for commands that treats a broken pipe as the death of a program that cuelane runs.

    typer would suppose that the reader of our output had left, and exit with 1; see `cuelane.cli.streams`.
    """
    function = getattr(import_module(f"cuelane.cli.{name}"), name)

    @functools.wraps(function)
    def without_broken_pipes(*args: Any, **options: Any) -> Any:
        try:
            return function(*args, **options)
        except BrokenPipeError as error:
            raise DeliveryError("a program that cuelane runs ended before its work was done") from error

    return without_broken_pipes


for _name in COMMANDS:
    app.command(_name)(_command(_name))


def run(argv: list[str] | None = None) -> int:
    """Run one command and return its exit code; raises whatever it raises."""
    return int(app(args=argv, prog_name="cuelane", standalone_mode=False) or 0)
