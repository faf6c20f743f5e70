"""How many words a first set has to carry, against what can be followed while exercising.

Whoever moves and breathes hard has less attention for words than whoever sits. That about half of a set at
most should be words is common practice, no source; at 150 to 180 words a minute while a voice speaks (the
range of read English is 160 to 190 in Tauroza and Allison 1990, Applied Linguistics 11; value from memory) it
is what the limit comes to.
"""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.lint.spoken_lines import SpokenLine
from cuelane.plan.parts import CueLine
from cuelane.session.ends import word_count
from cuelane.session.model import Interval, Session

FOLLOWED_IN_A_SET = 90
"""Words a minute of a set, counted over all of it."""


class Density:
    """The words that each exercise's first set has to carry, whatever else is left out."""

    def __init__(self, session: Session) -> None:
        self._first: dict[tuple[str, int], Interval] = {}
        for entry in session.intervals:
            if entry.exercise is not None and entry.appearance == 1 and entry.half != 2:
                self._first.setdefault((entry.exercise, id(entry.spec)), entry)

    def too_dense(self, line: SpokenLine) -> Iterator[tuple[int, int]]:
        """Yield the words a minute of a name's first set, and how many words are too many; else nothing."""
        if line.role != "name" or line.exercise is None:
            return
        entry = self._first.get((line.exercise, id(line.spec)))
        if entry is None or not entry.length_ms:
            return
        n_words = sum(map(word_count, (line.exercise, *(row.text for row in _insisted_on(entry)))))
        rate = round(n_words * 60_000 / entry.length_ms)
        if rate > FOLLOWED_IN_A_SET:
            yield rate, n_words - FOLLOWED_IN_A_SET * entry.length_ms // 60_000


def _insisted_on(entry: Interval) -> Iterator[CueLine]:
    """Yield the lines that are spoken in a first set: its set-up, and what the plan says must be."""
    if entry.spec is None:
        return
    for line in entry.spec.setup:
        if line.rounds in (None, 1, "first", "odd") and line.must is not False:
            yield line
    for role in ("form", "easier", "harder", "say", "praise"):
        for line in getattr(entry.spec, role):
            if line.must is True and line.rounds in (None, 1, "first", "odd"):
                yield line
