"""``cuelane adapt``: a recorded class into a plan and clips of the instructor's own voice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from cuelane.cli.options import Force, Recogniser
from cuelane.cli.output import as_typed, file_named, note, out, out_json, steps

if TYPE_CHECKING:
    from cuelane.adapt.run import Adapted


def adapt(
    recording: Annotated[Path, typer.Argument(help="A video or audio file of a class.")],
    folder: Annotated[Path, typer.Option("--out", help="The folder for the new plan and its clips.")],
    captions: Annotated[
        Path | None, typer.Option(help="Its captions: WebVTT, SubRip, or lines such as '1:05 Heels heavy.'")
    ] = None,
    plan: Annotated[
        Path | None, typer.Option(help="The session's plan, if there is one: its structure is a prior.")
    ] = None,
    beep_at: Annotated[
        str | None, typer.Option(help="Where one countdown ends, such as 12:30, if the search is unsure.")
    ] = None,
    work: Annotated[
        str | None, typer.Option(help="How long its work lasts, such as 40s; with --rest.")
    ] = None,
    rest: Annotated[
        str | None, typer.Option(help="How long its rest lasts, such as 20s; 0 for none.")
    ] = None,
    timing: Annotated[
        Literal["recorded", "exact"],
        typer.Option(help="Keep each interval as recorded, or give it its true length."),
    ] = "recorded",
    language: Annotated[str, typer.Option(help="The language spoken.")] = "en",
    recogniser: Recogniser = None,
    json: Annotated[str | None, typer.Option(help="Write the report as JSON; - for output.")] = None,
    force: Force = False,
) -> None:
    """Make an audio-only version of a recorded class: FOLDER/plan.yaml, ready to render.

    What is left out, and why, stands in FOLDER/decisions.txt: edit it and run the same command again.
    Recordings and voices belong to people; use only what you may.
    """
    from cuelane.adapt.adapt_options import AdaptOptions
    from cuelane.adapt.adapted_folder import REPORT_JSON
    from cuelane.adapt.run import adapt_recording

    beep_at_s, work_s = _seconds("--beep-at", beep_at), _seconds("--work", work)
    rest_s = _seconds("--rest", rest)
    if recogniser is not None and captions is not None:
        note("--recogniser: not used, since the words come from --captions")
    with steps(quiet=json == "-") as told:
        adapted = adapt_recording(
            recording,
            folder,
            AdaptOptions(captions, plan, beep_at_s, timing, language, recogniser, work_s, rest_s),
            step=told,
            report=file_named(json),
            force=force,
        )
    if json == "-":
        out_json(_report(folder / REPORT_JSON))
    else:
        _tell(adapted)
        _tell_files(folder, adapted)
    has_none = all(interval.kind == "talk" for interval in adapted.analysis.intervals)
    if has_none or adapted.analysis.lengths_left_aside:
        # The speech is cut, but the class has no intervals yet, or not those that were named: the report says
        # what a person can do.
        raise typer.Exit(1)


def _seconds(option: str, value: str | None) -> float | None:
    """Return an option's time in seconds; None where it is not given."""
    from cuelane.base.errors import UsageError
    from cuelane.base.units import parse_duration_ms

    try:
        return parse_duration_ms(value) / 1000 if value else None
    except ValueError as error:
        raise UsageError(f"{option}: expected {error}, got {value!r}") from error


def _report(path: Path) -> dict[str, object]:
    """Return a report that was just written, without what it holds of its files."""
    import json

    report = json.loads(path.read_text(encoding="utf-8"))
    return {key: value for key, value in report.items() if key not in ("files", "seal")}


def _tell_files(folder: Path, adapted: Adapted) -> None:
    """Say what was written and what comes next."""
    from cuelane.adapt.adapted_folder import DECISIONS, PATTERNS, PLAN, REPORT_MD

    as_exercises = f", {PATTERNS} (the class as exercises, to re-time)" if adapted.patterns else ""
    note(
        f"wrote {folder / PLAN} (the class as recorded){as_exercises}, {DECISIONS} and {REPORT_MD}; "
        f"next: cuelane render {as_typed(folder / PLAN)}"
    )


def _tell(adapted: Adapted) -> None:
    """Print what was found, and what is uncertain about it."""
    from cuelane.adapt.report import doubts

    analysis = adapted.analysis
    work = sum(interval.kind == "work" for interval in analysis.intervals)
    rest = sum(interval.kind == "rest" for interval in analysis.intervals)
    out(f"{work} work and {rest} rest intervals; {sum(adapted.kept)} of {len(analysis.cues)} sounds kept.")
    if analysis.beep:
        out(f"{'Countdown' if analysis.beep.is_tone else 'Boundaries'}: {analysis.beep.describe()}.")
    for doubt in doubts(analysis):
        out(f"Uncertain: {doubt}")
    for cue in adapted.planned.crowded_out:
        out(f"No room beside the pips: {cue.text}")
