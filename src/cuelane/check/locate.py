"""Every event's place in the file: a coarse fit, then a measurement in the waveform, then a fit to that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cuelane.base.schedule import Event, Schedule
from cuelane.check.clock_pieces import find_pieces
from cuelane.check.fit import (
    MAX_CLOCK_ERROR,
    MAX_SPEED_CHANGE,
    SPEED_BIN_S,
    VOTE_BIN_S,
    Ballot,
    Fit,
    find_line,
    robust_line,
    sharpened,
)
from cuelane.check.intake import REACH_S, CheckedSound
from cuelane.check.pips.measure import at_rate, find_pips, pip_kind
from cuelane.check.pips.tone_search import PipKind, Tone, ToneSearch
from cuelane.check.speech.clip_match import Heard, Ruler, least_score
from cuelane.check.speech.phrase_search import PhraseHit, PhraseSearch
from cuelane.check.templates import Template, cue_key
from cuelane.check.threads import side_by_side

CLOCK_STEP = 3e-6
"""Chosen: templates are drawn again while the clock rate still moves by more than this."""
# Chosen: a bound on rounds that end as soon as the clock rate stands still.
MAX_ROUNDS = 4
# Chosen: the first round measures so many events, spread evenly; more costs time and moves the clock little.
FEW = 80
# Chosen: the share of votes that agree; lower reads a session into another's file, higher misses edited
# ones.
MIN_SUPPORT = 0.25
# Chosen: no clock is off by 0.2 %, so such an error is a changed speed, not a drift in ppm, and is looked for
# by a second search; for a smaller one the first search allows already.
SPEED_CHANGED = 2e-3
# Chosen: a minute at once bounds the memory.
READ = 1 << 20


@dataclass(frozen=True)
class Expected:
    """An event as it is sought: ``key`` is what it sounds like, ``time_s`` its onset in the session."""

    index: int
    event: Event
    key: str
    time_s: float
    length_s: float
    kind: PipKind | None = None


def expected_events(schedule: Schedule) -> list[Expected]:
    """Return the events in order of onset."""
    rate = schedule.sample_rate
    rows: list[Expected] = []
    for event in sorted(schedule.events, key=lambda e: (e.onset_sample, e.id)):
        kind = pip_kind(event, rate) if event.kind == "pip" else None
        key = _pip_key(kind) if kind else cue_key(event)
        length_s = (event.end_sample - event.onset_sample) / rate
        rows.append(Expected(len(rows), event, key, event.onset_sample / rate, length_s, kind))
    return rows


def _pip_key(kind: PipKind) -> str:
    return f"pip:{kind.frequency_hz:.3f}:{kind.length_s:.5f}"


@dataclass
class Coarse:
    """What the first look found, and the clock rate its templates were drawn for."""

    candidates: list[PhraseHit]
    tones: list[Tone]
    rate: float = 1.0


def look_again(
    recording: CheckedSound, templates: dict[str, Template], kinds: Sequence[PipKind], rate: float
) -> Coarse:
    """Repeat the coarse search as for a file whose clock makes everything `rate` times as long."""
    phrases = PhraseSearch(list(templates.values()), rate)
    tones = ToneSearch([at_rate(kind, rate) for kind in kinds])
    for start in range(0, recording.n_frames, READ):
        block = recording.read(start, min(READ, recording.n_frames - start))
        phrases.push(block)
        tones.push(block)
    phrases.finish()
    tones.finish()
    back = [replace(tone, kind=at_rate(tone.kind, 1 / rate)) for tone in tones.tones]
    return Coarse(phrases.candidates, back, rate)


def first_fit(expected: list[Expected], coarse: Coarse, length_s: float) -> tuple[Fit | None, float | None]:
    """Return the fit by votes, and a rate to look again with where a change of speed explains much more.

    A cut in a short file may look like such a change too, so the second look decides.
    """
    cast = [(c.key, c.time_s, c.score) for c in coarse.candidates]
    cast += _tone_votes(expected, coarse.tones)
    ballot = Ballot([(row.index, row.key, row.time_s) for row in expected], cast)
    few = ballot.few()
    # Templates were drawn for the coarse rate, so the line is sought round it.
    reach = MAX_CLOCK_ERROR if coarse.rate == 1.0 else 3 * SPEED_BIN_S / max(length_s, 10.0)
    line = find_line(few.at_rate(coarse.rate), length_s * coarse.rate, reach=reach)
    if line is None:
        return None, None
    total = len(np.unique(few.event))
    rate, offset = sharpened(few, line[0] * coarse.rate, line[1], VOTE_BIN_S)
    pieces = find_pieces(ballot.near(rate, offset), rate, offset)
    fit = Fit(rate, pieces, min(1.0, line[2] / max(total, 1)))
    other: float | None = None
    if coarse.rate == 1.0 and line[2] < 0.5 * total:
        wide = find_line(few, length_s, reach=MAX_SPEED_CHANGE, width_s=SPEED_BIN_S)
        if wide is not None and abs(wide[0] - 1) > SPEED_CHANGED and wide[2] > 1.3 * line[2]:
            other = sharpened(few, wide[0], wide[1], SPEED_BIN_S)[0]
    return fit, other


def _tone_votes(expected: list[Expected], tones: Sequence[Tone]) -> list[tuple[str, float, float]]:
    """Return (key, time, score) of each tone, by the schedule's own kinds of pips."""
    kinds = {row.kind for row in expected if row.kind}
    keys: dict[PipKind, str] = {}
    rows = []
    for tone in tones:
        if tone.kind not in keys:
            near = min(kinds, key=lambda kind: _unlike(kind, tone.kind))
            keys[tone.kind] = _pip_key(near)
        rows.append((keys[tone.kind], tone.time_s, tone.score))
    return rows


def _unlike(a: PipKind, b: PipKind) -> float:
    return abs(a.frequency_hz - b.frequency_hz) + 1e4 * abs(a.length_s - b.length_s)


@dataclass
class Located:
    """The final fit; for each event by index the best cue or tone near its place; second copies of cues."""

    fit: Fit
    cues: dict[int, Heard]
    seconds: list[Heard]
    pips: dict[int, Tone | None]
    ruler: Ruler


def locate(
    recording: CheckedSound,
    templates: dict[str, Template],
    expected: list[Expected],
    fit: Fit,
    sample_rate: int,
) -> Located:
    """Measure every event near its place, and fit again until the clock rate stands still."""
    measurable = [row for row in expected if row.kind or row.key in templates]
    few = measurable[:: max(1, len(measurable) // FEW)]
    for turn in range(MAX_ROUNDS):
        last = turn > 0 or len(few) == len(measurable)
        located = _measure(recording, templates, measurable if last else few, fit, sample_rate, copies=last)
        better = refit(located, expected, fit, templates)
        settled = abs(better.rate - fit.rate) <= CLOCK_STEP
        fit = better
        if last and settled:
            break
    return replace(located, fit=fit)


def _measure(
    recording: CheckedSound, templates: dict[str, Template], rows: list[Expected], fit: Fit, sample_rate: int,
    copies: bool,
) -> Located:  # fmt: skip
    ruler = Ruler(recording, templates, fit.rate)
    cues: dict[int, Heard] = {}
    seconds: list[Heard] = []

    def heard(row: Expected) -> tuple[Heard, Heard | None]:
        place = fit.file_s(row.time_s)
        if copies:
            return ruler.find_twice(row.key, place)
        return ruler.find(row.key, place - REACH_S, place + REACH_S), None

    inside = [
        row for row in rows
        if row.kind is None and _inside(recording, fit.file_s(row.time_s), ruler.length_s(row.key))
    ]  # fmt: skip
    for row, (first, second) in zip(inside, side_by_side(heard, inside), strict=True):
        cues[row.index] = first
        if second is not None:
            seconds.append(second)
    pips = [row for row in rows if row.kind is not None]
    kinds = [at_rate(row.kind, fit.rate) for row in pips if row.kind]
    tones = find_pips(recording, kinds, [fit.file_s(row.time_s) for row in pips], sample_rate)
    return Located(fit, cues, seconds, {r.index: t for r, t in zip(pips, tones, strict=True)}, ruler)


def _inside(recording: CheckedSound, place_s: float, length_s: float) -> bool:
    return -REACH_S - length_s < place_s < recording.length_s + REACH_S


def refit(located: Located, expected: list[Expected], fit: Fit, templates: dict[str, Template]) -> Fit:
    """Return the line through what was measured; the more exactly a kind is measured, the more it weighs."""
    x: list[float] = []
    y: list[float] = []
    is_pip: list[bool] = []
    for row in expected:
        found: Heard | Tone | None = located.cues.get(row.index)
        if isinstance(found, Heard) and found.score < least_score(templates[row.key].length_s):
            found = None
        if found is None:
            found = located.pips.get(row.index)
        if found is not None and abs(found.time_s - fit.file_s(row.time_s)) < 0.2:
            x.append(row.time_s)
            y.append(found.time_s)
            is_pip.append(row.kind is not None)
    if len(x) < 2:
        return fit
    times, heard, pips = np.array(x), np.array(y), np.array(is_pip)
    apart = heard - np.array([fit.file_s(t) for t in x])
    weight = np.ones(len(x))
    for kind in (pips, ~pips):
        if kind.sum() >= 3:
            scatter = 1.4826 * float(np.median(np.abs(apart[kind] - np.median(apart[kind]))))
            weight[kind] = 1 / max(scatter, 2e-5) ** 2
    weight /= weight.max()
    weight = np.maximum(weight, 1e-4)
    group = np.array([fit.pieces.index(fit.piece_at(t)) for t in x])
    known = np.unique(group)
    within = max(float(np.ptp(times[group == g])) for g in known)
    fixed = None if within > 5.0 and len(x) >= 4 else fit.rate
    rate, offsets = robust_line(times, heard, weight, np.searchsorted(known, group), rate=fixed)
    found_at = dict(zip(known.tolist(), offsets.tolist(), strict=True))
    pieces = [replace(piece, offset_s=found_at.get(i, piece.offset_s)) for i, piece in enumerate(fit.pieces)]
    return Fit(rate, tuple(pieces), fit.support)
