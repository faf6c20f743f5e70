"""Sessions as a whole: no rule is ever broken, and a coach's order is kept."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.base.schedule import Event, Schedule, from_json, to_json
from cuelane.plan.load import load_plan
from cuelane.session.arrange import Arranged, arrange
from cuelane.session.expand import expand
from planning import RATE, arranged, exercise, steady_voice

DEMOS = sorted(Path(__file__).parents[1].joinpath("demo").glob("*.yaml"))
# Written out here and not taken from the program: 0.4 s between cues, 0.25 s on either side of a pip.
GAP, GUARD = 19_200, 12_000


def broken_rules(schedule: Schedule, *, share: dict[str, float] | None = None) -> list[str]:
    """Return what breaks a rule in a schedule: the design's "never" list, checked event by event."""
    share = share or {"work": 0.55, "rest": 0.75, "change": 0.75}
    broken = []
    cues = sorted(schedule.cues, key=lambda event: event.onset_sample)
    pips = schedule.pips
    for one, two in pairwise(cues):
        if two.onset_sample - one.end_sample < GAP:
            broken.append(f"{one.text!r} and {two.text!r} are too close")
    for cue in cues:
        interval = schedule.intervals[cue.interval]
        if not interval.start_sample <= cue.onset_sample < cue.end_sample <= interval.end_sample:
            broken.append(f"{cue.text!r} leaves its interval")
        for pip in pips:
            if cue.onset_sample < pip.end_sample + GUARD and pip.onset_sample - GUARD < cue.end_sample:
                broken.append(f"{cue.text!r} is over a pip or its guard")
    spoken: dict[int, int] = defaultdict(int)
    for cue in cues:
        spoken[cue.interval] += cue.end_sample - cue.onset_sample
    for interval in schedule.intervals:
        length = interval.end_sample - interval.start_sample
        if spoken[interval.index] > share.get(interval.kind, 1.0) * length:
            broken.append(f"interval {interval.index} is spoken over its share")
        if interval.kind == "work" and length >= 20 * RATE:
            edges = [interval.start_sample]
            for event in sorted(schedule.events, key=lambda event: event.onset_sample):
                if interval.start_sample <= event.onset_sample < interval.end_sample:
                    edges += [event.onset_sample, event.end_sample]
            edges.append(interval.end_sample)
            if max(edges[k + 1] - edges[k] for k in range(0, len(edges), 2)) < 4 * RATE:
                broken.append(f"interval {interval.index} has no open stretch of 4 s")
    return broken


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_no_demo_breaks_a_rule(path: Path) -> None:
    """Every demo's cues keep every rule, and every must-cue has its place."""
    found = arrange(expand(load_plan(path)), steady_voice, RATE)
    assert broken_rules(found.schedule) == []
    assert found.misfits == ()


@st.composite
def plans(draw: st.DrawFn) -> dict[str, Any]:
    names = ["crouch", "bridge", "march", "reach"][: draw(st.integers(1, 4))]
    pattern = draw(st.sampled_from(["circuit", "build-up", "build-up-and-down", "build-down", "flow"]))
    block: dict[str, Any] = {
        "block": "Main",
        "pattern": pattern,
        "work": f"{draw(st.integers(8, 70))}s",
        "exercises": names,
    }
    if pattern != "flow":
        block["rest"] = f"{draw(st.integers(0, 40))}s"
    if pattern == "circuit":
        block["rounds"] = draw(st.integers(1, 3))
    exercises = {}
    for name in names:
        sides = draw(st.sampled_from(["none", "alternate", "each"]))
        exercises[name] = exercise(
            name, sides=sides, form=[f"Point {k} of {name}." for k in range(draw(st.integers(0, 5)))]
        )
    count = draw(st.integers(0, 4))
    return {
        "session": [block],
        "exercises": exercises,
        "pips": draw(st.sampled_from([False, {"count": count, "spacing": "1s"}])),
        "calls": draw(st.sampled_from([["10s"], ["30s", "10s"], []])),
    }


@settings(max_examples=60, deadline=None, derandomize=True)
@given(plan=plans())
def test_no_random_session_breaks_a_rule(plan: dict[str, Any]) -> None:
    """Whatever the plan, the schedule keeps every rule, misfit or not."""
    assert broken_rules(arranged(plan).schedule) == []


@settings(max_examples=20, deadline=None, derandomize=True)
@given(plan=plans())
def test_a_schedule_survives_its_file(plan: dict[str, Any]) -> None:
    """Reading back what was written gives the same schedule."""
    schedule = arranged(plan).schedule
    assert from_json(to_json(schedule)) == schedule


def pyramid() -> Arranged:
    """Return six exercises up and down: 36 sets."""
    names = ["crouch", "bridge", "march", "reach", "plank", "row"]
    block = {
        "block": "Main",
        "pattern": "build-up-and-down",
        "work": "40s",
        "rest": "30s",
        "exercises": names,
    }
    return arranged({"session": [block], "exercises": {name: exercise(name) for name in names}})


def by_appearance(found: Arranged, name: str) -> list[list[Event]]:
    """Return the cues of each appearance of an exercise, in order."""
    sets = [entry for entry in found.schedule.intervals if entry.exercise == name]
    return [[cue for cue in found.schedule.cues if cue.interval == entry.index] for entry in sets]


def test_a_pyramid_varies_and_keeps_its_musts() -> None:
    """No form, remind, easier or harder line is in two consecutive appearances; nothing must is missing.

    But for the last set, which has both ways whatever the one before it had.
    """
    found = pyramid()
    assert found.misfits == ()
    for name in ("crouch", "bridge", "march", "reach", "plank"):
        appearances = by_appearance(found, name)
        said = [
            {cue.text for cue in cues if cue.role in ("form", "remind", "easier", "harder")}
            for cues in appearances
        ]
        ways = {cue.text for cue in appearances[-1] if cue.role in ("easier", "harder")}
        assert all(not one & two for one, two in pairwise([*said[:-1], said[-1] - ways]))
        assert any(said)


def test_form_repeats_only_when_all_have_been_used() -> None:
    """An exercise's three form lines come in threes: each third holds each line once."""
    found = pyramid()
    # In a rest a line stands behind the name it is about: its last four words are the plan's.
    form = [
        " ".join((cue.text or "").split()[-4:])
        for cue in found.schedule.cues
        if cue.role == "form" and (cue.text or "").endswith("for crouch.")
    ]
    assert len(form) >= 6
    for first in range(0, len(form) - 2, 3):
        assert len(set(form[first : first + 3])) == 3


def test_the_set_up_comes_first_and_the_reminder_later() -> None:
    """`setup` is spoken at the first appearance alone, `remind` at later ones alone."""
    for name in ("crouch", "bridge"):
        roles = [[cue.role for cue in cues] for cues in by_appearance(pyramid(), name)]
        assert roles[0].count("setup") == 1
        assert "remind" not in roles[0]
        assert all("setup" not in later for later in roles[1:])
        assert any("remind" in later for later in roles[1:])


def test_the_harder_way_comes_late_and_not_beside_the_easier() -> None:
    """Of 11 appearances the first has the easier way; the harder is in the last five, by itself."""
    appearances = by_appearance(pyramid(), "crouch")
    assert len(appearances) == 11
    easier = [k for k, cues in enumerate(appearances) if any(cue.role == "easier" for cue in cues)]
    harder = [k for k, cues in enumerate(appearances) if any(cue.role == "harder" for cue in cues)]
    assert easier[0] == 0
    assert len(harder) > 1
    assert min(harder) >= 6
    assert not set(harder) & set(easier)
    assert max(easier) > min(harder)
    assert harder[-1] == 10


def one_set(work: str, spec: dict[str, Any] | None = None, **plan: Any) -> Arranged:
    block = {"block": "Main", "pattern": "circuit", "work": work, "exercises": ["crouch"]}
    return arranged({"session": [block], "exercises": {"crouch": spec or {}}, "closing": False, **plan})


def cue_at(found: Arranged, text: str) -> tuple[float, float]:
    """Return the seconds into its interval at which a text starts, and the seconds left then."""
    (cue,) = [cue for cue in found.schedule.cues if cue.text == text]
    interval = found.schedule.intervals[cue.interval]
    return (cue.onset_sample - interval.start_sample) / RATE, (interval.end_sample - cue.onset_sample) / RATE


def test_time_calls_start_exactly_at_their_time_left() -> None:
    """In 70 s, thirty and ten seconds left are called exactly then."""
    found = one_set("70s", calls=["30s", "10s"])
    assert cue_at(found, "Thirty seconds left.")[1] == 30.0
    assert cue_at(found, "Ten seconds left.")[1] == 10.0


def test_half_time_is_called_halfway() -> None:
    """Thirty of sixty seconds left is called halfway."""
    assert cue_at(one_set("60s"), "Halfway.")[1] == 30.0


def test_no_time_call_in_a_short_interval() -> None:
    """A 20 s interval with a countdown has no time call."""
    assert [cue for cue in one_set("20s").schedule.cues if cue.role == "time"] == []


def test_the_name_follows_the_pip_by_the_guard() -> None:
    """The announcement starts exactly 0.25 s after the end of the boundary's long pip."""
    found = one_set("40s").schedule
    (name,) = [cue for cue in found.cues if cue.role == "announce" and "Crouch" in (cue.text or "")]
    (long,) = [pip for pip in found.pips if pip.interval == name.interval and pip.role == "long"]
    assert name.onset_sample == long.end_sample + GUARD


def test_a_name_with_a_time_of_its_own_is_said_then() -> None:
    """`announce` with `at` starts at that time of its interval, as every other line with `at` does."""
    spec = exercise("crouch") | {"announce": {"text": "Crouch low", "at": "12s"}}
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "exercises": ["crouch"]}
    found = arranged({"session": [block], "exercises": {"crouch": spec}}).schedule
    (name,) = [cue for cue in found.cues if cue.role == "announce" and "Crouch low" in (cue.text or "")]
    assert name.onset_sample == found.intervals[name.interval].start_sample + 12 * RATE


def test_change_is_last_before_the_countdown() -> None:
    """`change` ends exactly one guard before the first short pip of the countdown."""
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "exercises": ["crouch", "bridge"]}
    found = arranged({"session": [block], "exercises": {"crouch": exercise("crouch"), "bridge": {}}}).schedule
    (change,) = [cue for cue in found.cues if cue.role == "change"]
    assert change.must
    shorts = [pip for pip in found.pips if pip.interval == change.interval and pip.role == "short"]
    assert change.end_sample == min(pip.onset_sample for pip in shorts) - GUARD


def test_change_is_not_said_when_the_same_exercise_follows() -> None:
    """What to do at the pips is about the next exercise; none is said before the same one or at the end."""
    block = {"block": "Main", "pattern": "circuit", "work": "40s", "rounds": 3, "exercises": ["crouch"]}
    found = arranged({"session": [block], "exercises": {"crouch": exercise("crouch")}}).schedule
    assert [cue for cue in found.cues if cue.role == "change"] == []


def test_sides_are_told_before_and_at_the_start() -> None:
    """Alternating sides are announced in the rest before, as a must, and named at the start."""
    block = {
        "block": "Main",
        "pattern": "circuit",
        "work": "30s",
        "rest": "20s",
        "rounds": 2,
        "exercises": ["lunge"],
    }
    found = arranged({"session": [block], "exercises": {"lunge": {"sides": "alternate"}}}).schedule
    sides = [(cue.text, cue.must) for cue in found.cues if cue.role == "side"]
    assert ("The right side goes first.", True) in sides
    named = [cue.text for cue in found.cues if cue.role == "announce"]
    assert "Lunge, left side." in named
    assert "Last one. Lunge, right side." in named


def test_a_set_on_each_side_turns_with_a_pip_and_a_word() -> None:
    """Half way there is one turn pip on the boundary; the other side is named once before, not after."""
    found = one_set("60s", {"sides": "each"}).schedule
    (turn,) = [pip for pip in found.pips if pip.role == "turn"]
    halves = [entry for entry in found.intervals if entry.kind == "work"]
    assert turn.onset_sample == halves[1].start_sample == halves[0].end_sample
    (switch,) = [cue for cue in found.cues if cue.interval == halves[1].index and cue.role == "side"]
    assert switch.must
    assert switch.text == "Right side now."
    (told,) = [cue for cue in found.cues if cue.interval == halves[0].index and cue.role == "side"]
    assert told.text == "At the long pip, change to the right side."
    assert 3 * RATE <= turn.onset_sample - told.onset_sample <= 8 * RATE


def test_the_countdown_is_three_short_pips_and_a_long_one_on_the_boundary() -> None:
    """Short pips start 3, 2 and 1 s before the boundary, and the long one on it."""
    found = one_set("40s").schedule
    (work,) = [entry for entry in found.intervals if entry.kind == "work"]
    shorts = [pip.onset_sample for pip in found.pips if pip.interval == work.index and pip.role == "short"]
    assert shorts == [work.end_sample - k * RATE for k in (3, 2, 1)]
    assert work.end_sample in [pip.onset_sample for pip in found.pips if pip.role == "long"]


def test_a_lines_own_wishes_win() -> None:
    """`at`, `rounds` and `weight` of a line are kept to."""
    spec = {
        "say": [{"text": "Exactly here.", "at": "12.5s", "must": True}, {"text": "Never now.", "rounds": 2}],
        "form": {"text": "Light.", "weight": 0},
    }
    found = one_set("40s", spec)
    assert cue_at(found, "Exactly here.")[0] == 12.5
    assert "Never now." not in [cue.text for cue in found.schedule.cues]


def test_a_caution_comes_at_first_and_where_the_region_is_loaded_again() -> None:
    """It is heard before the first set, and later only if the set before loaded the same region."""
    spec = {"load": "back", "caution": "Mind your back."}
    for load, repeats in (("back", True), ("arms", False)):
        block = {
            "block": "Main",
            "pattern": "circuit",
            "work": "40s",
            "rounds": 5,
            "exercises": ["hinge", "pull"],
        }
        found = arranged({"session": [block], "exercises": {"hinge": spec, "pull": {"load": load}}}).schedule
        said = [cue for cue in found.cues if cue.text == "Mind your back."]
        first = next(entry for entry in found.intervals if entry.exercise == "hinge")
        assert said[0].end_sample <= first.start_sample
        assert (len(said) > 1) is repeats


def test_equipment_is_told_in_the_rest_before_it_is_needed() -> None:
    """What the next exercise needs and this one does not is told before it starts, once."""
    block = {
        "block": "Main",
        "pattern": "circuit",
        "work": "30s",
        "rest": "20s",
        "rounds": 2,
        "exercises": ["a", "b"],
    }
    for thing, words in (("a weight", "You will need a weight."), ("a band", "Pick up a band.")):
        found = arranged({"session": [block], "exercises": {"a": {}, "b": {"needs": thing}}}).schedule
        told = [cue for cue in found.cues if thing in (cue.text or "")]
        opening, rest, *more = [(found.intervals[cue.interval].kind, cue.text) for cue in told]
        assert opening == ("talk", f"You will need {thing}.")
        assert rest == ("rest", words)
        # What is held is picked up last thing; what is put on or around something takes its time.
        assert more == ([("rest", "Pick up a weight.")] if thing == "a weight" else [])


def test_every_drop_has_its_reason() -> None:
    """A cue that cannot fit is reported with what it would take."""
    spec = {"form": "word " * 60 + "end."}
    found = one_set("30s", spec).schedule
    (row,) = [row for row in found.dropped if row.role == "form"]
    assert row.reason == "its 18.4 s have no place in this interval"


def test_a_drop_for_the_must_cues_says_so() -> None:
    """What would fit alone, but not beside what must be said, is not called too long for the interval."""
    setup, form = "word " * 45 + "end.", "word " * 20 + "end."
    found = one_set("30s", {"setup": setup, "form": form}).schedule
    assert [cue.text for cue in found.cues if cue.role in ("setup", "form")] == [setup]
    (row,) = [row for row in found.dropped if row.role == "form"]
    assert row.reason == "its 6.4 s have no place beside the must-cues"
    alone = one_set("30s", {"form": form}).schedule
    assert form in [cue.text for cue in alone.cues]


def test_a_long_talk_gives_way_to_an_open_stretch() -> None:
    """A line of 12.5 s wished in the middle of 20 s would leave 3.75 s on either side; it moves for 4 s."""
    block = {"block": "Main", "pattern": "circuit", "work": "20s", "exercises": ["a"]}
    plan = {
        "session": [block],
        "exercises": {"a": {"say": "Long."}},
        "pips": False,
        "talk_share": {"work": 0.9},
    }
    found = arranged(plan, {"Long.": 12.5, "A.": 0.5, "Last one. A.": 0.5}).schedule
    assert "Long." in [cue.text for cue in found.cues]
    assert broken_rules(found, share={"work": 0.9, "rest": 0.75}) == []


def test_more_than_half_the_time_is_not_called() -> None:
    """Fifty seconds left of a minute is no help, and is not said."""
    found = one_set("60s", calls=["50s"])
    assert [cue for cue in found.schedule.cues if cue.role == "time"] == []


def test_a_breath_block_is_announced_before_its_first_breath() -> None:
    """Talk names what comes and counts it; the voice leads the first breaths, then hands over."""
    block = {"block": "Even breath", "pattern": "breath", "inhale": "5s", "exhale": "5s", "cycles": 6}
    found = arranged({"session": [block]}).schedule
    texts = [cue.text for cue in found.cues]
    assert texts[1:4] == [
        "Even breath. We will breathe in for five, and out for five.",
        "A high tone means breathe in, a low one means breathe out.",
        "Listen to the first breath, and join in from the second.",
    ]
    led = [
        *["Breathe in.", "Breathe out."],
        "Now join in.",
        *["Breathe in.", "Breathe out."],
        "From here, just the tones.",
        "One more breath.",
    ]
    assert texts[4:-2] == led


def test_a_choice_is_said_to_be_one() -> None:
    """The easier way is named as such, unless the line does so itself."""
    for line, said in (
        ("Bend less.", "To make it easier, bend less."),
        ("If you can, hold it.", "If you can, hold it."),
    ):
        texts = [cue.text for cue in one_set("40s", {"easier": line}).schedule.cues]
        assert said in texts


def test_what_comes_is_not_said_like_an_order() -> None:
    """A preview in the middle of work and in a rest begins with “Next” and the name."""
    for line, said in (
        ("Hands on the floor.", "Next: b. Hands on the floor."),
        ("B. Hands on the floor.", "Next: b. Hands on the floor."),
    ):
        exercises = {"a": {}, "b": {"preview": line}}
        for rest in ("0s", "30s"):
            block = {
                "block": "Main", "pattern": "circuit", "work": "40s", "rest": rest, "exercises": ["a", "b"],
            }  # fmt: skip
            texts = [cue.text for cue in arranged({"session": [block], "exercises": exercises}).schedule.cues]
            assert said in texts


def test_a_name_used_twice_keeps_each_ones_caution(tmp_path: Path) -> None:
    """A plan and one that it includes may both have a squat; each one's set-up and caution are spoken."""
    (tmp_path / "warm.yaml").write_text(
        "title: Warm\ncautions: none\n"
        "session: [{block: W, pattern: flow, work: 30s, exercises: [squat]}]\n"
        "exercises: {squat: {setup: Easy and shallow.}}\n",
        encoding="utf-8",
    )
    main = tmp_path / "main.yaml"
    main.write_text(
        "title: Main\ncautions: none\nsession:\n  - include: warm.yaml\n"
        "  - {block: M, pattern: circuit, work: 40s, exercises: [squat]}\n"
        "exercises: {squat: {setup: Bar on your back., caution: Set the safety pins.}}\n",
        encoding="utf-8",
    )
    found = arrange(expand(load_plan(main)), steady_voice, RATE).schedule
    texts = {cue.text for cue in found.cues}
    assert {"Easy and shallow.", "Bar on your back.", "Set the safety pins."} <= texts


@st.composite
def scripts(draw: st.DrawFn) -> dict[str, Any]:
    """Scripts with intervals of 200 ms and more, shorter than the pips that open them."""
    intervals = []
    for number in range(draw(st.integers(1, 6))):
        length_ms = draw(st.one_of(st.integers(200, 900), st.integers(1_000, 20_000)))
        interval: dict[str, Any] = {
            "kind": draw(st.sampled_from(["work", "rest", "change", "talk"])),
            "length": f"{length_ms}ms",
        }
        if draw(st.booleans()):
            at_ms = draw(st.integers(0, length_ms))
            interval["cues"] = [{"at": f"{at_ms}ms", "text": f"Cue {number}.", "must": False}]
        intervals.append(interval)
    pips = {"count": draw(st.integers(0, 10)), "spacing": f"{draw(st.integers(200, 5_000))}ms"}
    return {
        "session": [{"block": "S", "pattern": "script", "intervals": intervals}],
        "pips": pips,
        "gap": "0s",
    }


@settings(max_examples=80, deadline=None, derandomize=True)
@given(plan=scripts())
def test_no_random_script_puts_a_cue_over_a_pip(plan: dict[str, Any]) -> None:
    """Even where intervals are shorter than their pips, cues keep clear of them and inside the file."""
    schedule = arranged(plan).schedule
    for cue in schedule.cues:
        interval = schedule.intervals[cue.interval]
        assert interval.start_sample <= cue.onset_sample < cue.end_sample <= interval.end_sample
        for pip in schedule.pips:
            assert cue.end_sample + GUARD <= pip.onset_sample or pip.end_sample + GUARD <= cue.onset_sample
    assert all(event.end_sample <= schedule.n_frames for event in schedule.events)


def test_no_pips_means_no_turn_pip() -> None:
    """`pips: false` silences the turn of a two-sided set too."""
    assert one_set("60s", {"sides": "each"}, pips=False).schedule.pips == ()


def test_a_short_set_on_each_side_still_names_the_other_side() -> None:
    """In halves of 5 s the switch is said in its shortest form, and the session fits."""
    found = one_set("10s", {"sides": "each"})
    assert found.misfits == ()
    assert any((cue.text or "").endswith("ight side.") for cue in found.schedule.cues if cue.role == "side")


def test_without_lead_in_the_opening_counts_down() -> None:
    """With `lead_in: 0` the first set still starts on a pip, after a countdown."""
    found = one_set("30s", lead_in=0).schedule
    (work,) = [entry for entry in found.intervals if entry.kind == "work"]
    assert work.start_sample in [pip.onset_sample for pip in found.pips if pip.role == "long"]
    assert len([pip for pip in found.pips if pip.interval == work.index - 1]) == 3


@st.composite
def hurried_plans(draw: st.DrawFn) -> dict[str, Any]:
    """Blocks of very short intervals with pips, tones and talk between them."""
    length = st.one_of(st.integers(200, 900), st.integers(1_000, 5_000)).map(lambda ms: f"{ms}ms")
    pause = st.one_of(st.just("0s"), length)
    session: list[dict[str, Any]] = []
    for number in range(draw(st.integers(1, 4))):
        name = {"block": f"B{number}"}
        pips = draw(st.sampled_from([{}, {"pips": False}, {"pips": {"count": 10, "spacing": "200ms"}}]))
        kind = draw(st.sampled_from(["circuit", "flow", "breath", "script", "say", "rest"]))
        if kind in ("circuit", "flow"):
            between = {"rest": draw(pause)} if kind == "circuit" else {"change": draw(pause)}
            block = {"pattern": kind, "work": draw(length), "rounds": draw(st.integers(1, 3)), **between}
            session.append({**name, **pips, **block, "exercises": ["hop", "skip"]})
        elif kind == "breath":
            phases = {"inhale": draw(length), "hold": draw(pause), "exhale": draw(length)}
            session.append({**name, "pattern": "breath", **phases, "cycles": draw(st.integers(1, 3))})
        elif kind == "script":
            kinds = st.sampled_from(["work", "rest", "change", "talk", "in", "hold"])
            intervals = draw(st.lists(st.fixed_dictionaries({"kind": kinds, "length": length}), min_size=1))
            session.append({**name, **pips, "pattern": "script", "intervals": intervals[:8]})
        else:
            session.append({"say": "Go.", "lasts": draw(length)} if kind == "say" else {"rest": draw(length)})
    return {"lead_in": draw(pause), "session": session, "exercises": {"hop": {}, "skip": {}}}


@settings(max_examples=300)
@given(plan=hurried_plans())
def test_no_two_pips_sound_at_once(plan: dict[str, Any]) -> None:
    """However short the intervals are, each pip ends before the next begins and before the session does."""
    schedule = arranged(plan).schedule
    pips = sorted(schedule.pips, key=lambda pip: pip.onset_sample)
    ends = [*(pip.onset_sample for pip in pips), schedule.n_frames][1:]

    for pip, latest in zip(pips, ends, strict=True):
        assert pip.onset_sample + RATE * 95 // 1000 <= pip.end_sample <= latest


def test_a_long_pip_is_shortened_for_the_next() -> None:
    """A long pip ends 0.1 s before the next one, in whole periods; with room it keeps its length."""
    intervals = [{"kind": kind, "length": "500ms"} for kind in ("rest", "work", "rest")]
    session = [
        {"block": "S", "pattern": "script", "intervals": [*intervals, {"kind": "work", "length": "9s"}]}
    ]

    schedule = arranged({"session": session, "lead_in": "0s"}).schedule

    longs = [pip for pip in schedule.pips if pip.role == "long"][:3]
    work, rest, last = longs
    assert 0 <= rest.onset_sample - work.end_sample - RATE // 10 < RATE / work.frequency_hz + 2
    assert 0 <= last.onset_sample - rest.end_sample - RATE // 10 < RATE / rest.frequency_hz + 2
    assert abs(last.end_sample - last.onset_sample - RATE // 2) < 50


@pytest.mark.parametrize(("at", "n_said"), [("0s", 0), ("50ms", 0), ("1900ms", 1)])
def test_the_guard_reaches_over_a_boundary_without_a_pip(at: str, n_said: int) -> None:
    """A cue keeps the guard to pips of other intervals, where nothing sounds on its own boundaries.

    Where it cannot, being optional, it is left out; with no guard to keep it is said.
    """
    quiet = {"countdown": False}
    intervals = [
        {"kind": "rest", "length": "5s"},
        {"kind": "work", "length": "600ms", **quiet},
        {"kind": "rest", "length": "3s", **quiet, "cues": [{"at": at, "text": "One.", "must": False}]},
        {"kind": "rest", "length": "900ms", "cues": []},
        {"kind": "work", "length": "5s"},
    ]
    plan = {"session": [{"block": "S", "pattern": "script", "intervals": intervals}], "guard": "1s"}

    plan |= {"pips": {"count": 0, "spacing": "1s"}}
    schedule = arranged(plan, {"One.": 1.0}).schedule
    unguarded = arranged({**plan, "guard": "0s"}, {"One.": 1.0}).schedule

    assert "One." in [cue.text for cue in unguarded.cues]
    said = [cue for cue in schedule.cues if cue.text == "One."]
    assert len(said) == n_said
    assert len(schedule.pips) >= 2
    for cue in said:
        for pip in schedule.pips:
            assert pip.onset_sample - cue.end_sample >= RATE or cue.onset_sample - pip.end_sample >= RATE


def turn_of(found: Arranged) -> list[str]:
    """Return what is said from 12 s before the turn of the one set to the turn."""
    first = next(entry for entry in found.schedule.intervals if entry.kind == "work")
    late = first.end_sample - 12 * RATE
    return [
        cue.text or ""
        for cue in found.schedule.cues
        if cue.interval == first.index and cue.onset_sample >= late and cue.role in ("side", "change")
    ]


def test_a_plans_own_words_for_the_turn_stand_instead_of_the_programs() -> None:
    """They name the sides, are over before the turn, and are no words for what follows the set."""
    line = {"text": "Foot down, turn round, {other_side} leg.", "to": "other side"}
    spec = {"sides": "each", "change": [line, {"text": "Sit.", "to": "rest"}]}
    found = one_set("60s", spec)
    assert turn_of(found) == ["Foot down, turn round, right leg."]
    (own,) = [cue for cue in found.schedule.cues if cue.text == "Foot down, turn round, right leg."]
    turn = min(pip.onset_sample for pip in found.schedule.pips if pip.role == "turn")
    assert 3 * RATE <= turn - own.onset_sample <= 10 * RATE
    assert own.end_sample < turn
    after = [cue.text for cue in found.schedule.cues if cue.onset_sample > turn and cue.role == "side"]
    assert after == ["Right side now."]


def test_words_for_the_turn_that_do_not_fit_leave_the_programs() -> None:
    """Too long for half of the set, or for another appearance: the side is still named before the turn."""
    for wish in ({"text": " ".join(["word"] * 60)}, {"text": "Never now.", "rounds": 2}):
        found = one_set("60s", {"sides": "each", "change": [wish | {"to": "other side"}]})
        assert turn_of(found) == ["At the long pip, change to the right side."]


def test_what_is_held_is_put_down_though_the_plan_has_words_for_the_turn() -> None:
    """Words for the turn are none for the end: what is in the hand is still put down before the rest."""
    change = {"text": "Other hand.", "to": "other side"}
    spec = {"sides": "each", "needs": "one bell", "change": change}
    block = {"block": "B", "pattern": "circuit", "work": "60s", "rest": "30s", "exercises": ["carry", "walk"]}
    found = arranged({"session": [block], "exercises": {"carry": spec, "walk": {}}}).schedule
    texts = [cue.text for cue in found.cues]
    assert "Other hand." in texts
    assert any("put the bell down" in (text or "") for text in texts)
