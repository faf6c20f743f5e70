"""Faults of single events, named for what they are, in a coach's words."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from cuelane.base.unsafe_text import on_one_line
from cuelane.check.fault_words import Tolerance, clock, late_or_early, name_of, size_of
from cuelane.check.findings import Finding, Findings
from cuelane.check.fit import Fit
from cuelane.check.report import Fault
from cuelane.check.speech.clip_match import Heard
from cuelane.check.templates import Template

# Chosen: a change of level that a listener notices between two cues; a smaller one would report what codecs
# do.
LEVEL_LU = 2.0
# Chosen: more than the scatter of the measurement itself, so that music and rooms cause no fault.
LEVEL_SIGMAS = 3.0
# Chosen: copies so much alike in distance, so many, and of most cues that were found, have one cause.
SAME_ECHO_MS, FEW_FOR_ECHO, MOSTLY = 5.0, 4, 0.6
# Chosen: with fewer cues there is no usual level to differ from.
FEW_FOR_LEVEL = 3


def event_faults(
    findings: Findings, templates: dict[str, Template], fit: Fit, tolerance: Tolerance,
    covered: set[str], stretched: set[str], absolute: bool,
) -> list[Fault]:  # fmt: skip
    """Return the faults of single events, without those in `covered`, which a fault of the file explains.

    Of those in `stretched` it explains the place and the pitch, but neither the level nor the length.
    """
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
        is_explained = row.event.id in stretched
        fault = None if is_explained else _misplaced(finding, templates, tolerance, absolute)
        if fault is not None:
            faults.append(fault)
        if finding.odd is not None and finding.odd.heard_hz and not is_explained:
            faults.append(_pitch(finding, finding.odd.heard_hz * fit.rate))
        if finding.odd is not None and finding.odd.length_s:
            faults.append(_length(finding, finding.odd.length_s / fit.rate))
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
        if finding.foreign:
            message = f"{clock(finding.place_s)} {name}: something else is said or heard in its place."
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
        more = f' "{on_one_line(templates[finding.instead.key].text)}" is said where it belongs.'
    message = f"{clock(finding.place_s)} {name} is {size_of(error)} {late_or_early(error)}.{more}"
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


def _pitch(finding: Finding, heard_hz: float) -> Fault:
    wanted = finding.expected.event.frequency_hz or 0.0
    message = (
        f"{clock(finding.place_s)} {name_of(finding.expected)} sounds at {heard_hz:.0f} Hz "
        f"instead of {wanted:.0f} Hz."
    )
    return Fault("pip pitch", message, finding.expected.event.id, finding.time_s)


def _length(finding: Finding, heard_s: float) -> Fault:
    message = (
        f"{clock(finding.place_s)} {name_of(finding.expected)} sounds for about {heard_s * 1000:.0f} ms "
        f"instead of {finding.expected.length_s * 1000:.0f} ms."
    )
    return Fault("pip length", message, finding.expected.event.id, finding.time_s)


def _cut(finding: Finding) -> Fault:
    assert finding.shape is not None
    assert finding.shape.gap_s is not None
    first, last = finding.shape.gap_s
    length = finding.shape.length_s
    name = name_of(finding.expected)
    if last >= length - 0.04:
        what = f"is cut short: its last {size_of((length - first) * 1000)} are missing"
    elif first <= 0.04:
        what = f"has lost its first {size_of(last * 1000)}"
    else:
        what = f"has a gap of {size_of((last - first) * 1000)}, {size_of(first * 1000)} after its beginning"
    message = f"{clock(finding.place_s)} {name} {what}."
    return Fault("cut short", message, finding.expected.event.id, finding.time_s)


def _named(finding: Finding) -> Fault:
    message = f'{clock(finding.place_s)} {name_of(finding.expected)}: a recogniser hears "{finding.words}".'
    return Fault("wrong words", message, finding.expected.event.id, finding.time_s)


def _gain(finding: Finding) -> tuple[tuple[float, ...], float] | None:
    """Return (readings of the level in dB, their uncertainty) of a found event; None without a template."""
    if finding.shape is not None:
        return finding.shape.gains_db, finding.shape.gain_error_db
    tone = finding.tone or (finding.odd.tone if finding.odd is not None and finding.odd.heard_hz else None)
    if tone is not None:
        rest = max(0.0, 1 / min(1.0, tone.score) ** 2 - 1)
        return (20 * float(np.log10(max(tone.amplitude, 1e-9))),), 8.7 * float(np.sqrt(rest / 2))
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
    """Return a fault for each cue that is said again, or one for a file in which most are, as far apart."""
    faults = []
    for copy in findings.copies:
        own = [f for f in findings.rows if f.expected.key == copy.key]
        nearest = min(own, key=lambda f: abs((f.time_s if f.time_s is not None else f.place_s) - copy.time_s))
        faults.append(_doubled(nearest, copy))
    n_cues = sum(f.expected.kind is None and f.time_s is not None for f in findings.rows)
    apart_ms = np.array([fault.error_ms or 0.0 for fault in faults])
    usual_ms = float(np.median(apart_ms)) if len(faults) else 0.0
    alike = np.abs(apart_ms - usual_ms) <= SAME_ECHO_MS
    if int(alike.sum()) < max(FEW_FOR_ECHO, MOSTLY * n_cues):
        return faults
    twice = tuple(fault.event for fault, of_all in zip(faults, alike, strict=True) if of_all and fault.event)
    n_twice = len(set(twice))
    what = "Everything is" if n_twice >= n_cues else f"{n_twice} of the {n_cues} cues are"
    message = f"{what} heard twice, {size_of(usual_ms)} apart: an echo, or the track was mixed with itself."
    others = [fault for fault, of_all in zip(faults, alike, strict=True) if not of_all]
    return [Fault("doubled", message, error_ms=usual_ms, others=twice), *others]


def _doubled(finding: Finding, copy: Heard) -> Fault:
    base = finding.time_s if finding.time_s is not None else finding.place_s
    apart_ms = (copy.time_s - base) * 1000
    when = "later" if apart_ms > 0 else "earlier"
    message = f"{clock(copy.time_s)} {name_of(finding.expected)} is said twice, {size_of(apart_ms)} {when}."
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
