"""Pips that sound too long or too short: how long a tone really lasts, by its own envelope."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.fft import next_fast_len, rfft

from cuelane.check.intake import ANALYSIS_RATE, CheckedSound
from cuelane.check.pips.tone_search import EDGE_S, FINE_RATE, PipKind, Tone, band_of, guard_s, measure

SUSPECT_SCORE = 0.95
"""Derived: with guards as long as itself, a pip a quarter too long correlates by sqrt(1 / 1.25) = 0.89
with what it should be, one a quarter too short by sqrt(0.75) = 0.87."""
# Chosen: the other length must fit as well as pips in music do; lower reports notes of music.
SURE_SCORE = 0.85
# Chosen: and better than the right length by more than noise makes; lower reports rooms as faults.
BETTER = 0.05
# Chosen: a quarter longer or shorter is heard; less reports what rooms and codecs do.
OFF_SHARE = 0.25
OFF_S = 0.03
"""Chosen: rooms and codecs draw a pip out by some 20 ms."""
# Chosen: how far from its place such a pip may be; more finds another pip.
REACH_S = 0.3
# Chosen, in lengths of the pip: more reaches into the next one of a countdown.
LONGEST = 4.0


def other_length(
    recording: CheckedSound, kind: PipKind, place_s: float, sample_rate: int, own: Tone | None
) -> Tone | None:
    """Return the tone at `place_s` if it has the pitch of `kind` but surely another length, else None.

    `own` is what was found there for `kind` itself; the other length must explain the sound better.
    """
    length_s = _heard_length_s(recording, kind, own.time_s if own is not None else place_s)
    if length_s is None or abs(length_s - kind.length_s) < max(OFF_S, OFF_SHARE * kind.length_s):
        return None
    other = replace(kind, length_s=length_s)
    low_s, high_s = place_s - REACH_S, place_s + REACH_S
    margin_s = guard_s(other) + 0.02
    first = int((low_s - margin_s) * ANALYSIS_RATE)
    n = int((high_s - low_s + length_s + 2 * margin_s) * ANALYSIS_RATE) + 2
    sound = recording.read(first, n)
    tone = measure(sound, first / ANALYSIS_RATE, other, low_s, high_s, sample_rate)
    if tone is None or tone.score < max(SURE_SCORE, (own.score if own is not None else 0.0) + BETTER):
        return None
    return tone


def _heard_length_s(recording: CheckedSound, kind: PipKind, place_s: float) -> float | None:
    """Return how long the tone that sounds at `place_s` stays above half its height, edges included."""
    low_s = place_s - LONGEST * kind.length_s
    step = ANALYSIS_RATE // FINE_RATE
    n = step * next_fast_len(int((2 * LONGEST + 1) * kind.length_s * FINE_RATE))
    spectrum = rfft(recording.read(round(low_s * ANALYSIS_RATE), n))
    size = np.abs(band_of(spectrum, n, kind.frequency_hz, n // step))
    first = round((place_s - low_s) * FINE_RATE)
    inside = size[first : first + max(1, round(kind.length_s * FINE_RATE))]
    half = 0.5 * float(np.percentile(inside, 75))
    top = first + int(np.argmax(inside))
    below = np.flatnonzero(size < half)
    before, after = below[below < top], below[below > top]
    if half <= 0 or not len(before) or not len(after):
        return None
    # Half height is reached half way up a raised-cosine edge.
    return float(after[0] - before[-1]) / FINE_RATE + EDGE_S
