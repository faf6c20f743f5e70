"""The arc of a session: what each round holds, what is new in it, which is the longest, where half is.

All of it is counted from the intervals alone, before any word is chosen, so that nothing is announced that is
not so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from cuelane.session.model import Interval, Session
from cuelane.session.neighbours import Neighbours, neighbours

# "About half" is said only this near to the middle of the training, as a part of it.
HALF_WITHIN = 0.05

RoundKey = tuple[int, int]


@dataclass(frozen=True)
class RoundPart:
    """One round of a block: its sets in order, with those whose exercise has not been done before.

    ``work_ms`` is the work of the whole round; ``set_ms`` the length of its sets where all have one length.
    """

    number: int
    total: int
    sets: tuple[Interval, ...]
    new: tuple[Interval, ...]
    work_ms: int
    set_ms: int | None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(str(entry.exercise) for entry in self.sets)


@dataclass(frozen=True)
class Arc:
    """A session with what its intervals mean to one another."""

    session: Session
    around: Sequence[Neighbours]
    rounds: dict[RoundKey, RoundPart] = field(default_factory=dict)
    longest: frozenset[RoundKey] = frozenset()
    """Rounds with more work than every other round of their block, where there are three and more."""
    tops: frozenset[RoundKey] = frozenset()
    """The largest round of each block that grows and then shrinks."""
    half_index: int | None = None
    """The rest in which about half of the training is done."""
    recurring: frozenset[int] = frozenset()
    """Blocks in which some exercise comes more than once."""
    needs: tuple[str, ...] = ()
    """All equipment of the session, each once, as the plan names it."""

    def round_of(self, interval: Interval | None) -> RoundPart | None:
        """Return the round that an interval belongs to."""
        if interval is None or interval.round is None:
            return None
        return self.rounds.get((interval.block_index, interval.round))

    def begins_round(self, index: int) -> RoundPart | None:
        """Return the round that begins where interval `index` ends, from the second of its block on."""
        coming, before = self.around[index].following, self.last_set(index)
        part = self.round_of(coming)
        if coming is None or part is None or before is None or before.block_index != coming.block_index:
            return None
        return part if before.round != coming.round else None

    def previous(self, coming: Interval) -> RoundPart | None:
        """Return the round before that of `coming`."""
        return self.rounds.get((coming.block_index, (coming.round or 0) - 1))

    def last_set(self, index: int) -> Interval | None:
        """Return the set that interval `index` is, else the last before it."""
        interval = self.session.intervals[index]
        return interval if interval.exercise is not None else self.around[index].before


def first_halves(intervals: Iterable[Interval]) -> list[Interval]:
    """Return the sets among `intervals`, each once; a script's are none."""
    return [
        entry
        for entry in intervals
        if entry.kind == "work" and entry.appearance is not None and entry.half != 2
    ]


def arc_of(session: Session) -> Arc:
    """Return the arc of a session."""
    sets = first_halves(session.intervals)
    rounds = _rounds(session, sets)
    by_block: dict[int, list[tuple[RoundKey, RoundPart]]] = {}
    for key, part in rounds.items():
        by_block.setdefault(key[0], []).append((key, part))
    longest, tops = set(), set()
    for rows in by_block.values():
        most = max(part.work_ms for _, part in rows)
        heads = [key for key, part in rows if part.work_ms == most]
        if len(heads) == 1 and len(rows) > 2:
            longest.add(heads[0])
            pattern = next(entry.pattern for entry in sets if entry.block_index == heads[0][0])
            if pattern == "build-up-and-down":
                tops.add(heads[0])
    counts = Counter((entry.block_index, entry.exercise) for entry in sets)
    return Arc(
        session,
        neighbours(session),
        rounds,
        frozenset(longest),
        frozenset(tops),
        _half(session, sets),
        frozenset(block for (block, _), count in counts.items() if count > 1),
        tuple(dict.fromkeys(thing for entry in sets if entry.spec for thing in entry.spec.needs)),
    )


def _rounds(session: Session, sets: Sequence[Interval]) -> dict[RoundKey, RoundPart]:
    work_ms: Counter[RoundKey] = Counter()
    for entry in session.intervals:
        if entry.kind == "work" and entry.round is not None:
            work_ms[entry.block_index, entry.round] += entry.length_ms
    lengths: Counter[int | None] = Counter()
    for entry in session.intervals:
        if entry.appearance is not None and entry.set_index is not None:
            lengths[entry.set_index] += entry.length_ms
    grouped: dict[RoundKey, list[Interval]] = {}
    for entry in sets:
        if entry.round is not None and entry.rounds is not None:
            grouped.setdefault((entry.block_index, entry.round), []).append(entry)
    found = {}
    for key, rows in grouped.items():
        each = {lengths[entry.set_index] for entry in rows}
        new = tuple(entry for entry in rows if entry.appearance == 1)
        one_ms = each.pop() if len(each) == 1 else None
        found[key] = RoundPart(key[1], rows[0].rounds or 0, tuple(rows), new, work_ms[key], one_ms)
    return found


def _half(session: Session, sets: Sequence[Interval]) -> int | None:
    """Return the rest whose start is nearest the middle of the training, if it is near enough."""
    if len(sets) < 4:
        return None
    first_ms = sets[0].start_ms
    end_ms = max(entry.end_ms for entry in session.intervals if entry.kind == "work")
    middle_ms, span_ms = (first_ms + end_ms) / 2, end_ms - first_ms
    rests = [
        entry
        for entry in session.intervals
        if entry.kind == "rest" and entry.length_ms >= 12_000 and entry.start_ms > first_ms
    ]
    # Said some seconds into the rest, all of which must be near enough.
    nearest = min(rests, key=lambda entry: abs((entry.start_ms + entry.end_ms) / 2 - middle_ms), default=None)
    if nearest is None:
        return None
    farthest_ms = max(abs(nearest.start_ms - middle_ms), abs(nearest.end_ms - middle_ms))
    return nearest.index if farthest_ms <= HALF_WITHIN * span_ms else None
