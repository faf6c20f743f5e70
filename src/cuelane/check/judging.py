"""What was measured in a file, judged: its faults, its notes, its figures and the verdict."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cuelane.base.schedule import Schedule
from cuelane.base.units import counted
from cuelane.check.background import SILENCE_DBFS, Background
from cuelane.check.check_options import CheckOptions
from cuelane.check.fault_words import Tolerance, clock
from cuelane.check.faults import event_faults, levels
from cuelane.check.file_faults import file_faults, other_voice, stretched_pips
from cuelane.check.findings import Finding, Findings
from cuelane.check.fit import ClockPiece, Fit
from cuelane.check.intake import Intake
from cuelane.check.locate import Expected
from cuelane.check.report import EventResult, Fault, Report, Summary
from cuelane.check.templates import Template

# Chosen: codecs change loudness by a tenth of this; a player's volume or a second mastering by more.
OTHER_LOUDNESS_LU = 1.0
# Chosen: -80 dBFS, under any recording's own noise.
SILENT_PEAK = 1e-4
# Chosen: two channels whose mean is so far under them cancel each other; of what only one has, 6 dB are lost.
# Opus, which codes them one by one, left -32 and -41 dB of what cancels in WAV (measured on one made track).
CANCELLED_DB = 25.0
# Chosen: so far over silence the channels must be to be heard at all.
HEARD_DB = 20.0


@dataclass(frozen=True)
class Measured:
    """What was found in the file. ``heard`` are the recogniser's notes, if it was asked."""

    intake: Intake
    fit: Fit
    findings: Findings
    templates: dict[str, Template]
    between: Background
    another_voice: bool
    heard: tuple[str, ...]


def judged(audio: Path, schedule: Schedule, measured: Measured, options: CheckOptions) -> Report:
    """Return the report on a file in which the session was found."""
    intake, findings, between, fit = measured.intake, measured.findings, measured.between, measured.fit
    tolerance = options.tolerance()
    faults = _timing_faults(schedule, measured, tolerance, options.relative)
    notes = [*_damage(intake), *measured.heard]
    if measured.another_voice and not any(fault.kind == "another voice" for fault in faults):
        notes.append(
            "The cues were timed by their onsets alone: at another speed with the pitch kept they do not "
            "sound like their clips, and other words or another voice would not be told from them."
        )
    unsure = sum(finding.unsure for finding in findings.rows)
    if unsure:
        notes.append(
            f"{counted(unsure, 'cue')} could not be measured: without a template no edge can be told from "
            "the sound around it. Check on the machine that rendered the file, or with --against an original."
        )
    if findings.is_narrow:
        notes.append(
            "Nothing above a telephone's band, some 3.4 kHz, is in the file: whether a hiss is missing, as "
            "in s or f, cannot be told."
        )
    notes += _loudness(schedule, intake)
    notes += _sound_between(between)
    if between.first_s is not None and options.silent:
        message = (
            f"{clock(between.first_s)} sound where there should be silence: "
            f"{between.loudest_dbfs:.0f} dBFS at its loudest, where {SILENCE_DBFS:.0f} is allowed."
        )
        faults.append(Fault("sound", message, at_s=between.first_s))
    results = _results(findings, fit, tolerance)
    summary = _summary(schedule, intake, fit, results, tolerance, between.level_dbfs)
    faults.sort(key=_place_in_report)
    pieces = tuple((piece.start_s, piece.offset_s) for piece in fit.pieces) if len(fit.pieces) > 1 else ()
    return Report(
        audio=str(audio),
        title=schedule.title,
        ok=not faults,
        verdict=_verdict(summary, faults),
        summary=summary,
        events=results,
        faults=tuple(faults),
        notes=tuple(notes),
        pieces=pieces,
        envelope=intake.envelope,
    )


def another_session(
    audio: Path,
    schedule: Schedule,
    intake: Intake,
    expected: list[Expected],
    templates: dict[str, Template],
    tolerance: Tolerance,
) -> Report:
    """Return the report on a file in which this session was not found."""
    fit = Fit(1.0, (ClockPiece(0.0, 0.0),), 0.0)
    findings = Findings([])
    for row in expected:
        source = templates[row.key].source if row.key in templates else "none"
        findings.rows.append(Finding(row, row.time_s, "tone" if row.kind else source))
    results = _results(findings, fit, tolerance)
    summary = _summary(schedule, intake, fit, results, tolerance, float("-inf"), fitted=False)
    if _cancels(intake):
        message = (
            "Its two channels are each other's opposite: together, as from a phone's one loudspeaker, they "
            "cancel out. Turn the polarity of one of them over."
        )
    elif np.abs(intake.envelope).max(initial=0.0) < SILENT_PEAK:
        message = "The file is silent: none of the session is in it."
    else:
        message = "This is another session, or none: its cues and pips are not those of this schedule."
    return Report(
        audio=str(audio),
        title=schedule.title,
        ok=False,
        verdict=message,
        summary=summary,
        events=results,
        faults=(Fault("another session", message),),
        notes=tuple(_damage(intake)),
        envelope=intake.envelope,
    )


def _cancels(intake: Intake) -> bool:
    """Return whether the two channels of a file, which are heard, leave next to nothing together."""
    together = max(float(np.abs(intake.envelope).max(initial=0.0)), SILENT_PEAK / 10)
    apart_db = intake.true_peak_dbtp
    is_heard = apart_db > 20 * np.log10(SILENT_PEAK) + HEARD_DB
    return intake.info.n_channels == 2 and is_heard and 20 * np.log10(together) < apart_db - CANCELLED_DB


def _timing_faults(
    schedule: Schedule, measured: Measured, tolerance: Tolerance, relative: bool
) -> list[Fault]:
    """Return the faults of the file as a whole and of each event, without those of events that a fault of
    the file covers."""
    fit, findings = measured.fit, measured.findings
    stretched = stretched_pips(findings, fit)
    faults = file_faults(schedule, measured.intake, fit, findings, tolerance, relative, bool(stretched))
    # Cues whose waves were cut and joined do not sound like their clips either.
    if measured.another_voice and not stretched:
        faults.append(other_voice(findings))
    covered = {
        event for fault in faults if fault.kind in ("head cut", "ends early") for event in fault.others
    }
    shifted = any(fault.kind in ("offset", "speed", "jump") for fault in faults)
    absolute = not relative and not shifted and len(fit.pieces) == 1
    return faults + event_faults(findings, measured.templates, fit, tolerance, covered, stretched, absolute)


def _damage(intake: Intake) -> list[str]:
    return [f"The file looks damaged: {line}" for line in intake.damage]


def _sound_between(between: Background) -> list[str]:
    """Return a note if there is sound between the events."""
    if between.first_s is None:
        return []
    return [
        f"There is music or noise between the cues, {between.level_dbfs:.0f} dBFS on the whole, loudest "
        f"{between.loudest_dbfs:.0f} dBFS at {clock(between.loudest_s or 0.0)}."
    ]


def _loudness(schedule: Schedule, intake: Intake) -> list[str]:
    """Return a note if the file is louder or softer than the schedule says it was made."""
    planned = schedule.extra.get("loudness")
    made_lufs = planned.get("integrated_lufs") if isinstance(planned, dict) else None
    if not isinstance(made_lufs, int | float) or not np.isfinite(intake.loudness_lufs):
        return []
    away = intake.loudness_lufs - made_lufs
    if abs(away) <= OTHER_LOUDNESS_LU:
        return []
    way = "louder" if away > 0 else "softer"
    return [f"The file as a whole is {abs(away):.1f} LU {way} than it was made ({made_lufs:.1f} LUFS)."]


def _place_in_report(fault: Fault) -> tuple[bool, float]:
    """Return where a fault stands in the report: those of the file first, then by the place that is named."""
    place_s = fault.at_s if fault.at_s is not None else -1.0
    if fault.kind in ("late", "early"):
        place_s -= (fault.error_ms or 0.0) / 1000
    return fault.event is not None, place_s


def _verdict(summary: Summary, faults: list[Fault]) -> str:
    if not faults and summary.matched == summary.events:
        n = summary.events
        return f"Good: all {n} events are in place." if n != 1 else "Good: the one event is in place."
    if not faults:
        rest, are = summary.events - summary.matched, "is" if summary.matched == 1 else "are"
        found = counted(summary.matched, "event")
        return f"Good, but incomplete: {found} {are} in place, {rest} could not be measured."
    n = len(faults)
    return f"Not right: {n} fault{'s' if n > 1 else ''}, {summary.matched} of {summary.events} events found."


def _results(findings: Findings, fit: Fit, tolerance: Tolerance) -> tuple[EventResult, ...]:
    level = levels(findings)
    rows = []
    for finding in findings.rows:
        row, time_s = finding.expected, finding.time_s
        scored = finding.heard or finding.tone or (finding.odd.tone if finding.odd else None)
        rows.append(
            EventResult(
                id=row.event.id, kind=row.event.kind, role=row.event.role, text=row.event.text,
                expected_s=row.time_s, planned_file_s=finding.place_s, length_s=row.length_s,
                template=finding.source, tolerance_ms=tolerance.of(finding), measured_s=time_s,
                error_ms=finding.error_ms,
                absolute_error_ms=None if time_s is None else (time_s - row.time_s) * 1000,
                score=scored.score if scored else None, level_db=level.get(row.index),
                heard_words=finding.words,
            )
        )  # fmt: skip
    return tuple(rows)


def _summary(
    schedule: Schedule, intake: Intake, fit: Fit, results: tuple[EventResult, ...], tolerance: Tolerance,
    background_dbfs: float, fitted: bool = True,
) -> Summary:  # fmt: skip
    found = [row for row in results if row.measured_s is not None and row.error_ms is not None]
    sizes = np.array([abs(row.error_ms or 0.0) for row in found])
    worst = found[int(np.argmax(sizes))] if len(sizes) else None
    starts = [(row.measured_s or 0.0, row.length_s * fit.rate) for row in found]
    busy = _union([(start, start + length) for start, length in starts])
    open_s = max(0.0, intake.length_s - busy)
    return Summary(
        events=len(results), matched=len(found),
        median_ms=float(np.median(sizes)) if len(sizes) else None,
        p95_ms=float(np.percentile(sizes, 95)) if len(sizes) else None,
        largest_ms=worst.error_ms if worst else None, largest_event=worst.id if worst else None,
        offset_ms=fit.offset_s * 1000, skew_ppm=fit.skew_ppm, fitted=fitted, length_s=intake.length_s,
        session_s=schedule.n_frames / schedule.sample_rate, loudness_lufs=intake.loudness_lufs,
        true_peak_dbtp=intake.true_peak_dbtp, open_s=open_s,
        open_share=open_s / intake.length_s if intake.length_s else 0.0, background_dbfs=background_dbfs,
        tolerance_pip_ms=tolerance.pip_ms, tolerance_cue_ms=tolerance.cue_ms,
        templates=dict(Counter(row.template for row in found)),
    )  # fmt: skip


def _union(spans: list[tuple[float, float]]) -> float:
    total, reach = 0.0, 0.0
    for first, last in sorted(spans):
        total += max(0.0, last - max(first, reach))
        reach = max(reach, last)
    return total
