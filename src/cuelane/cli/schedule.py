"""``cuelane schedule``: the timetable and the session's facts, without rendering."""

from __future__ import annotations

import shutil
import textwrap
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.options import PlanPace
from cuelane.cli.output import note, out, out_json, progress

if TYPE_CHECKING:
    from cuelane.render.preview import Preview
    from cuelane.render.run import Prepared


def schedule(
    plan: Annotated[Path, typer.Argument(help="The plan file.")],
    variant: Annotated[str | None, typer.Option(help="A variant that the plan gives, by its name.")] = None,
    voice: Annotated[str | None, typer.Option(help="Another voice than the plan's.")] = None,
    pace: PlanPace = None,
    estimate: Annotated[bool, typer.Option(help="Estimate lengths instead of speaking the lines.")] = False,
    why: Annotated[
        bool, typer.Option("--why", help="Say why each cue is where it is, or was left out.")
    ] = False,
    brief: Annotated[bool, typer.Option("--brief", help="Intervals only.")] = False,
    room: Annotated[bool, typer.Option("--room", help="How well each cue is heard over music.")] = False,
    music: Annotated[Path | None, typer.Option(help="Measure --room over this music.")] = None,
    music_level: Annotated[
        float, typer.Option(min=-40, max=20, help="With --room: music against speech, in LU.")
    ] = -6.0,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print every event as CSV.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the schedule, facts and warnings as JSON.")
    ] = False,
) -> None:
    """Show a session's timetable, its totals, balance and room, without rendering it."""
    from cuelane.audio.store import ClipStore
    from cuelane.plan.variants import Chosen
    from cuelane.render.preview import preview, room_over_music
    from cuelane.render.run import prepare

    room = room or music is not None
    if room and estimate:
        raise typer.BadParameter("--room and --music need the spoken clips; leave out --estimate")
    store = ClipStore()
    with progress("Speaking", quiet=as_json or as_csv) as report:
        prepared = prepare(
            plan,
            variant=Chosen(variant) if variant else None,
            voice=voice,
            pace=pace,
            speak=not estimate,
            store=store,
            progress=report,
        )
    seen = preview(prepared)
    if room:
        with progress("Measuring room", quiet=as_json):
            measured = room_over_music(prepared, store, music=music, music_level_lu=music_level)
        seen = replace(seen, room=measured)
    if as_json:
        out_json(seen.to_dict())
    elif as_csv:
        from cuelane.deliver.marks import to_csv

        out(to_csv(prepared.schedule).rstrip("\n"))
    else:
        _print_text(seen, brief, why)
    _note_what_is_odd(prepared)
    if prepared.advice:
        raise typer.Exit(1)


def _note_what_is_odd(prepared: Prepared) -> None:
    for advice in prepared.advice:
        note(f"does not fit: {advice}")
    for found in prepared.voice_notes:
        note(found)
    for text, reason in prepared.voiced.fallbacks.items():
        note(f"spoken by another voice: “{text}” ({reason})")
    for text, doubt in prepared.voiced.doubts.items():
        note(f"listen to “{text}” ({doubt}): other words or a comma may help")


def _print_text(seen: Preview, brief: bool, why: bool) -> None:
    from cuelane.facts import summary_lines
    from cuelane.hearing.report import summary_lines as room_lines
    from cuelane.plan.variants import variant_lines
    from cuelane.session.timetable import timetable

    width = min(72, max(40, shutil.get_terminal_size((60, 24)).columns))
    found = seen.prepared.schedule
    out(found.title)
    if seen.prepared.voiced.estimated:
        out("Lengths are estimates: no line has been spoken yet.")
    out("")
    out(timetable(found, width=width, cues=not brief, why=why))
    out("")
    for line in summary_lines(found.extra["facts"], width=width):
        out(line)
    if seen.room is not None:
        out("")
        for line in room_lines(seen.room, found.sample_rate):
            indent = " " * (len(line) - len(line.lstrip()))
            out(textwrap.fill(line.strip(), 72, initial_indent=indent, subsequent_indent=indent + "  "))
    for line in variant_lines(seen.prepared.loaded):
        out(line)
    for warning in seen.warnings:
        note(f"warning: {warning}")
