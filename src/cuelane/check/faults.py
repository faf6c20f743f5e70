"""Faults named for what they are, in a coach's words."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from cuelane.check.cues import Heard
from cuelane.check.findings import Finding, Findings
from cuelane.check.fit import Fit
from cuelane.check.intake import Intake
from cuelane.check.locate import Expected
from cuelane.check.report import Fault
from cuelane.check.templates import Template
from cuelane.schedule import Schedule
from cuelane.units import format_clock

LEVEL_LU = 2.0
LEVEL_SIGMAS = 3.0
END_S = 0.1
MIN_SKEW_PPM = 5.0
SPEED_CHANGED = 2e-3
FEW_FOR_LEVEL = 3
MP3_DELAY_S = 1105


@dataclass(frozen=True)
class Tolerance:
    """The largest allowed error in ms, end included, by kind of event and template."""

    pip_ms: float
    cue_ms: float
    plain_cue_ms: float

    def of(self, finding: Finding) -> float:
        if finding.expected.kind is not None:
            return self.pip_ms
        return self.plain_cue_ms if finding.source == "none" else self.cue_ms


def clock(time_s: float) -> str:
    """Return a place in a file as ``12:30.4``."""
    tenths = round(max(0.0, time_s) * 10)
    return f"{format_clock(tenths // 10 * 1000)}.{tenths % 10}"


def name_of(row: Expected) -> str:
    """Return how a person would call an event."""
    event = row.event
    if row.kind is not None:
        return f"{event.role} pip"
    text = event.text or event.role
    return f'"{text if len(text) <= 48 else text[:47].rstrip() + "…"}"'


def _size(error_ms: float) -> str:
    size = abs(error_ms)
    if size >= 1000:
        return f"{size / 1000:.2f} s"
    return f"{size:.1f} ms" if size < 100 else f"{size:.0f} ms"


def _late(error_ms: float) -> str:
    return "late" if error_ms > 0 else "early"


def file_faults(
    schedule: Schedule, intake: Intake, fit: Fit, findings: Findings, tolerance: Tolerance, relative: bool
) -> list[Fault]:
    """Return the faults of the file as a whole: offset, speed, jumps, a cut head, an early end, clipping."""
    faults: list[Fault] = []
    session_s = schedule.n_frames / schedule.sample_rate
    drift_ms = (fit.rate - 1) * session_s * 1000
    if not relative:
        if abs(fit.offset_s) * 1000 > tolerance.pip_ms:
            faults.append(_offset(fit, intake))
        if abs(drift_ms) > tolerance.pip_ms and abs(fit.skew_ppm) > MIN_SKEW_PPM:
            faults.append(_speed(fit, drift_ms))
    faults += _jumps(fit, findings)
    lost = [f for f in findings.rows if f.place_s < -0.001]
    if lost:
        faults.append(
            Fault(
                "head cut",
                f"The beginning is cut off: {_size(fit.offset_s * 1000)} and {_count(lost)} are gone.",
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
                f"The file ends at {clock(intake.length_s)}, {_size((end_s - intake.length_s) * 1000)} "
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


def _count(rows: list[Finding]) -> str:
    cues = sum(f.expected.kind is None for f in rows)
    pips = len(rows) - cues
    parts = [f"{n} {word}{'s' if n > 1 else ''}" for n, word in ((cues, "cue"), (pips, "pip")) if n]
    return " and ".join(parts)


def _offset(fit: Fit, intake: Intake) -> Fault:
    offset_ms = fit.offset_s * 1000
    why = "something was put before the start" if offset_ms > 0 else "the start was cut"
    if abs(fit.offset_s * intake.info.sample_rate - MP3_DELAY_S) < 30:
        why = "that is an MP3 encoder's delay, whose tag the file has lost"
    message = f"Everything is {_size(offset_ms)} {_late(offset_ms)}: {why}."
    return Fault("offset", message, at_s=max(0.0, fit.offset_s), error_ms=offset_ms)


def _speed(fit: Fit, drift_ms: float) -> Fault:
    way = "slow" if fit.rate > 1 else "fast"
    if abs(fit.rate - 1) > SPEED_CHANGED:
        message = f"It plays {abs(1 / fit.rate - 1) * 100:.1f} % too {way}."
    else:
        message = (
            f"Its clock is {abs(fit.skew_ppm):.0f} ppm {way}: by the end everything is "
            f"{_size(drift_ms)} {_late(drift_ms)}."
        )
    return Fault("speed", message, error_ms=drift_ms)


def _jumps(fit: Fit, findings: Findings) -> list[Fault]:
    faults = []
    for before, after in zip(fit.pieces, fit.pieces[1:], strict=False):
        step_ms = (after.offset_s - before.offset_s) * 1000
        rows = [f for f in findings.rows if fit.piece_at(f.expected.time_s) is after]
        place = fit.file_s(after.start_s)
        what = "something was put in before it" if step_ms > 0 else "something before it was cut out"
        whole_ms = after.offset_s * 1000
        total = "" if abs(whole_ms - step_ms) < 1 else f" ({_size(whole_ms)} {_late(whole_ms)} in all)"
        message = (
            f"From {clock(place)} on, everything is {_size(step_ms)} {_late(step_ms)} against what came "
            f"before{total}: {what}."
        )
        others = tuple(f.expected.event.id for f in rows)
        faults.append(Fault("jump", message, at_s=place, error_ms=step_ms, others=others))
    return faults


def event_faults(
    findings: Findings, templates: dict[str, Template], fit: Fit, tolerance: Tolerance,
    covered: set[str], absolute: bool,
) -> list[Fault]:  # fmt: skip
    """Return the faults of single events; those in `covered` are already told by a fault of the file."""
    faults: list[Fault] = []
    swapped = _swaps(findings)
    for finding in findings.rows:
        row = finding.expected
        if row.event.id in covered:
            continue
        if row.index in swapped:
            other = swapped[row.index]
            if row.index < other.expected.index:
                faults.append(_swap(finding, other))
            continue
        fault = _misplaced(finding, templates, tolerance, absolute)
        if fault is not None:
            faults.append(fault)
        if finding.pitch is not None and finding.pitch.heard_hz:
            faults.append(_pitch(finding, fit))
        if finding.shape is not None and finding.shape.gap_s is not None:
            faults.append(_cut(finding))
        if finding.source == "none" and finding.words not in (None, finding.expected.event.text):
            faults.append(_named(finding))
    faults += _levels(findings, covered)
    faults += _copies(findings)
    faults += _pip_counts(findings)
    return faults


def _misplaced(
    finding: Finding, templates: dict[str, Template], tolerance: Tolerance, absolute: bool
) -> Fault | None:
    row = finding.expected
    name, event_id = name_of(row), row.event.id
    if finding.unsure:
        return None
    if finding.time_s is None or (finding.instead is not None and finding.heard is None):
        if finding.instead is not None:
            said = templates[finding.instead.key].text
            message = f'{clock(finding.place_s)} {name}: "{said}" is said in its place.'
            return Fault("wrong words", message, event_id, finding.place_s)
        return Fault("missing", f"{clock(finding.place_s)} {name} is missing.", event_id, finding.place_s)
    errors = [finding.error_ms or 0.0]
    if absolute:
        errors.append((finding.time_s - row.time_s) * 1000)
    error = max(errors, key=abs)
    if abs(error) <= tolerance.of(finding) + 1e-6:
        return None
    more = ""
    if finding.instead is not None:
        more = f' "{templates[finding.instead.key].text}" is said where it belongs.'
    message = f"{clock(finding.place_s)} {name} is {_size(error)} {_late(error)}.{more}"
    kind = "late" if error > 0 else "early"
    return Fault(kind, message, event_id, finding.time_s, error)  # type: ignore[arg-type]


def _swaps(findings: Findings) -> dict[int, Finding]:
    """Return for each event that changed places with another, that other."""
    moved = [f for f in findings.rows if f.heard is not None and f.instead is not None]
    pairs: dict[int, Finding] = {}
    for finding in moved:
        for other in moved:
            if other is finding or finding.heard is None or other.heard is None:
                continue
            there = abs(finding.heard.time_s - other.place_s) < 0.3
            back = abs(other.heard.time_s - finding.place_s) < 0.3
            if there and back:
                pairs[finding.expected.index] = other
    return pairs


def _swap(first: Finding, second: Finding) -> Fault:
    message = (
        f"{clock(first.place_s)} {name_of(first.expected)} and {clock(second.place_s)} "
        f"{name_of(second.expected)} are swapped."
    )
    return Fault(
        "swapped", message, first.expected.event.id, first.place_s, others=(second.expected.event.id,)
    )


def _pitch(finding: Finding, fit: Fit) -> Fault:
    assert finding.pitch is not None
    assert finding.pitch.heard_hz is not None
    heard = finding.pitch.heard_hz * fit.rate
    wanted = finding.expected.event.frequency_hz or 0.0
    message = (
        f"{clock(finding.place_s)} {name_of(finding.expected)} sounds at {heard:.0f} Hz "
        f"instead of {wanted:.0f} Hz."
    )
    return Fault("pip pitch", message, finding.expected.event.id, finding.time_s)


def _cut(finding: Finding) -> Fault:
    assert finding.shape is not None
    assert finding.shape.gap_s is not None
    first, last = finding.shape.gap_s
    length = finding.shape.length_s
    name = name_of(finding.expected)
    if last >= length - 0.04:
        what = f"is cut short: its last {_size((length - first) * 1000)} are missing"
    elif first <= 0.04:
        what = f"has lost its first {_size(last * 1000)}"
    else:
        what = f"has a hole of {_size((last - first) * 1000)}, {_size(first * 1000)} in"
    message = f"{clock(finding.place_s)} {name} {what}."
    return Fault("cut short", message, finding.expected.event.id, finding.time_s)


def _named(finding: Finding) -> Fault:
    message = f'{clock(finding.place_s)} {name_of(finding.expected)}: a recogniser hears "{finding.words}".'
    return Fault("wrong words", message, finding.expected.event.id, finding.time_s)


def _gain(finding: Finding) -> tuple[tuple[float, ...], float] | None:
    """Return (readings of the level in dB, their uncertainty) of a found event; None without a template."""
    if finding.shape is not None:
        return finding.shape.gains_db, finding.shape.gain_error_db
    if finding.tone is not None:
        rest = max(0.0, 1 / min(1.0, finding.tone.score) ** 2 - 1)
        return (20 * float(np.log10(max(finding.tone.amplitude, 1e-9))),), 8.7 * float(np.sqrt(rest / 2))
    return None


def levels(findings: Findings) -> dict[int, float]:
    """Return each event's level in dB against the middle of its kind; only kinds with three and more.

    Of two readings the one nearer the middle counts, and where they disagree in sign neither.
    """
    groups: dict[str, list[tuple[int, tuple[float, ...]]]] = defaultdict(list)
    for finding in findings.rows:
        gain = _gain(finding)
        if gain is not None:
            group = finding.expected.key if finding.expected.kind is not None else "cue"
            groups[group].append((finding.expected.index, gain[0]))
    found: dict[int, float] = {}
    for rows in groups.values():
        if len(rows) < FEW_FOR_LEVEL:
            continue
        table = np.array([readings for _, readings in rows])
        table = table - np.median(table, axis=0)
        for (index, _), readings in zip(rows, table, strict=True):
            agree = bool((readings >= 0).all() or (readings <= 0).all())
            found[index] = float(readings[np.argmin(np.abs(readings))]) if agree else 0.0
    return found


def _levels(findings: Findings, covered: set[str]) -> list[Fault]:
    faults = []
    relative = levels(findings)
    for finding in findings.rows:
        gain = _gain(finding)
        level = relative.get(finding.expected.index)
        if gain is None or level is None or finding.expected.event.id in covered:
            continue
        if abs(level) <= LEVEL_LU + LEVEL_SIGMAS * gain[1]:
            continue
        way = "louder" if level > 0 else "softer"
        kind = "pips of its kind" if finding.expected.kind else "cues"
        message = (
            f"{clock(finding.place_s)} {name_of(finding.expected)} is {abs(level):.1f} dB {way} "
            f"than the other {kind}."
        )
        faults.append(Fault("level", message, finding.expected.event.id, finding.time_s))
    return faults


def _copies(findings: Findings) -> list[Fault]:
    faults = []
    for copy in findings.copies:
        own = [f for f in findings.rows if f.expected.key == copy.key]
        nearest = min(own, key=lambda f: abs((f.time_s if f.time_s is not None else f.place_s) - copy.time_s))
        faults.append(_doubled(nearest, copy))
    return faults


def _doubled(finding: Finding, copy: Heard) -> Fault:
    base = finding.time_s if finding.time_s is not None else finding.place_s
    apart_ms = (copy.time_s - base) * 1000
    when = "later" if apart_ms > 0 else "earlier"
    message = f"{clock(copy.time_s)} {name_of(finding.expected)} is said twice, {_size(apart_ms)} {when}."
    return Fault("doubled", message, finding.expected.event.id, copy.time_s, apart_ms)


def _pip_counts(findings: Findings) -> list[Fault]:
    """Return a fault for each pip too many, with the count of its countdown."""
    faults = []
    pips = [f for f in findings.rows if f.expected.kind is not None]
    for tone in findings.extra_pips:
        nearest = min(pips, key=lambda f: abs(f.place_s - tone.time_s))
        group = [f for f in pips if f.expected.event.interval == nearest.expected.event.interval]
        near = [f for f in group if abs(f.place_s - nearest.place_s) < 15]
        more = sum(abs(t.time_s - nearest.place_s) < 15 for t in findings.extra_pips)
        heard = sum(f.time_s is not None for f in near) + more
        message = f"{clock(tone.time_s)} a pip too many: {heard} are heard where {len(near)} belong."
        faults.append(Fault("pip count", message, nearest.expected.event.id, tone.time_s))
    return faults
