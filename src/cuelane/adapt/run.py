"""``adapt``: a recorded class into FOLDER/plan.yaml, clips, a decisions file and a report."""

from __future__ import annotations

import json
import re
import tempfile
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from cuelane.adapt.analysis import Analysis, Step, analyse, analysis_key, from_json, to_json
from cuelane.adapt.decisions import decide, decisions_text, read_decisions
from cuelane.adapt.plan_file import CutCue, Planned, Timing, plan_intervals, plan_yaml
from cuelane.adapt.report import report_json, report_markdown
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.audio.clip import audible_span
from cuelane.base.errors import DeliveryError, UsageError
from cuelane.base.files import all_or_nothing
from cuelane.recording.cutting import cut_with_onset
from cuelane.recording.decode import CLIP_RATE, Recording, open_recording

PLAN, DECISIONS, ANALYSIS, LEADS = "plan.yaml", "decisions.txt", ".analysis.json", ".clips.json"
REPORT_MD, REPORT_JSON = "report.md", "report.json"
_CLIP = re.compile(r"\d+m\d\d\.\d\d\.wav")


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
) -> Adapted:
    """Make or remake `folder` from `recording`; decisions in it are read first and kept.

    Raises
    ------
    AudioFileError : the recording or the captions cannot be used.
    PlanError : the plan given, or the decisions file, is wrong.
    UsageError : no recording, no countdown at `beep_at_s`, or a folder that holds another plan.
    """
    if not recording.is_file():
        raise UsageError(f"{recording}: no such file; give the video or audio file of the class")
    _check_folder(folder)
    told: Step = step or (lambda what, done, total: None)
    decisions = read_decisions(folder / DECISIONS)
    words = read_captions(captions) if captions else None
    expected_s = _expected(plan) if plan else ()
    key = analysis_key(recording, captions, plan, beep_at_s)
    known = folder / ANALYSIS
    analysis = from_json(known.read_text(encoding="utf-8"), key) if known.is_file() else None
    reused = analysis is not None
    with ExitStack() as stack:
        opened = _Lazily(recording, stack, told)
        if analysis is None:
            analysis = analyse(
                opened.get(), words, expected_s=expected_s, beep_at_s=beep_at_s, language=language, step=told
            )
        kept, left = decide(analysis.cues, decisions)
        wanted = [cue for cue, keep in zip(analysis.cues, kept, strict=True) if keep]
        clips = folder / "clips"
        clips.mkdir(parents=True, exist_ok=True)
        leads = _read_leads(folder / LEADS) if reused else {}
        cut = [_cut(cue, clips, opened, leads) for cue in wanted]
    planned = plan_intervals(analysis.intervals, cut, analysis.beep, timing)
    title = re.sub(r"[_\s]+", " ", recording.stem).strip() or "Recorded class"
    adapted = Adapted(folder, analysis, tuple(kept), planned, reused)
    with all_or_nothing() as staged:
        staged.write_text(folder / PLAN, plan_yaml(title, planned, analysis.beep, language))
        staged.write_text(folder / DECISIONS, decisions_text(analysis.cues, kept, left))
        staged.write_text(folder / ANALYSIS, to_json(analysis, key))
        staged.write_text(folder / LEADS, json.dumps(leads, indent=1) + "\n")
        staged.write_text(folder / REPORT_JSON, report_json(analysis, kept, planned, timing))
        staged.write_text(folder / REPORT_MD, report_markdown(title, analysis, kept, planned, timing))
    _remove_stale(clips, {cue.clip for cue in cut})
    return adapted


def _check_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder}: is a file; give a folder for the new plan")
    plan = folder / PLAN
    if plan.exists() and not (folder / DECISIONS).exists():
        raise UsageError(f"{plan}: is a plan that adapt did not make; give another folder")


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


def _cut(cue: FoundCue, clips: Path, opened: _Lazily, leads: dict[str, float]) -> CutCue:
    """Write the clip of `cue` unless it is there, and return where it is audible.

    `leads` holds, by clip, how long after the cut it is audible; it is filled here and kept for the next run.
    """
    import soundfile

    minutes, hundredths = divmod(round(cue.start_s * 100), 6000)
    name = f"{minutes}m{hundredths // 100:02d}.{hundredths % 100:02d}.wav"
    path = clips / name
    if not path.exists() or name not in leads:
        clip, onset_s, _ = cut_with_onset(
            opened.get(), cue.start_s, cue.end_s, earliest_s=cue.start_s, latest_s=cue.end_s
        )
        leads[name] = round(onset_s - cue.start_s, 4)
        temporary = path.with_name(f".{name}.partial.wav")
        try:
            soundfile.write(temporary, clip, CLIP_RATE, subtype="PCM_24")
            temporary.replace(path)
        except (OSError, soundfile.SoundFileError) as error:
            temporary.unlink(missing_ok=True)
            raise DeliveryError(f"{path}: cannot be written: {error}") from error
    samples, _ = soundfile.read(path, dtype="float32")
    onset, end = audible_span(samples, CLIP_RATE)
    onset_s = cue.start_s + leads[name]
    end_s = onset_s + (end - onset) / CLIP_RATE
    return CutCue(round(onset_s * 1000), round(end_s * 1000), cue.text, cue.role, cue.interval, name)


def _read_leads(path: Path) -> dict[str, float]:
    try:
        written = json.loads(path.read_text(encoding="utf-8"))
        return {str(name): float(value) for name, value in written.items()}
    except (OSError, ValueError, AttributeError, TypeError):
        # Absent or damaged: the clips are cut again.
        return {}


def _remove_stale(clips: Path, names: set[str]) -> None:
    for path in clips.glob("*.wav"):
        if _CLIP.fullmatch(path.name) and path.name not in names:
            path.unlink(missing_ok=True)
