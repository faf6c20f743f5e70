"""A lone tone on each boundary: one that is clear, rare, and comes at intervals that come again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.countdown import LEAST_CONFIDENCE, Beep, Found, rivalled, weigh
from cuelane.adapt.beeps.score_book import LEAST_APART_S, POOL, ScoreBook, peaks
from cuelane.adapt.beeps.tone_filter import SCORE_RATE
from cuelane.adapt.beeps.tone_tracks import ToneTrack, proposals

# Chosen, stricter than for a countdown, since a lone tone has no pattern as further evidence.
_PRESENT = 0.85
# Chosen: shorter tones alone are common in music; higher misses short beeps.
_SHORTEST_S = 0.15
# Chosen: the middle distance of boundaries; lower takes beats for boundaries.
_LEAST_GAP_S = 6.0
# Chosen: wider takes different distances for equal ones, narrower loses those of edited recordings.
_SAME_GAP_S = 0.05
# Chosen: more costs time, fewer may leave out the right tone.
_MOST_WEIGHED = 12


def find_lone(book: ScoreBook, tracks: Sequence[ToneTrack]) -> Found | None:
    """Return the tone that stands alone on boundaries; None if there is none."""
    found: list[Found] = []
    for proposal in proposals(tracks):
        if proposal.length_s < _SHORTEST_S or not proposal.usual_gap_s >= LEAST_APART_S:
            continue
        scores = book.pooled(proposal.frequency_hz, proposal.length_s)
        seen = peaks(scores, _PRESENT, apart_s=0.3)
        times = seen * POOL / SCORE_RATE
        gaps = np.diff(times)
        if len(seen) < 4 or np.median(gaps) < _LEAST_GAP_S:
            continue
        again = _share_in_turns(gaps)
        evidence = float((scores[seen] ** 4).sum())
        # Tones at irregular intervals are what chance would give.
        beep = Beep(proposal.frequency_hz, proposal.length_s)
        found.append(Found(beep, evidence * again, evidence * (1 - again), tuple(times)))
    found.sort(key=lambda one: one.worth, reverse=True)
    weighed = [weigh(one, tracks) for one in found[:_MOST_WEIGHED]]
    weighed.sort(key=lambda one: one.worth, reverse=True)
    best = next(iter(rivalled(weighed)), None)
    return best if best is not None and best.confidence > LEAST_CONFIDENCE else None


def _share_in_turns(gaps: npt.NDArray[np.float64]) -> float:
    """Return the share of `gaps` that have one of the two commonest lengths, as work and rest have."""
    left, share = gaps, 0
    for _ in range(2):
        if not len(left):
            break
        like = [np.abs(left - gap) < _SAME_GAP_S for gap in left]
        most = max(like, key=lambda row: int(row.sum()))
        if most.sum() < 2:
            break
        share += int(most.sum())
        left = left[~most]
    return share / len(gaps)
