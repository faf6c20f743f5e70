"""``cuelane check``: is every pip and cue of a file where its schedule says?"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cuelane.cli.options import Force, Recogniser
from cuelane.cli.output import file_named, note, out, out_json, progress, stage_json

if TYPE_CHECKING:
    from collections.abc import Callable

    from cuelane.base.files import Staged
    from cuelane.base.schedule import Schedule
    from cuelane.check.correlate import Signal
    from cuelane.check.report import Report
    from cuelane.check.speech.second_opinion import FreeHearing


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
    recogniser: Recogniser = None,
    silent: Annotated[bool, typer.Option("--silent", help="Fail on any sound between the events.")] = False,
    json: Annotated[str | None, typer.Option(help="Write the whole report as JSON; - for output.")] = None,
    page: Annotated[Path | None, typer.Option(help="Write the report with its picture as HTML.")] = None,
    force: Force = False,
) -> None:
    """Measure every pip and cue in a file against its schedule.

    Ends with 0 when all is in place, 1 when something is wrong, 2 when the file or the schedule cannot be
    used.
    """
    from cuelane.audio.store import ClipStore
    from cuelane.base.files import all_or_nothing, finish_interrupted
    from cuelane.base.schedule import load_schedule
    from cuelane.check.check_options import CheckOptions
    from cuelane.check.run import check as run_check
    from cuelane.check.set_files import with_set

    finish_interrupted(audio.parent, *([] if schedule is None else [schedule.parent]))
    if recogniser is not None and not words:
        note("--recogniser: not used, since no words are heard; add --words")
    where = schedule if schedule is not None else _schedule_found(audio)
    targets = [path for path in (file_named(json), page) if path is not None]
    delivery = partial(all_or_nothing, *targets, inputs=[audio, where, against], force=force)
    with delivery():
        # Refused here, before anything is measured.
        pass
    planned = load_schedule(where)
    options = CheckOptions(tolerance, words, silent, relative)
    hearing = _hearing(recogniser, planned.language) if words else None
    with progress("Listening", quiet=json == "-") as told:
        report = run_check(
            audio, planned, options, against=against, store=ClipStore(), hearing=hearing, progress=told
        )
    report = with_set(report, audio, where)
    with delivery() as staged:
        stage_json(staged, report.to_dict(), json)
        if page is not None:
            _stage_page(staged, page, report, planned)
    _tell(report, page, json)
    if not report.ok:
        raise typer.Exit(1)


def _hearing(recogniser: str | None, language: str) -> FreeHearing | None:
    """Return the strong recogniser if it is to be used; None for the one that `check` has of its own."""
    from cuelane.check.intake import ANALYSIS_RATE
    from cuelane.check.speech.second_opinion import FreeHearing
    from cuelane.recording.word_engines import choose_engine

    engine = choose_engine(recogniser, language)
    if engine is None or engine.name == "light":
        return None

    def make() -> Callable[[Signal], str]:
        listener = engine.make()
        longest = round(listener.longest_s * ANALYSIS_RATE)
        return lambda samples: " ".join(word.text for word in listener.hear(samples[:longest]))

    return FreeHearing(f"the {engine.name} recogniser, {engine.version}", make)


def _schedule_found(audio: Path) -> Path:
    """Return the schedule beside `audio`. Raises UsageError if there is none."""
    from cuelane.base.errors import UsageError
    from cuelane.base.schedule import schedule_beside

    if audio.suffix.lower() in (".yaml", ".yml"):
        made = audio.with_suffix(".m4a").name
        raise UsageError(f"{audio}: is no audio; name the track that was made of it, such as {made}")
    if audio.name.endswith(".schedule.json"):
        made = audio.name.removesuffix(".schedule.json") + ".m4a"
        raise UsageError(f"{audio}: is no audio; name the track that it lies beside, such as {made}")
    if not audio.exists():
        raise UsageError(f"{audio}: there is no such file")
    where = schedule_beside(audio)
    if not where.exists():
        raise UsageError(f"{where}: there is no schedule beside {audio}; name it with --schedule")
    return where


def _stage_page(staged: Staged, page: Path, report: Report, planned: Schedule) -> None:
    from cuelane.base.seals import sealable_html
    from cuelane.check.page import page as page_of

    staged.write_text(page, sealable_html(page_of(report, planned)))


def _tell(report: Report, page: Path | None, json: str | None) -> None:
    """Print the report, as JSON if that was asked for, and what was written."""
    from cuelane.check.text import report_text

    if page is not None:
        note(f"wrote {page}")
    if json == "-":
        out_json(report.to_dict())
    else:
        out(report_text(report))
