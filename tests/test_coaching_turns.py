"""Which lines and ways an exercise has from appearance to appearance, and what surrounds a breath."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from cuelane.base.schedule import Event
from cuelane.facts import Facts, facts
from cuelane.facts.pick_up import not_picked_up
from cuelane.lint.spoken_lines import EXERCISE_ROLES
from cuelane.plan.parts import CueLine
from cuelane.session.cues.here import mixed
from planning import RATE, arranged, exercise, session_of


def test_each_side_is_offered_the_same_ways() -> None:
    """Where sides alternate, what is offered for one side is offered for the other the time after."""
    spec = exercise("crouch", sides="alternate") | {"easier": "Less.", "harder": "More."}
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "rounds": 8}
    plan = {"session": [block | {"exercises": ["crouch"]}], "exercises": {"crouch": spec}}
    found = arranged(plan).schedule
    said = {
        role: [found.intervals[cue.interval].side for cue in found.cues if cue.role == role]
        for role in ("easier", "harder")
    }
    assert said == {"easier": ["left", "right"] * 2, "harder": ["left", "right"]}
    second = [cue for cue in found.cues if cue.role == "easier"][1]
    assert (second.why or "").startswith("for each side in turn")


def test_form_comes_in_another_order_each_time_through() -> None:
    """Lines of form are all said before one is repeated, and not with the same neighbours every time."""
    lines = [CueLine(text=f"Line {k}.") for k in range(5)]
    orders = [[line.text for line in mixed(lines, times)] for times in range(6)]
    assert all(sorted(order) == [line.text for line in lines] for order in orders)
    assert orders[0] == [line.text for line in lines]
    pairs = [set(pairwise(order)) for order in orders]
    assert all(not one & two for one, two in pairwise(pairs))
    # Of an even number of lines those that one side had come to the other.
    four = [[line.text for line in mixed(lines[:4], times)] for times in range(2)]
    assert set(four[0][::2]) == set(four[1][1::2])


def points_said(
    level: str, work: str, *, n_lines: int = 8, rounds: int = 1, sides: str = "none"
) -> list[list[float]]:
    """Return for each set, or side of a set, when its points of form begin, as parts of it."""
    lines = [f"Point {number}." for number in range(n_lines)]
    block = {"block": "Main", "pattern": "circuit", "work": work, "rest": "15s", "rounds": rounds}
    plan = {
        "coaching": level,
        "session": [block | {"exercises": ["crouch"]}],
        "exercises": {"crouch": {"setup": "Sit down.", "form": lines, "sides": sides}},
    }
    found = arranged(plan).schedule
    sets = [row for row in found.intervals if row.kind == "work"]
    return [
        [
            (cue.onset_sample - row.start_sample) / (row.end_sample - row.start_sample)
            for cue in found.cues
            if cue.role == "form" and cue.interval == row.index
        ]
        for row in sets
    ]


@pytest.mark.parametrize(
    ("level", "work", "points"),
    [("usual", "60s", 1), ("full", "60s", 2), ("usual", "3m", 4), ("full", "3m", 6), ("spare", "3m", 1)],
)
def test_minutes_of_one_movement_have_more_points_of_form(level: str, work: str, points: int) -> None:
    """One for each 45 s, in full coaching for each 30 s, from the first third on to the last."""
    (said,) = points_said(level, work)
    assert len(said) == points
    if points > 2:
        assert said[0] < 1 / 3
        assert said[-1] > 2 / 3
        assert max(later - earlier for earlier, later in pairwise(said)) < 1 / 3


@pytest.mark.parametrize(("work", "n_lines"), [("90s", 4), ("2m", 2), ("3m", 2)])
def test_two_points_of_form_are_in_both_halves_of_a_long_set(work: str, n_lines: int) -> None:
    """Not both behind the call at half of it, after most of a minute of nothing."""
    (said,) = points_said("usual", work, n_lines=n_lines)
    assert len(said) == 2
    assert said[0] < 0.4
    assert 0.5 < said[1] < 0.8


def test_points_of_form_are_kept_for_a_later_set_and_the_other_side() -> None:
    """A long set takes only its share of the lines: as many are left for the next, or for the other side."""
    assert [len(said) for said in points_said("full", "3m", n_lines=4, rounds=2)] == [2, 2]
    assert [len(said) for said in points_said("full", "4m", n_lines=4, sides="each")] == [2, 2]
    assert [len(said) for said in points_said("full", "3m", n_lines=4)] == [4]


def test_many_points_of_form_leave_all_else_its_place() -> None:
    """In a long set with more to say than is weighed, points of form are what is left out."""
    lines = {"setup": "Sit down.", "easier": "Less.", "harder": "More.", "caution": "Stop if it hurts."}
    own = lines | {"praise": "Well done.", "say": [f"Word {number}." for number in range(3)]}
    sets = [
        {
            "coaching": "full",
            "session": [{"block": "Main", "pattern": "circuit", "work": "10m", "exercises": ["crouch"]}],
            "exercises": {"crouch": own | {"form": [f"Point {number}." for number in range(n_lines)]}},
        }
        for n_lines in (1, 12)
    ]
    few, many = ([cue.text for cue in arranged(plan).schedule.cues if cue.role != "form"] for plan in sets)
    assert many == few
    assert "Well done." in few


def test_a_change_says_to_pick_up_what_is_not_in_hand() -> None:
    """An order, not only the name of the thing, each time; none where it is in hand already."""
    hinge = exercise("hinge", needs=["one kettlebell"])
    row = exercise("row", needs=["one kettlebell"])
    names = ["march", "hinge", "row"]
    block = {"block": "Main", "pattern": "build-up", "work": "40s", "change": "15s", "rest": "30s"}
    plan = {
        "session": [block | {"exercises": names}],
        "exercises": {"march": exercise("march"), "hinge": hinge, "row": row},
    }
    found = arranged(plan).schedule
    for entry in found.intervals:
        if entry.kind == "change":
            said = " ".join(cue.text or "" for cue in found.cues if cue.interval == entry.index)
            coming = found.intervals[entry.index + 1].exercise
            assert ("Pick up" in said) == (coming == "hinge"), said
    ordered = [cue.why or "" for cue in found.cues if (cue.text or "").startswith("Next: hinge. Pick up")]
    assert ordered
    assert all("to have in hand what it needs" in why for why in ordered)


def test_there_is_time_to_lift_what_is_picked_up_in_a_rest() -> None:
    """The words end 5 s and more before the set: to walk there, bend, lift and take hold."""
    block = {"block": "Main", "pattern": "build-up", "work": "40s", "rest": "30s"}
    plan = {
        "session": [block | {"exercises": ["squat", "march"]}],
        "exercises": {"squat": exercise("squat", needs=["one kettlebell"]), "march": exercise("march")},
    }
    found = arranged(plan).schedule
    rests = [entry for entry in found.intervals if entry.kind == "rest"]
    ups = [cue for cue in found.cues if "Pick up the kettlebell" in (cue.text or "")]
    assert [cue.interval for cue in ups] == [entry.index for entry in rests]
    for cue, rest in zip(ups, rests, strict=True):
        left_s = (rest.end_sample - cue.end_sample) / RATE
        assert left_s >= 5, left_s


def test_a_pick_up_that_has_no_time_is_told_to_the_author() -> None:
    """Where two sets leave no time to name it, the author is warned, and can allow it."""
    march = exercise(
        "march", change="At the long pip, stop, shake out both of your arms and turn to the window."
    )
    hinge = exercise("hinge with a very long name that takes its time", needs=["one kettlebell"])
    block = {"block": "Main", "pattern": "flow", "work": "12s", "calls": ["5s"]}
    plan = {
        "session": [block | {"exercises": ["march", "hinge"]}],
        "exercises": {"march": march, "hinge": hinge},
        "coaching": "spare",
    }
    for extra, codes in (({}, ["no-pick-up"]), ({"allow": ["no-pick-up"]}, [])):
        told = [code for code in _facts(plan | extra).warning_codes if code == "no-pick-up"]
        assert told == codes
    timely = plan | {"session": [block | {"change": "15s", "exercises": ["march", "hinge"]}]}
    assert "no-pick-up" not in _facts(timely).warning_codes


@pytest.mark.parametrize(("rest_s", "apart"), [(14, False), (15, True)])
def test_what_is_held_stays_in_hand_in_a_rest_of_less_than_15_s(rest_s: int, apart: bool) -> None:
    """From 15 s on it is put down before a rest and picked up in it; where nothing says so, it is missed."""
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": f"{rest_s}s"}
    plan = {
        "session": [block | {"exercises": ["hinge", "row"]}],
        "exercises": {name: {"needs": "one kettlebell"} for name in ("hinge", "row")},
    }
    found = arranged(plan).schedule
    (rest,) = [entry for entry in found.intervals if entry.kind == "rest"]
    texts = [cue.text or "" for cue in found.cues if cue.interval in (rest.index - 1, rest.index)]
    assert any("put the kettlebell down" in text for text in texts) is apart
    assert any("Pick up the kettlebell" in text for text in texts) is apart
    silent = replace(found, events=found.pips)
    assert not_picked_up(session_of(plan), silent).get(("row", "one kettlebell"), 0) == int(apart)


@pytest.mark.parametrize(
    ("said_in", "role", "names_it"),
    [
        # The set before: its own lines are about itself, these four may be about what follows.
        *((0, role, False) for role in ("announce", "setup", "remind", "form", "easier", "harder", "praise")),
        *((0, role, True) for role in ("time", "preview", "side", "change")),
        # The set itself: too late.
        *((1, role, False) for role in ("announce", "setup", "caution", "form")),
    ],
)
def test_a_sets_own_lines_are_no_word_to_pick_something_up(said_in: int, role: str, names_it: bool) -> None:
    """A kettlebell named in a line of the set before, or of the set that needs it, has not been asked for."""
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "0s"}
    plan = {
        "session": [block | {"exercises": ["march", "hinge"]}],
        "exercises": {"march": {}, "hinge": {"needs": "one kettlebell"}},
    }
    found = arranged(plan).schedule
    at = [entry for entry in found.intervals if entry.kind == "work" and entry.exercise][said_in]
    onset = at.start_sample + RATE
    cue = Event("e1", "cue", role, at.index, onset, onset + 2 * RATE, "The kettlebell.")
    missing = not_picked_up(session_of(plan), replace(found, events=(cue,)))
    assert missing == ({} if names_it else {("hinge", "one kettlebell"): 1})
    if said_in == 0:
        # Where a rest follows, words in the set before it are too early.
        plan["session"] = [block | {"rest": "30s", "exercises": ["march", "hinge"]}]
        missing = not_picked_up(session_of(plan), replace(found, events=(cue,)))
        assert missing == {("hinge", "one kettlebell"): 1}


def _facts(plan: dict[str, Any]) -> Facts:
    return facts(session_of(plan), arranged(plan).schedule)


def test_what_is_thought_of_in_a_rest_is_not_the_same_twice_running() -> None:
    """A point of form before a round is none that the set before it had."""
    for n_lines in (2, 3, 5):
        spec = exercise("crouch") | {"form": [f"Point number {k}." for k in range(n_lines)]}
        block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "60s", "rounds": 9}
        plan = {"session": [block | {"exercises": ["crouch"]}], "exercises": {"crouch": spec}}
        found = arranged(plan).schedule
        heard: dict[int, set[str]] = {}
        for cue in found.cues:
            if cue.role == "form":
                sets = [
                    row.index for row in found.intervals if row.kind == "work" and row.index >= cue.interval
                ]
                heard.setdefault(sets[0], set()).add((cue.text or "").lower()[-8:])
        numbers = [row.index for row in found.intervals if row.kind == "work"]
        for one, two in pairwise(numbers):
            assert not heard.get(one, set()) & heard.get(two, set())


def test_the_words_after_a_breath_leave_it_time_to_end() -> None:
    """Five seconds of silence before talk whose length is the program's; a length of the plan's is kept.

    Of that length, half of what the words leave is silence, up to five seconds.
    """
    breath = {"block": "Slow", "pattern": "breath", "inhale": "4s", "exhale": "6s", "cycles": 6}
    for talk, least_s, most_s in (
        (None, 5, None),
        ({"say": "That is all."}, 5, None),
        ({"say": "So.", "lasts": "6s"}, 1, 4),
        ({"say": "So.", "lasts": "30s"}, 5, None),
    ):
        found = arranged({"session": [breath, *([talk] if talk else [])]}).schedule
        out = max((row for row in found.intervals if row.kind == "out"), key=lambda row: row.end_sample)
        first = next(cue for cue in found.cues if cue.onset_sample >= out.end_sample)
        silence = first.onset_sample - out.end_sample
        assert least_s * RATE <= silence
        assert most_s is None or silence <= most_s * RATE
        assert "a silence for the last breath to end" in (first.why or "")
        if talk is not None and "lasts" in talk:
            row = found.intervals[out.index + 1]
            assert row.end_sample - row.start_sample == int(talk["lasts"].rstrip("s")) * RATE


def test_a_first_breath_is_for_listening_only_where_another_is_led() -> None:
    """With one breath led there is none to join, and nothing is said of it."""
    block = {"block": "Slow", "pattern": "breath", "inhale": "4s", "exhale": "6s", "cycles": 6}
    for led, listens in ((2, True), (1, False)):
        found = arranged({"session": [block | {"spoken_cycles": led}]}).schedule
        texts = [cue.text or "" for cue in found.cues]
        assert any("Listen to the first breath" in text for text in texts) == listens
        joins = [found.intervals[cue.interval] for cue in found.cues if cue.text == "Now join in."]
        assert [(row.kind, row.round) for row in joins] == ([("out", 1)] if listens else [])


def test_a_band_is_picked_up_before_it_is_put_on() -> None:
    """In every round: the order comes before the plan's words on how it is put on."""
    step = exercise("step", needs=["a loop band"])
    step["caution"] = [{"text": "Hold the post when you step into the loop.", "rounds": [2, 3]}]
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "round_rest": "60s"}
    plan = {
        "session": [block | {"rounds": 3, "exercises": ["step", "march"]}],
        "exercises": {"step": step, "march": exercise("march")},
    }
    found = arranged(plan).schedule
    texts = [cue.text or "" for cue in found.cues]
    ups = [at for at, text in enumerate(texts) if "Pick up the loop band" in text]
    cautions = [at for at, text in enumerate(texts) if text.startswith("Hold the post")]
    assert len(ups) == len(cautions) == 2
    assert all(up < caution for up, caution in zip(ups, cautions, strict=True))


@pytest.mark.parametrize("sides", ["alternate", "each"])
def test_no_line_is_spoken_with_its_placeholder(sides: str) -> None:
    """`{side}` is filled in every kind of line that an exercise with sides may have."""
    spec = {"sides": sides, **{role: f"Words for {role}, {{side}}." for role in EXERCISE_ROLES}}
    block = {"block": "Main", "pattern": "circuit", "work": "60s", "rest": "60s", "rounds": 6}
    plan = {
        "session": [block | {"exercises": ["crouch", "bridge"]}],
        "exercises": {"crouch": spec, "bridge": {}},
    }
    offered = arranged(plan).offered
    assert {row.role for row in offered} >= set(EXERCISE_ROLES)
    assert [row.text for row in offered if "{" in row.text] == []


@pytest.mark.parametrize("must", [True, False])
def test_praise_that_must_be_said_is_not_left_out(must: bool) -> None:
    """Where there is no room for it, `must` makes it a misfit; without, it is left out and reported."""
    spec = exercise("crouch") | {"praise": {"text": "That was very long.", "must": must}}
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rest": "30s", "rounds": 4}
    plan = {"session": [block | {"exercises": ["crouch"]}], "exercises": {"crouch": spec}}
    found = arranged(plan, {"That was very long.": 30.0})
    misfits = [one.interval.kind for one in found.misfits]
    dropped = [row.role for row in found.schedule.dropped if row.text == "That was very long."]
    assert misfits[:1] == (["work"] if must else [])
    assert dropped[:1] == ["praise"]


def test_ones_own_praise_is_said_in_half_a_minute() -> None:
    """The call of ten seconds is at 20 s, with quiet before it: praise has its place from 12 to 15 s."""
    block = {"block": "Main", "pattern": "circuit", "work": "30s", "rest": "30s", "rounds": 6}
    plan = {
        "session": [block | {"exercises": ["crouch"], "praise": ["Smooth."]}],
        "exercises": {"crouch": {}},
    }

    table = arranged(plan).schedule

    rows = [table.intervals[cue.interval] for cue in table.cues if cue.text == "Smooth."]
    said = [cue.onset_sample for cue in table.cues if cue.text == "Smooth."]
    shares = [
        (at - row.start_sample) / (row.end_sample - row.start_sample)
        for at, row in zip(said, rows, strict=True)
    ]
    assert len(shares) >= 2
    assert all(0.4 <= share <= 0.5 for share in shares)


def test_the_last_set_is_the_last_in_both_its_halves() -> None:
    """The second half of a set on each side is no other set: its first half is announced as the last one."""
    block = {"block": "Main", "pattern": "circuit", "work": "60s", "rest": "30s", "rounds": 2}
    plan = {
        "session": [block | {"exercises": ["crouch", "reach"]}],
        "exercises": {"crouch": {}, "reach": {"sides": "each"}},
    }
    texts = [cue.text for cue in arranged(plan).schedule.cues if cue.role == "announce"]
    assert [text for text in texts if (text or "").startswith("Last one.")] == ["Last one. Reach, left side."]


@pytest.mark.parametrize(
    ("between", "told_in"), [([], "breath"), ([{"rest": "30s"}], "rest"), ([{"rest": "2s"}], "rest of 2 s")]
)
def test_every_part_but_the_first_is_named_once(between: list[dict[str, str]], told_in: str) -> None:
    """A part that follows breaths, or a rest without room, is named with its first exercise."""
    breath = {"block": "Arrive", "pattern": "breath", "inhale": "4s", "exhale": "6s", "cycles": 6}
    legs = {"block": "Legs", "pattern": "circuit", "work": "40s", "rest": "20s", "exercises": ["crouch"]}
    arms = legs | {"block": "Arms", "exercises": ["press"]}
    first = breath if told_in == "breath" else legs
    last = legs if told_in == "breath" else arms
    plan = {"session": [first, *between, last], "exercises": {"crouch": {}, "press": {}}}
    found = arranged(plan).schedule
    told = [cue for cue in found.cues if "Part two" in cue.text]
    assert len(told) == 1
    assert not any("Part one" in cue.text for cue in found.cues)
    row = found.intervals[told[0].interval]
    if told_in == "breath":
        assert told[0].text == "Part two: Legs. Crouch."
        assert row.exercise == "crouch"
        assert (told[0].why or "").endswith("with the part that begins")
    else:
        assert told[0].text == "Part two: Arms."
        assert row.kind == ("rest" if told_in == "rest" else "work")


@pytest.mark.parametrize("work", ["30s", "60s", "3m", "10m"])
def test_the_next_part_is_named_near_the_end_of_a_set(work: str) -> None:
    """Of minutes it was the last third, so that points of form for what is still done came behind it."""
    block = {"pattern": "circuit", "work": work, "exercises": ["crouch"]}
    plan = {"session": [{"block": "Legs"} | block, {"block": "Arms"} | block], "exercises": {"crouch": {}}}
    found = arranged(plan).schedule
    (told,) = (cue for cue in found.cues if "Part two" in cue.text)
    row = found.intervals[told.interval]
    assert row.kind == "work"
    assert 8 <= (row.end_sample - told.onset_sample) / RATE <= 30
