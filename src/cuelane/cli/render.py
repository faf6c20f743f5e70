"""``cuelane render``: the audio and what goes with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.options import Force, PlanPace
from cuelane.cli.output import note, out, out_json, progress
from cuelane.media.formats import SUFFIX_WORDS

if TYPE_CHECKING:
    from cuelane.render.run import Rendered


def render(
    plan: Annotated[Path, typer.Argument(help="The plan file.")],
    out_file: Annotated[Path, typer.Option("--out", "-o", help=f"The audio to write: {SUFFIX_WORDS}.")],
    variant: Annotated[str | None, typer.Option(help="A variant that the plan gives, by its name.")] = None,
    voice: Annotated[str | None, typer.Option(help="Another voice than the plan's.")] = None,
    pace: PlanPace = None,
    loudness: Annotated[
        float, typer.Option(min=-31, max=-12, help="Integrated loudness of the file, in LUFS.")
    ] = -16.0,
    extras: Annotated[bool, typer.Option(help="Write page, captions, chapters and description.")] = True,
    srt: Annotated[bool, typer.Option("--srt", help="Write captions as SRT too.")] = False,
    embed: Annotated[bool, typer.Option("--embed", help="Put the audio inside the page.")] = False,
    for_music: Annotated[
        bool, typer.Option("--for-music", help="Shape a synthetic voice gently, to carry over music.")
    ] = False,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="Report as JSON.")] = False,
) -> None:
    """Render a plan to one audio file for a phone, with chapters, captions, a page and a description."""
    from cuelane.plan.variants import Chosen
    from cuelane.render.run import RenderOptions
    from cuelane.render.run import render as render_plan

    options = RenderOptions(
        variant=Chosen(variant) if variant else None,
        voice=voice,
        pace=pace,
        for_music=for_music,
        loudness_lufs=loudness,
        extras=extras,
        subtitles=srt,
        embed=embed,
    )

    with progress("Speaking", quiet=as_json) as speaking, progress("Writing", quiet=as_json) as writing:
        done = render_plan(
            plan,
            out_file,
            options,
            speech_progress=speaking,
            progress=writing,
            force=force,
        )
    if as_json:
        out_json(_as_dict(done))
    else:
        _print_text(done)
    if done.levels.limited_by_peak:
        note(f"Quieter than asked ({loudness:g} LUFS): louder would pass the true-peak ceiling.")
    for found in done.prepared.voice_notes:
        note(found)
    for text, reason in done.prepared.voiced.fallbacks.items():
        note(f"spoken by another voice: “{text}” ({reason})")
    for text, doubt in done.prepared.voiced.doubts.items():
        note(f"listen to “{text}” ({doubt}): other words or a comma may help")


def _as_dict(done: Rendered) -> dict[str, object]:
    schedule = done.prepared.schedule
    return {
        "files": [str(path) for path in done.files],
        "title": schedule.title,
        "n_frames": schedule.n_frames,
        "sample_rate": schedule.sample_rate,
        "n_cues": len(schedule.cues),
        "n_pips": len(schedule.pips),
        "n_dropped": len(schedule.dropped),
        "n_synthesised": done.prepared.voiced.n_synthesised,
        "fallbacks": done.prepared.voiced.fallbacks,
        "doubts": done.prepared.voiced.doubts,
        "voice_notes": list(done.prepared.voice_notes),
        "loudness": schedule.extra["loudness"],
        "facts": schedule.extra["facts"],
    }


def _print_text(done: Rendered) -> None:
    from cuelane.base.units import counted, format_clock, to_ms

    schedule, levels = done.prepared.schedule, done.levels
    length = format_clock(to_ms(schedule.n_frames, schedule.sample_rate))
    cues, pips = counted(len(schedule.cues), "cue"), counted(len(schedule.pips), "pip")
    out(f"{schedule.title}: {length}, {cues}, {pips}")
    out(f"{levels.integrated_lufs:.1f} LUFS, true peak {levels.true_peak_dbtp:.1f} dBTP")
    if "shape" in schedule.extra:
        shape = schedule.extra["shape"]
        gain = shape["mean_sii"][shape["name"]] - shape["mean_sii"]["off"]
        out(f"voice shaped for music: {shape['name']}, mean intelligibility index +{gain:.3f}")
    for path in done.files:
        out(f"  {path}")
    note("Before anyone trains to it: listen once, and read the cautions that are printed with it.")
