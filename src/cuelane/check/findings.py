"""From measurements to findings: which sound belongs to which event, and what is left over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from cuelane.check.intake import REACH_S, CheckedSound
from cuelane.check.locate import Coarse, Expected, Located
from cuelane.check.match import match
from cuelane.check.pips.length import SUSPECT_SCORE, other_length
from cuelane.check.pips.measure import PipFound, at_rate, extra_pips, other_pitch, pair_pips
from cuelane.check.pips.tone_search import Tone
from cuelane.check.speech.clip_match import (
    ECHO_S,
    Heard,
    Ruler,
    by_key,
    least_score,
    merge,
    strongest,
)
from cuelane.check.speech.clip_shape import ClipShape, is_narrow, shape
from cuelane.check.speech.copies import FAINT_COARSE, FAR_TRIES, elsewhere
from cuelane.check.speech.phrase_search import PhraseHit
from cuelane.check.templates import Source, Template
from cuelane.check.threads import side_by_side

NEAR_S = REACH_S + 0.05
# Chosen: a cue so near its place is early or late; one farther away was moved.
IN_PLACE_S = 0.3
# Chosen, as a share of the cue's own coarse score: lower measures more rivals, higher may miss the true one.
RIVAL_LIKENESS = 0.9


@dataclass
class Finding:
    """One event and what the file has for it.

    ``place_s`` is where the fit puts it in the file. ``heard`` or ``tone`` is its own sound, wherever that
    was found; ``instead`` is another cue found in its place; ``odd`` a tone of another pitch or length there.
    """

    expected: Expected
    place_s: float
    source: Source
    heard: Heard | None = None
    tone: Tone | None = None
    instead: Heard | None = None
    odd: PipFound | None = None
    shape: ClipShape | None = None
    plain_s: float | None = None
    """Onset found without a model."""
    words: str | None = None
    """The cue that a recogniser named here."""
    unsure: bool = False
    """Without a model, and covered by other sound: neither found nor missing."""
    foreign: bool = False
    """Something sounds in its place that is none of the session's cues."""

    @property
    def time_s(self) -> float | None:
        for found in (self.heard, self.tone):
            if found is not None:
                return found.time_s
        if self.odd is not None and self.odd.tone is not None:
            return self.odd.tone.time_s
        return self.plain_s

    @property
    def error_ms(self) -> float | None:
        return None if self.time_s is None else (self.time_s - self.place_s) * 1000


@dataclass
class Findings:
    """All events in order, the copies of cues and the pips that no event accounts for.

    ``is_narrow`` says that the file has only a telephone's band.
    """

    rows: list[Finding]
    copies: list[Heard] = field(default_factory=list)
    extra_pips: list[Tone] = field(default_factory=list)
    is_narrow: bool = False


def assemble(
    recording: CheckedSound, templates: dict[str, Template], expected: list[Expected], located: Located,
    coarse: Coarse, sample_rate: int,
) -> Findings:  # fmt: skip
    """Return which sound belongs to which event."""
    fit = located.fit
    findings = Findings([])
    for row in expected:
        source: Source = "tone" if row.kind else "none"
        if row.key in templates:
            source = templates[row.key].source
        findings.rows.append(Finding(row, fit.file_s(row.time_s), source))
    _assign_cues(findings, templates, located, coarse.candidates)
    _assign_pips(findings, recording, located, coarse.tones, sample_rate)
    heard = [(finding, finding.heard) for finding in findings.rows if finding.heard is not None]
    narrow = findings.is_narrow = is_narrow(recording, templates, fit.rate, [cue for _, cue in heard])

    def shape_of(row: tuple[Finding, Heard]) -> ClipShape:
        return shape(recording, templates[row[1].key], fit.rate, row[1], narrow=narrow)

    shapes = side_by_side(shape_of, heard)
    for (finding, _), of_cue in zip(heard, shapes, strict=True):
        finding.shape = of_cue
    return findings


def _assign_cues(
    findings: Findings, templates: dict[str, Template], located: Located, candidates: list[PhraseHit]
) -> None:
    ruler = located.ruler
    rows = [f for f in findings.rows if f.expected.key in templates]
    grouped = by_key(candidates)
    times = np.array([c.time_s for c in candidates])

    def sounding(row: tuple[Finding, Heard]) -> tuple[list[Heard], list[Heard]]:
        """Return the cue itself if it is what sounds at its place, and what does so instead of it."""
        finding, primary = row
        own = primary.score >= least_score(ruler.length_s(primary.key))
        rivals = _rivals(candidates, times, grouped, primary if own else None, finding, ruler)
        if not own:
            return [], _instead(ruler, rivals)
        leader = strongest(ruler, primary, rivals)
        return ([leader], []) if leader is primary else ([], [leader])

    sought = [(f, cue) for f in rows if (cue := located.cues.get(f.expected.index)) is not None]
    found = side_by_side(sounding, sought)
    pool = merge([*(heard for own, _ in found for heard in own), *located.seconds])
    strangers = [heard for _, others in found for heard in others]
    for stranger in merge(strangers):
        if not any(h.key == stranger.key and abs(h.time_s - stranger.time_s) < ECHO_S for h in pool):
            pool.append(stranger)
    pool += elsewhere([f.expected.key for f in rows], pool, grouped, ruler)
    left = _pair_all(rows, pool)
    for finding in rows:
        if finding.heard is None or abs(finding.heard.time_s - finding.place_s) > NEAR_S:
            finding.instead = _in_place(finding, pool, rows, ruler)
    used = {id(f.instead) for f in rows if f.instead is not None}
    findings.copies = [heard for heard in left if id(heard) not in used]


def _rivals(
    candidates: list[PhraseHit], times: np.ndarray, grouped: dict[str, list[PhraseHit]],
    primary: Heard | None, finding: Finding, ruler: Ruler,
) -> list[PhraseHit]:  # fmt: skip
    """Return the candidates of other cues at this place that look at least nearly as likely as its own."""
    key = finding.expected.key
    centre = primary.time_s if primary is not None else finding.place_s
    reach = max(0.3, ruler.length_s(key)) if primary is not None else REACH_S
    low, high = np.searchsorted(times, [centre - reach, centre + reach])
    own = FAINT_COARSE
    if primary is not None:
        near = [c.score for c in grouped.get(key, []) if abs(c.time_s - primary.time_s) < 0.06]
        own = max([FAINT_COARSE, *near])
    return [c for c in candidates[low:high] if c.key != key and c.score >= RIVAL_LIKENESS * own]


def _instead(ruler: Ruler, rivals: list[PhraseHit]) -> list[Heard]:
    """Return the cue that is really there, of those that the coarse search proposed."""
    found: Heard | None = None
    tried: set[str] = set()
    for candidate in sorted(rivals, key=lambda c: -c.score):
        if candidate.key in tried or len(tried) >= FAR_TRIES:
            continue
        tried.add(candidate.key)
        heard = ruler.find(candidate.key, candidate.time_s - 0.06, candidate.time_s + 0.06)
        sure = heard.score >= 1.2 * least_score(ruler.length_s(candidate.key))
        if sure and (found is None or heard.energy > found.energy):
            found = heard
    return [found] if found is not None else []


def _pair_all(rows: list[Finding], pool: Sequence[Heard]) -> list[Heard]:
    """Give each finding its own sound; return the sounds that are left.

    First what is in place, then what has changed places with another cue, then whatever is left.
    """
    left = _pair(rows, pool, NEAR_S)
    absent = [f for f in rows if f.heard is None]
    for first in absent:
        for second in absent:
            there = _at(left, first.expected.key, second.place_s)
            back = _at(left, second.expected.key, first.place_s)
            if first is not second and first.heard is None and second.heard is None and there and back:
                first.heard, second.heard = there, back
                left = [heard for heard in left if heard is not there and heard is not back]
    return _pair(rows, left, float("inf"))


def _at(sounds: Sequence[Heard], key: str, place_s: float) -> Heard | None:
    near = [h for h in sounds if h.key == key and abs(h.time_s - place_s) <= IN_PLACE_S]
    return min(near, key=lambda h: abs(h.time_s - place_s)) if near else None


def _pair(rows: list[Finding], pool: Sequence[Heard], window_s: float) -> list[Heard]:
    events: dict[str, list[Finding]] = defaultdict(list)
    for finding in rows:
        events[finding.expected.key].append(finding)
    left: list[Heard] = []
    for key, group in events.items():
        sounds = [heard for heard in pool if heard.key == key]
        open_rows = [f for f in group if f.heard is None]
        pairs = match([f.place_s for f in open_rows], [h.time_s for h in sounds], window_s)
        for i, j in pairs:
            open_rows[i].heard = sounds[j]
        taken = {j for _, j in pairs}
        left += [heard for j, heard in enumerate(sounds) if j not in taken]
    return left


def _in_place(finding: Finding, pool: list[Heard], rows: list[Finding], ruler: Ruler) -> Heard | None:
    """Return another cue that sounds where this one should, unless that is where it belongs itself."""
    at_home = {id(f.heard) for f in rows if f.heard is not None and abs(f.heard.time_s - f.place_s) <= NEAR_S}
    found: Heard | None = None
    for heard in pool:
        if heard.key == finding.expected.key or id(heard) in at_home:
            continue
        near = abs(heard.time_s - finding.place_s) <= IN_PLACE_S or _covers(heard, finding, ruler)
        if near and (found is None or heard.energy > found.energy):
            found = heard
    return found


def _covers(heard: Heard, finding: Finding, ruler: Ruler) -> bool:
    own_s, other_s = ruler.length_s(finding.expected.key), ruler.length_s(heard.key)
    both_s = min(heard.time_s + other_s, finding.place_s + own_s) - max(heard.time_s, finding.place_s)
    return both_s > 0.5 * min(own_s, other_s)


def _assign_pips(
    findings: Findings, recording: CheckedSound, located: Located, tones: Sequence[Tone], sample_rate: int
) -> None:
    rows = [f for f in findings.rows if f.expected.kind is not None]
    if not rows:
        return
    places = [f.place_s for f in rows]
    paired = pair_pips([located.pips.get(f.expected.index) for f in rows], places)
    for finding, tone in zip(rows, paired, strict=True):
        finding.tone = tone
        kind = finding.expected.kind
        if kind is None or not 0 <= finding.place_s < recording.length_s:
            continue
        kind = at_rate(kind, located.fit.rate)
        if tone is None or tone.score < SUSPECT_SCORE:
            drawn_out = other_length(recording, kind, finding.place_s, sample_rate, tone)
            if drawn_out is not None:
                finding.tone = None
                finding.odd = PipFound(replace(drawn_out, kind=kind), length_s=drawn_out.kind.length_s)
                continue
        if tone is None:
            pitch = other_pitch(recording, kind, finding.place_s, sample_rate)
            if pitch.heard_hz is not None:
                finding.odd = pitch
            else:
                finding.tone = pitch.tone
    everything = [*paired, *(f.odd.tone for f in rows if f.odd is not None)]
    findings.extra_pips = extra_pips(tones, everything, places)
