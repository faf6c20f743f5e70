"""``adapt``: a recorded class into FOLDER/plan.yaml, clips, a decisions file and a report, step by step."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.adapted_folder import (
    ANALYSIS,
    CLIPS,
    DECISIONS,
    LEADS,
    PATTERNS,
    PLAN,
    RECORD,
    REPORT_JSON,
    REPORT_MD,
    WRITTEN,
    give_up_damaged_clips,
    own_text,
    read_leads,
    require_usable,
)
from cuelane.adapt.analysis import (
    Analysis,
    Step,
    analyse,
    analysis_key,
    engine_for,
    from_json,
    lengths_of,
    to_json,
)
from cuelane.adapt.class_cues import CutCue, uncut
from cuelane.adapt.cut_clips import OpenedWhenNeeded, cut_clip
from cuelane.adapt.decisions import decide, decisions_text, read_decisions, record_text, with_purposes
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.pattern_report import WITHOUT_SETS
from cuelane.adapt.picture_words import proposals
from cuelane.adapt.plan_file import Planned, plan_intervals, plan_yaml
from cuelane.adapt.report import MadeFiles, report_json, report_markdown
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.word_lists import has_word_lists
from cuelane.base.errors import PlanError, UsageError
from cuelane.base.files import Staged, all_or_nothing
from cuelane.base.seals import json_with, listed_files, sealable_json


@dataclass(frozen=True)
class Adapted:
    """The result of ``adapt``. ``kept`` holds one decision for each of ``analysis.cues``.

    ``patterns`` is the class as exercises, None where ``why_none`` says why there is none.
    """

    folder: Path
    analysis: Analysis
    kept: tuple[bool, ...]
    planned: Planned
    reused: bool
    patterns: PatternPlan | None = None
    why_none: str = ""


def adapt_recording(
    recording: Path,
    folder: Path,
    options: AdaptOptions | None = None,
    *,
    step: Step | None = None,
    report: Path | None = None,
    force: bool = False,
) -> Adapted:
    """Make or remake `folder` from `recording`; decisions in it are read first and kept.

    Parameters
    ----------
    step : told (what, done, total) as the work goes on.
    report : where to put a copy of the report as JSON.
    force : files in the way that cuelane did not write, or that were changed since, are replaced.

    Raises
    ------
    AudioFileError : the recording or the captions cannot be used.
    PlanError : the plan given, or the decisions file, is wrong.
    UsageError : no recording, an unknown language, no countdown at `beep_at_s`, or a file would be written
        onto one of those given or, without `force`, onto somebody's own.
    """
    options, told = options or AdaptOptions(), step or (lambda what, done, total: None)
    if not recording.is_file():
        what = "is a folder" if recording.is_dir() else "no such file"
        raise UsageError(f"{recording}: {what}; give the video or audio file of the class")
    _require_language(options.language)
    lengths_of(options)
    require_usable(folder)
    listed = listed_files(folder / REPORT_JSON)
    given = [recording, options.captions, options.plan]
    delivery = partial(_delivery, folder, given, listed, report, force=force)
    with delivery():
        # Refused here, before an hour of sound is analysed.
        pass
    # Refused here too if it cannot be used; what counts is what it holds once the class has been listened to.
    read_decisions(folder / DECISIONS)
    with ExitStack() as stack:
        opened = OpenedWhenNeeded(recording, stack, told)
        analysis, key, reused = _analysed(opened, recording, folder, options, told)
        found = _Found(recording, analysis, key, reused)
        while True:
            try:
                with delivery() as staged:
                    return _made(opened, folder, options, staged, found, report=report, listed=listed)
            except _DecidedMeanwhileError:
                # Somebody edits the decisions while the clips are cut.
                continue


class _DecidedMeanwhileError(Exception):
    """The decisions file holds other decisions than those that were read."""


@dataclass(frozen=True)
class _Found:
    """What was found in a recording, the key of all it depends on, and whether an earlier run found it."""

    recording: Path
    analysis: Analysis
    key: str
    reused: bool


def _made(
    opened: OpenedWhenNeeded,
    folder: Path,
    options: AdaptOptions,
    staged: Staged,
    found: _Found,
    *,
    report: Path | None,
    listed: Mapping[str, str],
) -> Adapted:
    """Make all files of what was found, by the decisions as they are now."""
    decisions = read_decisions(folder / DECISIONS)

    def check() -> None:
        if read_decisions(folder / DECISIONS) != decisions:
            raise _DecidedMeanwhileError

    staged.check_last(check)
    kept, left = decide(found.analysis.cues, decisions)
    analysis = replace(found.analysis, cues=tuple(with_purposes(found.analysis.cues, decisions)))
    wanted = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if keep]
    clips = folder / CLIPS
    clips.mkdir(parents=True, exist_ok=True)
    leads = read_leads(folder) if found.reused else {}
    give_up_damaged_clips(folder, listed, staged)
    cut = [cut_clip(cue, clips, opened, leads, staged) for cue in wanted]
    planned = plan_intervals(analysis.intervals, cut, analysis.beep, options.timing)
    title = re.sub(r"[_\s]+", " ", found.recording.stem).strip() or "Recorded class"
    dropped = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if not keep]
    patterns, why = _patterns(title, analysis, cut, dropped, folder, options)
    if patterns is not None and patterns.shape.is_named:
        # No sound ends the work, which is as it was named all the same.
        analysis = replace(analysis, lengths_left_aside=False, tells_apart=True)
    adapted = Adapted(folder, analysis, tuple(kept), planned, found.reused, patterns, why)
    instead = _instead(analysis, patterns, options.language)
    staged.write_text(folder / DECISIONS, decisions_text(analysis.cues, kept, left, instead))
    staged.write_text(folder / RECORD, record_text(analysis.cues, kept, decisions))
    staged.write_text(folder / ANALYSIS, to_json(found.analysis, found.key))
    staged.write_text(folder / LEADS, json.dumps(leads, indent=1) + "\n")
    _write_plan(adapted, title, cut, instead, options, staged, report)
    return adapted


def _delivery(
    folder: Path, given: list[Path | None], listed: Iterable[str], report: Path | None, *, force: bool
) -> AbstractContextManager[Staged]:
    targets = [folder / name for name in WRITTEN] + ([] if report is None else [report])
    # In a folder of ours the decisions, which a person changes, are read and written anew, and the hidden
    # files only save time.
    owned = [folder / name for name in (DECISIONS, RECORD, ANALYSIS, LEADS) if name in listed]
    return all_or_nothing(
        *targets, home=folder, inputs=given, owned=owned, listing=folder / REPORT_JSON, force=force
    )


def _write_plan(
    adapted: Adapted,
    title: str,
    cut: list[CutCue],
    instead: tuple[tuple[str, ...], ...],
    options: AdaptOptions,
    staged: Staged,
    report: Path | None,
) -> None:
    """Write the plans, their report in both forms, and the list of all files; unlisted clips are removed."""
    folder, analysis, kept, planned = adapted.folder, adapted.analysis, adapted.kept, adapted.planned
    made = MadeFiles(planned, adapted.patterns, adapted.why_none, instead, tuple(cut))
    text = plan_yaml(title, planned, analysis.beep, options.language)
    _require_loadable(text, folder / PLAN, {cue.clip for cue in cut})
    staged.write_text(folder / PLAN, text)
    if adapted.patterns is not None:
        staged.write_text(folder / PATTERNS, adapted.patterns.text)
    as_json = report_json(analysis, kept, made, options.timing)
    if report is not None:
        staged.write_text(report, sealable_json(as_json))
    staged.write_text(folder / REPORT_MD, report_markdown(title, analysis, kept, made, options.timing))
    used = {f"{CLIPS}/{cue.clip}" for cue in cut}
    staged.write_listing(
        lambda files: sealable_json(json_with(as_json, "files", files)), lambda name, _before: name in used
    )


def _patterns(
    title: str,
    analysis: Analysis,
    cut: list[CutCue],
    dropped: list[FoundCue],
    folder: Path,
    options: AdaptOptions,
) -> tuple[PatternPlan | None, str]:
    """Return the class as exercises, or why there is none."""
    # What a person drops may have been misheard; what was proposed for it is understood.
    said = [uncut(cue) for cue in dropped if not cue.keep and cue.words]
    named = lengths_of(options) if analysis.lengths_left_aside or not analysis.tells_apart else None
    made = pattern_plan(title, analysis.intervals, cut, analysis.beep, options.language, said, named)
    if made is None:
        return None, WITHOUT_SETS
    try:
        _require_loadable(made.text, folder / PATTERNS, {cue.clip for cue in cut})
    except UsageError as error:
        # The class as it was is there all the same.
        return None, str(error)
    return made, ""


def _instead(analysis: Analysis, patterns: PatternPlan | None, language: str) -> tuple[tuple[str, ...], ...]:
    """Return for each cue that needs a picture what can be heard instead."""
    sets = dict(zip(patterns.shape.sets, patterns.shape.names, strict=True)) if patterns else {}
    exercises = [sets.get(cue.interval) for cue in analysis.cues]
    return tuple(map(tuple, proposals(analysis.cues, exercises, language)))


def _analysed(
    opened: OpenedWhenNeeded, recording: Path, folder: Path, options: AdaptOptions, told: Step
) -> tuple[Analysis, str, bool]:
    """Return the analysis, the key of all that it depends on, and whether it comes from an earlier run."""
    words = read_captions(options.captions) if options.captions else None
    expected_s = _countdown_ends_s(options.plan) if options.plan else ()
    key = analysis_key(recording, options)
    known = from_json(own_text(folder / ANALYSIS), key)
    if known is not None:
        return known, key, True
    found = analyse(
        opened.get(),
        words,
        expected_s=expected_s,
        beep_at_s=options.beep_at_s,
        lengths=lengths_of(options),
        language=options.language,
        engine=engine_for(options),
        step=told,
    )
    return found, key, False


def _require_language(code: str) -> None:
    if not has_word_lists(code):
        raise UsageError(
            "--language: a recorded class is understood by lists of words, and there are none for "
            f"{code!r} yet; there are: en"
        )


def _countdown_ends_s(plan: Path) -> tuple[float, ...]:
    """Return the boundaries of a plan that have a countdown, in seconds from its start.

    Raises
    ------
    PlanError : the plan is wrong.
    UsageError : it has fewer than two such boundaries.
    """
    from cuelane.plan.load import load_plan
    from cuelane.session.expand import expand

    intervals = expand(load_plan(plan)).intervals
    ends = tuple(interval.end_ms / 1000 for interval in intervals if interval.countdown)
    if len(ends) < 2:
        raise UsageError(f"{plan}: has no countdowns to hold the recording against")
    return ends


def _require_loadable(text: str, plan: Path, clips: set[str]) -> None:
    """Raise UsageError if `text`, which becomes `plan` beside `clips`, is one that `render` would refuse."""
    from cuelane.plan.load import load_plan

    with tempfile.TemporaryDirectory(prefix="cuelane-adapt-") as scratch:
        made = Path(scratch) / PLAN
        made.write_text(text, encoding="utf-8")
        (made.parent / CLIPS).mkdir()
        for name in clips:
            (made.parent / CLIPS / name).touch()
        try:
            load_plan(made)
        except PlanError as error:
            why = "\n".join(str(problem).replace(str(made), str(plan)) for problem in error.problems[:5])
            raise UsageError(f"{plan}: this recording gives a plan that cannot be used:\n{why}") from error
