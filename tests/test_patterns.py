"""Pattern arithmetic against closed formulas, the figures of the trade and one published protocol."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan
from cuelane.session.ends import easy_talk_ms
from cuelane.session.equipment import needs_of
from cuelane.session.expand import expand
from cuelane.session.model import Interval


def intervals_of(
    block: dict[str, Any], exercises: dict[str, Any] | None = None, **plan: Any
) -> list[Interval]:
    """Return the intervals of a one-block plan, without the talk before and after."""
    whole = {
        "title": "T",
        "cautions": "none",
        "session": [{"block": "B", **block}],
        "exercises": exercises or {},
    }
    loaded = LoadedPlan(Plan.model_validate(whole | plan), Path("t.yaml"), ())
    return [entry for entry in expand(loaded).intervals if entry.block == "B"]


def names(n_exercises: int) -> list[str]:
    return [f"move {number}" for number in range(n_exercises)]


def length_ms(intervals: list[Interval]) -> int:
    return intervals[-1].end_ms - intervals[0].start_ms


def work(intervals: list[Interval]) -> list[Interval]:
    return [entry for entry in intervals if entry.kind == "work"]


@given(n=st.integers(1, 20))
def test_build_up_has_a_triangle_of_sets(n: int) -> None:
    """A build-up and a build-down of n exercises have n(n+1)/2 sets."""
    for pattern in ("build-up", "build-down"):
        found = intervals_of({"pattern": pattern, "work": "30s", "exercises": names(n)})
        assert len(work(found)) == n * (n + 1) // 2


@given(n=st.integers(1, 20))
def test_build_up_and_down_has_a_square_of_sets(n: int) -> None:
    """Up and down again, the top round once, is n² sets in 2n - 1 rounds."""
    found = intervals_of({"pattern": "build-up-and-down", "work": "30s", "exercises": names(n)})
    assert len(work(found)) == n * n
    assert found[-1].round == 2 * n - 1


def test_four_exercises_at_50_and_40_take_10_20() -> None:
    """Four exercises at 50 s with 40 s rest: 1 + 2 + 3 + 4 sets, three rests, 500 s and 120 s."""
    found = intervals_of({"pattern": "build-up", "work": "50s", "rest": "40s", "exercises": names(4)})
    assert len(work(found)) == 10
    assert length_ms(found) == (10 * 60 + 20) * 1000


def test_the_1996_protocol_is_230_or_240_s() -> None:
    """Eight 20 s efforts with 10 s rests (Tabata et al. 1996): 230 s, with the last rest 240 s."""
    block = {"pattern": "circuit", "work": "20s", "rest": "10s", "rounds": 8, "exercises": ["ride"]}
    assert length_ms(intervals_of(block)) == 230_000
    assert length_ms(intervals_of(block | {"last_rest": True})) == 240_000


def test_box_breathing_is_three_and_three_quarter_breaths_a_minute() -> None:
    """4-4-4-4 s is a 16 s breath, 3.75 a minute (value from a secondary source)."""
    box = {"inhale": "4s", "hold": "4s", "exhale": "4s", "hold_out": "4s"}
    found = intervals_of({"pattern": "breath", "cycles": 15, "explain": False, **box})
    assert length_ms(found) == 240_000
    assert 15 / (length_ms(found) / 60_000) == 3.75
    assert [entry.kind for entry in found[:5]] == ["in", "hold", "out", "hold", "in"]


def test_a_phase_without_length_is_left_out() -> None:
    """4-7-8-0 has three phases and 19 s (value from a secondary source)."""
    phases = {"inhale": "4s", "hold": "7s", "exhale": "8s"}
    found = intervals_of({"pattern": "breath", "cycles": 2, "explain": False, **phases})
    assert [entry.kind for entry in found] == ["in", "hold", "out"] * 2
    assert length_ms(found) == 38_000


def test_circuit_rests_between_sets_and_rounds() -> None:
    """Rest follows each set, round rest each round but the last."""
    block = {"pattern": "circuit", "work": "30s", "rest": "15s", "round_rest": "1m", "rounds": 3}
    found = intervals_of(block | {"exercises": names(2)})
    assert [entry.length_ms // 1000 for entry in found] == [30, 15, 30, 60, 30, 15, 30, 60, 30, 15, 30]


def test_ladder_changes_by_round() -> None:
    """A ladder's rounds have the times listed for them."""
    block = {"pattern": "ladder", "work": ["20s", "40s", "20s"], "rest": ["5s", "10s", "5s"]}
    found = intervals_of(block | {"exercises": names(1)})
    assert [entry.length_ms // 1000 for entry in found] == [20, 5, 40, 10, 20]


def test_on_the_minute_starts_every_minute() -> None:
    """Work starts on each whole minute of the block, the last rest included."""
    block = {"pattern": "on-the-minute", "work": "40s", "rounds": 2, "exercises": names(3)}
    found = intervals_of(block)
    assert [entry.start_ms - found[0].start_ms for entry in work(found)] == [60_000 * k for k in range(6)]
    assert length_ms(found) == 360_000


def test_alternate_sides_go_by_appearance() -> None:
    """An alternating exercise is left, right, left over its appearances; `first_side` turns that round."""
    block = {"pattern": "circuit", "work": "30s", "rounds": 4, "exercises": ["a", "b"]}
    sided = {"a": {"sides": "alternate"}, "b": {"sides": "alternate", "first_side": "right"}}
    found = work(intervals_of(block, sided))
    assert [entry.side for entry in found if entry.exercise == "a"] == ["left", "right"] * 2
    assert [entry.side for entry in found if entry.exercise == "b"] == ["right", "left"] * 2


@given(length=st.integers(2_001, 90_000))
def test_each_side_gets_half_and_no_time_is_lost(length: int) -> None:
    """The halves of a set on each side differ by at most a millisecond and sum to the set."""
    block = {"pattern": "circuit", "work": f"{length}ms", "exercises": ["a"]}
    left, right = intervals_of(block, {"a": {"sides": "each"}})
    assert left.length_ms + right.length_ms == length
    assert 0 <= left.length_ms - right.length_ms <= 1
    assert (left.side, right.side, left.set_index) == ("left", "right", right.set_index)
    # From 15 s on, half a set has pips before the switch; below, the turn pip alone.
    assert left.countdown is not None
    assert left.countdown.count == (3 if length >= 29_999 else 0)
    assert right.opening_pip


def test_times_of_an_entry_win_over_exercise_and_block() -> None:
    """Work is the entry's, else the exercise's, else the block's."""
    entries = [{"exercise": "a", "work": "11s"}, "a", "b"]
    block = {"pattern": "circuit", "work": "13s", "exercises": entries}
    found = work(intervals_of(block, {"a": {"work": "12s"}, "b": {}}))
    assert [entry.length_ms for entry in found] == [11_000, 12_000, 13_000]


@pytest.mark.parametrize("pattern", ["circuit", "flow", "build-up-and-down"])
def test_intervals_join_without_gap(pattern: str) -> None:
    """Each interval starts where the one before ended, and indices count from 0."""
    loaded = LoadedPlan(
        Plan.model_validate(
            {
                "title": "T",
                "session": [{"block": "B", "pattern": pattern, "work": "30s", "exercises": names(4)}],
            }
        ),
        Path("t.yaml"),
        (),
    )
    found = expand(loaded).intervals
    assert found[0].start_ms == 0
    assert [entry.index for entry in found] == list(range(len(found)))
    assert all(a.end_ms == b.start_ms for a, b in pairwise(found))


def test_pips_stand_where_work_starts_or_ends() -> None:
    """Countdowns end exactly the intervals next to work; talk to talk has none; the last pip has room."""
    loaded = LoadedPlan(
        Plan.model_validate(
            {
                "title": "T",
                "session": [
                    {"say": "Hello."},
                    {"block": "B", "pattern": "circuit", "work": "30s", "rest": "15s", "exercises": names(2)},
                    {"rest": "1m"},
                    {"say": "Bye."},
                ],
            }
        ),
        Path("t.yaml"),
        (),
    )
    found = expand(loaded).intervals
    assert [(entry.kind, entry.countdown is not None) for entry in found] == [
        ("talk", False),
        ("talk", False),
        ("talk", True),
        ("work", True),
        ("rest", True),
        ("work", True),
        ("rest", False),
        ("talk", False),
    ]


def test_a_short_interval_has_a_shorter_countdown() -> None:
    """A 4 s rest counts down with two pips, not with three that fill it."""
    block = {"pattern": "circuit", "work": "30s", "rest": "4s", "exercises": names(2)}
    rest = intervals_of(block)[1]
    assert rest.countdown is not None
    assert rest.countdown.count == 2


def test_equipment_is_listed_in_order_of_need() -> None:
    """Each thing once, in the order it is first needed."""
    block = {"pattern": "circuit", "work": "30s", "exercises": ["a", "b", "a"]}
    found = intervals_of(block, {"a": {"needs": ["band", "mat"]}, "b": {"needs": ["mat", "chair"]}})
    assert needs_of(found) == ["band", "mat", "chair"]


def test_talk_time_is_whole_seconds_at_an_easy_pace() -> None:
    """Fifteen words get 450 ms each, stops and line a breath, and edges, in whole seconds; 3 s at least."""
    text = "One two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen."
    assert easy_talk_ms([text]) == 9_000
    assert easy_talk_ms([]) == 3_000


def test_a_breath_blocks_cautions_are_said_before_it() -> None:
    """They get a talk interval of their own, after what the block says."""
    block = {"pattern": "breath", "inhale": "5s", "exhale": "5s", "cycles": 2}
    found = intervals_of(block | {"say": "Sit well.", "caution": "Stop if you feel light-headed."})
    assert [line.text for line in found[0].lines][-2:] == ["Sit well.", "Stop if you feel light-headed."]
    assert found[0].warns == ("Stop if you feel light-headed.",)
    assert [entry.kind for entry in found] == ["talk", "in", "out", "in", "out"]


@pytest.mark.parametrize("joined", ["{}-longnamedthing ", "{}名前の長い道具"])
def test_a_long_list_of_things_is_said_in_several_lines(joined: str) -> None:
    """More equipment than one line may name ended in an error that nobody foresaw; all of it is named."""
    things = [(joined.format(n) * 3).strip() for n in range(20)]
    whole = {
        "title": "T",
        "cautions": "none",
        "session": [
            {"block": "B", "pattern": "circuit", "work": "30s", "rest": "10s", "exercises": names(20)}
        ],
        "exercises": {name: {"needs": thing} for name, thing in zip(names(20), things, strict=True)},
    }
    first = expand(LoadedPlan(Plan.model_validate(whole), Path("t.yaml"), ())).intervals[0]
    said = [line.text for line in first.lines]
    assert max(map(len, said)) <= 600
    everything = "".join("".join(said).split())
    assert all("".join(thing.split()) in everything for thing in things)
