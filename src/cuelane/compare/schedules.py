"""What differs between two schedules: intervals, cues and pips, each against its own interval.

A cue that stands as long after its interval's start as before has not moved, whatever became longer before
it: so one longer rest is one difference, and not one for each cue behind it. Times are in milliseconds, since
the two may have other sample rates.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.base.units import to_ms
from cuelane.compare.pairs import Pair, paired

_NO_INTERVAL = -1

What = Literal["interval", "cue", "pips"]
Kind = Literal["added", "removed", "changed", "moved", "reworded", "respoken"]


@dataclass(frozen=True)
class Difference:
    """One thing that is not as it was.

    Attributes
    ----------
    what, kind : an interval is added, removed or changed; a cue is added, removed, moved (by `by_ms`),
        reworded (and `by_ms` later), or respoken (the same words, another recording, `by_ms` longer); the
        pips of an interval are changed.
    before_ms, after_ms : where it stands in each session, None in the one that lacks it.
    was, now : the words, or the interval in words.
    by_ms : how much later within its interval, or how much longer.
    """

    what: What
    kind: Kind
    before_ms: int | None
    after_ms: int | None
    was: str = ""
    now: str = ""
    role: str = ""
    by_ms: int | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return it without what does not apply."""
        return {key: value for key, value in vars(self).items() if value not in ("", None)}


@dataclass(frozen=True)
class Side:
    """One of the two sessions, as a heading needs it."""

    title: str
    language: str
    length_ms: int
    n_intervals: int
    n_cues: int
    n_pips: int


@dataclass(frozen=True)
class Changes:
    """All that differs between two sessions; ``heads`` are properties of the whole, (name, was, now)."""

    before: Side
    after: Side
    heads: tuple[tuple[str, str, str], ...] = ()
    differences: tuple[Difference, ...] = ()
    counts: Counter[tuple[What, Kind]] = field(default_factory=Counter)

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        return not self.heads and not self.differences


def changes(before: Schedule, after: Schedule) -> Changes:
    """Return what differs between two sessions."""
    sides = tuple(_side(one) for one in (before, after))
    found = tuple(_differences(before, after))
    counts = Counter((one.what, one.kind) for one in found)
    return Changes(sides[0], sides[1], tuple(_heads(before, after, *sides)), found, counts)


def _side(schedule: Schedule) -> Side:
    length_ms = to_ms(schedule.n_frames, schedule.sample_rate)
    numbers = len(schedule.intervals), len(schedule.cues), len(schedule.pips)
    return Side(schedule.title, schedule.language, length_ms, *numbers)


def _heads(before: Schedule, after: Schedule, was: Side, now: Side) -> Iterator[tuple[str, str, str]]:
    rows: list[tuple[str, object, object]] = [
        ("title", was.title, now.title),
        ("language", was.language, now.language),
        ("voice", _voice(before), _voice(after)),
        ("cautions", _cautions(before), _cautions(after)),
        ("sample rate", before.sample_rate, after.sample_rate),
    ]
    for name, one, other in rows:
        if one != other:
            yield name, str(one), str(other)


def _voice(schedule: Schedule) -> str:
    voice = schedule.extra.get("voice")
    return str(voice.get("name", "")) if isinstance(voice, dict) else ""


def _cautions(schedule: Schedule) -> str:
    cautions = schedule.extra.get("cautions")
    return " ".join(map(str, cautions)) if isinstance(cautions, list) else ""


@dataclass(frozen=True)
class _Placed:
    """An interval with what sounds in it, in ms."""

    interval: ScheduledInterval
    start_ms: int
    length_ms: int
    cues: tuple[tuple[Event, int, int], ...]
    """Each with its onset after the interval's start and its length."""
    pips: tuple[tuple[int, float | None], ...]
    """Onset after the interval's start, and pitch."""

    @property
    def key(self) -> Hashable:
        one = self.interval
        return one.block, one.kind, one.exercise, one.side, one.round

    def words(self) -> str:
        one = self.interval
        parts = [one.kind, one.exercise or "", one.side or "", f"round {one.round}" if one.round else ""]
        return ", ".join(part for part in (*parts, f"{self.length_ms / 1000:g} s") if part)


def _placed(schedule: Schedule) -> list[_Placed]:
    rate = schedule.sample_rate
    cues: dict[int, list[tuple[Event, int, int]]] = {}
    pips: dict[int, list[tuple[int, float | None]]] = {}
    starts = {one.index: to_ms(one.start_sample, rate) for one in schedule.intervals}
    for event in schedule.events:
        index = event.interval if event.interval in starts else _NO_INTERVAL
        at = to_ms(event.onset_sample, rate) - starts.get(index, 0)
        if event.kind == "cue":
            length_ms = to_ms(event.end_sample - event.onset_sample, rate)
            cues.setdefault(index, []).append((event, at, length_ms))
        else:
            pips.setdefault(index, []).append((at, event.frequency_hz))
    whole = ScheduledInterval(_NO_INTERVAL, "", "talk", None, None, None, 0, schedule.n_frames)
    starts[_NO_INTERVAL] = 0
    return [
        _Placed(
            one,
            starts[one.index],
            to_ms(one.end_sample, rate) - starts[one.index],
            tuple(cues.get(one.index, ())),
            tuple(pips.get(one.index, ())),
        )
        for one in (*schedule.intervals, whole)
        # In a schedule from elsewhere an event may belong to no interval: it is compared by the session.
        if one is not whole or _NO_INTERVAL in cues or _NO_INTERVAL in pips
    ]


def _differences(before: Schedule, after: Schedule) -> Iterator[Difference]:
    sides = _placed(before), _placed(after)
    real = [[one for one in side if one.interval.index != _NO_INTERVAL] for side in sides]
    for was, now in paired(real[0], real[1], lambda one: one.key):
        if was is None or now is None:
            yield from _alone(was, now)
        else:
            yield from _by_place(_in_both(was, now))
    was, now = (next((one for one in side if one.interval.index == _NO_INTERVAL), None) for side in sides)
    one = was or now
    if one is not None:
        nothing = replace(one, cues=(), pips=())
        yield from _by_place(_in_both(was or nothing, now or nothing))


def _by_place(found: Iterable[Difference]) -> list[Difference]:
    return sorted(found, key=lambda one: (one.before_ms if one.after_ms is None else one.after_ms) or 0)


def _alone(was: _Placed | None, now: _Placed | None) -> Iterator[Difference]:
    """Yield an interval that only one session has; what is said in it goes with it."""
    if now is not None:
        yield Difference("interval", "added", None, now.start_ms, now=now.words())
    elif was is not None:
        yield Difference("interval", "removed", was.start_ms, None, was=was.words())


def _in_both(was: _Placed, now: _Placed) -> Iterator[Difference]:
    if (was.key != now.key or was.length_ms != now.length_ms) and now.interval.index != _NO_INTERVAL:
        longer = now.length_ms - was.length_ms
        apart = was.interval.block != now.interval.block
        words = [f"{one.interval.block}: {one.words()}" if apart else one.words() for one in (was, now)]
        at = was.start_ms, now.start_ms
        yield Difference("interval", "changed", *at, words[0], words[1], by_ms=longer or None)
    yield from _cues(was, now)
    if _from_end(was) != _from_end(now):
        pips = [f"{len(one.pips)} in {one.words()}" for one in (was, now)]
        yield Difference("pips", "changed", was.start_ms, now.start_ms, pips[0], pips[1])


def _from_end(one: _Placed) -> list[tuple[int, float | None]]:
    """Return the pips by their time before the interval's end, to which they count."""
    return [(at - one.length_ms, pitch) for at, pitch in one.pips]


def _cues(was: _Placed, now: _Placed) -> Iterator[Difference]:
    def place(one: _Placed, cue: tuple[Event, int, int] | None) -> int | None:
        return None if cue is None else one.start_ms + cue[1]

    for old, new in _same_words_first(was.cues, now.cues):
        at = place(was, old), place(now, new)
        if old is None and new is not None:
            yield Difference("cue", "added", *at, now=new[0].text or "", role=new[0].role)
        elif new is None and old is not None:
            yield Difference("cue", "removed", *at, was=old[0].text or "", role=old[0].role)
        elif old is not None and new is not None:
            yield from _in_turn(at, old, new)


def _in_turn(
    at: tuple[int | None, int | None], old: tuple[Event, int, int], new: tuple[Event, int, int]
) -> Iterator[Difference]:
    words = old[0].text or "", new[0].text or ""
    later = new[1] - old[1]
    if words[0] != words[1]:
        yield Difference("cue", "reworded", *at, *words, role=new[0].role, by_ms=later or None)
        return
    if later:
        yield Difference("cue", "moved", *at, now=words[1], role=new[0].role, by_ms=later)
    if old[0].clip != new[0].clip:
        yield Difference("cue", "respoken", *at, now=words[1], role=new[0].role, by_ms=new[2] - old[2])


_Cue = tuple[Event, int, int]


def _same_words_first(was: Sequence[_Cue], now: Sequence[_Cue]) -> Iterator[Pair[_Cue]]:
    """Yield cues of the same words together, wherever they are; then, by role, what took another's place."""
    waiting: dict[tuple[str, str | None], deque[_Cue]] = {}
    for old in was:
        waiting.setdefault((old[0].role, old[0].text), deque()).append(old)
    rest: list[_Cue] = []
    for new in now:
        same = waiting.get((new[0].role, new[0].text))
        if same:
            yield same.popleft(), new
        else:
            rest.append(new)
    unmatched = {id(old) for left in waiting.values() for old in left}
    left = [old for old in was if id(old) in unmatched]
    for gone, come in paired(left, rest, lambda one: one[0].role):
        if gone is not None and come is not None and gone[0].role != come[0].role:
            yield gone, None
            yield None, come
        else:
            yield gone, come
