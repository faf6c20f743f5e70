"""``cuelane compare``: two schedules or two tracks side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cuelane.cli.output import out, out_json, progress


def compare(
    before: Annotated[Path, typer.Argument(metavar="A", help="A schedule (.json), or a track.")],
    after: Annotated[Path, typer.Argument(metavar="B", help="Another one of it.")],
    as_json: Annotated[bool, typer.Option("--json", help="Report as JSON.")] = False,
) -> None:
    """Show what differs between two schedules, or between two tracks and their schedules.

    What moved and by how much, what is said differently, what came or went. Ends with 1 if anything differs.
    """
    from cuelane.compare.pair import compare as compare_files

    with progress("Comparing", quiet=as_json):
        found = compare_files(before, after)
    if as_json:
        out_json(found.to_dict())
    else:
        for line in found.lines():
            out(line)
    if not found.same:
        raise typer.Exit(1)
