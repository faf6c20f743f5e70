"""``cuelane batch``: many tracks at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.output import note, out, out_json, progress

if TYPE_CHECKING:
    from cuelane.batch.jobs_made import Outcome
    from cuelane.batch.tracks import Asked, Track
    from cuelane.plan.series import LoadedSeries


def batch(
    plans: Annotated[
        list[Path] | None, typer.Argument(help="Plan files, folders of them, or names with *.")
    ] = None,
    out_folder: Annotated[
        str, typer.Option("--out", "-o", help="The folder for the tracks, or an address such as s3://…")
    ] = ".",
    series: Annotated[Path | None, typer.Option(help="A series file: order, defaults, variants.")] = None,
    audio_format: Annotated[
        list[str] | None,
        typer.Option("--format", "-f", help="Such as m4a or mp3; may be repeated."),
    ] = None,
    voice: Annotated[list[str] | None, typer.Option(help="Who speaks; may be repeated.")] = None,
    variant: Annotated[
        list[str] | None,
        typer.Option(help="Only this variant; may be repeated. plain is the plan as it is."),
    ] = None,
    cluster: Annotated[str | None, typer.Option(help="A Dask scheduler's address, tcp://…")] = None,
    clips: Annotated[
        str | None,
        typer.Option(help="A folder or an address of spoken lines that all machines share."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, max=256, help="Tracks at once here; as many as cores if left out."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace files that cuelane did not write, or you changed.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Report as JSON.")] = False,
) -> None:
    """Render many plans: each by its variants, voices and formats, and only what has changed.

    Ends with 1 if a track failed; the others are made all the same.
    """
    from cuelane.batch.run import orders_of, render_options, run_batch
    from cuelane.batch.tracks import Asked
    from cuelane.plan.series import load_series

    _require_folder(out_folder)
    loaded = load_series(series) if series is not None else None
    defaults = loaded.series.defaults if loaded is not None else None
    asked = Asked(
        formats=tuple(audio_format or (defaults.format if defaults else ()) or ["m4a"]),
        voices=tuple(voice or (defaults.voice if defaults else ())),
        variants=tuple(variant or ()),
        usual_voices=not voice,
    )
    found = _tracks(plans or [], loaded, asked)
    options = render_options(defaults) if defaults is not None else {}
    _try_places(out_folder, clips)
    orders = orders_of(found, out_folder, options, force=force, clips=clips)
    with progress("Tracks", quiet=as_json) as report:
        outcomes = run_batch(orders, cluster=cluster, workers=workers, progress=report, noticed=note)
    if as_json:
        out_json(_as_dict(outcomes))
    else:
        _print_text(outcomes, out_folder)
    if any(one.state == "failed" for one in outcomes):
        raise typer.Exit(1)


def _tracks(plans: list[Path], series: LoadedSeries | None, asked: Asked) -> list[Track]:
    """Return every track, once what is odd about their variants has been noted."""
    from cuelane.batch.tracks import notes_on, plan_files, tracks

    found = tracks(plan_files(plans, series), series, asked)
    for noted in notes_on(found, series):
        note(noted)
    return found


def _require_folder(out_folder: str) -> None:
    """Refuse what is no folder for tracks."""
    from cuelane.base.errors import UsageError
    from cuelane.batch.far_folder import FarFolder, is_address

    if is_address(out_folder):
        FarFolder.at(out_folder)
    elif Path(out_folder).exists() and not Path(out_folder).is_dir():
        raise UsageError(f"{out_folder}: is no folder; --out names the folder for the tracks")


def _try_places(out_folder: str, clips: str | None) -> None:
    """See that tracks, and clips, can be put where they are to go, before any is made."""
    from cuelane.batch.far_folder import FarFolder, is_address
    from cuelane.batch.run import placed

    if is_address(out_folder):
        FarFolder.tried(out_folder)
    else:
        Path(out_folder).mkdir(parents=True, exist_ok=True)
    if clips is not None:
        FarFolder.tried(placed(clips))


def _counts(outcomes: list[Outcome]) -> dict[str, int]:
    return {state: sum(one.state == state for one in outcomes) for state in ("made", "kept", "failed")}


def _as_dict(outcomes: list[Outcome]) -> dict[str, object]:
    return {**_counts(outcomes), "tracks": [one.to_dict() for one in outcomes]}


def _print_text(outcomes: list[Outcome], folder: str) -> None:
    from cuelane.base.units import format_clock

    width = max(len(one.name) for one in outcomes)
    for one in outcomes:
        length = format_clock(one.length_ms) if one.length_ms is not None else ""
        first, *more = one.message.splitlines() or [""]
        out(f"{one.state:6}  {one.name:{width}}  {length:>7}  {first}".rstrip())
        for line in more:
            out(f"        {line}")
    counts = _counts(outcomes)
    out("")
    out(f"{counts['made']} made, {counts['kept']} kept, {counts['failed']} failed, in {folder}")
    if counts["made"]:
        note("Before anyone trains to them: listen once, and read the cautions that are printed with each.")
