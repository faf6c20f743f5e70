"""``cuelane under``: the listener's own music under a track."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from cuelane.cli.options import Force
from cuelane.cli.output import note, out, out_json, progress
from cuelane.media.formats import SUFFIX_WORDS

# Chosen: less is not heard, and is no more than rounding makes of a peak at the ceiling.
SHOWN_DIP_DB = 0.1


def under(
    track: Annotated[Path, typer.Argument(help="A rendered track, or the same track re-encoded.")],
    music: Annotated[list[Path], typer.Argument(help="One or more music files, played in this order.")],
    out_file: Annotated[Path, typer.Option("--out", "-o", help=f"The file to write: {SUFFIX_WORDS}.")],
    schedule: Annotated[
        Path | None, typer.Option(help="The track's schedule; by default NAME.schedule.json beside it.")
    ] = None,
    depth: Annotated[float, typer.Option(help="The most that music goes down under a cue, in LU.")] = 14.0,
    level: Annotated[float, typer.Option(help="Music between cues against speech, in LU.")] = -3.0,
    end: Annotated[str, typer.Option(help="loop: repeat the music to the end; stop: play it once.")] = "loop",
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
) -> None:
    """Put your own music under a track, lowered beneath each cue as far as that cue needs."""
    from cuelane.under import UnderOptions, summary_lines, wanting_lines
    from cuelane.under import under as put_under

    if end not in ("loop", "stop"):
        raise typer.BadParameter(f"expected loop or stop, got {end!r}", param_hint="--end")
    ending: Literal["loop", "stop"] = "loop" if end == "loop" else "stop"
    with progress("Mixing", quiet=as_json) as moved:
        report = put_under(
            track,
            music,
            out_file,
            UnderOptions(music_level_lu=level, most_depth_lu=depth, end=ending),
            schedule=schedule,
            progress=moved,
            force=force,
        )
    if as_json:
        out_json(_as_dict(report))
        return
    for line in report.notes:
        note(f"note: {line}")
    if report.plan.limited_by_peak:
        note("note: the file is softer than its target loudness, since its peaks would pass the ceiling")
    if (dip_db := report.plan.deepest_peak_dip_db) >= SHOWN_DIP_DB:
        note(
            f"note: the track has peaks that would pass the ceiling: there, voice and music are lowered "
            f"together, by {dip_db:.1f} dB at most"
        )
    for line in wanting_lines(report):
        note(f"note: {line}")
    for line in summary_lines(report):
        out(line)


def _as_dict(report: Any) -> dict[str, Any]:
    def finite(value: float) -> float | None:
        return round(value, 2) if math.isfinite(value) else None

    return {
        "out": str(report.out),
        "schedule": str(report.schedule),
        "music": [str(song.path) for song in report.songs],
        "music_level_lu": report.music_level_lu,
        "loudness_lufs": finite(report.loudness_lufs),
        "true_peak_dbtp": finite(report.true_peak_dbtp),
        "speech_lufs": finite(report.speech_lufs),
        "limited_by_peak": report.plan.limited_by_peak,
        "deepest_peak_dip_db": finite(report.plan.deepest_peak_dip_db),
        "events": [
            {
                "id": need.event.id,
                "kind": need.event.kind,
                "depth_lu": round(need.depth_lu, 2),
                "sii" if need.event.kind == "cue" else "over_masker_db": finite(need.value),
                "target": need.target,
                "grade": need.grade,
                "reached": need.reached,
                "wanted_depth_lu": finite(need.wanted_lu),
            }
            for need in report.plan.needs
        ],
        "notes": list(report.notes),
    }
