"""Classes in which a set starts each time so much has passed, and what its repetitions leave of it is rest.

Nothing sounds where work ends there: whoever is done rests until the next start. Set follows set, as in a
class without any rest, and only what is said tells the two apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import median

from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import ClassShape
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.intervals import FoundInterval, are_a_set
from cuelane.adapt.words.word_lists import any_of, lists_of, ways_written

# Chosen, as `cuelane new on-the-minute` has it: the share of the time that is work, where nothing tells more.
_WORK_SHARE = 2 / 3
# Chosen: who calls a rest earlier is quick, or fills the time; later it would be none.
_LEAST_SHARE, _MOST_SHARE = 1 / 2, 5 / 6
# Chosen: one or two sets in which a rest is called may be shorter than the others.
_LEAST_CALLED = 3
# Chosen: lengths of work are told by fives.
_STEP_MS = 5000
# Derived: a shorter time leaves no step of rest behind its work.
_SHORTEST_MS = 4 * _STEP_MS


class TimedStarts:
    """One language's words for sets that start each time so much has passed."""

    def __init__(self, language: str = "en") -> None:
        lists: Mapping[str, list[str]] = lists_of(language)["starts"]  # type: ignore[assignment]
        self._tells, self._done = any_of(lists["tells"]), any_of(lists["done"])
        self._untrue = UntrueCalls(language)

    def tells(self, text: str) -> bool:
        """Return whether `text` says that what is left of a set's time is rest, or that it starts on time."""
        return any(map(self._tells.search, ways_written(text)))

    def rests(self, text: str) -> bool:
        """Return whether `text`, said in a set, is for those who are done with it."""
        return self._untrue.rests(text) or any(map(self._done.search, ways_written(text)))

    def shape(
        self,
        shape: ClassShape,
        intervals: Sequence[FoundInterval],
        cues: Sequence[CutCue],
        named: Lengths | None = None,
    ) -> ClassShape:
        """Return `shape` with what is left of each set's time as rest, if the class is said to go so.

        So it goes, too, where a work and a rest that a person `named` are a set together. Without them the
        work is a guess from where rest is called.
        """
        if shape.sections:
            own = [
                replace(one, shape=self.shape(one.shape, intervals, cues, named)) for one in shape.sections
            ]
            timed = [one.shape.every_ms for one in own if one.shape.every_ms is not None]
            is_named = any(one.shape.is_named for one in own)
            every_ms = timed[0] if timed else None
            return replace(shape, sections=tuple(own), every_ms=every_ms, is_named=is_named)
        alike = all(place.work_ms is None and place.rest_ms is None for place in shape.places)
        is_unbroken = not (shape.rest_ms or shape.round_rest_ms or shape.last_rest or shape.ladder_ms)
        if not alike or not is_unbroken:
            return shape
        is_named = named is not None and are_a_set(named, shape.work_ms / 1000)
        if named is not None and is_named:
            work_ms = round(named.work_s * 1000)
        elif shape.work_ms < _SHORTEST_MS or not any(self.tells(cue.text) for cue in cues):
            return shape
        else:
            work_ms = self._work_ms(shape, intervals, cues)
        return replace(
            shape,
            work_ms=work_ms,
            rest_ms=shape.work_ms - work_ms,
            last_rest=True,
            every_ms=shape.work_ms,
            is_named=is_named,
        )

    def _work_ms(self, shape: ClassShape, intervals: Sequence[FoundInterval], cues: Sequence[CutCue]) -> int:
        called: dict[int, float] = {}
        for cue in cues:
            interval = intervals[cue.interval]
            if cue.interval in shape.sets and self.rests(cue.text):
                called.setdefault(cue.interval, (cue.onset_ms / 1000 - interval.start_s) / interval.length_s)
        share = median(called.values()) if len(called) >= _LEAST_CALLED else _WORK_SHARE
        work_ms = shape.work_ms * min(max(share, _LEAST_SHARE), _MOST_SHARE)
        return round(work_ms / _STEP_MS) * _STEP_MS
