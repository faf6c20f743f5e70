"""The countdown of a recorded class: which tones, how many, how far apart, and where each one ends.

The pattern is the detector. A countdown is `count` short tones a fixed spacing apart and one more tone, the
long one, a spacing later, on the boundary. Every proposal of a short tone is tried with every proposal of a
long one; what counts is how often all of them are there together, against how often they are when the same
scores are taken at wrong spacings. A class may also have a lone tone on each boundary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.recording import Recording
from cuelane.adapt.tonefilter import SCORE_RATE, Spectra, tone_scores
from cuelane.adapt.tonetracks import Proposal, ToneTrack, grouped, proposals

Array = npt.NDArray[np.float32]

MOST_SHORT = 9
MOST_PROPOSALS = 20
LEAST_APART_S = 4.0
LEAST_CONFIDENCE = 0.3
SURE = 0.6
CLEAR = 0.85

_POOL = 4
_JITTER_S = 0.016
_PRESENT = 0.40
_LONE_PRESENT = 0.85
_WRONG = ((1.17, 2.31, 0.0), (0.83, 1.59, 0.0), (1.37, 2.74, 0.0))


@dataclass(frozen=True)
class Beep:
    """A countdown's tones. ``count`` is 0 for a lone tone; lengths in seconds, pitches in Hz."""

    long_frequency_hz: float
    long_s: float
    count: int = 0
    short_frequency_hz: float = 0.0
    short_s: float = 0.0
    spacing_s: float = 0.0

    def describe(self) -> str:
        """Return the countdown in words, for a report."""
        long = f"a {self.long_frequency_hz:.0f} Hz tone of {self.long_s:.2f} s"
        if not self.count:
            return f"{long} alone"
        return (
            f"{self.count} tones of {self.short_frequency_hz:.0f} Hz and {self.short_s:.2f} s, "
            f"{self.spacing_s:.2f} s apart, then {long}"
        )


@dataclass(frozen=True)
class Found:
    """A beep and how sure it is: evidence found, evidence that wrong spacings would give, boundaries seen."""

    beep: Beep
    evidence: float
    chance: float
    n_boundaries: int

    @property
    def worth(self) -> float:
        """What two countdowns are compared by."""
        return self.evidence - 2 * self.chance

    @property
    def confidence(self) -> float:
        """From 0 to 1: how far the pattern stands out from chance."""
        if self.evidence <= 0:
            return 0.0
        return float(np.clip(self.worth / (self.evidence + 1.0), 0, 1))


class ScoreBook:
    """Tone scores of one recording, pooled to 4 ms, each computed once."""

    def __init__(self, recording: Recording) -> None:
        self._spectra = Spectra(recording, keep=True)
        self._kept: dict[tuple[float, float], Array] = {}

    def pooled(self, frequency_hz: float, length_s: float) -> Array:
        """Return the highest score within 16 ms of each 4 ms step."""
        key = (round(frequency_hz / 4) * 4.0, round(length_s, 2))
        if key not in self._kept:
            self._kept[key] = pool(tone_scores(self._spectra, *key))
        return self._kept[key]


def pool(scores: Array) -> Array:
    """Return `scores` at 4 ms steps, each the highest within 16 ms."""
    from scipy.ndimage import maximum_filter1d

    wide = maximum_filter1d(scores, 2 * round(_JITTER_S * SCORE_RATE) + 1)
    return np.asarray(wide[::_POOL], dtype=np.float32)


def shifted(scores: Array, by_s: float) -> Array:
    """Return pooled `scores` as they were `by_s` seconds before (after, if negative); 0 outside."""
    by = round(by_s * SCORE_RATE / _POOL)
    out = np.zeros_like(scores)
    if by >= 0:
        out[by:] = scores[: len(scores) - by]
    else:
        out[:by] = scores[-by:]
    return out


def find_beep(book: ScoreBook, tracks: Sequence[ToneTrack]) -> Found | None:
    """Return the countdown, or else the lone tone, that stands out among `tracks`; None if nothing does."""
    best = next(iter(candidate_beeps(book, tracks)), None)
    if best is not None and best.confidence > SURE:
        return best
    lone = _find_lone(book, proposals(tracks))
    if best is None or best.confidence <= LEAST_CONFIDENCE:
        return lone
    return lone if lone and lone.confidence > best.confidence else best


def candidate_beeps(book: ScoreBook, tracks: Sequence[ToneTrack]) -> list[Found]:
    """Return every countdown that the likeliest proposals make, the best first; most are none."""
    found: list[Found] = []
    for short in proposals(tracks)[:MOST_PROPOSALS]:
        short_scores = book.pooled(short.frequency_hz, short.length_s)
        for spacing_s in short.spacings_s:
            one = _best_with(book, tracks, short, short_scores, spacing_s)
            if one is not None:
                found.append(one)
        if found and max(one.confidence for one in found) > CLEAR:
            break
    found.sort(key=lambda one: one.worth, reverse=True)
    return [replace(one, beep=_with_count(book, one.beep)) for one in found[:6]]


def _best_with(
    book: ScoreBook, tracks: Sequence[ToneTrack], short: Proposal, short_scores: Array, spacing_s: float
) -> Found | None:
    """Return the best countdown of this short tone at this spacing: its long tone is what its runs end in."""
    pair = np.minimum(shifted(short_scores, spacing_s), shifted(short_scores, 2 * spacing_s))
    after = shifted(short_scores, -spacing_s)
    # A run ends where the short tone does not come again; only if nothing else sounds there is the last of
    # the run itself the end.
    ends = peaks(pair - np.maximum(after, short_scores), _PRESENT / 2)
    found = _with_ending(book, tracks, short, spacing_s, ends) if len(ends) >= 3 else None
    if found is None:
        ends = peaks(pair - after, _PRESENT / 2)
        found = _with_ending(book, tracks, short, spacing_s, ends) if len(ends) >= 3 else None
    return found


def _with_ending(
    book: ScoreBook,
    tracks: Sequence[ToneTrack],
    short: Proposal,
    spacing_s: float,
    ends: npt.NDArray[np.int64],
) -> Found | None:
    """Return the best countdown of this short tone whose long tone begins at most of `ends` (4 ms steps)."""
    short_scores = book.pooled(short.frequency_hz, short.length_s)
    pair = np.minimum(shifted(short_scores, spacing_s), shifted(short_scores, 2 * spacing_s))
    after = shifted(short_scores, -spacing_s)
    best: Found | None = None
    for frequency_hz, long_s in _endings(tracks, ends * _POOL / SCORE_RATE):
        long_scores = book.pooled(frequency_hz, long_s)
        together = np.minimum(pair, long_scores)
        evidence, n_seen = _evidence(together, after)
        evidence *= _own_share(together, short_scores, long_scores, spacing_s)
        if n_seen >= 3 and (best is None or evidence > best.evidence):
            chance = _chance(short_scores, long_scores, spacing_s)
            beep = Beep(frequency_hz, long_s, 2, short.frequency_hz, short.length_s, spacing_s)
            best = Found(beep, evidence, chance, n_seen)
    return best


def _endings(
    tracks: Sequence[ToneTrack], ends_s: npt.NDArray[np.float64], limit: int = 3
) -> list[tuple[float, float]]:
    """Return (pitch, length) of the tones that most often begin at one of `ends_s`."""
    onsets = np.array([track.onset_s for track in tracks])
    near: list[ToneTrack] = []
    for end_s in ends_s:
        low, high = np.searchsorted(onsets, [end_s - 0.04, end_s + 0.04])
        near.extend(tracks[low:high])
    made = [(len(group), p.frequency_hz, p.length_s) for group, p in grouped(near)]
    return [(frequency_hz, long_s) for _, frequency_hz, long_s in sorted(made, reverse=True)[:limit]]


def _evidence(together: Array, after: Array) -> tuple[float, int]:
    """Return (summed evidence, boundaries) of a pattern.

    A further short tone after its end counts against it, and so does another end within 4 s: music repeats
    faster than a class does.
    """
    seen = peaks(together, _PRESENT, apart_s=0.3)
    if not len(seen):
        return 0.0, 0
    gaps = np.diff(seen, prepend=-(10**9), append=10**9) * (_POOL / SCORE_RATE)
    alone = np.minimum(gaps[:-1], gaps[1:]) >= LEAST_APART_S
    # The fourth power lets a few clear countdowns outweigh a crowd of faint coincidences.
    worth = together[seen] ** 4 - after[seen] ** 4
    return float(np.where(alone, worth, -np.abs(worth)).sum()), int((alone & (worth > 0)).sum())


def _own_share(together: Array, short_scores: Array, long_scores: Array, spacing_s: float) -> float:
    """Return the share of a pattern's tones that sound in the pattern and nowhere else, 0 to 1.

    A beep is heard in countdowns only; a note of music is heard all the time, and now and then it falls into
    a pattern. Both tones' shares multiply.
    """
    seen = peaks(together, _PRESENT)
    if not len(seen):
        return 0.0
    least = 0.8 * float(np.median(together[seen]))
    step = spacing_s * SCORE_RATE / _POOL
    places = (seen[:, None] - step * np.arange(MOST_SHORT + 1)[None, :]).ravel()
    share = 1.0
    for scores, own in ((short_scores, places), (long_scores, seen.astype(np.float64))):
        found = peaks(scores, least, apart_s=0.3)
        near = np.abs(found[:, None] - own[None, :]).min(axis=1) <= 2 * _JITTER_S * SCORE_RATE / _POOL
        share *= float(near.mean()) if len(found) else 0.0
    return share


def _chance(short_scores: Array, long_scores: Array, spacing_s: float) -> float:
    worst = 0.0
    for once, twice, _ in _WRONG:
        pair = np.minimum(shifted(short_scores, once * spacing_s), shifted(short_scores, twice * spacing_s))
        both = np.minimum(pair, long_scores)
        worst = max(worst, float((both[peaks(both, _PRESENT)] ** 4).sum()))
    return worst


def peaks(scores: Array, least: float, apart_s: float = LEAST_APART_S) -> npt.NDArray[np.int64]:
    """Return the places of the highest pooled `scores` of at least `least`, no two closer than `apart_s`."""
    from scipy.signal import find_peaks

    padded = np.concatenate([[0.0], scores, [0.0]])
    places, _ = find_peaks(padded, height=least, distance=max(1, round(apart_s * SCORE_RATE / _POOL)))
    return np.asarray(places - 1, dtype=np.int64)


def _find_lone(book: ScoreBook, candidates: Sequence[Proposal]) -> Found | None:
    """Return the tone that stands alone on boundaries: clear, rare, and at intervals that come again."""
    best: Found | None = None
    for proposal in candidates:
        if proposal.length_s < 0.15 or not proposal.usual_gap_s >= LEAST_APART_S:
            continue
        scores = book.pooled(proposal.frequency_hz, proposal.length_s)
        seen = peaks(scores, _LONE_PRESENT, apart_s=0.3)
        gaps = np.diff(seen) * _POOL / SCORE_RATE
        if len(seen) < 4 or np.median(gaps) < LEAST_APART_S:
            continue
        again = [np.sum(np.abs(gaps - gap) < 0.05) > 1 for gap in gaps]
        worth = float((scores[seen] ** 4).sum()) * float(np.mean(again))
        # Tones that come at odd intervals are what chance would give.
        chance = float((scores[seen] ** 4).sum()) * (1 - float(np.mean(again)))
        found = Found(Beep(proposal.frequency_hz, proposal.length_s), worth, chance, len(seen))
        if found.confidence > LEAST_CONFIDENCE and (best is None or found.worth > best.worth):
            best = found
    return best


def _with_count(book: ScoreBook, beep: Beep) -> Beep:
    """Return `beep` with as many short tones as most of its countdowns have, as close as they really are."""
    short = book.pooled(beep.short_frequency_hz, beep.short_s)
    long = book.pooled(beep.long_frequency_hz, beep.long_s)
    at = peaks(np.minimum(long, shifted(short, beep.spacing_s)), _PRESENT)
    if len(at):
        # Every second tone of a countdown is equally spaced too.
        between = float(np.median(shifted(short, beep.spacing_s / 2)[at]))
        if between > 0.6 * float(np.median(shifted(short, beep.spacing_s)[at])):
            beep = replace(beep, spacing_s=beep.spacing_s / 2)
    together = np.minimum.reduce([long, *(shifted(short, k * beep.spacing_s) for k in (1, 2))])
    seen = peaks(together, _PRESENT)
    if not len(seen):
        return beep
    usual = float(np.median(together[seen]))
    count = 2
    while count < MOST_SHORT:
        before = shifted(short, (count + 1) * beep.spacing_s)[seen]
        if float(np.median(before)) < 0.6 * usual:
            break
        count += 1
    return replace(beep, count=count)
