"""Exercises of a recorded class that are named once, before the first set, and names misheard in a set."""

from __future__ import annotations

import pytest

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.listed_names import as_listed, as_listed_in_blocks, is_of
from cuelane.adapt.pattern_plan import pattern_plan
from cuelane.adapt.pattern_report import shape_doubts
from cuelane.adapt.words.role_judge import plan_role
from test_adapt_patterns import intervals
from test_adapt_retime import planned

LISTED = ["sit to stand", "heel raises", "wall press ups"]


@pytest.mark.parametrize(
    ("opening", "n_sets"),
    [
        ("Sit to stand, heel raises and wall press ups.", 6),
        ("Today it's sit to stand, then heel raises, then wall press ups.", 6),
        ("Minute one, 12 sit to stands, minute two, ten heel raises, minute three, eight wall press ups.", 3),
        ("No hurry, sit to stand, heel raises, and wall press ups.", 6),
        # Most captions have no marks.
        ("today it's sit to stand heel raises and wall press ups twice through", 6),
        # Counted off by letters or numbers, or joined by what leads from one to the next.
        ("A is sit to stand, B is heel raises, C is wall press ups.", 6),
        ("A, sit to stand. B, heel raises. C, wall press ups.", 6),
        ("Number one's sit to stand, number two's heel raises, number three's wall press ups.", 6),
        ("You'll do sit to stand, followed by heel raises, followed by wall press ups.", 6),
        ("Sit to stand, into heel raises, into wall press ups.", 6),
        ("Your three are sit to stand, heel raises and wall press ups.", 6),
        # Some think aloud.
        ("Sit to stand, heel raises and, what's the last one, oh yeah, wall press ups.", 6),
        ("Sit to stand heel raises, wall press ups. I'll say them once.", 6),
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
        # Done before it.
        ([None] * 6, "Little warm up first, marching, heel raises and wall press ups."),
        ([None] * 6, "march it out on the spot swing your arms and squat nice and easy"),
    ],
)
def test_what_lists_something_else_calls_no_set(said, opening):
    """It has to fit the sets, and what they are called."""
    assert as_listed(said, [opening], ExerciseNames()) is None


@pytest.mark.parametrize(
    ("said", "is_used"),
    [
        # Heard once, and no move that is known.
        (["sit to stand", "hold it up", None, "sit to stand", None, "bend and pushy"], True),
        (["sit to stand", "planks", None, "sit to stand", None, "lunges"], False),
        (["sit to stand", "hold it up", None, "sit to stand", "hold it up", None], False),
        (["sit to stand", "hold it up", "bend down", None, None, None], False),
    ],
)
def test_a_list_is_stronger_than_words_that_are_said_once(said, is_used):
    """What begins a set is as often how it is done; a known move, or what is said again, is what is done."""
    found = as_listed(said, ["Sit to stand, heel raises and wall press ups."], ExerciseNames())

    assert (found is not None) is is_used


def test_what_is_counted_off_is_listed_whatever_its_name():
    """No list of words knows them all: a station's number says that there is one."""
    opening = "Station 1, plank high fives, station 2, wall sit ball pass, station 3, mirror shuffles."
    found = as_listed(["plank", None, "mirror shuffles"] * 2, [opening], ExerciseNames())

    assert found == ["plank high fives", "wall sit ball pass", "mirror shuffles"] * 2
    # As some hear it; a voice would say "five s".
    heard = [opening.replace("fives", "5s")]
    assert as_listed([None] * 6, heard, ExerciseNames()) == found
    assert as_listed([None] * 6, [opening.replace("station", "with")], ExerciseNames()) is None


def test_the_list_of_a_warm_up_is_none_of_the_class():
    """Each is told by what is said before it; what its sets are called so is the class in any case."""
    names = ExerciseNames()
    opening = ["First a warm up.", "Marching, arm circles, heel raises.", "And the workout.", "{}"]
    listed = "Squats, lunges, planks."

    found = as_listed([None] * 6, [text.format(listed) for text in opening], names)
    assert found == ["squats", "lunges", "planks"] * 2
    assert as_listed([None] * 6, [text.format("Here we go.") for text in opening], names) is None
    called = as_listed(["marching", None, None] * 2, [text.format("Here we go.") for text in opening], names)
    assert called == ["marching", "arm circles", "heel raises"] * 2


def test_what_is_listed_is_done_whether_or_not_the_sentence_is_kept():
    """A list that is left out for "I'll show you" in it, and a name beside "like this", name their sets."""
    rows = {1: "Off we go.", 3: "Up and down.", 5: "Hips high.", 7: "Again."}
    cues = [cue_of(index, "form", text) for index, text in rows.items()]
    dropped = [
        cue_of(0, "setup", "Squats, calf raises, side planks. I'll show you each."),
        cue_of(5, "setup", "Side plank, like this."),
    ]
    cues += [cue_of(9, "form", "Slow."), cue_of(11, "form", "Tall.")]
    made = pattern_plan("Legs", intervals(n_sets=6), cues, None, dropped=dropped)

    assert made is not None
    assert [place.exercise for place in made.shape.places] == ["squats", "calf raises", "side planks"]
    assert made.lines.opening == []


def cue_of(index: int, purpose: str, text: str) -> CutCue:
    at = round(1000 * intervals(n_sets=6)[index].start_s) + 1000
    return CutCue(at, at + 1500, text, plan_role(purpose), index, f"{index}.wav", purpose)


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
        "listed before the first set or their block, in that order: 3 of 6 sets" in row
        for row in shape_doubts(made.shape)
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


def test_a_plural_with_its_e_is_of_what_was_listed():
    assert is_of("presses", "overhead press")
    assert is_of("rows", "renegade row")
    assert not is_of("press", "renegade row")


def test_a_set_that_is_named_nowhere_else_is_called_as_it_begins():
    """ "Happy baby" is known to no list; a number says less. What tells what to do stays a number."""
    made, plan = planned(
        {
            1: [("announce", "Squats.")],
            3: [("setup", "Happy baby. Hold your feet.")],
            5: [("setup", "Lean forward. Hold it.")],
            7: [("setup", "Up and down. Slowly.")],
        }
    )

    assert [place.exercise for place in made.shape.places] == [
        "squats",
        "happy baby",
        "exercise 3",
        "exercise 4",
    ]
    assert plan["exercises"]["happy baby"]["announce"][0]["text"] == "Happy baby. Hold your feet."
    doubts = shape_doubts(made.shape)
    assert any("begins with: happy baby." in row for row in doubts)
    assert any("by a number: 2 of 4 sets" in row for row in doubts)


FIRST, SECOND = ["deadlifts", "push ups", "dead bugs"], ["squats", "rows", "planks"]


@pytest.mark.parametrize(
    ("meant", "before", "breaks", "found"),
    [
        # In the rest before the block that it is of, whatever the first is called.
        (
            FIRST * 2 + [None] * 6,
            {6: "Second block: squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        # Words of how one does it may stand against it, and moves that are done twice not.
        (
            [*FIRST, *FIRST, None, "hinge and pull", None, None, None, None],
            {6: "Next block is squats rows and planks"},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        (FIRST * 2 + ["burpees", None, None] * 2, {6: "Next block: squats, rows and planks."}, [0, 6], None),
        # Its rounds may have a long rest between them, and something else may follow.
        (
            FIRST * 2 + [None] * 6 + ["burpees"],
            {6: "Squats, rows and planks now."},
            [0, 3, 6, 9, 12],
            [*FIRST, *FIRST, *SECOND, *SECOND, "burpees"],
        ),
        # Both before the first set, in one sentence or in two.
        (
            [None] * 12,
            {0: "Block one is deadlifts, push ups and dead bugs, and block two is squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        (
            [None] * 9,
            {0: "First circuit deadlifts, push ups, dead bugs. Second circuit squats, rows, planks."},
            [0, 3],
            FIRST + SECOND * 2,
        ),
        (
            [None] * 12,
            {0: "In the first circuit it's deadlifts, push ups and dead bugs, "
                "and in the second squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        (
            [None] * 12,
            {0: "We start with deadlifts, push ups and dead bugs, "
                "and after the break it's squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        (
            [None] * 12,
            {0: "The first three are deadlifts, push ups and dead bugs. "
                "The last three are squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        (
            FIRST * 2 + [None] * 6,
            {6: "Giant set two is squats, rows and planks."},
            [0, 6],
            FIRST * 2 + SECOND * 2,
        ),
        # One list for all of the class, and what is no exercise.
        ([None] * 12, {0: "Deadlifts, push ups and dead bugs."}, [0, 6], None),
        (FIRST * 2 + [None] * 6, {6: "Second block: a mat, a towel and a chair."}, [0, 6], None),
        (FIRST * 2 + [None] * 5, {6: "Second block: squats, rows and planks."}, [0, 6], None),
    ],
)  # fmt: skip
def test_each_block_is_called_as_it_is_listed(meant, before, breaks, found):
    """A second block that is listed once, as it comes or with the first, and not named in its sets."""
    texts = [[before[n]] if n in before else [] for n in range(len(meant))]

    assert as_listed_in_blocks(meant, texts, breaks, ExerciseNames()) == found


def test_a_list_of_one_of_two_blocks_is_not_the_whole_class():
    """Six sets of what is listed as the first of two, of twelve."""
    opening = ["Block one is deadlifts, push ups and dead bugs.", "Block two is squats, rows and planks."]

    assert as_listed([*FIRST, *FIRST, *[None] * 6], opening, ExerciseNames()) is None
    assert as_listed([*FIRST, *FIRST, *[None] * 6], opening[:1], ExerciseNames()) == FIRST * 4


def test_lists_of_blocks_that_are_done_once_are_the_class_together():
    """No long rest parts them: "the first three are", "the last three are", six sets."""
    opening = [
        "The first three are deadlifts, push ups and dead bugs.",
        "The last three are rope waves, rows and planks.",
    ]
    said = [None, "push ups", "dead bugs", "rope waves", None, "planks"]

    assert as_listed(said, opening, ExerciseNames()) == [*FIRST, "rope waves", "rows", "planks"]
    assert as_listed([*FIRST, *FIRST, *[None] * 6], opening, ExerciseNames()) is None


def test_what_lists_a_later_block_names_not_the_first_set():
    """ "Block two is squats, rows and planks", as the last thing before a set that has no name."""
    made, _ = planned({0: [("preview", "Block two is squats, rows and planks.")], 1: [("form", "Sit back.")]})

    assert "squats" not in made.shape.names


@pytest.mark.parametrize("text", ["Feet wide, chest tall.", "Off we go, nice and steady.", "Knees soft, go."])
def test_how_one_begins_is_no_name(text):
    """A part of the body before what it does, and praise beforehand."""
    assert ExerciseNames().in_text(text, "announce") is None
    assert ExerciseNames().in_text("Knee drives.", "announce") == "knee drives"
