"""Check a file against a schedule: the one function that names every step."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from cuelane.base.errors import UsageError
from cuelane.base.schedule import Schedule
from cuelane.check.background import SILENCE_DBFS, Background, background, tenths
from cuelane.check.fault_words import Tolerance, clock, name_of
from cuelane.check.faults import event_faults, levels
from cuelane.check.file_faults import file_faults, other_voice
from cuelane.check.findings import Finding, Findings, assemble
from cuelane.check.fit import ClockPiece, Fit
from cuelane.check.intake import PEAKS_PER_S, CheckedSound, Intake, Progress, take_in
from cuelane.check.locate import (
    MIN_SUPPORT,
    Coarse,
    Expected,
    Located,
    expected_events,
    first_fit,
    locate,
    look_again,
)
from cuelane.check.pips.tone_search import ToneSearch
from cuelane.check.report import EventResult, Fault, Report, Summary
from cuelane.check.speech.phrase_search import PhraseSearch
from cuelane.check.speech.without_model import find_offset
from cuelane.check.templates import ClipSource, Template, gather
from cuelane.check.unmodelled import add_foreign, add_plain

PIP_TOLERANCE_MS = 5.0
CUE_TOLERANCE_MS = 20.0
FAR_BETTER = 1.2
OTHER_LOUDNESS_LU = 1.0
PLAIN_CUE_TOLERANCE_MS = 50.0
"""Without a template a cue's onset is only as sure as onset evaluation takes it to be."""


def check(
    audio: Path, schedule: Schedule, *, against: Path | None = None, store: ClipSource | None = None,
    tolerance_ms: float | None = None, words: bool = False, silent: bool = False, relative: bool = False,
    progress: Progress | None = None,
) -> Report:  # fmt: skip
    """Measure every pip and cue of `schedule` in `audio` and return what is wrong.

    Parameters
    ----------
    audio : any audio or video file.
    against : an original that is right; cues whose clips the store lacks are cut from it.
    store : where clips are found by hash; None uses none.
    tolerance_ms : largest error allowed, end included, for pips and cues alike; None means 5 ms for pips,
        20 ms for cues with a template, 50 ms without.
    words : also have a recogniser confirm each cue's words.
    silent : sound between events, above -60 dBFS, is a fault.
    relative : judge times against the fitted offset and clock rate only, not against the bare schedule.

    Raises
    ------
    AudioFileError : `audio` or `against` cannot be read.
    UsageError : a tolerance that is not above 0, or a schedule without events.
    """
    if tolerance_ms is not None and not 0 < tolerance_ms < 10_000:
        raise UsageError(f"the tolerance must be above 0 ms and below 10 s, got {tolerance_ms:g}")
    if not schedule.events:
        raise UsageError("the schedule has no events: there is nothing to check")
    tolerance = Tolerance(
        tolerance_ms or PIP_TOLERANCE_MS, tolerance_ms or CUE_TOLERANCE_MS,
        max(tolerance_ms or 0.0, PLAIN_CUE_TOLERANCE_MS),
    )  # fmt: skip
    templates = gather(schedule, store, against)
    expected = expected_events(schedule)
    kinds = sorted({row.kind for row in expected if row.kind is not None})
    phrases, tones = PhraseSearch(list(templates.values())), ToneSearch(kinds)
    intake = take_in(audio, [phrases, tones], progress)
    with intake.recording as recording:
        coarse = Coarse(phrases.candidates, tones.tones)
        fit, other_rate = first_fit(expected, coarse, schedule.n_frames / schedule.sample_rate)
        if fit is not None and other_rate is not None:
            slower = look_again(recording, templates, kinds, other_rate)
            again, _ = first_fit(expected, slower, schedule.n_frames / schedule.sample_rate)
            if again is not None and again.support > FAR_BETTER * fit.support:
                fit, coarse = again, slower
        if fit is None and not templates and not kinds:
            fit = _by_sound_alone(intake, expected)
        if fit is None or fit.support < MIN_SUPPORT:
            return _another(audio, schedule, intake, expected, templates, tolerance)
        located = locate(recording, templates, expected, fit, schedule.sample_rate)
        findings = assemble(recording, templates, expected, located, coarse, schedule.sample_rate)
        power = tenths(recording)
        between = background(power, _spans(findings, located.fit))
        add_plain(findings, recording, located.fit.rate, between.usual_dbfs)
        another_voice = add_foreign(findings, recording, located.fit.rate, between.usual_dbfs)
        between = background(power, _spans(findings, located.fit))
        heard = _listen(schedule, findings, recording, located.fit) if words else []
        measured = _Measured(intake, located, findings, templates, between, another_voice)
        return _report(audio, schedule, measured, tolerance, heard, silent=silent, relative=relative)


@dataclass(frozen=True)
class _Measured:
    """What was found in the file, for the report to judge."""

    intake: Intake
    located: Located
    findings: Findings
    templates: dict[str, Template]
    between: Background
    another_voice: bool


def _listen(schedule: Schedule, findings: Findings, recording: CheckedSound, fit: Fit) -> list[str]:
    """Have a recogniser name each cue that was found, and return what is to be noted of it."""
    from cuelane.check.speech.second_opinion import hear_all

    if not schedule.language.lower().startswith("en"):
        return [
            f"The recogniser knows English only; the words of this session ({schedule.language}) stay open."
        ]
    rows = [
        f for f in findings.rows if f.expected.kind is None and f.time_s is not None and f.expected.event.text
    ]
    places = [(f.expected.event.text or "", f.time_s or 0.0, f.expected.length_s * fit.rate) for f in rows]
    for finding, text in zip(rows, hear_all(recording, places), strict=True):
        finding.words = text
    agreed = sum(f.words == f.expected.event.text for f in rows)
    notes = [f"A recogniser confirms the words of {agreed} of {len(rows)} cues."]
    for finding in rows:
        if finding.words not in (None, finding.expected.event.text) and finding.source != "none":
            notes.append(
                f"{clock(finding.place_s)} {name_of(finding.expected)} fits its clip, but the recogniser "
                f'hears "{finding.words}": worth a listen.'
            )
    return notes


def _by_sound_alone(intake: Intake, expected: list[Expected]) -> Fit | None:
    """Return a fit from where there is sound at all, for a session without pips whose clips are unknown."""
    spans = [(row.time_s, row.time_s + row.length_s) for row in expected]
    offset_s = find_offset(intake.envelope, spans, PEAKS_PER_S)
    return None if offset_s is None else Fit(1.0, (ClockPiece(0.0, offset_s),), 1.0)


def _spans(findings: Findings, fit: Fit) -> list[tuple[float, float]]:
    spans = []
    for finding in findings.rows:
        time_s = finding.time_s if finding.time_s is not None else finding.place_s
        spans.append((time_s, time_s + finding.expected.length_s * fit.rate))
    spans += [(copy.time_s, copy.time_s + 3.0) for copy in findings.copies]
    return spans + [(tone.time_s, tone.time_s + tone.kind.length_s) for tone in findings.extra_pips]


def _report(
    audio: Path, schedule: Schedule, measured: _Measured, tolerance: Tolerance, heard: list[str], *,
    silent: bool, relative: bool,
) -> Report:  # fmt: skip
    intake, findings, between, fit = (
        measured.intake, measured.findings, measured.between, measured.located.fit
    )  # fmt: skip
    faults = file_faults(schedule, intake, fit, findings, tolerance, relative)
    if measured.another_voice:
        faults.append(other_voice(findings))
    covered = {
        event for fault in faults if fault.kind in ("head cut", "ends early") for event in fault.others
    }
    shifted = any(fault.kind in ("offset", "speed", "jump") for fault in faults)
    absolute = not relative and not shifted and len(fit.pieces) == 1
    faults += event_faults(findings, measured.templates, fit, tolerance, covered, absolute)
    notes = [f"The file looks damaged: {line}" for line in intake.damage] + heard
    unsure = sum(finding.unsure for finding in findings.rows)
    if unsure:
        notes.append(
            f"{unsure} cues could not be measured: without a template their edges cannot be told from the "
            "sound around them. Check on the machine that rendered the file, or with --against an original."
        )
    notes += _loudness(schedule, intake)
    if between.first_s is not None:
        notes.append(
            f"There is music or noise between the cues, {between.level_dbfs:.0f} dBFS on the whole, loudest "
            f"{between.loudest_dbfs:.0f} dBFS at {clock(between.loudest_s or 0.0)}."
        )
        if silent:
            message = (
                f"{clock(between.first_s)} sound where there should be silence: "
                f"{between.loudest_dbfs:.0f} dBFS at its loudest, where {SILENCE_DBFS:.0f} is allowed."
            )
            faults.append(Fault("sound", message, at_s=between.first_s))
    results = _results(findings, fit, tolerance)
    summary = _summary(schedule, intake, fit, results, tolerance, between.level_dbfs)
    faults.sort(key=_told)
    return Report(
        str(audio), schedule.title, not faults, _verdict(summary, faults), summary, results, tuple(faults),
        tuple(notes), tuple((p.start_s, p.offset_s) for p in fit.pieces) if len(fit.pieces) > 1 else (),
        intake.envelope,
    )  # fmt: skip


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


def _told(fault: Fault) -> tuple[bool, float]:
    """Return where a fault stands in the report: those of the file first, then by the place that is named."""
    place_s = fault.at_s if fault.at_s is not None else -1.0
    if fault.kind in ("late", "early"):
        place_s -= (fault.error_ms or 0.0) / 1000
    return fault.event is not None, place_s


def _verdict(summary: Summary, faults: list[Fault]) -> str:
    if not faults and summary.matched == summary.events:
        return f"Good: all {summary.events} events are in place."
    if not faults:
        rest = summary.events - summary.matched
        return f"Good as far as it goes: {summary.matched} events are in place, {rest} could not be measured."
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


def _another(
    audio: Path, schedule: Schedule, intake: Intake, expected: list[Expected], templates: dict[str, Template],
    tolerance: Tolerance,
) -> Report:  # fmt: skip
    """Return the report for a file in which this session was not found."""
    fit = Fit(1.0, (ClockPiece(0.0, 0.0),), 0.0)
    findings = Findings([])
    for row in expected:
        source = templates[row.key].source if row.key in templates else "none"
        findings.rows.append(Finding(row, row.time_s, "tone" if row.kind else source))
    results = _results(findings, fit, tolerance)
    summary = _summary(schedule, intake, fit, results, tolerance, float("-inf"), fitted=False)
    silent = bool(np.abs(intake.envelope).max(initial=0.0) < 1e-4)
    if silent:
        message = "The file is silent: none of the session is in it."
    else:
        message = "This is another session, or none: its cues and pips are not those of this schedule."
    fault = Fault("another session", message)
    notes = tuple(f"The file looks damaged: {line}" for line in intake.damage)
    return Report(
        str(audio), schedule.title, False, message, summary, results, (fault,), notes, (), intake.envelope
    )
