"""The commands, and the one place that turns an error into a message and an exit code.

Exit codes: 0 done; 1 it ran and found the work wanting; 2 bad input or usage; 3 the machine failed.
"""

from __future__ import annotations

import io
import logging
import os
import sys
from importlib import import_module
from typing import Annotated

import typer

from cuelane import __version__
from cuelane.base.errors import CuelaneError
from cuelane.cli.output import note, out

app = typer.Typer(
    name="cuelane",
    help="Turn a session plan into one voice-guided audio track, exactly on time, and prove it.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

COMMANDS = ("new", "schema", "schedule", "render", "check", "voices", "script", "takes", "adapt", "under")


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
    level = logging.WARNING - 10 * min(verbose, 2)
    logging.basicConfig(level=logging.WARNING, format="%(name)s: %(message)s", stream=sys.stderr)
    logging.getLogger("cuelane").setLevel(level)


for _name in COMMANDS:
    app.command(_name)(getattr(import_module(f"cuelane.cli.{_name}"), _name))


def main(argv: list[str] | None = None) -> int:
    """Run one command; return nothing, but exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter of a title shows a stand-in for it.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        app(args=argv, prog_name="cuelane")
    except CuelaneError as error:
        note(f"cuelane: {error}")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of our output went away, as `| head` does; that is no fault of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        note(f"cuelane: {place}{error.strerror or error}")
        sys.exit(3)
    return 0
