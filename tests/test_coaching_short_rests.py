"""What a rest of a few seconds says: the next exercise at once, or the set before it does."""

from __future__ import annotations

from typing import Any

import pytest

from cuelane.base.schedule import Schedule
from planning import RATE, arranged

NAMES = ["march", "squat", "plank"]


def timetable(rest: str, *, work: str = "30s", calls: list[str] | None = None, **spec: Any) -> Schedule:
    block: dict[str, Any] = {
        "block": "Main",
        "pattern": "circuit",
        "work": work,
        "rest": rest,
        "exercises": NAMES,
    }
    block |= {} if calls is None else {"calls": calls}
    exercises = {name: {"setup": f"Set up for the {name}."} | spec for name in NAMES}
    return arranged({"session": [block], "exercises": exercises}).schedule


def namings(found: Schedule, name: str) -> list[tuple[str, float, float]]:
    """Return where `name` is announced before its set: the kind of interval, and seconds from its ends."""
    rows = []
    for cue in found.cues:
        row = found.intervals[cue.interval]
        if row.exercise != name and cue.text.startswith("Next") and name in cue.text:
            ends = (cue.onset_sample - row.start_sample) / RATE, (row.end_sample - cue.end_sample) / RATE
            rows.append((row.kind, *ends))
    return rows


@pytest.mark.parametrize("rest", ["8s", "10s", "11s"])
def test_a_short_rest_names_at_once_what_comes(rest: str) -> None:
    """In the first three seconds, so that what is left is for getting there."""
    found = timetable(rest)
    for name in NAMES[1:]:
        ((kind, after, _),) = namings(found, name)
        assert kind == "rest"
        assert after <= 3


@pytest.mark.parametrize("work", ["20s", "30s", "45s"])
@pytest.mark.parametrize("rest", ["3s", "5s", "6s"])
def test_the_set_before_a_rest_of_few_seconds_names_what_comes(work: str, rest: str) -> None:
    """A rest without time for a name leaves nobody in doubt: the end of the set has told it."""
    found = timetable(rest, work=work)
    for name in NAMES[1:]:
        ((kind, _, before),) = namings(found, name)
        assert kind == "work"
        assert 3 <= before <= 9


@pytest.mark.parametrize(("sides", "told"), [("none", 0), ("alternate", 3)])
def test_the_same_exercise_behind_a_short_rest_is_named_for_its_side_alone(sides: str, told: int) -> None:
    """Four sets of one exercise with rests of 5 s: "again" three times would tell nothing."""
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "5s", "rounds": 4}
    plan = {"session": [block | {"exercises": ["march"]}], "exercises": {"march": {"sides": sides}}}
    found = arranged(plan).schedule
    texts = [
        cue.text for cue in found.cues if found.intervals[cue.interval].kind == "work" and "again" in cue.text
    ]
    assert len(texts) == told


@pytest.mark.parametrize("pips", [False, {"count": 3, "spacing": "1s"}])
@pytest.mark.parametrize("preview", [{}, {"preview": "Something new, done slowly."}])
def test_a_side_that_the_set_has_told_is_not_told_in_the_short_rest(pips: Any, preview: Any) -> None:
    """It was said five seconds before; nor is it listed as left out where there was no room for it."""
    block = {"block": "Main", "pattern": "circuit", "work": "30s", "rest": "6s", "rounds": 2}
    plan = {"pips": pips, "session": [block | {"exercises": ["march", "squat"]}]}
    sides = {name: {"sides": "alternate"} | preview for name in NAMES[:2]}
    found = arranged(plan | {"exercises": sides}).schedule
    rests = {row.index for row in found.intervals if row.kind == "rest"}
    told = [cue.text for cue in found.cues if found.intervals[cue.interval].kind == "work"]
    assert sum("Next" in text for text in told) == len(rests) == 3
    assert not [cue.text for cue in found.cues if cue.interval in rests and cue.role in ("side", "preview")]
    assert not [row.text for row in found.dropped if row.interval in rests]


def test_a_call_before_a_short_rest_still_says_that_rest_comes() -> None:
    """The next exercise is not what comes in ten seconds."""
    calls = [cue.text for cue in timetable("5s").cues if cue.role == "time"]
    assert len(calls) == 3
    assert all("rest" in text.lower() for text in calls[:2])


def test_what_is_needed_behind_a_short_rest_is_told_as_new_and_once() -> None:
    """The set before the rest says what to have, by the name that the plan gives it."""
    block = {"block": "Main", "pattern": "circuit", "work": "30s", "rest": "5s", "exercises": NAMES}
    exercises: dict[str, Any] = {name: {} for name in NAMES} | {"squat": {"needs": ["one kettlebell"]}}
    opening = {"block": "Before", "pattern": "circuit", "work": "30s", "exercises": ["march"]}
    found = arranged({"session": [opening, {"rest": "20s"}, block], "exercises": exercises}).schedule
    told = [
        cue.text for cue in found.cues if "kettlebell" in cue.text and found.intervals[cue.interval].index > 2
    ]
    assert told[0] == "Next: squat, with one kettlebell."
    assert not any("one kettlebell" in text for text in told[1:])


def test_a_preview_behind_a_short_rest_is_told_in_the_set_before() -> None:
    """The plan's own words about a new exercise are not lost for want of a rest."""
    found = timetable("5s", preview="Something new, done slowly.")
    told = [cue for cue in found.cues if "done slowly" in cue.text]
    kinds = [found.intervals[cue.interval].kind for cue in told]
    assert kinds == ["talk", "work", "work"]


@pytest.mark.parametrize(
    ("pattern", "change", "kind"),
    [("build-up", "5s", "work"), ("build-up", "8s", "change"), ("flow", "5s", "change")],
)
def test_a_change_without_room_before_its_countdown_is_named_in_the_set(
    pattern: str, change: str, kind: str
) -> None:
    """In one of 5 s with two pips a name of some words had no room, and nobody knew it before it began.

    In a flow no pips count down to its end.
    """
    names = ["slow march", "squat to the bench", "side plank on the elbow"]
    block = {"block": "Main", "pattern": pattern, "work": "40s", "change": change, "exercises": names}
    block |= {"rest": "20s"} if pattern == "build-up" else {}
    plan = {"session": [block], "exercises": {name: {"sides": "alternate"} for name in names}}
    found = arranged(plan).schedule
    before_change = {row.index - 1 for row in found.intervals if row.kind == "change"}
    told = [
        found.intervals[cue.interval]
        for cue in found.cues
        if cue.text.startswith("Next: ") and found.intervals[cue.interval].kind in ("work", "change")
    ]
    assert {row.kind for row in told} == {kind}
    assert {row.index - (row.kind == "change") for row in told} == before_change
    assert not [row.text for row in found.dropped if found.intervals[row.interval].kind == "change"]
