"""Clips kept for the next pass over a session: read once, bounded, the last used longest."""

from __future__ import annotations

import numpy as np

from cuelane.audio.clip import Samples
from cuelane.render.mix import LoadClip
from cuelane.render.recent_clips import recent


def _counting(n_frames: int) -> tuple[LoadClip, list[str]]:
    asked: list[str] = []

    def load(name: str) -> Samples:
        asked.append(name)
        return np.full(n_frames, len(asked), dtype=np.float32)

    return load, asked


def test_a_clip_is_read_once_while_there_is_room() -> None:
    load, asked = _counting(100)
    kept = recent(load, most_bytes=3 * 400)
    for name in "abcabc":
        kept(name)
    assert asked == ["a", "b", "c"]
    # "a" was used since, so "b" goes for "d".
    kept("a")
    kept("d")
    assert [kept(name)[0] for name in "acd"] == [1, 3, 4]
    kept("b")
    assert asked == ["a", "b", "c", "d", "b"]


def test_one_that_is_larger_than_all_room_is_given_and_not_kept() -> None:
    load, asked = _counting(101)
    kept = recent(load, most_bytes=400)
    assert [len(kept("a")), len(kept("a"))] == [101, 101]
    assert asked == ["a", "a"]
