"""Totals of a session: time, sets, balance of sides, equipment, load, and how much of it is talk.

Plain sums over a session's intervals and a schedule's events. ``work`` is work intervals alone, ``effective
work`` the same without settling in, ``rest`` rest intervals alone; changes, talk and breathing count for
themselves. A set is a work interval with an exercise; the two halves of a set done on each side are one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from itertools import groupby, pairwise
from typing import Any

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule
from cuelane.base.units import format_clock, format_duration
from cuelane.facts.energy import Energy, energy
from cuelane.facts.pick_up import not_picked_up
from cuelane.facts.talk import FOLLOWED_WORDS_PER_MINUTE, USUAL_WORDS_PER_MINUTE, TalkFacts, talk_facts
from cuelane.session.model import Interval, Session

# Halves of an odd number of milliseconds are not uneven.
_UNEVEN_MS = 1_000


@dataclass(frozen=True)
class ExerciseFacts:
    name: str
    sets: int
    work_ms: int
    effective_ms: int
    left_sets: int
    right_sets: int
    left_ms: int
    right_ms: int


@dataclass(frozen=True)
class BlockFacts:
    name: str
    pattern: str
    start_ms: int
    length_ms: int
    rounds: int | None
    sets: int


@dataclass(frozen=True)
class EquipmentFacts:
    """A thing needed, when first, and by which exercises."""

    item: str
    first_ms: int
    exercises: tuple[str, ...]


@dataclass(frozen=True)
class LoadFacts:
    """Two exercises in a row that load the same regions: how often, and the shortest pause between them."""

    first: str
    then: str
    regions: tuple[str, ...]
    times: int
    shortest_pause_ms: int


@dataclass(frozen=True)
class Facts:
    """All of a session's facts. Times are integer milliseconds, those of ``talk`` seconds.

    ``regions`` are those of the body that any exercise loads. ``work_to_rest`` is None without rest.
    ``warnings`` are for people; ``warning_codes`` holds, for each of them, the code that silences it in
    the plan's ``allow``, and ``warning_subjects`` the exercise that it is about, empty for none.
    """

    total_ms: int
    work_ms: int
    effective_work_ms: int
    rest_ms: int
    change_ms: int
    talk_ms: int
    breath_ms: int
    work_to_rest: float | None
    sets: int
    exercises: tuple[ExerciseFacts, ...]
    left_ms: int
    right_ms: int
    equipment: tuple[EquipmentFacts, ...]
    regions: tuple[str, ...]
    consecutive_load: tuple[LoadFacts, ...]
    blocks: tuple[BlockFacts, ...]
    talk: TalkFacts | None
    energy: Energy | None
    warnings: tuple[str, ...]
    warning_codes: tuple[str, ...]
    warning_subjects: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the facts as JSON can hold them."""
        return {key: _plain(value) for key, value in asdict(self).items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(inner) for inner in value]
    return round(value, 4) if isinstance(value, float) else value


def facts(session: Session, schedule: Schedule | None = None) -> Facts:
    """Return a session's facts; with its `schedule`, those of its talk too."""
    intervals = session.intervals
    work = [entry for entry in intervals if entry.kind == "work"]
    work_ms, rest_ms = _sum(work), _sum(entry for entry in intervals if entry.kind == "rest")
    exercises = tuple(_exercises(work))
    load = tuple(_consecutive_load(work))
    talk = talk_facts(schedule) if schedule is not None else None
    estimate, unknown_codes = energy(session)
    told = list(_warnings(exercises, load, talk, unknown_codes, page_words(session.plan.language)))
    told += _without_a_pick_up(session, schedule) if schedule is not None else ()
    warnings = [row for row in told if row[0] not in session.plan.allow]
    return Facts(
        total_ms=session.length_ms,
        work_ms=work_ms,
        effective_work_ms=sum(_effective(entry) for entry in work),
        rest_ms=rest_ms,
        change_ms=_sum(entry for entry in intervals if entry.kind == "change"),
        talk_ms=_sum(entry for entry in intervals if entry.kind == "talk"),
        breath_ms=_sum(entry for entry in intervals if entry.kind in ("in", "hold", "out")),
        work_to_rest=work_ms / rest_ms if rest_ms else None,
        sets=len({_set_key(entry) for entry in work if entry.exercise}),
        exercises=exercises,
        left_ms=sum(row.left_ms for row in exercises),
        right_ms=sum(row.right_ms for row in exercises),
        equipment=tuple(_equipment(intervals)),
        regions=tuple({key: name for entry in work for key, name in _regions(entry).items()}.values()),
        consecutive_load=load,
        blocks=tuple(_blocks(intervals)),
        talk=talk,
        energy=estimate,
        warnings=tuple(text for _, _, text in warnings),
        warning_codes=tuple(code for code, _, _ in warnings),
        warning_subjects=tuple(subject for _, subject, _ in warnings),
    )


def _sum(intervals: Iterable[Interval]) -> int:
    return sum(entry.length_ms for entry in intervals)


def _effective(interval: Interval) -> int:
    return max(0, interval.length_ms - interval.settle_ms)


def _set_key(interval: Interval) -> int:
    return interval.index if interval.set_index is None else -1 - interval.set_index


def _exercises(work: list[Interval]) -> Iterator[ExerciseFacts]:
    """Yield each exercise's sets and times, in order of first appearance."""
    by_name: dict[str, list[Interval]] = {}
    for entry in work:
        if entry.exercise:
            by_name.setdefault(entry.exercise, []).append(entry)
    for name, own in by_name.items():
        left, right = ([entry for entry in own if entry.side == side] for side in ("left", "right"))
        yield ExerciseFacts(
            name=name,
            sets=len({_set_key(entry) for entry in own}),
            work_ms=_sum(own),
            effective_ms=sum(_effective(entry) for entry in own),
            left_sets=len(left),
            right_sets=len(right),
            left_ms=_sum(left),
            right_ms=_sum(right),
        )


def _equipment(intervals: tuple[Interval, ...]) -> Iterator[EquipmentFacts]:
    first_ms: dict[str, int] = {}
    users: dict[str, dict[str, None]] = {}
    for entry in intervals:
        for item in entry.spec.needs if entry.spec and entry.exercise else ():
            first_ms.setdefault(item, entry.start_ms)
            users.setdefault(item, {})[str(entry.exercise)] = None
    for item, start_ms in first_ms.items():
        yield EquipmentFacts(item, start_ms, tuple(users[item]))


def _regions(interval: Interval) -> dict[str, str]:
    return {name.casefold(): name for name in interval.spec.load} if interval.spec else {}


def _consecutive_load(work: list[Interval]) -> Iterator[LoadFacts]:
    """Yield each pair of different exercises that follow one another and load the same regions."""
    sets = [list(group) for _, group in groupby((entry for entry in work if entry.exercise), key=_set_key)]
    found: dict[tuple[str, str], list[int]] = {}
    shared: dict[tuple[str, str], tuple[str, ...]] = {}
    for before, after in pairwise(sets):
        pair = (str(before[-1].exercise), str(after[0].exercise))
        regions = _regions(before[-1])
        both = tuple(name for key, name in regions.items() if key in _regions(after[0]))
        if both and pair[0] != pair[1]:
            found.setdefault(pair, []).append(after[0].start_ms - before[-1].end_ms)
            shared[pair] = both
    for pair, pauses_ms in found.items():
        yield LoadFacts(*pair, shared[pair], len(pauses_ms), min(pauses_ms))


def _blocks(intervals: tuple[Interval, ...]) -> Iterator[BlockFacts]:
    for _, group in groupby(intervals, key=lambda entry: (entry.block_index, entry.block)):
        rows = list(group)
        rounds = [entry.round for entry in rows if entry.round is not None]
        sets = {_set_key(entry) for entry in rows if entry.kind == "work" and entry.exercise}
        yield BlockFacts(
            name=rows[0].block,
            pattern=rows[0].pattern,
            start_ms=rows[0].start_ms,
            length_ms=rows[-1].end_ms - rows[0].start_ms,
            rounds=max(rounds) if rounds else None,
            sets=len(sets),
        )


def _warnings(
    exercises: tuple[ExerciseFacts, ...],
    load: tuple[LoadFacts, ...],
    talk: TalkFacts | None,
    unknown_codes: list[str],
    words: PageWords,
) -> Iterator[tuple[str, str, str]]:
    """Yield each warning's code, the exercise that it is about (empty for none), and its words."""
    for row in exercises:
        if abs(row.left_ms - row.right_ms) >= _UNEVEN_MS:
            key = "warning.uneven_both" if row.left_sets and row.right_sets else "warning.uneven"
            left, right = (
                _sets(count, time_ms, words)
                for count, time_ms in ((row.left_sets, row.left_ms), (row.right_sets, row.right_ms))
            )
            yield "uneven-sides", row.name, words(key, exercise=row.name, left=left, right=right)
    for pair in load:
        yield "same-load", pair.first, _same_load(pair, words)
    rate = talk.words_per_minute if talk is not None else None
    if rate is not None and rate > FOLLOWED_WORDS_PER_MINUTE:
        limit = f"{FOLLOWED_WORDS_PER_MINUTE} that listeners follow"
        yield "speaking-rate", "", f"the voice speaks {rate:.0f} words a minute, faster than the {limit}"
    elif rate is not None and rate < USUAL_WORDS_PER_MINUTE[0]:
        usual = f"usual {USUAL_WORDS_PER_MINUTE[0]} or more"
        yield "speaking-rate", "", f"the voice speaks {rate:.0f} words a minute, slower than the {usual}"
    for code in unknown_codes:
        yield "unknown-activity", "", f"activity {code} is not in the table that energy is estimated from"


def _without_a_pick_up(session: Session, schedule: Schedule) -> Iterator[tuple[str, str, str]]:
    """Yield a warning for each thing that an exercise needs and nothing names before its set."""
    for (exercise, thing), times in not_picked_up(session, schedule).items():
        often = "" if times == 1 else f", {times} times"
        text = (
            f"{exercise}: nothing names {thing} in time to pick it up{often}; a change before it gives time"
        )
        yield "no-pick-up", exercise, text


def _sets(count: int, time_ms: int, words: PageWords) -> str:
    if not count:
        return words("warning.no_sets")
    return words("warning.sets", count=count, n=str(count), clock=format_clock(time_ms))


def _same_load(pair: LoadFacts, words: PageWords) -> str:
    regions = pair.regions[-1]
    if len(pair.regions) > 1:
        regions = words("warning.regions", items=", ".join(pair.regions[:-1]), last=regions)
    key = "load_once" if pair.times == 1 else "load"
    return words(
        f"warning.{key}" if pair.shortest_pause_ms else f"warning.{key}_at_once",
        first=pair.first,
        then=pair.then,
        regions=regions,
        n=str(pair.times),
        pause=format_duration(pair.shortest_pause_ms),
    )
