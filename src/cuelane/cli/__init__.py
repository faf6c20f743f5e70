"""The command line: the only part that prints or exits."""

import sys

from cuelane.cli.outcome import exit_code_of
from cuelane.cli.streams import forgive


def main(argv: list[str] | None = None) -> None:
    """Run one command, `argv` or what this process was called with, and exit with its code."""

    def command() -> int:
        # Imported here, so that a library that cannot be loaded is reported as any other error.
        from cuelane.cli.app import run

        return run(argv)

    sys.exit(exit_code_of(command, forgive()))


__all__ = ["main"]
