"""What every schedule must hold, in arithmetic of its own: the second opinion of the plan campaign."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from cuelane.base.schedule import Schedule
from cuelane.session.arrange import Arranged
from cuelane.session.model import Session

At = Callable[[int], int]


def check_schedule(session: Session, result: Arranged, rate: int) -> None:
    """Hold a schedule to the rules, in arithmetic of its own (halves up: `2 * x + 1) // 2`)."""
    plan, schedule = session.plan, result.schedule
    at = lambda ms: (2 * ms * rate + 1000) // 2000  # noqa: E731
    assert schedule.n_frames == at(sum(entry.length_ms for entry in session.intervals)), "total"
    start_ms = 0
    for entry, row in zip(session.intervals, schedule.intervals, strict=True):
        assert entry.length_ms > 0
        assert (row.start_sample, row.end_sample) == (
            at(start_ms),
            at(start_ms + entry.length_ms),
        )
        start_ms += entry.length_ms
    onsets = [event.onset_sample for event in schedule.events]
    assert onsets == sorted(onsets), "onset order"
    for event in schedule.events:
        assert {type(event.onset_sample), type(event.end_sample)} == {int}, "integers"
        assert 0 <= event.onset_sample < event.end_sample <= schedule.n_frames, "in range"
    sounding = sorted(schedule.pips, key=lambda pip: pip.onset_sample)
    for first, second in pairwise(sounding):
        assert first.end_sample <= second.onset_sample, "two pips at once"
    check_boundaries(session, schedule, at)
    check_cues(session, schedule, at)
    check_explicit(session, schedule, at)
    check_calls(session, schedule, rate)
    check_told(result)
    misfits = {attempt.interval.index for attempt in result.misfits}
    check_musts(session, result, misfits)
    for entry, row in zip(session.intervals, schedule.intervals, strict=True):
        if entry.index not in misfits and entry.pattern != "script":
            check_room(plan, entry, row, schedule, at)


def check_boundaries(session: Session, schedule: Schedule, at: At) -> None:
    """Each countdown is spaced evenly up to a boundary; a long pip stands on each boundary that has one."""
    shorts: set[int] = set()
    longs: set[int] = set()
    for number, entry in enumerate(session.intervals):
        last = number + 1 == len(session.intervals)
        if entry.opening_pip:
            longs.add(at(entry.start_ms))
        if entry.countdown and not last:
            count, spacing_ms = entry.countdown.count, entry.countdown.spacing_ms
            shorts |= {at(entry.end_ms - before * spacing_ms) for before in range(1, count + 1)}
            assert session.intervals[number + 1].opening_pip, "a countdown to nothing"
    assert {pip.onset_sample for pip in schedule.pips if pip.role == "short"} == shorts, "short pips"
    assert {pip.onset_sample for pip in schedule.pips if pip.role != "short"} == longs, "long pips"
    assert len(schedule.pips) == len(shorts) + len(longs), "a pip twice"


def check_explicit(session: Session, schedule: Schedule, at: At) -> None:
    """A script's cue starts where the script says."""
    for cue in schedule.cues:
        entry = session.intervals[cue.interval]
        wanted = [at(entry.start_ms + one.at) for one in entry.script_cues if one.text == cue.text]
        if entry.script_cues and cue.role == "say":
            assert cue.onset_sample in wanted, "a script's cue is not at its place"


def check_calls(session: Session, schedule: Schedule, rate: int) -> None:
    """A time call in a set starts to a sample at a whole number of seconds before its end, or at its half."""
    for cue in schedule.cues:
        entry = session.intervals[cue.interval]
        if cue.role != "time" or entry.kind != "work":
            continue
        # In thousandths of a sample: rounding allows half a sample.
        left = entry.end_ms * rate - 1000 * cue.onset_sample
        apart = abs(left - round(left / (1000 * rate)) * 1000 * rate)
        assert apart <= 500, f"a time call that is {left / rate} ms from the end"


def check_told(result: Arranged) -> None:
    """Every line that was offered is spoken or reported as left out; one of a group speaks for the others."""
    rows = Counter((event.role, event.text, event.interval) for event in result.schedule.cues)
    rows += Counter((row.role, row.text, row.interval) for row in result.schedule.dropped)
    told = Counter((role, text) for role, text, _ in rows.elements())
    # A talk that is hurried is offered at each pace, the usual one among them.
    wanted = Counter((one.role, one.text) for one in result.offered if one.group is None and one.hurry == 1.0)
    assert wanted <= told, f"a line went without a word: {wanted - told}"


def check_cues(session: Session, schedule: Schedule, at: At) -> None:
    guard, gap = at(session.plan.guard), at(session.plan.gap)
    cues = sorted(schedule.cues, key=lambda cue: cue.onset_sample)
    for first, second in pairwise(cues):
        apart = second.onset_sample - first.end_sample
        assert apart >= 0, "cues overlap"
        same = first.interval == second.interval
        assert not same or session.intervals[first.interval].pattern == "script" or apart >= gap, "gap"
    for cue in cues:
        row = schedule.intervals[cue.interval]
        assert row.start_sample <= cue.onset_sample, "cue over a boundary"
        assert cue.end_sample <= row.end_sample, "cue over a boundary"
        for pip in schedule.pips:
            apart = max(pip.onset_sample - cue.end_sample, cue.onset_sample - pip.end_sample)
            assert apart >= 0, "cue over a pip"
            near = abs(pip.interval - cue.interval) <= 1
            assert apart >= guard or not near, f"guard {cue.interval} {pip.interval} {apart}"


def check_musts(session: Session, result: Arranged, misfits: set[int]) -> None:
    del session
    dropped = Counter((row.role, row.text, row.interval) for row in result.schedule.dropped)
    spoken = {(event.role, event.text) for event in result.schedule.cues}
    for candidate in result.offered:
        if candidate.must and candidate.group is None and (candidate.role, candidate.text) not in spoken:
            where = {key[2] for key in dropped if key[:2] == (candidate.role, candidate.text)}
            assert where & misfits, "a must-cue was dropped without an error"


def check_room(plan: Any, entry: Any, row: Any, schedule: Schedule, at: At) -> None:
    length_of = row.end_sample - row.start_sample
    inside = [
        event
        for event in schedule.events
        if event.onset_sample < row.end_sample and event.end_sample > row.start_sample
    ]
    share = {"work": plan.talk_share.work, "rest": plan.talk_share.rest, "change": plan.talk_share.rest}
    spoken = sum(cue.end_sample - cue.onset_sample for cue in inside if cue.kind == "cue")
    assert spoken <= length_of * (share.get(entry.kind, 1.0) + 0.0005), "talk share"
    if entry.kind == "work" and length_of >= at(20_000):
        ends = [row.start_sample, *(event.end_sample for event in inside)]
        starts = [*(event.onset_sample for event in inside), row.end_sample]
        assert max(b - a for a, b in zip(ends, starts, strict=True)) >= at(4_000), "open stretch"
