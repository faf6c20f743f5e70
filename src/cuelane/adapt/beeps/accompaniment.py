"""Tells a countdown from a figure of music by the tones around it: in music they are the same each time.

Notes of music are as steady as beeps, and a figure of notes returns as regularly as a countdown. But with the
figure the notes around it return too, at the same distances; around a beep there is something else each time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from cuelane.adapt.beeps.tone_tracks import ToneTrack

# Chosen: a longer stretch holds more of the music around a pattern, but also more that matches by chance.
_REACH_S = 4.0
# Chosen: four steps of the tone tracks; wider calls neighbouring notes the same, narrower loses played
# music.
_SAME_PLACE_S = 0.03
# Chosen, in natural logarithms: 21 cents, a fifth of a semitone; wider joins notes next to each other.
_SAME_PITCH = 0.012
# Chosen, as the last: 26 cents, a little wider, so that the pattern's own tones are surely left out.
_OWN_PITCH = 0.015
# Chosen: wider leaves out notes close to the pattern, narrower counts the pattern's own tones as others.
_OWN_PLACE_S = 0.05
# Chosen: the overtones and undertones that a beep's own sound, or a loudspeaker, adds to it.
_OWN_RATIOS = (1 / 3, 1 / 2, 1, 3 / 2, 2, 3, 4)
# Chosen, as the next: more costs time, fewer gives a rougher share.
_MOST_TIMES = 24
# Chosen, as the last.
_MOST_BESIDE = 24
# Chosen: below it a pattern is clearly no music, and the second test, which takes longer, is left out.
_LITTLE = 0.08
# Chosen: about two steps of the tone tracks; wider counts votes by chance, narrower splits one place in two.
_VOTE_S = 0.02
# Chosen, as a share of the votes of the pattern's own places: lower finds places by chance, higher misses
# some.
_TOGETHER = 0.6
# Measured on a few pieces: at most 0.28 for true countdowns, 0.43 to 1.00 for figures of music.
_ELSEWHERE, _OWN = 0.25, 0.50

Floats = npt.NDArray[np.float64]


def company(
    tracks: Sequence[ToneTrack],
    times_s: Sequence[float],
    pitches_hz: Sequence[float],
    offsets_s: Sequence[float],
) -> float:
    """Return the share, 0 to 1, of the tones around a pattern that are there again when the pattern returns.

    Parameters
    ----------
    tracks : all steady tones of the recording, in order of onset.
    times_s : when the pattern occurs (at most 24 of them are used, evenly spread).
    pitches_hz, offsets_s : the pattern's own pitches, and where its own tones are; both are left out.
    """
    times = list(times_s[:: -(-len(times_s) // _MOST_TIMES)]) if times_s else []
    if len(times) < 2:
        return 0.0
    onsets = np.array([track.onset_s for track in tracks])
    pitches = np.log(np.array([track.frequency_hz for track in tracks]))
    own = np.log(np.array([pitch * ratio for pitch in pitches_hz for ratio in _OWN_RATIOS]))
    is_own = np.abs(pitches[:, None] - own[None, :]).min(axis=1) < _OWN_PITCH
    offset, pitch, visit = [], [], []
    for number, time_s in enumerate(times):
        low, high = np.searchsorted(onsets, [time_s - _REACH_S, time_s + _REACH_S])
        at = onsets[low:high] - time_s
        apart = np.abs(at[:, None] - np.array(offsets_s)[None, :]).min(axis=1) > _OWN_PLACE_S
        beside = apart & ~is_own[low:high]
        offset.append(at[beside])
        pitch.append(pitches[low:high][beside])
        visit.append(np.full(int(beside.sum()), number))
    offsets, near, visits = np.concatenate(offset), np.concatenate(pitch), np.concatenate(visit)
    if len(offsets) < len(times):
        return 0.0
    again = np.zeros(len(offsets))
    for index in range(len(offsets)):
        same = (np.abs(offsets - offsets[index]) < _SAME_PLACE_S) & (np.abs(near - near[index]) < _SAME_PITCH)
        again[index] = len(np.unique(visits[same])) - 1
    share = float(again.mean()) / (len(times) - 1)
    if share < _LITTLE:
        return share
    keep = _distinct(offsets, near, again)
    with_it = _share_with_pattern(onsets, pitches, offsets[keep], near[keep], np.array(times_s))
    return share * float(np.clip((with_it - _ELSEWHERE) / (_OWN - _ELSEWHERE), 0, 1))


def _distinct(offsets: Floats, pitches: Floats, again: Floats) -> list[int]:
    """Return the tones around a pattern that return most often, each once."""
    kept: list[int] = []
    for index in np.argsort(-again, kind="stable"):
        if len(kept) == _MOST_BESIDE or again[index] < 1:
            break
        if all(
            abs(offsets[k] - offsets[index]) > _SAME_PLACE_S or abs(pitches[k] - pitches[index]) > _SAME_PITCH
            for k in kept
        ):
            kept.append(int(index))
    return kept


def _share_with_pattern(
    onsets: Floats, pitches: Floats, offsets: Floats, beside: Floats, times_s: Floats
) -> float:
    """Of the places where the tones around a pattern sound together, return the share that have the pattern.

    Where a class's intervals last a whole number of bars of the music, the same notes sound at every
    boundary. But the music comes to those notes at other times too, where there is no beep.
    """
    votes = np.zeros(int((onsets[-1] + 2 * _REACH_S) / _VOTE_S) + 2)
    for offset, pitch in zip(offsets, beside, strict=True):
        at = onsets[np.abs(pitches - pitch) < _SAME_PITCH] - offset + _REACH_S
        votes[np.unique((at / _VOTE_S).astype(int))] += 1
    near = votes + np.roll(votes, 1) + np.roll(votes, -1)
    own = ((times_s + _REACH_S) / _VOTE_S).astype(int)
    usual = float(np.median([near[max(0, k - 1) : k + 2].max() for k in own]))
    places, _ = find_peaks(near, height=max(2.0, _TOGETHER * usual), distance=round(1.0 / _VOTE_S))
    if not len(places):
        return 1.0
    apart = np.abs(places[:, None] - own[None, :]).min(axis=1) * _VOTE_S
    return float((apart < 2 * _OWN_PLACE_S).mean())
