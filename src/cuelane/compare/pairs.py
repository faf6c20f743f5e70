"""Which part of one list goes with which part of another, by the matching of Python's difflib."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from difflib import SequenceMatcher
from itertools import zip_longest
from typing import TypeVar

_T = TypeVar("_T")
Pair = tuple[_T | None, _T | None]

MOST_ALIGNED = 4_000
"""Chosen: difflib's time grows with the square of the number of equal entries, and reaches some seconds here.
Longer lists are paired place by place: the first with the first, and so on."""


def paired(before: Sequence[_T], after: Sequence[_T], key: Callable[[_T], Hashable]) -> Iterator[Pair[_T]]:
    """Yield pairs in order: entries with equal keys, and entries of which one took the place of the other.

    What only one list has comes with None.
    """
    if max(len(before), len(after)) > MOST_ALIGNED:
        yield from zip_longest(before, after)
        return
    left, right = [key(one) for one in before], [key(one) for one in after]
    for _, i1, i2, j1, j2 in SequenceMatcher(None, left, right, autojunk=False).get_opcodes():
        yield from zip_longest(before[i1:i2], after[j1:j2])
