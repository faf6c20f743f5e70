"""``cuelane script``: a reading script for recording one's own voice."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cuelane.cli.options import Force
from cuelane.cli.output import file_named, note, out


def script(
    plan: Annotated[Path, typer.Argument(help="The plan to record.")],
    voice: Annotated[
        str | None,
        typer.Option(help="A recorded voice beside the plan: the lines it holds are left out."),
    ] = None,
    html: Annotated[Path | None, typer.Option(help="Write a page to print to this file.")] = None,
    json: Annotated[str | None, typer.Option(help="Write the script as JSON; - for output.")] = None,
    force: Force = False,
) -> None:
    """Print a script of every distinct line that a plan speaks, to be read into a phone.

    Then: cuelane takes PLAN RECORDING --voice NAME.
    """
    from cuelane.base.files import all_or_nothing
    from cuelane.base.seals import sealable_html, sealable_json
    from cuelane.base.units import counted
    from cuelane.plan.load import load_plan
    from cuelane.takes.reading_script import as_html, as_json, as_text, covered_texts, plan_lines

    loaded = load_plan(plan).plan
    title, language = loaded.title, loaded.language
    every = plan_lines(plan)
    covered = covered_texts(plan.parent, voice, [line.text for line in every])
    lines = [line for line in every if line.text not in covered]
    json_file = file_named(json)
    targets = [path for path in (html, json_file) if path is not None]
    with all_or_nothing(*targets, inputs=[plan], force=force) as staged:
        if html is not None:
            staged.write_text(html, sealable_html(as_html(title, lines, language)))
        if json_file is not None:
            staged.write_text(json_file, sealable_json(as_json(title, lines, language)))
    if html is not None:
        note(f"wrote {html}")
    if json == "-":
        out(as_json(title, lines, language).rstrip("\n"))
    elif html is None and json is None and lines:
        out(as_text(title, lines, language).rstrip("\n"))
    if covered:
        left = "all of them" if not lines else f"{len(lines)} left to read"
        note(f"{counted(len(covered), 'line')} already recorded: {left}")
