"""``cuelane schedule``: the timetable and the session's facts, without rendering."""

from __future__ import annotations

import shutil
import textwrap
from pathlib import Path
from typing import Annotated

import typer

from cuelane.cli.output import note, out, out_json, progress


def schedule(
    plan: Annotated[Path, typer.Argument(help="The plan file.")],
    voice: Annotated[str | None, typer.Option(help="Another voice than the plan's.")] = None,
    pace: Annotated[float, typer.Option(min=0.8, max=1.15, help="How fast the voice speaks.")] = 1.0,
    estimate: Annotated[bool, typer.Option(help="Estimate lengths instead of speaking the lines.")] = False,
    why: Annotated[
        bool, typer.Option("--why", help="Say why each cue is where it is, or was left out.")
    ] = False,
    brief: Annotated[bool, typer.Option("--brief", help="Intervals only.")] = False,
    room: Annotated[bool, typer.Option("--room", help="How well each cue is heard over music.")] = False,
    music: Annotated[Path | None, typer.Option(help="With --room: the music it will be heard over.")] = None,
    music_level: Annotated[
        float, typer.Option(min=-40, max=20, help="With --room: music against speech, in LU.")
    ] = -6.0,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print every event as CSV.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the schedule, facts and warnings as JSON.")
    ] = False,
) -> None:
    """Show a session's timetable, its totals, balance and room, without rendering it."""
    import json

    from cuelane.audio.store import ClipStore
    from cuelane.base.schedule import to_json
    from cuelane.lint import lint
    from cuelane.render.run import clip_loader, prepare
    from cuelane.speech.estimate import estimate_seconds
    from cuelane.speech.prepare import spoken_as

    if room and estimate:
        raise typer.BadParameter("--room needs the spoken clips; leave out --estimate")
    store = ClipStore()
    with progress("Speaking", quiet=as_json or as_csv) as report:
        prepared = prepare(plan, voice=voice, pace=pace, speak=not estimate, store=store, progress=report)
    found = prepared.schedule
    definition = prepared.voiced.voice
    warnings = lint(
        prepared.loaded,
        prepared.session,
        lambda text: estimate_seconds(text, definition, pace),
        lambda text: spoken_as(text, found.language),
    )
    measured = None
    if room:
        from cuelane.hearing.room import room as measure_room

        with progress("Measuring room", quiet=as_json):
            measured = measure_room(found, clip_loader(store), music=music, music_level_lu=music_level)
    if as_json:
        data = json.loads(to_json(found))
        data["warnings"] = [warning.to_dict() for warning in warnings]
        data["misfits"] = [
            {"interval": row.interval, "missing_s": row.missing_s, "words_to_cut": row.words_to_cut,
             "place": row.place, "remedies": list(row.remedies)}
            for row in prepared.advice
        ]  # fmt: skip
        if measured is not None:
            from cuelane.hearing.report import as_dict

            data["room"] = as_dict(measured, found.sample_rate)
        out_json(data)
    elif as_csv:
        from cuelane.deliver.marks import to_csv

        out(to_csv(found).rstrip("\n"))
    else:
        _print_text(prepared, brief, why)
        if measured is not None:
            from cuelane.hearing.report import summary_lines

            out("")
            for line in summary_lines(measured, found.sample_rate):
                indent = " " * (len(line) - len(line.lstrip()))
                out(textwrap.fill(line.strip(), 72, initial_indent=indent, subsequent_indent=indent + "  "))
        for warning in warnings:
            note(f"warning: {warning}")
    for advice in prepared.advice:
        note(f"does not fit: {advice}")
    for text, reason in prepared.voiced.fallbacks.items():
        note(f"spoken by another voice: “{text}” ({reason})")
    if prepared.advice:
        raise typer.Exit(1)


def _print_text(prepared: object, brief: bool, why: bool) -> None:
    from cuelane.facts import summary_lines
    from cuelane.render.run import Prepared
    from cuelane.session.timetable import timetable

    assert isinstance(prepared, Prepared)
    width = min(72, max(40, shutil.get_terminal_size((60, 24)).columns))
    found = prepared.schedule
    out(found.title)
    if prepared.voiced.estimated:
        out("Lengths are estimates: no line has been spoken yet.")
    out("")
    out(timetable(found, width=width, cues=not brief, why=why))
    out("")
    for line in summary_lines(found.extra["facts"], width=width):
        out(line)
