"""The result of putting music under a track, as lines for the person who did it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cuelane.base.units import format_clock, to_ms
from cuelane.hearing.sii import GOOD
from cuelane.under.ducking import DEEPEST_DB
from cuelane.under.gain_plan import Need
from cuelane.under.run import UnderReport


def summary_lines(report: UnderReport) -> list[str]:
    """Return what was made, how well it is heard over the music, the weakest cue, and what would mend it."""
    needs, level = report.plan.needs, report.music_level_lu
    lines = [f"{report.out}: {report.loudness_lufs:.1f} LUFS, true peak {report.true_peak_dbtp:.1f} dBTP"]
    if not needs:
        return lines
    depths = [need.depth_lu for need in needs]
    lines.append(
        f"music {abs(level):g} LU {'above' if level > 0 else 'below'} speech, lowered by "
        f"{min(depths):.1f} to {max(depths):.1f} LU under {len(needs)} cues and pips"
    )
    cues = [need for need in needs if need.event.kind == "cue"]
    pips = [need for need in needs if need.event.kind != "cue"]
    counted = [_counted(some, name) for some, name in ((cues, "cues"), (pips, "pips")) if some]
    lines.append("over the music: " + "; ".join(counted))
    if cues:
        weakest = min(cues, key=lambda need: need.value)
        lines.append(
            f"weakest cue: {weakest.event.text!r} at {_clock(weakest, report)}, {weakest.grade} "
            f"(index {weakest.value:.2f}; good from {GOOD:g})"
        )
    return lines + _advice(report)


def wanting_lines(report: UnderReport, *, most: int = 5) -> list[str]:
    """Return a line for each text that stays short of its target, cues before pips, the weakest first."""
    worst: dict[str, Need] = {}
    for need in sorted(report.short_of_target, key=lambda need: (need.event.kind != "cue", need.value)):
        worst.setdefault(need.event.text or "" if need.event.kind == "cue" else "pip", need)
    lines = []
    for need in list(worst.values())[:most]:
        cue = need.event.kind == "cue"
        reached = f"index {need.value:.2f} of {need.target:g}"
        over = f"{need.value:.1f} of {need.target:g} dB over the music"
        lines.append(
            f"{f'cue {need.event.text!r}' if cue else 'pip'} at {_clock(need, report)} is {need.grade}: "
            f"{reached if cue else over}, with the music {need.depth_lu:.1f} LU down"
        )
    if len(worst) > most:
        lines.append(f"and {len(worst) - most} more; --json lists every cue and pip")
    return lines


def _counted(needs: Sequence[Need], name: str) -> str:
    good = sum(need.reached for need in needs)
    if good == len(needs):
        return f"all {good} {name} good" if good > 1 else f"the one {name[:-1]} good"
    fair = sum(need.grade == "fair" for need in needs)
    parts = [f"{fair} fair"] * (fair > 0) + [f"{len(needs) - good - fair} poor"] * (len(needs) > good + fair)
    return f"{good} of {len(needs)} {name} good, {', '.join(parts)}"


def _clock(need: Need, report: UnderReport) -> str:
    return format_clock(to_ms(need.event.onset_sample, report.sample_rate))


def _advice(report: UnderReport) -> list[str]:
    """Return what would bring to good what is not; to half an LU, rounded so that it is enough."""
    short = report.short_of_target
    helped = [need for need in short if math.isfinite(need.wanted_lu)]
    lines = []
    if helped:
        ways = []
        lower = max(need.wanted_lu - need.depth_lu for need in helped)
        level = math.floor((report.music_level_lu - lower) * 2) / 2
        # A song that is played softer because of its peaks does not follow --level.
        if report.softened_lu == 0 and level >= -40:
            ways.append(f"--level {level:g}")
        depth = math.ceil(max(need.wanted_lu for need in helped) * 2) / 2
        if depth <= math.floor(DEEPEST_DB):
            ways.append(f"--depth {depth:g}")
        those = "them" if len(helped) == len(short) else f"{len(helped)} of them"
        if ways:
            lines.append(f"to make {those} good: {' or '.join(ways)}")
    beyond = len(short) - len(helped)
    if beyond:
        lines.append(
            f"{beyond} would not be good over any music: raise or brighten that voice (render --for-music)"
        )
    return lines
