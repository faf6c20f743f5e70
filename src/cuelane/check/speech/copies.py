"""Cues found away from their places: those that moved, and second copies."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from cuelane.check.speech.clip_match import DOUBLE_GAIN, OVERLAID_GAIN, Heard, Ruler, least_score, merge
from cuelane.check.speech.phrase_search import PhraseHit
from cuelane.check.threads import side_by_side

# Chosen, as the next two: places measured for a cue elsewhere; more costs time, fewer may miss a moved cue.
FAR_TRIES = 6
# Chosen: the coarse score from which a missing cue is worth a measurement.
FAINT_COARSE = 0.3
# Chosen, as the first.
COPY_TRIES = 2
COPY_LIKENESS = 0.15
"""Chosen: a copy looks at most so much less alike than the cues that are in place do."""


def elsewhere(
    keys: Sequence[str], pool: list[Heard], grouped: dict[str, list[PhraseHit]], ruler: Ruler
) -> list[Heard]:
    """Return cues found away from their places: those that are missing there, and copies."""
    present: dict[str, list[Heard]] = {key: [] for key in keys}
    for heard in pool:
        present.setdefault(heard.key, []).append(heard)
    events: dict[str, int] = defaultdict(int)
    for key in keys:
        events[key] += 1
    gains = [heard.gain for heard in pool]
    usual = float(np.median(gains)) if gains else 0.0
    sorted_pool = sorted(pool, key=lambda h: h.time_s)
    sorted_times = [h.time_s for h in sorted_pool]
    longest = max((ruler.length_s(key) for key in events), default=0.0)

    def verify(key: str, place_s: float, extras: list[Heard]) -> Heard | None:
        low = bisect_left(sorted_times, place_s - longest)
        high = bisect_right(sorted_times, place_s + longest)
        over = [h for h in [*sorted_pool[low:high], *extras] if _meets(h, key, place_s, ruler)]
        heard = ruler.find(key, place_s - 0.05, place_s + 0.05, without=over)
        least_gain = (OVERLAID_GAIN if over else DOUBLE_GAIN) * usual
        sure = heard.score >= 1.3 * least_score(ruler.length_s(key)) and heard.gain >= least_gain
        return heard if sure else None

    def copies(row: tuple[str, int]) -> list[Heard]:
        key, n_events = row
        known = present[key]
        missing = len(known) < n_events
        places = np.array([h.time_s for h in known])
        likeness = [
            c.score for c in grouped.get(key, []) if len(places) and np.abs(places - c.time_s).min() < 0.06
        ]
        least = FAINT_COARSE if missing or not likeness else float(np.median(likeness)) - COPY_LIKENESS
        tries = FAR_TRIES * 2 if missing else COPY_TRIES
        found: list[Heard] = []
        for candidate in sorted(grouped.get(key, []), key=lambda c: -c.score):
            if candidate.score < least or tries == 0:
                break
            if len(places) and np.abs(places - candidate.time_s).min() < 0.1:
                continue
            tries -= 1
            heard = verify(key, candidate.time_s, [])
            if heard is not None:
                found.append(heard)
        return found

    verified = [heard for found in side_by_side(copies, events.items()) for heard in found]
    # The strongest first: similar cues are then looked for only in what it leaves.
    added: list[Heard] = []
    for heard in sorted(merge(verified), key=lambda h: -h.energy):
        if any(_meets(h, heard.key, heard.time_s, ruler) for h in added):
            again = verify(heard.key, heard.time_s, added)
            if again is None:
                continue
            heard = again
        added.append(heard)
    return added


def _meets(heard: Heard, key: str, place_s: float, ruler: Ruler) -> bool:
    first = heard.time_s < place_s + ruler.length_s(key)
    return first and place_s < heard.time_s + ruler.length_s(heard.key)
