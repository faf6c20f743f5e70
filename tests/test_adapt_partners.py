"""Recorded classes for two: one works while the other rests, and then they swap."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.pattern_plan import PatternPlan
from cuelane.adapt.pattern_report import shape_doubts
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.plan.load import load_plan
from cuelane.session.expand import expand
from test_adapt_sections import Row, blocks_of, made_of

MOVES = {"Wall sits": "wall sit", "Ball slams": "ball slam", "Skater hops": "skater hop"}
TURNS = ["Swap. Partner two, into your {}.", "Change over, second partner does a {}.", "Switch roles."]


def for_two(rest_s: float = 20.0) -> PatternPlan:
    """Return a class of two rounds of three moves, each done by one and then by the other."""
    rows: list[Row] = []
    for number in range(6):
        name, one = list(MOVES.items())[number % 3]
        rows += [
            ("work", 30, f"{name}, partner one."),
            ("work", 30, TURNS[number % 3].format(one)),
            ("rest", rest_s, "rest|Both of you rest."),
        ]
    return made_of(rows[:-1])


def test_the_turn_of_the_other_one_is_a_set_of_the_same_exercise():
    """ "Swap. Partner two" names none, and is no other side."""
    made = for_two()
    plan = YAML(typ="safe").load(made.text)

    assert [place.exercise for place in made.shape.places] == [
        name.lower() for name in MOVES for _ in range(2)
    ]
    assert not any("sides" in one for one in plan["exercises"].values())


def test_whose_turn_it_is_is_said_in_that_turn_of_each_round():
    """Words that were the same in the second round hold for that one, too."""
    made = for_two()
    announced = YAML(typ="safe").load(made.text)["exercises"]["wall sits"]["announce"]

    assert [(line["text"], line["rounds"]) for line in announced] == [
        ("Wall sits, partner one.", [1, 3]),
        ("Swap. Partner two, into your wall sit.", [2, 4]),
    ]


def test_the_same_thing_is_said_of_the_second_turn():
    """In the first one nothing was done before it."""
    rows: list[Row] = []
    for name, how in (("Wall sits", "hips low"), ("Ball slams", "big throw")) * 2:
        rows += [("work", 30, f"{name}."), ("work", 30, f"Partner two. / form|Same thing, {how}.")]
        rows += [("rest", 20, "rest|Rest.")]
    made = made_of(rows[:-1])

    assert [
        (line.cue.text, line.rounds, line.again) for line in made.lines.exercises["wall sits"]["form"]
    ] == [("Same thing, hips low.", 2, (4,))]


def test_the_rest_between_pairs_is_the_rest_of_the_class(tmp_path: Path):
    """Half of the sets have none behind them; one number changes those that are there."""
    made = for_two()
    (block,) = blocks_of(made)
    assert (block["work"], block["rest"], block["rounds"]) == ("30s", "20s", 2)
    assert [row.get("rest") if isinstance(row, dict) else "" for row in block["exercises"]] == ["0s", ""] * 3
    assert shape_doubts(made.shape) == []

    (tmp_path / "clips").mkdir()
    for clip in re.findall(r"clip: (\S+)", made.text):
        (tmp_path / clip).touch()
    path = tmp_path / "class.yaml"
    path.write_text(made.text.replace("rest: 20s", "rest: 45s"), encoding="utf-8")
    intervals = expand(load_plan(path)).intervals
    rests = [row.length_ms for row in intervals if row.kind == "rest"]
    assert rests == [45_000] * 5


def test_each_of_what_is_listed_is_done_by_both():
    """Nobody names a set: the list has three, and each is one partner's and then the other's."""
    rows: list[Row] = []
    for how in ("Big throws.", "Whole foot down.", "Hips still."):
        rows += [("work", 30, f"form|{how}"), ("rest", 10, "rest|And swap.")]
        rows += [("work", 30, "Number twos, same thing."), ("rest", 10, "rest|Rest.")]
    made = made_of(rows[:-1], "preview|Today it's ball slams, step ups and plank shoulder taps.")

    assert list(made.shape.names) == [
        name for name in ("ball slams", "step ups", "plank shoulder taps") for _ in range(2)
    ]
    assert made.lines.alternated == {}


@pytest.mark.parametrize(
    ("text", "changes"),
    [
        ("Swap, partner two goes.", True),
        ("Switch places.", True),
        ("And swap, the other one goes.", True),
        ("Tag your mate in.", True),
        ("Last swap, number twos.", True),
        ("And change, twos on the ropes.", True),
        ("Number twos, same thing.", True),
        ("Other half of the pair, crawl.", True),
        ("Stand in twos.", False),
        ("Your buddy's turn.", True),
        ("Change over, number twos work.", True),
        ("Swap with your neighbour.", True),
        ("Partners change.", True),
        ("Now the one who was holding goes.", True),
        ("Number ones first.", False),
        ("Change places with your heavy bell.", False),
        ("Give your partner a high five.", False),
        ("Follow your partner's pace.", False),
        ("Elbows back as far as they go.", False),
        ("Partner one first.", False),
        ("Swap sides.", False),
        ("One heel after the other.", False),
        ("Your partner counts for you.", False),
    ],
)
def test_what_gives_the_set_to_the_other_one(text, changes):
    """Whose turn it is, and neither a side nor anything else about a partner."""
    assert UntrueCalls().changes_partner(text) is changes
    assert not changes or ExerciseNames().in_text(text, "announce") is None
