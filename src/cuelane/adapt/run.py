"""``adapt``: a recorded class into FOLDER/plan.yaml, clips, a decisions file and a report."""

from __future__ import annotations

import json
import re
import tempfile
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.adapt.analysis import Analysis, Step, analyse, analysis_key, from_json, to_json
from cuelane.adapt.decisions import decide, decisions_text, read_decisions
from cuelane.adapt.plan_file import CutCue, Planned, Timing, plan_intervals, plan_yaml
from cuelane.adapt.report import report_json, report_markdown
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.audio.clip import audible_span
from cuelane.base.errors import DeliveryError, PlanError, UsageError
from cuelane.base.files import Staged, all_or_nothing
from cuelane.base.ordinary import OddFileError, open_ordinary, read_ordinary
from cuelane.base.seals import is_inside, json_with, listed_files, sealable_json
from cuelane.recording.cutting import cut_with_onset, write_clip
from cuelane.recording.decode import CLIP_RATE, Recording, open_recording

PLAN, DECISIONS, ANALYSIS, LEADS = "plan.yaml", "decisions.txt", ".analysis.json", ".clips.json"
CLIPS = "clips"
MAX_OWN_BYTES = 100_000_000
REPORT_MD, REPORT_JSON = "report.md", "report.json"
MAX_LEAD_S = 60.0
_WRITTEN = (PLAN, DECISIONS, ANALYSIS, LEADS, REPORT_JSON, REPORT_MD)


@dataclass(frozen=True)
class Adapted:
    """What came of it. ``kept`` goes along with ``analysis.cues``."""

    folder: Path
    analysis: Analysis
    kept: tuple[bool, ...]
    planned: Planned
    reused: bool


def adapt_recording(
    recording: Path,
    folder: Path,
    *,
    captions: Path | None = None,
    plan: Path | None = None,
    beep_at_s: float | None = None,
    timing: Timing = "recorded",
    language: str = "en",
    step: Step | None = None,
    report: Path | None = None,
    force: bool = False,
) -> Adapted:
    """Make or remake `folder` from `recording`; decisions in it are read first and kept.

    Parameters
    ----------
    report : where to put a copy of the report as JSON.
    force : files in the way that cuelane did not write, or that were changed since, are replaced.

    Raises
    ------
    AudioFileError : the recording or the captions cannot be used.
    PlanError : the plan given, or the decisions file, is wrong.
    UsageError : no recording, no countdown at `beep_at_s`, a folder that holds another plan, or a file that
        would be written onto one of those given or, without `force`, onto somebody's own.
    """
    if not recording.is_file():
        raise UsageError(f"{recording}: no such file; give the video or audio file of the class")
    _check_folder(folder)
    listed = listed_files(folder / REPORT_JSON)

    def delivery() -> AbstractContextManager[Staged]:
        targets = [folder / name for name in _WRITTEN] + ([] if report is None else [report])
        # In a folder of ours the decisions, which a person changes, are read and written anew, and the hidden
        # files only save time.
        owned = [folder / name for name in (DECISIONS, ANALYSIS, LEADS) if name in listed]
        given = [recording, captions, plan]
        return all_or_nothing(
            *targets, home=folder, inputs=given, owned=owned, listing=folder / REPORT_JSON, force=force
        )

    with delivery():
        # Told before an hour is listened to.
        pass
    told: Step = step or (lambda what, done, total: None)
    decisions = read_decisions(folder / DECISIONS)
    words = read_captions(captions) if captions else None
    expected_s = _expected(plan) if plan else ()
    key = analysis_key(recording, captions, plan, beep_at_s)
    known = folder / ANALYSIS
    analysis = from_json(_text_of(known), key)
    reused = analysis is not None
    with ExitStack() as stack:
        opened = _Lazily(recording, stack, told)
        if analysis is None:
            analysis = analyse(
                opened.get(), words, expected_s=expected_s, beep_at_s=beep_at_s, language=language, step=told
            )
        kept, left = decide(analysis.cues, decisions)
        wanted = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if keep]
        clips = folder / CLIPS
        clips.mkdir(parents=True, exist_ok=True)
        leads = _read_leads(folder / LEADS) if reused else {}
        staged = stack.enter_context(delivery())
        for name in listed:
            if name.startswith(f"{CLIPS}/") and is_inside(name) and _kept(folder / name) is None:
                # A clip of ours that is no sound any more is nobody's work.
                staged.own(folder / name)
        cut = [_cut(cue, clips, opened, leads, staged) for cue in wanted]
        planned = plan_intervals(analysis.intervals, cut, analysis.beep, timing)
        title = re.sub(r"[_\s]+", " ", recording.stem).strip() or "Recorded class"
        text = plan_yaml(title, planned, analysis.beep, language)
        _require_loadable(text, folder / PLAN, {cue.clip for cue in cut})
        staged.write_text(folder / PLAN, text)
        staged.write_text(folder / DECISIONS, decisions_text(analysis.cues, kept, left))
        staged.write_text(folder / ANALYSIS, to_json(analysis, key))
        staged.write_text(folder / LEADS, json.dumps(leads, indent=1) + "\n")
        told_as_json = report_json(analysis, kept, planned, timing)
        if report is not None:
            staged.write_text(report, sealable_json(told_as_json))
        staged.write_text(folder / REPORT_MD, report_markdown(title, analysis, kept, planned, timing))
        used = {f"{CLIPS}/{cue.clip}" for cue in cut}
        staged.write_listing(
            lambda files: sealable_json(json_with(told_as_json, "files", files)),
            lambda name, _before: name in used,
        )
    return Adapted(folder, analysis, tuple(kept), planned, reused)


def _check_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder}: is a file; give a folder for the new plan")
    clips = folder / CLIPS
    if clips.is_symlink() or (clips.exists() and not clips.is_dir()):
        # Clips that are no longer wanted are deleted from it.
        raise UsageError(f"{clips}: must be a folder of its own, no link and no file; give another --out")


def _expected(plan: Path) -> tuple[float, ...]:
    """Return the boundaries of a plan that have a countdown, in seconds from its start."""
    from cuelane.plan.load import load_plan
    from cuelane.session.expand import expand

    intervals = expand(load_plan(plan)).intervals
    ends = tuple(interval.end_ms / 1000 for interval in intervals if interval.countdown)
    if len(ends) < 2:
        raise UsageError(f"{plan}: has no countdowns to hold the recording against")
    return ends


class _Lazily:
    """The recording, decoded when it is first needed."""

    def __init__(self, path: Path, stack: ExitStack, told: Step) -> None:
        self._path, self._stack, self._told = path, stack, told
        self._opened: Recording | None = None

    def get(self) -> Recording:
        if self._opened is None:
            scratch = Path(self._stack.enter_context(tempfile.TemporaryDirectory(prefix="cuelane-adapt-")))
            self._told("reading the recording", 0, 1)
            self._opened = open_recording(self._path, scratch)
        return self._opened


def _cut(cue: FoundCue, clips: Path, opened: _Lazily, leads: dict[str, float], staged: Staged) -> CutCue:
    """Write the clip of `cue` unless it is there, and return where it is audible.

    `leads` holds, by clip, how long after the cut it is audible; it is filled here and kept for the next run.
    """
    minutes, hundredths = divmod(round(cue.start_s * 100), 6000)
    name = f"{minutes}m{hundredths // 100:02d}.{hundredths % 100:02d}.wav"
    path = clips / name
    samples = _kept(path) if name in leads else None
    if samples is None:
        clip, onset_s, _ = cut_with_onset(
            opened.get(), cue.start_s, cue.end_s, earliest_s=cue.start_s, latest_s=cue.end_s
        )
        leads[name] = round(onset_s - cue.start_s, 4)
        made = staged.path_for(path)
        write_clip(made, clip, path)
        samples = _kept(made)
        if samples is None:
            raise DeliveryError(f"{path}: was written, but cannot be read back")
    onset, end = audible_span(samples, CLIP_RATE)
    onset_s = cue.start_s + leads[name]
    end_s = onset_s + (end - onset) / CLIP_RATE
    return CutCue(round(onset_s * 1000), round(end_s * 1000), cue.text, cue.role, cue.interval, name)


def _kept(path: Path) -> npt.NDArray[np.float32] | None:
    """Return the samples of a clip that was cut before, or None if it is gone or damaged.

    Raises
    ------
    UsageError : something that is no file lies in its place.
    """
    import soundfile

    try:
        with open_ordinary(path, MAX_OWN_BYTES) as file:
            samples, rate = soundfile.read(file, dtype="float32")
    except OddFileError as error:
        raise UsageError(f"{path}: {error}; move it away") from error
    except (OSError, soundfile.SoundFileError):
        return None
    whole = rate == CLIP_RATE and samples.ndim == 1 and np.abs(samples).max(initial=0.0) > 0
    return np.asarray(samples, np.float32) if whole else None


def _text_of(path: Path) -> str:
    """Return a file of our own from an earlier run; empty if it is gone or damaged, which only costs time."""
    try:
        return read_ordinary(path, MAX_OWN_BYTES).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


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


def _read_leads(path: Path) -> dict[str, float]:
    try:
        written = json.loads(_text_of(path))
        leads = {str(name): float(value) for name, value in written.items()}
        return {name: lead_s for name, lead_s in leads.items() if abs(lead_s) < MAX_LEAD_S}
    except (ValueError, AttributeError, TypeError, OverflowError, RecursionError):
        # Absent or damaged: the clips are cut again.
        return {}
