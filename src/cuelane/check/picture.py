"""The report drawn: the waveform with expected and measured marks, and every event's error over time.

Plain SVG, coloured by the page's style: ``mark-*`` classes carry shape as well as colour, so that nothing is
told by colour alone. Drift is a slope, a jump a step, jitter a band, one bad event a lone mark.
"""

from __future__ import annotations

import math
from html import escape

import numpy as np

from cuelane.base.units import format_clock
from cuelane.base.unsafe_text import on_one_line
from cuelane.check.fault_words import clock
from cuelane.check.report import EventResult, Report

# Chosen, as the next four: units of the SVG's own, which the page scales to its width.
WIDTH = 1000.0
# Chosen, as the last.
WAVE_HEIGHT = 120.0
# Chosen, as the last.
ERROR_HEIGHT = 220.0
# Chosen: room for the axis's longest label.
LEFT = 56.0
# Chosen: half of the longest label under the axis, 10:00:00, in the type of web/assets/picture.css.
_HALF_LABEL = 28.0
# Chosen: finer than a screen's pixels; more makes the page larger and shows nothing.
MAX_POINTS = 1400

# Chosen: steps of a clock that people read at once.
_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)


def _x(time_s: float, length_s: float) -> float:
    return LEFT + (WIDTH - LEFT - 8) * min(max(time_s / max(length_s, 1e-9), 0.0), 1.0)


def _ticks(length_s: float, y: float) -> str:
    step = next((s for s in _STEPS_S if length_s / s <= 10), _STEPS_S[-1])
    parts = []
    for tick in range(0, int(length_s) + 1, step):
        x = _x(tick, length_s)
        parts.append(f'<line class="tick" x1="{x:.1f}" x2="{x:.1f}" y1="{y:.0f}" y2="{y + 5:.0f}"/>')
        # What would reach over the edge of the picture ends there.
        anchor, x = ("end", WIDTH) if x > WIDTH - _HALF_LABEL else ("middle", x)
        label = format_clock(tick * 1000)
        parts.append(
            f'<text class="label" x="{x:.1f}" y="{y + 18:.0f}" text-anchor="{anchor}">{label}</text>'
        )
    return "".join(parts)


def _wave_path(report: Report, length_s: float) -> str:
    outline = report.envelope
    if outline is None or not len(outline):
        return ""
    edges = np.unique(np.linspace(0, len(outline), min(MAX_POINTS, len(outline)) + 1).astype(int))
    low = np.minimum.reduceat(outline[:, 0], edges[:-1])
    high = np.maximum.reduceat(outline[:, 1], edges[:-1])
    xs = LEFT + (WIDTH - LEFT - 8) * edges[:-1] / len(outline)
    half = WAVE_HEIGHT / 2
    top = [f"{x:.1f} {half - half * min(1.0, float(v)):.1f}" for x, v in zip(xs, high, strict=True)]
    bottom = [f"{x:.1f} {half - half * max(-1.0, float(v)):.1f}" for x, v in zip(xs, low, strict=True)]
    return "M" + " ".join([*top, *reversed(bottom)]) + "Z"


def wave_svg(report: Report) -> str:
    """Return the waveform; above it where events should be, below it where they were found."""
    length_s = max(report.summary.length_s, 1e-9)
    told = f"Waveform with {report.summary.events} planned and {report.summary.matched} found events"
    parts = [
        f'<svg viewBox="0 0 {WIDTH:.0f} {WAVE_HEIGHT + 64:.0f}" role="img" aria-label="{told}">'
        f'<text class="label" x="0" y="12">planned</text>'
        f'<g transform="translate(0 20)"><path class="wave" d="{_wave_path(report, length_s)}"/></g>'
    ]
    below = WAVE_HEIGHT + 24
    for event in report.events:
        title = f"<title>{escape(on_one_line(_title(event)))}</title>"
        if 0 <= event.planned_file_s <= length_s:
            x = _x(event.planned_file_s, length_s)
            parts.append(f'<path class="planned" d="M{x:.1f} 4V18">{title}</path>')
        if event.measured_s is not None:
            x = _x(event.measured_s, length_s)
            kind = "bad" if _is_off(event) else event.kind
            parts.append(f'<path class="mark-{kind}" d="M{x:.1f} {below:.0f}v14">{title}</path>')
        elif 0 <= event.planned_file_s <= length_s:
            x = _x(event.planned_file_s, length_s)
            cross = f"M{x - 4:.1f} {below + 2:.0f}l8 8m0 -8l-8 8"
            parts.append(f'<path class="mark-missing" d="{cross}">{title}</path>')
    parts.append(f'<text class="label" x="0" y="{below + 11:.0f}">found</text>')
    return "".join(parts) + _ticks(length_s, below + 18) + "</svg>"


def _is_off(event: EventResult) -> bool:
    return event.error_ms is not None and abs(event.error_ms) > event.tolerance_ms


def _title(event: EventResult) -> str:
    name = f"{event.role} pip" if event.kind == "pip" else event.text or event.role
    if event.error_ms is None:
        return f"{clock(event.planned_file_s)} {name}: not found"
    return f"{clock(event.planned_file_s)} {name}: {event.error_ms:+.2f} ms"


def error_svg(report: Report) -> str:
    """Return the error of each found event over time, against the session's start; pips round, cues square.

    The scale is linear up to the tolerance and logarithmic beyond it, so that a hundredth of a millisecond
    and ten seconds are both seen.
    """
    length_s = max(report.summary.length_s, 1e-9)
    tolerance = max(report.summary.tolerance_pip_ms, 1e-3)
    found = [e for e in report.events if e.error_ms is not None and e.measured_s is not None]
    start_ms = report.summary.offset_ms
    most = max(
        [abs((e.absolute_error_ms or 0.0) - start_ms) for e in found]
        + [report.summary.tolerance_cue_ms, 2 * tolerance]
    )
    middle = ERROR_HEIGHT / 2

    def scaled(error_ms: float) -> float:
        size = abs(error_ms) / tolerance
        size = size if size <= 1 else 1 + math.log10(size) * 2
        return math.copysign(size, error_ms)

    reach = scaled(most) * 1.05

    def y(error_ms: float) -> float:
        return middle - middle * 0.92 * scaled(error_ms) / reach

    parts = [
        f'<svg viewBox="0 0 {WIDTH:.0f} {ERROR_HEIGHT + 26:.0f}" role="img" '
        f'aria-label="Error of each event over time, in milliseconds">',
        f'<line class="zero" x1="{LEFT:.0f}" x2="{WIDTH - 8:.0f}" y1="{middle:.1f}" y2="{middle:.1f}"/>',
        f'<text class="label" x="0" y="{middle + 4:.1f}">0 ms</text>',
    ]
    for limit in sorted({tolerance, report.summary.tolerance_cue_ms}):
        for sign, word in ((1, "late"), (-1, "early")):
            at = y(sign * limit)
            parts.append(
                f'<line class="limit" x1="{LEFT:.0f}" x2="{WIDTH - 8:.0f}" y1="{at:.1f}" y2="{at:.1f}"/>'
            )
            parts.append(f'<text class="label" x="0" y="{at + 4:.1f}">{limit:g} {word}</text>')
    for event in found:
        x = _x(event.measured_s or 0.0, length_s)
        at = y((event.absolute_error_ms or 0.0) - start_ms)
        kind = "bad" if _is_off(event) else event.kind
        title = f"<title>{escape(on_one_line(_title(event)))}</title>"
        if event.kind == "pip":
            parts.append(f'<circle class="dot-{kind}" cx="{x:.1f}" cy="{at:.1f}" r="3">{title}</circle>')
        else:
            box = f'x="{x - 3:.1f}" y="{at - 3:.1f}" width="6" height="6"'
            parts.append(f'<rect class="dot-{kind}" {box}>{title}</rect>')
    return "".join(parts) + _ticks(length_s, ERROR_HEIGHT + 2) + "</svg>"
