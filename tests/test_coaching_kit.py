"""What is said of equipment, places, choices, beginnings and ends, followed by a listener who does as told.

The listener is written from the sentences alone: what is in hand comes from "pick up" and "put down", what
comes next from the timetable's own intervals.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words

from cuelane.base.language import load_language
from cuelane.base.schedule import Event, Schedule, ScheduledInterval
from cuelane.session.cues.positions import position_of
from planning import RATE, arranged, session_of

HELD = ("one dumbbell", "two dumbbells", "a long band")
STANDING_BY = ("a wall", "a mat")
NEEDS: list[list[str]] = [[], [], ["one dumbbell"], ["two dumbbells"], ["a long band", "a wall"], ["a mat"]]
SETUPS = {
    "up": "Feet apart, and bend a little.",
    "back": "On your back, and lift your hips.",
    "knees": "On your hands and knees, and reach out.",
}
PARTS = (["Main"], ["Warm-up", "Main"], ["Main", "Cool-down"], ["Warm-up", "Main", "Long reach"])
NUMBERS = {num2words(k): k for k in range(100)}
PUT_DOWN = re.compile(r"^(?:At the long pip, (?:put|set)|Put) (.+?) (?:down|aside)\.$")
ASKED_FOR = re.compile(r"^Pick up (.+)\.$|(?:Next: .*, |seconds, then .*, |seconds, )with (.+)\.$")


@st.composite
def plans(draw: st.DrawFn) -> dict[str, Any]:
    names = ["crouch", "bridge", "march", "reach"][: draw(st.integers(1, 4))]
    exercises: dict[str, Any] = {}
    for name in names:
        exercises[name] = {
            "setup": SETUPS[draw(st.sampled_from(["up", "up", "back", "knees"]))],
            "needs": draw(st.sampled_from(NEEDS)),
            "sides": draw(st.sampled_from(["none", "none", "none", "alternate"])),
            "easier": f"Less of {name}.",
            "harder": f"More of {name}.",
        }
        if draw(st.booleans()):
            exercises[name]["preview"] = f"{name.capitalize()}. This is how it goes."
    blocks: list[dict[str, Any]] = []
    for part in draw(st.sampled_from(PARTS)):
        block: dict[str, Any] = {"block": part, "work": f"{draw(st.integers(15, 30)) * 2}s"}
        block["exercises"] = names
        if part == "Main":
            block["pattern"] = draw(
                st.sampled_from(["circuit", "build-up", "build-down", "build-up-and-down"])
            )
            block["rest"] = f"{draw(st.integers(20, 60))}s"
            if block["pattern"] == "circuit":
                block["rounds"] = draw(st.integers(1, 5))
            elif draw(st.booleans()):
                block["change"] = f"{draw(st.integers(12, 25))}s"
        else:
            block |= {"pattern": "flow", "change": f"{draw(st.integers(5, 10))}s"}
        blocks += [{"rest": "30s"}, block] if blocks else [block]
    return {"session": blocks, "exercises": exercises}


def sentences(cue: Event) -> list[str]:
    return re.split(r"(?<=\.) ", cue.text or "")


class Step:
    """One interval with its cues, and the sets around it."""

    def __init__(self, schedule: Schedule, row: ScheduledInterval) -> None:
        self.row = row
        self.cues = [cue for cue in schedule.cues if cue.interval == row.index]
        sets = [one for one in schedule.intervals if one.kind == "work"]
        self.done = next((one for one in reversed(sets) if one.start_sample < row.start_sample), None)
        self.coming = next((one for one in sets if one.start_sample >= row.end_sample), None)

    def said(self, pattern: str) -> list[tuple[Event, str]]:
        found = [(cue, re.search(pattern, text)) for cue in self.cues for text in sentences(cue)]
        return [(cue, match[1]) for cue, match in found if match]


def steps(schedule: Schedule) -> list[Step]:
    return [Step(schedule, row) for row in schedule.intervals]


def things(text: str, known: tuple[str, ...]) -> set[str]:
    """Return which of the known things a list names, with "the" or as the plan has them."""
    bare = {re.sub(r"^(?:an?|one|the) ", "", thing): thing for thing in known}
    return {bare[re.sub(r"^(?:an?|one|the) ", "", one)] for one in re.split(r", | and ", text)}


def held_for(exercises: dict[str, Any], name: str | None) -> set[str]:
    return {thing for thing in exercises[name]["needs"] if thing in HELD} if name else set()


def kit_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield where a listener who does as told lacks what is needed, or is told what cannot be done."""
    hand: set[str] = set()
    for step in steps(schedule):
        lacks = held_for(exercises, step.row.exercise) - hand
        if lacks:
            yield f"{step.row.exercise} without {lacks}"
        for text in [text for cue in step.cues for text in sentences(cue)]:
            if found := PUT_DOWN.search(text):
                down = things(found[1], HELD)
                if not down <= hand:
                    yield f"{text!r} with {hand or 'nothing'} in hand"
                hand -= down
            new: set[str] = set()
            if asked := ASKED_FOR.search(text):
                new = things(asked[1] or asked[2], (*HELD, *STANDING_BY)) & set(HELD)
                if new and new <= hand:
                    yield f"{text!r} with {hand} in hand"
            elif step.row.kind in ("work", "change") and (found := re.search(r"You will need (.+)\.$", text)):
                # With something that stands by, there is one word for all.
                new = things(found[1], (*HELD, *STANDING_BY)) & set(HELD)
            hand |= new
            if "two dumbbells" in new:
                hand.discard("one dumbbell")


def kept_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield what is carried through a rest of 15 s and more, or into a set that does without it."""
    for step in steps(schedule):
        name, coming = step.row.exercise, step.coming
        if name is None or coming is None or coming.set_index == step.row.set_index:
            continue
        mine, its = (held_for(exercises, one) for one in (name, coming.exercise))
        following = schedule.intervals[step.row.index + 1]
        resting = following.kind == "rest" and following.end_sample - following.start_sample >= 15 * RATE
        kept = its | ({"one dumbbell"} if "two dumbbells" in its else set())
        where = (step.row.index, following.index if following.kind == "rest" else -1)
        said = [PUT_DOWN.search(cue.text or "") for cue in schedule.cues if cue.interval in where]
        down = {thing for found in said if found for thing in things(found[1], HELD)}
        if down != (mine if resting else mine - kept):
            yield f"between {name} and {coming.exercise} {down or 'nothing'} is put down"


def next_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield a "Next: X" or "We start with X" not right before X, or more than 10 s before the end of work.

    And a "New in this round: X" before a round without X, or after X has been done.
    """
    for step in steps(schedule):
        for pattern in (r"^Next: (\w+)(?:,.*| again.*)?\.", r"^We start with (\w+)"):
            for cue, name in step.said(pattern):
                coming = step.coming
                if coming is None or coming.exercise != name or step.row.end_sample != coming.start_sample:
                    yield f"{cue.text!r} before {coming and coming.exercise}"
                if step.row.kind == "work" and step.row.end_sample - cue.onset_sample > 10 * RATE:
                    yield f"{cue.text!r} too early in work"
        for cue, name in step.said(r"^New in this round: (\w+)\."):
            first = next(row for row in schedule.intervals if row.exercise == name)
            coming = step.coming
            same = coming is not None and (first.block, first.round) == (coming.block, coming.round)
            if not same or first.start_sample < cue.onset_sample:
                yield f"{cue.text!r} is not so"


def promise_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield a "when we get there" without a new set later in that round that is explained by its start."""
    rows = schedule.intervals
    for step in steps(schedule):
        for cue, _ in step.said(r"(new one) when we get there"):
            coming = step.coming
            later = [
                row
                for row in rows
                if coming is not None and row.exercise and row.start_sample > coming.start_sample
                if (row.block, row.round) == (coming.block, coming.round)
                if not any(one.exercise == row.exercise and one.index < row.index - 1 for one in rows)
            ]  # fmt: skip
            texts = [one.text for one in schedule.cues if later and 0 <= later[0].index - one.interval <= 1]
            if not later:
                yield f"{cue.text!r}, and nothing new comes"
            elif exercises[later[0].exercise or ""]["setup"] not in texts:
                yield f"{cue.text!r}, and it is not explained"


def floor(exercises: dict[str, Any], row: ScheduledInterval | None) -> str | None:
    """Return where on the floor a set is done, by its set-up; None for standing, as before the first."""
    text = exercises[row.exercise or ""]["setup"] if row is not None else SETUPS["up"]
    place = next(key for key, value in SETUPS.items() if value == text)
    return None if place == "up" else place


def way_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield a way down that is not before a set on the floor, and one up not between floor and feet."""
    for step in steps(schedule):
        done, coming = floor(exercises, step.done), floor(exercises, step.coming)
        for cue, _ in step.said(r"^(Come up) from the floor"):
            if done is None or coming is not None:
                yield f"{cue.text!r} from {done} to {coming}"
        for cue, way in step.said(r"^(Come down|Turn) onto your"):
            place = "back" if "back" in (cue.text or "") else "knees"
            if coming != place or (done is None) != (way == "Come down"):
                yield f"{cue.text!r} from {done} to {coming}"


def choice_faults(schedule: Schedule, exercises: dict[str, Any]) -> Iterator[str]:
    """Yield a harder way early among several sets, two ways in one of them, and choices too late to take."""
    for name in exercises:
        sets = [row for row in schedule.intervals if row.exercise == name]
        numbers = sorted({row.set_index for row in sets if row.set_index is not None})
        for row in sets:
            cues = [cue for cue in schedule.cues if cue.interval == row.index]
            roles = {cue.role for cue in cues} & {"easier", "harder"}
            place = numbers.index(row.set_index or 0) + 1
            early = len(numbers) > 1 and 2 * place <= len(numbers) + 1
            if "harder" in roles and (early or (len(numbers) > 1) == ("easier" in roles)):
                yield f"set {place} of {len(numbers)} of {name} has {sorted(roles)}"
            middle = (row.start_sample + row.end_sample) // 2
            if any(cue.role in roles and cue.onset_sample >= middle for cue in cues):
                yield f"set {place} of {name} has a choice too late to take"


def end_faults(schedule: Schedule, parts: list[str]) -> Iterator[str]:
    """Yield an untrue length or number of sets, and what is untrue of a warm-up and a cool-down."""
    texts = [cue.text or "" for cue in schedule.cues]
    whole, long = " ".join(texts), schedule.n_frames >= 600 * RATE
    minutes = next(match[1] for text in texts if (match := re.search(r"About (\S+) minutes?", text)))
    if abs(NUMBERS[minutes] * 60 - schedule.n_frames / RATE) > 35:
        yield f"about {minutes} minutes"
    for what, name in (("no warm-up", parts[0]), ("no cool-down", parts[-1])):
        if (what in whole) != (name == "Main" and long):
            yield f"{what!r} is {'' if what in whole else 'not '}said of {parts}"
    main = {row.set_index for row in schedule.intervals if row.kind == "work" and row.block == "Main"}
    found = re.search(r"end of the session. Well done: (\S+) sets", whole)
    if (NUMBERS[found[1]] if found else None) != (len(main) if len(main) > 1 else None):
        yield f"{len(main)} sets, and {found and found[0]!r}"


def all_faults(plan: dict[str, Any], schedule: Schedule) -> list[str]:
    parts = [block["block"] for block in plan["session"] if "block" in block]
    checks = (kit_faults, kept_faults, next_faults, promise_faults, way_faults, choice_faults)
    found = [fault for check in checks for fault in check(schedule, plan["exercises"])]
    return found + list(end_faults(schedule, parts))


@pytest.mark.parametrize(
    ("setup", "place"),
    [
        ("Lie back with the weights close.", "back"), ("On your back, knees bent.", "back"),
        ("On your hands and knees. Round your back.", "hands"), ("Hands under your shoulders.", "front"),
        ("One knee on the mat, the other foot in front.", "floor"), ("Kneel, and sit up tall.", "floor"),
        ("Stand with both feet on the floor.", None), ("Back against the wall.", None),
        ("Swing one leg, hand on your hip.", None), ("Hold a bag on your back, and step.", None),
    ],
)  # fmt: skip
def test_a_place_is_read_from_the_set_up(setup: str, place: str | None) -> None:
    """Feet on the floor are standing, and a back against a wall is not lain on."""
    session = session_of(
        {
            "session": [{"block": "A", "pattern": "flow", "work": "30s", "exercises": ["one"]}],
            "exercises": {"one": {"setup": setup}},
        }
    )
    (row,) = [row for row in session.intervals if row.kind == "work"]
    assert position_of(row, load_language("en")) == place


@settings(max_examples=80, deadline=None, derandomize=True)
@given(plan=plans())
def test_a_listener_who_does_as_told_goes_right(plan: dict[str, Any]) -> None:
    """Kit, places, what comes next, what is promised, choices, beginning and end agree with the timetable."""
    assert all_faults(plan, arranged(plan).schedule) == []
