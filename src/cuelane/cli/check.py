"""``cuelane check``: is every pip and cue of a file where its schedule says?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.output import note, out, progress, write_json

if TYPE_CHECKING:
    from cuelane.base.schedule import Schedule
    from cuelane.check.report import Report


def check(
    audio: Annotated[Path, typer.Argument(help="The audio or video file to measure.")],
    schedule: Annotated[
        Path | None, typer.Option(help="Its schedule; by default NAME.schedule.json beside it.")
    ] = None,
    against: Annotated[
        Path | None, typer.Option(help="An original that is right: cues are compared with it.")
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option(help="Largest error allowed, in ms (5 for pips, 20 for cues).")
    ] = None,
    relative: Annotated[
        bool, typer.Option("--relative", help="Judge times against the session's start in this file.")
    ] = False,
    words: Annotated[
        bool, typer.Option("--words", help="Have a recogniser confirm the words of each cue.")
    ] = False,
    silent: Annotated[bool, typer.Option("--silent", help="Fail on any sound between the events.")] = False,
    json: Annotated[str | None, typer.Option(help="Write the whole report as JSON; - for output.")] = None,
    page: Annotated[Path | None, typer.Option(help="Write the report with its picture as HTML.")] = None,
) -> None:
    """Measure every pip and cue in a file against its schedule.

    Ends with 0 when all is in place, 1 when something is wrong, 2 when the file or the schedule cannot be
    used.
    """
    from cuelane.audio.store import ClipStore
    from cuelane.base.errors import UsageError
    from cuelane.base.schedule import load_schedule
    from cuelane.check.run import check as run_check
    from cuelane.check.text import report_text

    where = schedule if schedule is not None else audio.with_suffix(".schedule.json")
    if schedule is None and not where.exists() and audio.exists():
        raise UsageError(f"{where}: there is no schedule beside {audio}; name it with --schedule")
    if page is not None and page.resolve() in (audio.resolve(), where.resolve()):
        raise UsageError(f"{page}: --page would overwrite what is being checked")
    planned = load_schedule(where)
    with progress("Listening", quiet=json == "-") as told:
        report = run_check(
            audio,
            planned,
            against=against,
            store=ClipStore(),
            tolerance_ms=tolerance,
            words=words,
            silent=silent,
            relative=relative,
            progress=told,
        )
    if json is not None:
        write_json(report.to_dict(), json)
    if page is not None:
        _write_page(page, report, planned)
    if json != "-":
        out(report_text(report))
    if not report.ok:
        raise typer.Exit(1)


def _write_page(page: Path, report: Report, planned: Schedule) -> None:
    from cuelane.check.page import write_page

    write_page(page, report, planned)
    note(f"wrote {page}")
