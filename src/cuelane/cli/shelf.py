"""``cuelane shelf``: a folder of tracks as a site with a feed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cuelane.cli.options import Force
from cuelane.cli.output import note, out, out_json, progress


def shelf(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder that a batch wrote.")],
    site: Annotated[Path, typer.Option("--out", "-o", help="The folder for the site.")],
    address: Annotated[
        str | None, typer.Option(help="Where the site will be, https://…; without it there is no feed.")
    ] = None,
    series: Annotated[Path | None, typer.Option(help="A series file: title, order, artwork, feed.")] = None,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="Report as JSON.")] = False,
) -> None:
    """Write a site to upload: an index that filters, each session's page, and a feed for podcast apps."""
    from cuelane.plan.series import load_series
    from cuelane.shelf.site import write_site

    loaded = load_series(series) if series is not None else None
    with progress("Writing", quiet=as_json):
        done = write_site(folder, site, loaded, address, force=force)
    for path in done.left_out:
        note(f"left out, since it was changed, or is not of the same session as its name: {path}")
    if as_json:
        out_json({"sessions": done.n_sessions, "feed": done.has_feed, "files": list(done.files)})
        return
    sessions = "1 session" if done.n_sessions == 1 else f"{done.n_sessions} sessions"
    out(f"{sessions}, {len(done.files)} files in {site}")
    if not done.has_feed:
        note("There is no feed: --address says where the site will be.")
    note("Nothing was sent anywhere; upload the folder yourself.")
