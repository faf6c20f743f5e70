"""The report in words: the verdict, the summary, then only what is wrong."""

from __future__ import annotations

import math

from cuelane.base.units import format_clock
from cuelane.check.fault_words import clock
from cuelane.check.report import Report, Summary

# Chosen: a screen or two; all of it is in the JSON and on the page.
MOST_LINES = 60
_SOURCES = {"clip": "by clip", "original": "by the original", "tone": "by tone", "none": "without a template"}


def _ms(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f} ms" if abs(value) < 10 else f"{value:.1f} ms"


def _level(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}" if math.isfinite(value) else f"no {unit}: silence"


def _clock(seconds: float) -> str:
    return format_clock(round(seconds * 1000))


def summary_rows(report: Report) -> list[tuple[str, str]]:
    """Return the summary as (what, value) rows for the terminal and the page."""
    s = report.summary
    how = ", ".join(f"{n} {_SOURCES[source]}" for source, n in sorted(s.templates.items()) if n)
    rows = [("Found", f"{s.matched} of {s.events} events ({how})")]
    if s.fitted and s.largest_ms is not None:
        rows.append(("Error", f"{_ms(s.median_ms)} median, {_ms(s.p95_ms)} for 95 of 100, {_worst(report)}"))
    if s.fitted:
        rows.append(("Start", f"{round(s.offset_ms, 2) + 0.0:+.2f} ms against the schedule"))
        rows.append(
            ("Clock", f"{round(s.skew_ppm, 1) + 0.0:+.1f} ppm" if abs(s.skew_ppm) < 2000 else _speed(s))
        )
    rows.append(("Tolerance", f"{s.tolerance_pip_ms:g} ms for pips, {s.tolerance_cue_ms:g} ms for cues"))
    rows.append(("Length", f"{_clock(s.length_s)}; the session lasts {_clock(s.session_s)}"))
    if s.fitted:
        rows.append(("Open time", f"{_clock(s.open_s)}, {s.open_share * 100:.0f} % of the file"))
    loudness, peak = _level(s.loudness_lufs, "LUFS"), _level(s.true_peak_dbtp, "dBTP")
    rows.append(("Level", f"{loudness}, true peak {peak}"))
    return rows


def _worst(report: Report) -> str:
    s = report.summary
    event = next((row for row in report.events if row.id == s.largest_event), None)
    where = f" at {clock(event.planned_file_s)}" if event is not None else ""
    return f"{_ms(abs(s.largest_ms or 0.0))} at most{where}"


def _speed(s: Summary) -> str:
    rate = 1 + s.skew_ppm / 1e6
    return f"{abs(1 / rate - 1) * 100:.2f} % too {'slow' if rate > 1 else 'fast'}"


def report_text(report: Report, *, most: int = MOST_LINES) -> str:
    """Return the report as plain text; of many faults the first `most` are told."""
    lines = [report.verdict, ""]
    rows = summary_rows(report)
    width = max(len(name) for name, _ in rows)
    lines += [f"  {name:<{width}}  {value}" for name, value in rows]
    if report.faults:
        lines += ["", "What is wrong:"]
        lines += [f"  {fault.message}" for fault in report.faults[:most]]
        if len(report.faults) > most:
            lines.append(f"  … and {len(report.faults) - most} more; --json has them all.")
    if report.notes:
        lines += ["", "Also:"]
        lines += [f"  {note}" for note in report.notes]
    return "\n".join(lines)
