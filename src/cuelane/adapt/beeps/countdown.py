"""The countdown of a recorded class: which tones, how many, how far apart, and where each one ends.

It is found by its pattern: `count` short tones at a fixed spacing and one more tone, the long one, a spacing
later, on the boundary. Every proposed short tone is tried with every proposed long one. The evidence is how
often all of them sound together, compared with how often they do at wrong spacings, which is chance. A class
may also have a lone tone on each boundary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.accompaniment import company
from cuelane.adapt.beeps.score_book import JITTER_S, LEAST_APART_S, POOL, ScoreBook, peaks, shifted
from cuelane.adapt.beeps.tone_filter import SCORE_RATE
from cuelane.adapt.beeps.tone_tracks import Proposal, ToneTrack, grouped, proposals

Array = npt.NDArray[np.float32]

# Chosen: short tones in a countdown at most; more costs time and fits more music.
MOST_SHORT = 9
# Chosen: pitches tried; more costs time, fewer may leave out the right one.
MOST_PROPOSALS = 40
# Chosen: the least confidence; a lower one accepts what chance gives, a higher one misses faint countdowns.
LEAST_CONFIDENCE = 0.3
SURE_COUNTDOWN = 0.6
"""Confidence from which a countdown is taken as found; below it the report calls it a guess. Chosen: a higher
value asks a person about more true countdowns, a lower one takes more music for a countdown."""

# Chosen: a tone's score from which it counts as there; lower counts chance too, higher loses those in music.
_PRESENT = 0.40
# Measured when first set: notes of music 0.3 to 0.75, beeps at most 0.1; between the two it counts less.
_NO_MUSIC, _MUSIC = 0.15, 0.30
# Chosen: the share of tones in common from which two patterns are one; and how near counts as in common.
_AGREEING, _SAME_TIME_S = 0.7, 0.05
# Chosen: more costs time, fewer may leave out the right pattern.
_MOST_WEIGHED = 12
# Chosen: wrong spacings, none near a whole multiple of the right one, at which only chance is found.
_WRONG = ((1.17, 2.31, 0.0), (0.83, 1.59, 0.0), (1.37, 2.74, 0.0))
# Chosen: tones so near in pitch are one to a listener, and a last one is longer than this many others.
_SAME_PITCH, _LONGER = 0.03, 1.5


@dataclass(frozen=True)
class Beep:
    """A countdown's tones. ``count`` is 0 for a lone tone; lengths in seconds, pitches in Hz.

    ``is_tone`` is false for a sound of any kind that was found because it returns; its frequency is then
    where it rises most.
    """

    long_frequency_hz: float
    long_s: float
    count: int = 0
    short_frequency_hz: float = 0.0
    short_s: float = 0.0
    spacing_s: float = 0.0
    is_tone: bool = True

    def offsets_s(self, count: int | None = None) -> list[float]:
        """Return where its tones begin, from its end backwards, with `count` short ones or its own number."""
        n_short = (self.count if count is None else count) if self.count else 0
        return [-k * self.spacing_s for k in range(n_short + 1)]

    @property
    def ends_like_it_began(self) -> bool:
        """Whether its last tone is like the others: it may be one of them, and the end no tone at all."""
        if not self.count or self.long_s >= _LONGER * self.short_s:
            return False
        return abs(self.long_frequency_hz / self.short_frequency_hz - 1) < _SAME_PITCH

    def describe(self) -> str:
        """Return the countdown in words, for a report."""
        if not self.is_tone:
            return f"a sound of {self.long_s:.2f} s, strongest near {self.long_frequency_hz:.0f} Hz"
        long = f"a {self.long_frequency_hz:.0f} Hz tone of {self.long_s:.2f} s"
        if not self.count:
            return f"{long} alone"
        return (
            f"{self.count} tones of {self.short_frequency_hz:.0f} Hz and {self.short_s:.2f} s, "
            f"{self.spacing_s:.2f} s apart, then {long}"
        )


@dataclass(frozen=True)
class Found:
    """A beep and the evidence for it: how much was found, how much wrong spacings would give, and where.

    ``company`` is the share, 0 to 1, of the tones around it that are there each time it occurs: high in
    music.
    """

    beep: Beep
    evidence: float
    chance: float
    times_s: tuple[float, ...]
    company: float = 0.0
    rivalled: float = 0.0
    """How near, 0 to 1, the best pattern that disagrees comes to this one."""

    @property
    def worth(self) -> float:
        """The figure by which two countdowns are compared."""
        alone = np.clip((_MUSIC - self.company) / (_MUSIC - _NO_MUSIC), 0, 1)
        return (self.evidence - 2 * self.chance) * float(alone)

    @property
    def confidence(self) -> float:
        """From 0 to 1: how far the pattern stands out from chance, from music and from other patterns."""
        if self.evidence <= 0:
            return 0.0
        unrivalled = np.clip(2 * (1 - self.rivalled), 0, 1)
        return float(np.clip(self.worth / (self.evidence + 1.0), 0, 1) * unrivalled)

    def agrees_with(self, other: Found) -> bool:
        """Whether most of both fall on each other's tones, as where one is a part of the other."""
        return _share_on(self, other) > _AGREEING and _share_on(other, self) > _AGREEING


def _share_on(one: Found, other: Found) -> float:
    """Return the share of `one`'s ends that are at a tone of `other`."""
    own = np.array(one.times_s)
    tones = np.concatenate([np.array(other.times_s) + at for at in other.beep.offsets_s(MOST_SHORT)])
    if not len(own) or not len(tones):
        return 0.0
    return float((np.abs(own[:, None] - tones[None, :]).min(axis=1) < _SAME_TIME_S).mean())


def candidate_beeps(book: ScoreBook, tracks: Sequence[ToneTrack]) -> list[Found]:
    """Return every countdown that the likeliest proposals make, the best first; most are false."""
    found: list[Found] = []
    for short in proposals(tracks)[:MOST_PROPOSALS]:
        short_scores = book.pooled(short.frequency_hz, short.length_s)
        for spacing_s in short.spacings_s:
            one = _best_with(book, tracks, short, short_scores, spacing_s)
            if one is not None and one.worth > 0:
                found.append(one)
    found.sort(key=lambda one: one.worth, reverse=True)
    weighed = [weigh(one, tracks) for one in found[:_MOST_WEIGHED]]
    weighed.sort(key=lambda one: one.worth, reverse=True)
    return [replace(one, beep=_with_count(book, one.beep)) for one in rivalled(weighed)[:6]]


def weigh(found: Found, tracks: Sequence[ToneTrack]) -> Found:
    """Return `found` with its ``company`` among `tracks`."""
    beep = found.beep
    pitches = [beep.long_frequency_hz, *([beep.short_frequency_hz] if beep.count else [])]
    return replace(found, company=company(tracks, found.times_s, pitches, beep.offsets_s(MOST_SHORT)))


def rivalled(ranked: Sequence[Found]) -> list[Found]:
    """Return `ranked`, best first, each with how near to it the best one comes that disagrees with it."""
    out = []
    for one in ranked:
        others = [other.worth for other in ranked if other is not one and not one.agrees_with(other)]
        share = max(others, default=0.0) / one.worth if one.worth > 0 else 1.0
        out.append(replace(one, rivalled=float(np.clip(share, 0, 1))))
    return out


def _best_with(
    book: ScoreBook, tracks: Sequence[ToneTrack], short: Proposal, short_scores: Array, spacing_s: float
) -> Found | None:
    """Return the best countdown of this short tone at this spacing: its long tone is what its runs end in."""
    pair = np.minimum(shifted(short_scores, spacing_s), shifted(short_scores, 2 * spacing_s))
    after = shifted(short_scores, -spacing_s)
    # A run ends where the short tone does not come again, but that may be the long one's own pitch too.
    found = []
    for beside in (np.maximum(after, short_scores), after):
        ends = peaks(pair - beside, _PRESENT / 2)
        one = _with_ending(book, tracks, short, spacing_s, ends) if len(ends) >= 3 else None
        if one is not None:
            found.append(one)
    return max(found, key=lambda one: one.worth, default=None)


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
    for frequency_hz, long_s in _endings(tracks, ends * POOL / SCORE_RATE):
        long_scores = book.pooled(frequency_hz, long_s)
        together = np.minimum(pair, long_scores)
        evidence, seen = _evidence(together, after)
        evidence *= _own_share(together, short_scores, long_scores, spacing_s)
        if len(seen) >= 3 and (best is None or evidence > best.evidence):
            chance = _chance(short_scores, long_scores, spacing_s)
            beep = Beep(frequency_hz, long_s, 2, short.frequency_hz, short.length_s, spacing_s)
            best = Found(beep, evidence, chance, tuple(seen * POOL / SCORE_RATE))
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


def _evidence(together: Array, after: Array) -> tuple[float, npt.NDArray[np.int64]]:
    """Return (summed evidence, places of the boundaries that speak for it) of a pattern.

    A further short tone after its end counts against it, and so does another end within 4 s, since music
    repeats faster than the boundaries of a class come.
    """
    seen = peaks(together, _PRESENT, apart_s=0.3)
    if not len(seen):
        return 0.0, seen
    gaps = np.diff(seen, prepend=-(10**9), append=10**9) * (POOL / SCORE_RATE)
    alone = np.minimum(gaps[:-1], gaps[1:]) >= LEAST_APART_S
    # The fourth power lets a few clear countdowns outweigh many faint coincidences.
    worth = together[seen] ** 4 - after[seen] ** 4
    return float(np.where(alone, worth, -np.abs(worth)).sum()), seen[alone & (worth > 0)]


def _own_share(together: Array, short_scores: Array, long_scores: Array, spacing_s: float) -> float:
    """Return the share of a pattern's tones that sound in the pattern and nowhere else, 0 to 1.

    A beep is heard in countdowns only; a note of music is heard all the time, and now and then it falls into
    a pattern. Both tones' shares multiply.
    """
    seen = peaks(together, _PRESENT)
    if not len(seen):
        return 0.0
    least = 0.8 * float(np.median(together[seen]))
    step = spacing_s * SCORE_RATE / POOL
    places = (seen[:, None] - step * np.arange(MOST_SHORT + 1)[None, :]).ravel()
    share = 1.0
    for scores, own in ((short_scores, places), (long_scores, seen.astype(np.float64))):
        found = peaks(scores, least, apart_s=0.3)
        near = np.abs(found[:, None] - own[None, :]).min(axis=1) <= 2 * JITTER_S * SCORE_RATE / POOL
        share *= float(near.mean()) if len(found) else 0.0
    return share


def _chance(short_scores: Array, long_scores: Array, spacing_s: float) -> float:
    worst = 0.0
    for once, twice, _ in _WRONG:
        pair = np.minimum(shifted(short_scores, once * spacing_s), shifted(short_scores, twice * spacing_s))
        both = np.minimum(pair, long_scores)
        worst = max(worst, float((both[peaks(both, _PRESENT)] ** 4).sum()))
    return worst


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
