"""Whether an interval is work or rest, by what its sentences are for and by how lengths take turns."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.role_judge import RoleJudge
from cuelane.adapt.words.said_times import phrases

# Common practice, no source: what comes next is told in a rest; how a movement is done, made easier or
# harder, and praise are said while it is done. A set-up is said in either.
_IN_REST = ("preview", "rest")
_IN_WORK = ("form", "easier", "harder", "praise")
# Chosen: sentences together count at most as much as one word that calls a rest or a work.
_MOST = 1.0
# Chosen: so large a part of every second interval must have one length; the others were cut.
_MOSTLY = 0.6
# Chosen: two of a length, with others between, come about by chance.
_LEAST_IN_TURN = 3


def role_votes(
    times: Sequence[float], words: Sequence[PlacedWord], judge: RoleJudge
) -> npt.NDArray[np.float64]:
    """Return by how much the sentences of each interval belong to a rest (above 0) or to a work (below).

    `times` are the n + 1 boundaries in s; the result has shape (n,), each from -1 to 1. Where a sentence is
    said is not told to the judge, since it is what is asked.
    """
    votes = np.zeros(len(times) - 1)
    for phrase in phrases(words):
        index = int(np.searchsorted(times, phrase[0].onset_s, side="right")) - 1
        if 0 <= index < len(votes):
            shares = judge.shares(" ".join(word.text for word in phrase))
            votes[index] += sum(shares.get(role, 0.0) for role in _IN_REST)
            votes[index] -= sum(shares.get(role, 0.0) for role in _IN_WORK)
    return np.asarray(np.clip(votes, -_MOST, _MOST))


def lengths_alternate(lengths: Sequence[float], same_s: float) -> bool:
    """Return whether two lengths, more than `same_s` apart, take turns in most of `lengths`."""
    if len(lengths) < 4:
        return False
    turns = [np.asarray(lengths[first::2]) for first in (0, 1)]
    usual = [float(np.median(turn)) for turn in turns]
    kept = [float((np.abs(turn - at) <= same_s).mean()) for turn, at in zip(turns, usual, strict=True)]
    return abs(usual[0] - usual[1]) > same_s and min(kept) >= _MOSTLY


def one_of_turns_is_even(lengths: Sequence[float], same_s: float) -> bool:
    """Return whether every second of `lengths` is one length, to `same_s`, and most of the others are not.

    Sets of 30 s with rests of 20, 25 and 35 s between them, or sets of all lengths with one rest.
    """
    turns = [np.asarray(lengths[first::2]) for first in (0, 1)]
    if min(map(len, turns)) < _LEAST_IN_TURN:
        return False
    for one, other in (turns, turns[::-1]):
        usual = float(np.median(one))
        kept, others = np.abs(one - usual) <= same_s, np.abs(other - usual) > same_s
        if kept.all() and float(others.mean()) >= _MOSTLY:
            return True
    return False
