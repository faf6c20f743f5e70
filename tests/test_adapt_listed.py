"""Exercises of a recorded class that are named once, before the first set, and names misheard in a set."""

from __future__ import annotations

import pytest

from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.listed_names import as_listed
from cuelane.adapt.pattern_report import shape_doubts
from test_adapt_retime import planned

LISTED = ["sit to stand", "heel raises", "wall press ups"]


@pytest.mark.parametrize(
    ("opening", "n_sets"),
    [
        ("Sit to stand, heel raises and wall press ups.", 6),
        ("Today it's sit to stand, then heel raises, then wall press ups.", 6),
        ("Minute one, 12 sit to stands, minute two, ten heel raises, minute three, eight wall press ups.", 3),
        ("No hurry, sit to stand, heel raises, and wall press ups.", 6),
    ],
)
def test_sets_that_nobody_names_are_called_as_they_were_listed(opening, n_sets):
    """In the order of the list, as often as it goes into the sets."""
    found = as_listed([None] * n_sets, ["Good morning.", opening], ExerciseNames())

    assert found is not None
    assert [(name or "").replace("stands", "stand") for name in found] == LISTED * (n_sets // 3)


@pytest.mark.parametrize(
    ("said", "opening"),
    [
        # As many as do not go into the sets.
        ([None] * 8, "Sit to stand, heel raises and wall press ups."),
        # Called something else.
        (["planks", None, None] * 2, "Sit to stand, heel raises and wall press ups."),
        (["wall press ups", None, None] * 2, "Sit to stand, heel raises and wall press ups."),
        # No exercises.
        ([None] * 6, "A mat, a chair and a towel."),
        ([None] * 6, "Bring your knees up, swing your arms, and breathe."),
        ([None] * 6, "Squats and lunges."),
    ],
)
def test_what_lists_something_else_calls_no_set(said, opening):
    """It has to fit the sets, and what they are called."""
    assert as_listed(said, [opening], ExerciseNames()) is None


def test_a_class_has_the_names_of_its_list_and_its_report_says_so():
    """ "March" is what was listed as seated marching."""
    made, _ = planned(
        {
            0: [("setup", "Sit to stand, heel raises and seated marching.")],
            1: [("setup", "Lean forward and stand.")],
            3: [("setup", "Up on your toes and down.")],
            5: [("announce", "March.")],
            7: [("announce", "Sit to stand.")],
            9: [("form", "Hold it, and down.")],
            11: [("form", "Knees high.")],
        },
        6,
    )

    assert [place.exercise for place in made.shape.places] == [
        "sit to stand",
        "heel raises",
        "seated marching",
    ]
    assert made.shape.rounds == 2
    assert any(
        "listed before the first set, in that order: 3 of 6 sets" in row for row in shape_doubts(made.shape)
    )


def test_what_a_set_is_called_besides_its_listed_name_is_no_name():
    """ "Bend and push" begins a set of wall press ups; it does not stand for the name."""
    made, _ = planned(
        {
            0: [("setup", "Sit to stand, heel raises and wall press ups.")],
            1: [("announce", "Sit to stand.")],
            3: [("announce", "Heel raises.")],
            5: [("announce", "Bend and push.")],
            7: [("announce", "Sit to stand.")],
            9: [("announce", "Heel raises.")],
            11: [("announce", "Wall press ups.")],
        },
        6,
    )

    assert [place.exercise for place in made.shape.places] == LISTED
    rows = made.lines.exercises["wall press ups"]
    assert [line.cue.text for line in rows["announce"]] == ["Wall press ups."]
    assert [line.cue.text for line in rows["setup"]] == ["Bend and push."]
    assert not any("Taken for one" in row for row in shape_doubts(made.shape))


def test_a_name_that_is_misheard_in_its_set_is_said_once():
    """ "Wood chop next", and then "witchop": the class's own line stands for the name, and no other does."""
    made, _ = planned(
        {
            1: [("announce", "Goblet squat.")],
            2: [("preview", "Wood chop next.")],
            3: [("setup", "Witchop, across your body."), ("form", "Turn your hips.")],
            5: [("announce", "Side plank.")],
            7: [("announce", "Reverse lunge.")],
        },
        4,
    )

    assert [place.exercise for place in made.shape.places] == [
        "goblet squat", "wood chop", "side plank", "reverse lunge"
    ]  # fmt: skip
    rows = made.lines.exercises["wood chop"]
    assert [line.cue.text for line in rows["announce"]] == ["Witchop, across your body."]
    assert [line.cue.text for line in rows["preview"]] == ["Wood chop next."]


def test_what_sounds_like_another_name_but_was_said_twice_is_one():
    """Curls after "crawls next" are not taken for crawls where they are said elsewhere, too."""
    made, _ = planned(
        {
            1: [("announce", "Curls.")],
            2: [("preview", "Crawls next.")],
            3: [("announce", "Curls.")],
            5: [("announce", "Side plank.")],
            7: [("announce", "Reverse lunge.")],
        },
        4,
    )

    assert made.shape.names[:2] == ("curls", "curls")
