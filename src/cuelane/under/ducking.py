"""The music's gain, from the plan and not from a detector.

A gain is given in decibels at nodes 10 ms apart, and runs straight between them. Before an event it goes down
along half a cosine, reaches its depth 50 ms before the onset, stays there until 50 ms after the end, and is
back within 0.6 s. Between events closer than 1.2 s it stays down, at the smaller of their depths. No ramp is
steeper than 0.08 dB per ms, so that no step is heard: a deeper duck begins earlier. The ramp back takes at
most 0.6 s, which limits the depth of every duck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

AHEAD_MS = 50
HOLD_MS = 50
ATTACK_MS = 300
RELEASE_MS = 540
HELD_GAP_MS = 1_200
MOST_SLOPE_DB_PER_MS = 0.08
WHOLE_SLOPE_DB_PER_MS = 0.018
"""For the common gain of track and music, which adds to the music's own: together under 0.1 dB per ms."""

DEEPEST_DB = RELEASE_MS * MOST_SLOPE_DB_PER_MS * 2 / np.pi


@dataclass(frozen=True)
class Duck:
    """Music down by `depth_db` (>= 0) while an event sounds; positions in samples."""

    onset_sample: int
    end_sample: int
    depth_db: float


def duck_nodes(ducks: Sequence[Duck], n_nodes: int, node_frames: int, sample_rate: int) -> Array:
    """Return the gain at each node, dB (<= 0), shape (n_nodes + 1,): the last is the end of the last node."""
    gain = np.zeros(n_nodes + 1)
    per_ms = sample_rate / 1000
    ahead, hold, held_gap = AHEAD_MS * per_ms, HOLD_MS * per_ms, HELD_GAP_MS * per_ms
    ordered = sorted((duck for duck in ducks if duck.depth_db > 0), key=lambda duck: duck.onset_sample)
    for i, duck in enumerate(ordered):
        _lower(gain, duck.onset_sample - ahead, duck.end_sample + hold, duck.depth_db, node_frames, per_ms)
        following = ordered[i + 1] if i + 1 < len(ordered) else None
        if following is not None and following.onset_sample - duck.end_sample < held_gap:
            between = min(duck.depth_db, following.depth_db)
            _lower(gain, duck.onset_sample - ahead, following.end_sample + hold, between, node_frames, per_ms)
    return gain


def _lower(gain: Array, first: float, last: float, depth_db: float, node_frames: int, per_ms: float) -> None:
    """Lower `gain` to -depth_db or less between two samples, with a ramp on either side."""
    # Half a cosine is pi/2 times as steep in its middle as a straight line.
    attack = max(ATTACK_MS, depth_db * np.pi / 2 / MOST_SLOPE_DB_PER_MS) * per_ms
    release = RELEASE_MS * per_ms
    # Whole nodes, so that the straight lines between nodes are down in time.
    first_node, last_node = int(first // node_frames), int(-(-last // node_frames))
    start = max(0, first_node - int(np.ceil(attack / node_frames)))
    stop = min(len(gain) - 1, last_node + int(release // node_frames))
    nodes = np.arange(start, stop + 1)
    down = np.clip((first_node - nodes) * node_frames / attack, 0, 1)
    up = np.clip((nodes - last_node) * node_frames / release, 0, 1)
    share = 0.5 + 0.5 * np.cos(np.pi * np.maximum(down, up))
    gain[nodes] = np.minimum(gain[nodes], -depth_db * share)


def under_ceiling(
    gain_db: Array,
    most_db: npt.NDArray[np.floating],
    node_frames: int,
    sample_rate: int,
    slope_db_per_ms: float = MOST_SLOPE_DB_PER_MS,
) -> Array:
    """Return the highest gain that stays under both, and never steeper than the limit.

    Parameters
    ----------
    gain_db : the wanted gain at each node, shape (n_nodes + 1,), itself no steeper than the limit.
    most_db : the most allowed inside each node, shape (n_nodes,); +inf where there is no bound.
    """
    step = slope_db_per_ms * node_frames * 1000 / sample_rate
    held = gain_db.copy()
    low = np.flatnonzero(most_db < np.maximum(gain_db[:-1], gain_db[1:]))
    if not low.size:
        return held
    # A bound acts no farther away than the slope needs to rise from it to the highest gain wanted.
    reach = int(np.ceil((float(gain_db.max()) - float(most_db[low].min())) / step)) + 1
    for near in np.split(low, np.flatnonzero(np.diff(low) > 2 * reach + 1) + 1):
        first, last = max(0, int(near[0]) - reach), min(len(most_db), int(near[-1]) + 1 + reach)
        most = most_db[first:last]
        at_nodes = np.minimum(np.append(most, np.inf), np.insert(most, 0, np.inf))
        lowest = np.minimum(gain_db[first : last + 1], at_nodes)
        rise = step * np.arange(len(lowest))
        forward = np.minimum.accumulate(lowest - rise) + rise
        held[first : last + 1] = np.minimum.accumulate((forward + rise)[::-1])[::-1] - rise
    return held


def gain_of_nodes(nodes_db: Array, node_frames: int) -> npt.NDArray[np.float32]:
    """Return the linear gain of each sample between the first and the last of `nodes_db`.

    `nodes_db` has shape (n_nodes + 1,), dB; the gains have shape (n_nodes * node_frames,).
    """
    if (nodes_db == nodes_db[0]).all():
        gain = np.float32(10 ** (nodes_db[0] / 20))
        return np.full((len(nodes_db) - 1) * node_frames, gain, dtype=np.float32)
    share = (np.arange(node_frames) / node_frames).astype(np.float32)
    start = nodes_db[:-1, np.newaxis].astype(np.float32)
    level_db = start + np.diff(nodes_db)[:, np.newaxis].astype(np.float32) * share
    return np.asarray(np.exp(level_db * np.float32(np.log(10) / 20)), dtype=np.float32).ravel()
