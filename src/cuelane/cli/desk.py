"""``cuelane desk``: a local page to compose, hear, record, render and hand over."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from cuelane.cli.output import note, out


def desk(
    folder: Annotated[Path, typer.Argument(help="The folder with your plans.")] = Path(),
    port: Annotated[
        int | None, typer.Option(min=1, max=65_535, help="The port to listen on, if it matters.")
    ] = None,
    language: Annotated[
        str | None,
        typer.Option(help="The language of the page, such as de; else the one your browser asks for."),
    ] = None,
    opens: Annotated[bool, typer.Option("--open/--no-open", help="Open the page in your browser.")] = True,
) -> None:
    """Open a page of your own computer in which the whole job can be done. Ctrl-C ends it."""
    import contextlib
    import webbrowser

    from cuelane.desk.collecting import nothing_collected

    with nothing_collected():
        from cuelane.desk.serve import serve

    def opened(address: str) -> None:
        out(address)
        sys.stdout.flush()
        if opens:
            found = webbrowser.open(address)
            where = "is open in your browser" if found else "found no browser: open the address in one"
            note(f"The desk {where}. Leave this window open while you work; Ctrl-C ends the desk.")

    with contextlib.suppress(KeyboardInterrupt):
        serve(folder, port, opened, language)
