"""The command line: the only part that prints or exits."""

from cuelane.cli.app import main

__all__ = ["main"]
