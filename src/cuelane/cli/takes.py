"""``cuelane takes``: recordings of a script into the clips of a recorded voice."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.options import Force, Recogniser
from cuelane.cli.output import as_typed, file_named, note, out, out_json, progress, stage_json

if TYPE_CHECKING:
    from cuelane.takes.run import TakesResult


def takes(
    plan: Annotated[Path, typer.Argument(help="The plan whose script was read.")],
    recordings: Annotated[list[Path], typer.Argument(help="The recording, or several in order.")],
    name: Annotated[str, typer.Option("--voice", help="The name of the recorded voice.")],
    accept: Annotated[
        str, typer.Option(help="Numbers of uncertain lines that you listened to and want, such as 7,12.")
    ] = "",
    recogniser: Recogniser = None,
    json: Annotated[str | None, typer.Option(help="Write the result as JSON; - for output.")] = None,
    force: Force = False,
) -> None:
    """Cut recordings of a plan's script into clips, by line; the last good take of each line is used.

    The voice is written to voices/NAME beside the plan. Ends with 1 if a line is missing or uncertain.
    """
    from cuelane.base.errors import UsageError
    from cuelane.base.files import Staged
    from cuelane.base.units import counted
    from cuelane.plan.load import load_plan
    from cuelane.takes.reading_script import plan_lines
    from cuelane.takes.run import find_takes
    from cuelane.takes.voice_folder import check_voice, voice_delivery, voice_folder, write_voice

    try:
        accepted = frozenset(int(part) for part in accept.replace(",", " ").split())
    except ValueError as error:
        raise UsageError(f"--accept: expected numbers of lines such as 7,12, got {accept!r}") from error
    folder = voice_folder(plan.parent, name)

    def delivery() -> AbstractContextManager[Staged]:
        return voice_delivery(folder, [plan, *recordings], report=file_named(json), force=force)

    with delivery():
        # Refused here, before an hour of sound is recognised.
        check_voice(folder)
    language = load_plan(plan).plan.language
    lines = [line.text for line in plan_lines(plan)]
    with progress("Listening", quiet=json == "-") as told:
        result = find_takes(
            recordings, lines, accept=accepted, recogniser=recogniser, language=language, progress=told
        )
    with delivery() as staged:
        written = write_voice(staged, folder, result)
        stage_json(staged, result.to_dict(), json)
    if json == "-":
        out_json(result.to_dict())
    else:
        _print_lines(result, folder)
        command = f"cuelane render {as_typed(plan)} --voice {as_typed(name)}"
        note(f"wrote {counted(written, 'clip')} to {folder}; next: {command}")
    if any(line.state != "placed" for line in result.lines):
        raise typer.Exit(1)


def _print_lines(result: TakesResult, folder: Path) -> None:
    for line in result.lines:
        if line.state != "placed" or line.notes:
            where = f" at {line.start_s:.1f} s" if line.start_s is not None else ""
            why = f" ({'; '.join(line.notes)})" if line.notes else ""
            out(f"{line.number:3d} {line.state:9} {line.text}{where}{why}")
    for text in result.notes:
        out(f"Note: {text}")
    counts = [sum(line.state == state for line in result.lines) for state in ("placed", "uncertain")]
    missing = len(result.lines) - sum(counts)
    out(f"Lines placed: {counts[0]}, uncertain: {counts[1]}, not read: {missing}.")
    out(f"Heard with {result.recogniser}.")
    if counts[1]:
        out(f"Listen to the uncertain ones in {folder / 'listen'}; take them with --accept NUMBERS.")
