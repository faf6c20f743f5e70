"""Faults of a file as a whole: offset, speed, jumps, a cut head, an early end, clipping."""

from __future__ import annotations

import math

from cuelane.base.schedule import Schedule
from cuelane.check.fault_words import Tolerance, clock, late_or_early, size_of
from cuelane.check.findings import Finding, Findings
from cuelane.check.fit import Fit
from cuelane.check.intake import Intake
from cuelane.check.locate import SPEED_CHANGED
from cuelane.check.pips.measure import PITCH_CENTS
from cuelane.check.report import Fault

# Chosen: encoders trim or pad by up to a frame, 20 to 60 ms; that is not a cut.
END_S = 0.1
# Chosen: 5 ppm are 3 ms in ten minutes; a fit is good to 0.3 ppm (measured on one made track).
MIN_SKEW_PPM = 5.0
# Measured: by how much MP3 files without a gapless tag came late in three readers, at any rate.
MP3_DELAY_SAMPLES = 1105
# Chosen: waves are cut and joined within some 20 ms (common practice, no source).
STRETCH_MS = 20.0


def file_faults(
    schedule: Schedule, intake: Intake, fit: Fit, findings: Findings, tolerance: Tolerance, relative: bool,
    stretched: bool = False,
) -> list[Fault]:  # fmt: skip
    """Return the faults of the file as a whole: offset, speed, jumps, a cut head, an early end, clipping.

    `stretched` says that its speed was changed and its pitch kept, see :func:`stretched_pips`.
    """
    faults: list[Fault] = []
    session_s = schedule.n_frames / schedule.sample_rate
    drift_ms = (fit.rate - 1) * session_s * 1000
    if not relative:
        if abs(fit.offset_s) * 1000 > (max(tolerance.pip_ms, STRETCH_MS) if stretched else tolerance.pip_ms):
            faults.append(_offset(fit, intake))
        if abs(drift_ms) > tolerance.pip_ms and abs(fit.skew_ppm) > MIN_SKEW_PPM:
            faults.append(_speed(fit, drift_ms, stretched))
    faults += _jumps(fit, findings)
    lost = [f for f in findings.rows if f.place_s < -0.001]
    if lost:
        faults.append(
            Fault(
                "head cut",
                f"The beginning is cut off: {size_of(fit.offset_s * 1000)} and {_count(lost)} are gone.",
                at_s=0.0,
                others=tuple(f.expected.event.id for f in lost),
            )
        )
    end_s = fit.file_s(session_s)
    if end_s - intake.length_s > END_S:
        gone = [
            f for f in findings.rows if f.place_s + f.expected.length_s * fit.rate > intake.length_s + 0.02
        ]
        faults.append(
            Fault(
                "ends early",
                f"The file ends at {clock(intake.length_s)}, {size_of((end_s - intake.length_s) * 1000)} "
                f"before the session does" + (f"; {_count(gone)} are cut off." if gone else "."),
                at_s=intake.length_s,
                error_ms=(intake.length_s - end_s) * 1000,
                others=tuple(f.expected.event.id for f in gone),
            )
        )
    if intake.n_clipped:
        faults.append(
            Fault(
                "clipping",
                f"Clipped {intake.n_clipped} time{'s' if intake.n_clipped > 1 else ''}, first at "
                f"{clock(intake.clipped[0])}: turn it down before encoding.",
                at_s=intake.clipped[0],
            )
        )
    return faults


def other_voice(findings: Findings) -> Fault:
    """Return the fault of a file whose cues are said, but do not sound like their clips."""
    rows = [f for f in findings.rows if f.plain_s is not None]
    return Fault(
        "another voice",
        f"{len(rows)} cues do not sound like their clips, though something is said in their places: it was "
        "spoken with another voice or at another pace, or these are other words. They are timed by their "
        "onsets alone. To measure them closely, check on the machine that rendered the file, or with "
        "--against its original.",
        others=tuple(f.expected.event.id for f in rows if f.expected.kind is None),
    )


def _count(rows: list[Finding]) -> str:
    cues = sum(f.expected.kind is None for f in rows)
    pips = len(rows) - cues
    parts = [f"{n} {word}{'s' if n > 1 else ''}" for n, word in ((cues, "cue"), (pips, "pip")) if n]
    return " and ".join(parts)


def _offset(fit: Fit, intake: Intake) -> Fault:
    offset_ms = fit.offset_s * 1000
    why = "something was put before the start" if offset_ms > 0 else "the start was cut"
    if abs(fit.offset_s * intake.info.sample_rate - MP3_DELAY_SAMPLES) < 30:
        why = "that is an MP3 encoder's delay, whose tag the file has lost"
    message = f"Everything is {size_of(offset_ms)} {late_or_early(offset_ms)}: {why}."
    return Fault("offset", message, at_s=max(0.0, fit.offset_s), error_ms=offset_ms)


def stretched_pips(findings: Findings, fit: Fit) -> set[str]:
    """Return the pips of a file at another speed that have the schedule's pitch all the same, by their ids.

    So sounds what the speed control of a player or an editor gives: waves are cut out or put in, and none is
    drawn out. Each pip is then some milliseconds from its place, which the speed explains. Empty for all
    other files.
    """
    if abs(fit.rate - 1) <= SPEED_CHANGED:
        return set()
    pips = [f for f in findings.rows if f.expected.kind is not None and f.time_s is not None]
    kept = [f for f in pips if _has_planned_pitch(f)]
    if 2 * len(kept) <= len(pips):
        return set()
    return {f.expected.event.id for f in kept if abs(f.error_ms or 0.0) <= STRETCH_MS}


def _has_planned_pitch(finding: Finding) -> bool:
    heard_hz = finding.odd.heard_hz if finding.odd is not None else None
    wanted_hz = finding.expected.event.frequency_hz
    return bool(heard_hz and wanted_hz and abs(1200 * math.log2(heard_hz / wanted_hz)) <= PITCH_CENTS)


def _speed(fit: Fit, drift_ms: float, stretched: bool) -> Fault:
    way = "slow" if fit.rate > 1 else "fast"
    if abs(fit.rate - 1) > SPEED_CHANGED:
        kept = ", with its pitch kept, as a player's speed control does it" if stretched else ""
        message = f"It plays {abs(1 / fit.rate - 1) * 100:.1f} % too {way}{kept}."
    else:
        message = (
            f"Its clock is {abs(fit.skew_ppm):.0f} ppm {way}: by the end everything is "
            f"{size_of(drift_ms)} {late_or_early(drift_ms)}."
        )
    return Fault("speed", message, error_ms=drift_ms)


def _jumps(fit: Fit, findings: Findings) -> list[Fault]:
    faults = []
    for before, after in zip(fit.pieces, fit.pieces[1:], strict=False):
        step_ms = (after.offset_s - before.offset_s) * 1000
        rows = [f for f in findings.rows if fit.piece_at(f.expected.time_s) is after]
        place, whole_ms = fit.file_s(after.start_s), after.offset_s * 1000
        step = f"{size_of(step_ms)} {late_or_early(step_ms)}"
        whole = f"{size_of(whole_ms)} {late_or_early(whole_ms)}"
        total = "" if abs(whole_ms - step_ms) < 1 else f" ({whole} in all)"
        what = "put in" if step_ms > 0 else "cut out"
        earlier = [f.time_s for f in findings.rows if fit.piece_at(f.expected.time_s) is before]
        first_s = max((time_s for time_s in earlier if time_s is not None and time_s < place), default=0.0)
        message = (
            f"Between {clock(first_s)} and {clock(place)} something was {what}: from there on, everything is "
            f"{step} against what came before{total}."
        )
        others = tuple(f.expected.event.id for f in rows)
        faults.append(Fault("jump", message, at_s=place, error_ms=step_ms, others=others))
    return faults
