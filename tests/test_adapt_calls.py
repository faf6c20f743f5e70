"""Time in a recorded class and what only sounds so, and what is said in a rest or late in a set."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.exercise_lines import (
    ABOUT_REST,
    NAMED_AGAIN,
    OWN_CALL,
    OWN_REST,
    OWN_SIDE,
    PERHAPS_ASIDE,
)
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.role_judge import plan_role
from cuelane.adapt.words.word_lists import word_lists
from test_adapt_patterns import WORK_S, intervals

Said = tuple[float, str, str]


def made_of(said: dict[int, list[Said]], *, sure: bool = True) -> PatternPlan:
    """Return the class in whose intervals (share of it, purpose, text) is said; set n is interval 2n + 1."""
    rows = intervals(n_sets=4)
    cues = [
        CutCue(at, at + 1500, text, plan_role(purpose), index, f"{index}-{k}.wav", purpose)
        for index, lines in said.items()
        for k, (share, purpose, text) in enumerate(lines)
        for at in [round(1000 * (rows[index].start_s + share * rows[index].length_s))]
    ]
    cues = [cue if sure or cue.purpose == "announce" else replace(cue, is_sure=False) for cue in cues]
    made = pattern_plan("Legs", rows, cues, None)
    assert made is not None
    return made


def rows_of(made: PatternPlan, exercise: str, role: str) -> list[str]:
    return [line.cue.text for line in made.lines.exercises[exercise].get(role, [])]


SETS = {1: "Goblet squats.", 3: "Push ups.", 5: "Goblet squats.", 7: "Push ups."}


def with_sets(said: dict[int, list[Said]]) -> dict[int, list[Said]]:
    """Return `said` with a name at the beginning of each set."""
    named: dict[int, list[Said]] = {index: [(0.02, "announce", name)] for index, name in SETS.items()}
    return {index: [*named.get(index, []), *said.get(index, [])] for index in sorted({*named, *said})}


@pytest.mark.parametrize(
    ("text", "untrue"),
    [
        ("A few more breaths.", True),
        ("And a couple more.", True),
        ("A few more inches and you are there.", False),
        ("321 and rest.", True),
        ("54321.", True),
        ("Knees a bit higher than last time.", False),
        ("Same as last time, slow and low.", False),
        ("For the last time, drop and push.", True),
        ("For B one, left foot in front.", False),
        ("Side one, left leg long.", False),
        ("Five left.", True),
        ("Five left, and breathe.", True),
        ("Two left and two right.", False),
    ],
)
def test_what_is_left_and_what_is_compared(text, untrue):
    """How many are left is of that set alone; what compares with an earlier set is no call."""
    assert UntrueCalls().tells_time(text, "form") is untrue


def test_what_compares_with_the_last_time_stays_in_its_set():
    """It is not said in the first one."""
    made = made_of(with_sets({5: [(0.3, "form", "Knees a bit wider than last time.")]}))

    assert [line.rounds for line in made.lines.exercises["goblet squats"]["form"]] == [2]


@pytest.mark.parametrize(
    ("text", "share", "purpose", "is_call"),
    [
        ("Down two three, up. Down two three, up.", 0.3, "time", False),
        ("Three, two, one, up. That's the rhythm.", 0.3, "praise", False),
        ("321 up.", 0.3, "time", False),
        ("Lower for four, three, two, one.", 0.3, "time", False),
        # How long a part of a movement takes is none, whenever it is said.
        ("Three seconds up, three seconds down.", 0.3, "time", False),
        ("Two seconds at the bottom.", 1 - 6 / WORK_S, "time", False),
        ("Slow on the way down, three seconds.", 0.3, "time", False),
        ("Five second lowers, please.", 0.3, "time", False),
        ("In for five, out for five.", 0.3, "time", False),
        ("Stay low for three seconds, then stand.", 0.3, "time", False),
        ("Every rep takes four seconds.", 0.3, "time", False),
        ("Hold for a breath at the top.", 0.3, "change", False),
        ("Three seconds down, and that's ten seconds left.", 0.3, "time", True),
        ("Hold that for ten seconds.", 0.3, "time", True),
        ("Three more breaths.", 0.3, "time", True),
        # The same words end a set as it ends.
        ("Three, two, one, up.", 1 - 6 / WORK_S, "time", True),
        ("Three, two, one and rest.", 0.3, "time", True),
        ("Down two three, up, ten seconds left.", 0.3, "time", True),
        ("Ten, nine, eight, keep it up.", 0.3, "praise", True),
    ],
)
def test_how_fast_one_moves_is_no_time_of_the_class(text, share, purpose, is_call):
    """A count beside a movement is its tempo, and true at any work."""
    made = made_of(with_sets({1: [(share, purpose, text)]}))

    left = [(cue.text, why) for cue, why in made.lines.left]
    kept = [*rows_of(made, "goblet squats", "form"), *(line.cue.text for line in made.lines.praise)]
    assert ((text, OWN_CALL) in left) is is_call
    assert (text in kept) is not is_call


def test_what_names_the_next_set_late_in_one_is_about_that():
    """ "Bell again, swings" ten seconds before the end tells nothing about the set that it ends."""
    made = made_of(with_sets({
        1: [(0.8, "announce", "Bell away, push ups.")],
        3: [(0.8, "setup", "Bell again for goblet squats.")],
        5: [(0.1, "setup", "Sit lower than in push ups.")],
    }))  # fmt: skip

    assert rows_of(made, "push ups", "preview") == ["Bell away, push ups."]
    assert rows_of(made, "goblet squats", "setup") == []
    assert rows_of(made, "goblet squats", "remind") == ["Sit lower than in push ups."]
    assert [why for cue, why in made.lines.left if "Bell again" in cue.text] == [NAMED_AGAIN]


@pytest.mark.parametrize(
    ("text", "purpose", "share", "is_call"),
    [
        ("Push ups coming up.", "form", 0.8, True),
        ("Push ups.", "praise", 0.8, True),
        ("Ups next.", "say", 0.8, False),
        ("Goblet squats.", "form", 0.8, False),
        ("Push ups make this easy, so slow it down.", "form", 0.8, False),
        # Early in a set it may compare.
        ("Push ups.", "form", 0.2, False),
    ],
)
def test_the_name_of_the_next_set_late_in_one_calls_it(text, purpose, share, is_call):
    """Whatever it was judged to be for: in another set, or early in one, it would call the wrong one."""
    made = made_of(with_sets({1: [(share, purpose, text)]}))

    assert (text in rows_of(made, "push ups", "preview")) is is_call


def test_what_is_changed_for_the_next_set_is_said_before_that():
    """Behind a rest, too; nothing is put away for a set that does not come, as after the last."""
    made = made_of(with_sets({1: [(0.8, "change", "Leave the bell by the wall.")]}))
    (line,) = made.lines.exercises["goblet squats"]["change"]

    assert line.to == "push ups"


def test_a_guess_at_an_easier_way_in_a_rest_is_said_in_no_set():
    """ "Take your time getting there" is about the wall that one walks to."""
    said = with_sets({2: [(0.2, "easier", "We need a wall, so take your time getting there.")]})

    guessed, certain = made_of(said, sure=False), made_of(said)

    assert [why for cue, why in guessed.lines.left if "wall" in cue.text] == [ABOUT_REST]
    assert rows_of(certain, "push ups", "easier") == ["We need a wall, so take your time getting there."]


@pytest.mark.parametrize(
    ("text", "purpose", "is_call"),
    [
        ("Rest up, you earned it.", "say", True),
        ("Good. Done? Shake it out, get that bell.", "praise", True),
        ("Have a rest, everybody.", "say", True),
        ("Rest your elbows on your knees.", "say", False),
        ("Take a break if you need one.", "say", False),
        ("Rest if you must.", "say", False),
        ("You can have a rest.", "say", False),
        ("The rest of you looks strong.", "praise", False),
        ("Rest whenever you need to.", "easier", False),
        ("Don't take a break now, you look strong.", "praise", False),
        ("Do not have a rest yet.", "say", False),
        ("Never take a break in your head.", "say", False),
        ("No time to take a breather.", "say", False),
        ("You won't get your breath back here.", "say", False),
        ("Shake the arms out.", "praise", True),
        ("Shake your hands out between.", "say", False),
        ("Shake it out whenever your grip goes.", "say", False),
    ],
)
def test_a_rest_inside_a_set_is_called_in_no_other(text, purpose, is_call):
    """Where work starts every minute, what is left of it is rest; at other times a set has none in it."""
    made = made_of(with_sets({1: [(0.6, purpose, text)]}))

    assert ((text, OWN_REST) in [(cue.text, why) for cue, why in made.lines.left]) is is_call


@pytest.mark.parametrize(
    ("text", "share", "purpose", "kept_as"),
    [
        ("Double the jab.", 0.4, "preview", "form"),
        # What comes is told late in a set, or by its name.
        ("Double the jab.", 0.8, "preview", None),
        ("Push ups after this, my favourite.", 0.4, "preview", None),
        ("Left, right, left, right.", 0.4, "say", "form"),
        # "Ten, everything": the second word means nothing without the first.
        ("Everything.", 0.8, "praise", None),
        ("Everything you've got.", 0.8, "praise", "praise"),
        ("Lovely.", 0.4, "praise", "praise"),
    ],
)
def test_guesses_at_what_a_few_words_are_for(text, share, purpose, kept_as):
    """A point of form early in a set was lost, and a word that was left over was said in other sets."""
    made = made_of(with_sets({1: [(share, purpose, text)]}), sure=False)

    kept = made.lines.exercises["goblet squats"]
    assert [role for role, rows in kept.items() for row in rows if row.cue.text == text] == (
        [kept_as] if kept_as else []
    )


@pytest.mark.parametrize(
    ("text", "untrue"),
    [
        ("Hold your thighs if you get stuck half way.", False),
        ("Only come up halfway.", False),
        ("We're halfway.", True),
        # A verb before it may end what was said before.
        ("Go! Halfway there.", True),
        ("Don't stop, halfway through.", True),
        ("You've come halfway.", True),
        ("Go half way, then all the way.", False),
        ("Stop half way.", False),
    ],
)
def test_half_of_a_movement_is_no_half_of_a_set(text, untrue):
    assert UntrueCalls().tells_time(text, "easier") is untrue


@pytest.mark.parametrize(
    ("before", "time", "is_one"),
    [
        ("Slow on the way down,", "three seconds.", True),
        ("Squeeze for two and hold for", "three seconds.", True),
        ("Lovely and slow.", "Ten seconds.", False),
        ("Slow on the way down,", "ten seconds left.", False),
    ],
)
def test_how_long_a_part_takes_is_not_cut_from_what_is_said_of_it(before, time, is_one):
    assert word_lists().is_paced(before, time) is is_one


def test_a_guess_at_a_way_that_tells_the_pace_is_form():
    """Four counts are neither easier nor harder in themselves; who is sure of it knows better."""
    text = "Take four counts to come down."
    made = made_of(with_sets({1: [(0.3, "easier", text)]}), sure=False)
    sure = made_of(with_sets({1: [(0.3, "harder", text)]}))

    assert rows_of(made, "goblet squats", "form") == [text]
    assert rows_of(sure, "goblet squats", "harder") == [text]


def test_a_count_that_is_called_praise_tells_the_tempo():
    """Praise is said as a set ends, where it would count it out."""
    made = made_of(with_sets({1: [(0.3, "praise", "Three, two, one, up. That's the rhythm.")]}))

    assert made.lines.praise == []
    assert rows_of(made, "goblet squats", "form") == ["Three, two, one, up. That's the rhythm."]


def test_what_names_the_side_alone_is_left_to_the_program():
    """ "Couch stretch, right side", and then "same thing, right side", is once too often."""
    made = made_of({
        1: [(0.02, "announce", "Couch stretch, left side.")],
        3: [(0.02, "remind", "Same thing, right side."), (0.3, "setup", "Right arm up and over."),
            (0.4, "side", "Same thing on your right side. Couch stretch.")],
        5: [(0.02, "announce", "Couch stretch, left side again.")],
        7: [(0.02, "setup", "Right leg.")],
    })  # fmt: skip

    assert made.lines.alternated == {"couch stretch": "left"}
    assert [cue.text for cue, why in made.lines.left if why == OWN_SIDE] == [
        "Same thing, right side.",
        "Same thing on your right side. Couch stretch.",
        "Right leg.",
    ]
    assert rows_of(made, "couch stretch", "remind") == ["Right arm up and over."]


def test_few_words_that_end_in_the_name_begin_a_set():
    """ "Sink down into it, goblet squats" needs no name before it; a longer sentence does."""
    long = "Sink down as far as you can go in those goblet squats."
    made = made_of({
        0: [(0.5, "preview", "First up, goblet squats.")],
        1: [(0.02, "announce", "Sink down into it, goblet squats.")],
        3: [(0.02, "announce", "Push ups.")],
        4: [(0.5, "preview", "Goblet squats next.")],
        5: [(0.02, "announce", long)],
        7: [(0.02, "announce", "Push ups.")],
    })  # fmt: skip

    assert rows_of(made, "goblet squats", "announce") == ["Sink down into it, goblet squats."]
    assert rows_of(made, "goblet squats", "remind") == [long]


@pytest.mark.parametrize(
    ("text", "is_own"),
    [
        ("Left right, left right, that's it.", True),
        ("Lovely, hips nice and low.", True),
        ("Beautiful squats, everyone.", True),
        ("That's it, super landing.", True),
        ("Great waves.", True),
        ("Lovely work, I can see you.", False),
        ("Well done, all of you.", False),
    ],
)
def test_praise_for_a_movement_is_said_of_no_other(text, is_own):
    """ "Left right, that's it" praises marching, and would be odd in a squat."""
    made = made_of(with_sets({1: [(0.4, "praise", text)]}))

    assert (made.lines.praise == []) is is_own
    assert (rows_of(made, "goblet squats", "praise") == [text]) is is_own


def test_praise_in_a_rest_for_a_movement_is_of_the_set_before():
    """ "Lovely squats" is said once they are done, and would be odd in a push up."""
    text = "Lovely squats, chest nice and high."
    made = made_of(with_sets({2: [(0.2, "praise", text)], 4: [(0.2, "praise", "Well done, all of you.")]}))

    assert rows_of(made, "goblet squats", "praise") == [text]
    assert [line.cue.text for line in made.lines.praise] == ["Well done, all of you."]


@pytest.mark.parametrize(
    ("text", "purpose", "share", "where"),
    [
        # What is sure to be a change is none before the middle of a set.
        ("Hands on the bells, feet wide.", "change", 0.1, ("setup", None)),
        ("Hands on the bells, feet wide.", "change", 0.3, ("form", None)),
        ("Bell down by the wall.", "change", 0.8, ("change", None)),
        # Steps that are counted are none of the sides, and as true of any set.
        ("Left, right, left, right.", "side", 0.4, ("form", None)),
        ("Left leg now.", "side", 0.4, ("setup", 1)),
    ],
)
def test_where_in_its_set_a_line_is_said_tells_what_it_is_for(text, purpose, share, where):
    """Of what is said early nothing is for the end, and a side that is named is that of this set."""
    made = made_of(with_sets({1: [(share, purpose, text)]}))
    role, rounds = where

    assert [line.rounds for line in made.lines.exercises["goblet squats"][role]] == [rounds]


@pytest.mark.parametrize("purpose", ["caution", "easier", "harder", "form", "praise"])
def test_what_begins_a_set_with_its_name_announces_it(purpose):
    """ "Goblet squats, toss it if you dare" may be taken for a caution, and said before the set."""
    said = with_sets({})
    said[1] = [(0.02, purpose, "Goblet squats, toss it if you dare.")]
    made = made_of(said, sure=False)

    assert rows_of(made, "goblet squats", "announce")[0] == "Goblet squats, toss it if you dare."


def test_what_tells_where_in_a_ladder_one_is_stays_there():
    """ "The longest one" would be untrue of the next round."""
    made = made_of(with_sets({5: [(0.1, "setup", "Longest one, find a rhythm.")]}))

    (line,) = made.lines.exercises["goblet squats"]["remind"]
    assert line.rounds == 2


def test_what_may_be_an_aside_is_said_in_no_set():
    """Who keeps one and calls it so wants it; a guess that nobody looked at would be said at another time."""
    truck = with_sets({1: [(0.4, "aside", "Sorry, truck going by.")]})
    left = [(cue.text, why) for cue, why in made_of(truck, sure=False).lines.left]

    assert ("Sorry, truck going by.", PERHAPS_ASIDE) in left
    assert rows_of(made_of(truck), "goblet squats", "say") == ["Sorry, truck going by."]
