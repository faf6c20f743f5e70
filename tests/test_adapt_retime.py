"""What a recorded class keeps, and what not, at other times: each line is true where it is said."""

from __future__ import annotations

from typing import Any

import pytest
from ruamel.yaml import YAML

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import class_shape
from cuelane.adapt.exercise_lines import (
    ABOUT_REST,
    FOR_REST,
    NAMED_AGAIN,
    NAMED_TWICE,
    OWN_CALL,
    OWN_REST,
)
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.pattern_report import pattern_lines
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import plan_role
from test_adapt_patterns import intervals


def planned(said: dict[int, list[tuple[str, str]]], n_sets: int = 4) -> tuple[PatternPlan, dict[str, Any]]:
    """Return the class in whose intervals (purpose, text) is said, and its plan; set n is interval 2n + 1."""
    rows = intervals(n_sets=n_sets)
    cues = [
        CutCue(at, at + 1500, text, plan_role(purpose), index, f"{index}-{k}.wav", purpose)
        for index, lines in said.items()
        for k, (purpose, text) in enumerate(lines)
        for at in [round(1000 * rows[index].start_s) + 1000 + 2500 * k]
    ]
    made = pattern_plan("Legs", rows, cues, None)
    assert made is not None
    return made, YAML(typ="safe").load(made.text)


@pytest.mark.parametrize(
    ("text", "untrue"),
    [
        ("That's half.", True),
        ("Half of that done, stay with it.", True),
        ("This is the last set of the day, enjoy it.", True),
        ("Last exercise, the clock.", True),
        # How far to bend is no time.
        ("Only go halfway down.", False),
    ],
)
def test_half_and_last_are_known_as_where_boundaries_are_read(text, untrue):
    """One list says what calls the half of a set, or the last one, whatever the sentence is judged for."""
    assert UntrueCalls().tells_time(text, "form") is untrue


def test_what_compares_with_an_earlier_set_stays_in_its_own():
    """ "Again" and "this time" are not said in the first round; what they belong to is."""
    _, plan = planned({
        1: [("setup", "Side lunge. Sit back.")],
        3: [("setup", "Row. Elbows back.")],
        5: [("announce", "Side lunge again."), ("harder", "You can go deeper this time.")],
        7: [("announce", "Row."), ("harder", "For more, slow down.")],
    })  # fmt: skip

    lunge, row = plan["exercises"]["side lunge"], plan["exercises"]["row"]
    assert lunge["announce"][1]["rounds"] == 2
    assert lunge["harder"][0]["rounds"] == 2
    assert "rounds" not in row["announce"][1]
    assert "rounds" not in row["harder"][0]


def test_a_preview_that_names_what_comes_is_the_last_to_go():
    """Of four in a rest of ten seconds "you should feel this in your thighs" was said, and no name."""
    _, plan = planned({
        1: [("setup", "Side lunge. Sit back.")],
        2: [("preview", "Next is the row."), ("setup", "Hinge over, bells under your shoulders.")],
        3: [("setup", "Row. Elbows back.")],
    })  # fmt: skip
    rows = plan["exercises"]["row"]["preview"]

    assert [(row["text"], row.get("weight")) for row in rows] == [
        ("Next is the row.", None), ("Hinge over, bells under your shoulders.", 50)
    ]  # fmt: skip


def test_praise_that_compares_stays_with_its_exercise():
    """ "Deeper than before" is untrue in a first set, and in one of another exercise."""
    _, plan = planned({
        1: [("setup", "Side lunge. Sit back."), ("praise", "Lovely work.")],
        3: [("setup", "Row. Elbows back.")],
        5: [("setup", "Side lunge. Long spine."), ("praise", "Great, that's deeper than before.")],
        6: [("praise", "Well done, better than last time.")],
    })  # fmt: skip
    lunge = plan["exercises"]["side lunge"]["praise"]
    block = next(row for row in plan["session"] if "block" in row)

    assert [line["text"] for line in block["praise"]] == ["Lovely work."]
    assert [(line["text"], line["rounds"]) for line in lunge] == [
        ("Great, that's deeper than before.", 2), ("Well done, better than last time.", 2)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "untrue"),
    [
        ("Well done, that's pair A finished.", True),
        ("That's you done with the bells.", False),
        ("That's how it's done.", False),
        ("That's really well done.", False),
    ],
)
def test_what_is_over_is_over_then_alone(text, untrue):
    assert UntrueCalls().tells_time(text, "praise") is untrue


def test_a_count_to_the_end_is_no_tempo():
    """However early it is said; "up in three two one" is how one moves."""
    assert not UntrueCalls().counts_a_movement("and done in three two one")
    assert UntrueCalls().counts_a_movement("down two three, up")


def test_what_is_said_at_rest_after_the_last_set_is_kept():
    """It calls no rest that the program would call instead."""
    made, plan = planned({
        1: [("setup", "Side lunge. Sit back.")],
        3: [("setup", "Side lunge. Long spine.")],
        8: [("rest", "Take a few slow breaths and let your arms hang.")],
    })  # fmt: skip

    assert [line["text"] for line in plan["session"][-1]["say"]] == [
        "Take a few slow breaths and let your arms hang."
    ]
    assert made.lines.left == []


def test_a_line_is_said_from_the_round_on_in_which_it_was_first_said():
    """So a later round has points of form, and ways, of its own left; a repeated one keeps its first."""
    _, plan = planned({
        1: [("setup", "Side lunge. Sit back."), ("form", "Long spine.")],
        3: [("setup", "Row. Elbows back."), ("easier", "Use less weight.")],
        5: [("announce", "Side lunge."), ("form", "Long spine."), ("form", "Heel down.")],
        7: [("announce", "Row."), ("harder", "For more, slow down."), ("say", "My favourite.")],
    })  # fmt: skip

    lunge, row = plan["exercises"]["side lunge"], plan["exercises"]["row"]
    assert [line.get("from_round") for line in lunge["form"]] == [None, 2]
    assert [row[role][0].get("from_round") for role in ("easier", "harder", "say")] == [None, 2, 2]


def test_what_only_names_a_set_is_said_once_in_it():
    """Two announcements of one set would be two in a row."""
    made, plan = planned({
        1: [("setup", "Row. Elbows back."), ("announce", "Row.")],
        3: [("announce", "Row."), ("announce", "Rows for forty.")],
    })  # fmt: skip

    assert [line["text"] for line in plan["exercises"]["row"]["announce"]] == ["Row. Elbows back.", "Row."]
    assert [(cue.text, why) for cue, why in made.lines.left] == [
        ("Row.", NAMED_TWICE), ("Rows for forty.", OWN_CALL),
    ]  # fmt: skip


def test_what_is_true_of_either_leg_is_kept_in_a_set_that_turns():
    """ "Keep the other leg long" holds before the turn and after it."""
    _, plan = planned({
        index: [("setup", "Side lunge. Sit back."), ("form", "Keep the other leg long.")]
        for index in (1, 3, 5, 7)
    })  # fmt: skip
    assert "rounds" not in plan["exercises"]["side lunge"]["form"][0]

    untrue = UntrueCalls()
    assert not untrue.names_side("Keep the other leg long.")
    assert untrue.names_side("And now the other leg.")
    assert untrue.names_side("Same on the other side.")
    assert untrue.names_side("Same thing on this side.")


def test_a_set_is_not_called_twice():
    """What begins with its name, or with the end of it, stands for the name, also where it names a side."""
    _, plan = planned({
        1: [("setup", "Glute bridge. Lie on your back.")],
        3: [("setup", "Shoulder press. Weight up.")],
        5: [("setup", "And bridges, down on your back.")],
        7: [("side", "Shoulder press, other arm first.")],
    })  # fmt: skip

    bridge, press = plan["exercises"]["glute bridge"], plan["exercises"]["shoulder press"]
    assert [line["rounds"] for line in bridge["announce"]] == [1, 2]
    assert [line["rounds"] for line in press["announce"]] == [1, 2]
    assert "remind" not in {*bridge, *press}


def test_what_gets_one_ready_for_a_later_set_is_a_reminder():
    """It is not new, so that it is said where the set begins; a name that comes again the program says."""
    made, plan = planned({
        1: [("setup", "Kettlebell swing. Hinge and snap.")],
        3: [("setup", "Row. Elbows back.")],
        4: [("setup", "Put the bell between your feet."), ("praise", "Come on up.")],
        5: [("announce", "Kettlebell swing.")],
        6: [("preview", "Row next."), ("setup", "Row again, hinge down.")],
        7: [("announce", "Row.")],
    })  # fmt: skip

    assert [line["text"] for line in plan["exercises"]["kettlebell swing"]["remind"]] == [
        "Put the bell between your feet."
    ]
    assert {(cue.text, why) for cue, why in made.lines.left} == {
        ("Row next.", NAMED_AGAIN), ("Row again, hinge down.", NAMED_AGAIN),
    }  # fmt: skip


def test_a_guess_at_praise_in_a_rest_is_said_in_no_set():
    """ "Come on up" after a kneeling set is praise in no other."""
    said = {1: [("setup", "Row. Elbows back.")], 3: [("setup", "Row. Long neck.")]}
    guess = CutCue(62_000, 63_000, "Come on up.", "praise", 2, "x.wav", "praise", False)
    rows = intervals(n_sets=2)
    cues = [CutCue(61_000 + 1000 * n, 61_900 + 1000 * n, t, "setup", n, f"{n}.wav", p)
            for n, lines in said.items() for p, t in lines]  # fmt: skip

    made = pattern_plan("Legs", rows, [*cues, guess], None)

    assert made is not None
    assert made.lines.praise == []
    assert (guess, ABOUT_REST) in made.lines.left


@pytest.mark.parametrize(
    ("text", "turns"),
    [
        ("Now face the other way.", True),
        ("Other way round.", True),
        ("Turn to the other wall", True),
        ("Turn your head the other way.", False),
        ("Switch hands now.", True),
        ("Switch hands each time.", False),
        ("Swap legs as you jump.", False),
    ],
)
def test_facing_the_other_way_turns_to_the_other_side(text, turns):
    """A press against a band is done facing left and then right, and nobody says the word side."""
    assert UntrueCalls().turns(text) is turns


def test_a_set_on_the_other_side_is_of_the_same_exercise():
    """Sets on the left and on the right are one exercise whose sides alternate, as the plan calls it."""
    made, plan = planned({
        1: [("setup", "Split squat, left foot forward."), ("form", "Straight down.")],
        2: [("side", "Other side next, so the right foot comes forward.")],
        3: [("side", "Right foot forward now."), ("form", "Push through your heel.")],
        5: [("announce", "Split squat.")],
        7: [("side", "And your right leg.")],
    })  # fmt: skip

    squat = plan["exercises"]["split squat"]
    assert made.shape.names == ("split squat",) * 4
    assert squat["sides"] == "alternate"
    assert [(line["text"], line["rounds"]) for line in squat["remind"]] == [
        ("Right foot forward now.", 2), ("And your right leg.", 4),
    ]  # fmt: skip


def test_the_other_leg_is_of_the_set_before():
    """Nobody says left or right: the plan begins on the left, and calls both; "this time" is not so."""
    made, plan = planned({
        1: [("setup", "Split squat. Straight down.")],
        2: [("side", "Swap legs.")],
        3: [("form", "Push through your heel.")],
        5: [("announce", "Split squat.")],
        7: [("side", "And the other leg.")],
    })  # fmt: skip
    later, _ = planned(
        {1: [("setup", "Split squat. Straight down.")], 3: [("side", "This time the other leg.")]}
    )

    assert made.shape.names == ("split squat",) * 4
    assert plan["exercises"]["split squat"]["sides"] == "alternate"
    assert later.shape.named == 1


@pytest.mark.parametrize(
    "said",
    [
        # One that names no side is not known to have another.
        {1: "Split squat.", 3: "Right foot forward now."},
        {1: "Split squat, left foot forward.", 3: "Left foot forward still."},
    ],
)
def test_a_side_alone_names_no_exercise(said):
    """It may be the other side of an earlier one, whose name was not heard."""
    made, plan = planned({index: [("setup", text)] for index, text in said.items()}, 2)

    assert made.shape.named == 1
    assert "sides" not in plan["exercises"]["split squat"]


def parted(said: list[str | None], rests_s: list[float]) -> list[str] | None:
    """Return what sets of 20 s are called, with these rests between them, where `said` names them."""
    rows, now = [FoundInterval("talk", 0.0, 20.0, 20.0, True)], 20.0
    for rest in [*rests_s, 0.0]:
        rows.append(FoundInterval("work", now, now + 20, 20.0, True))
        rows.append(FoundInterval("rest", now + 20, now + 20 + rest, rest, True))
        now += 20 + rest
    shape = class_shape(rows[:-1], said)
    return shape and [place.exercise for place in shape.places] * shape.rounds


def test_an_exercise_that_is_named_once_goes_on_to_the_long_rest():
    """Eight times 20 s and 10 s of one exercise, a minute of rest, and eight of another."""
    none = [None] * 3
    rests = [10.0] * 3 + [60.0] + [10.0] * 3

    assert parted(["hops", *none, "hold", *none], rests) == ["hops"] * 4 + ["hold"] * 4
    # A few words in a set of 20 s that are no move name none of its own; what is a move is another exercise.
    called = ["hops", None, "much quicker", None, "hold", None, "so slow", None]
    assert parted(called, rests) == ["hops"] * 4 + ["hold"] * 4
    assert "squats" in (
        parted([name and name.replace("much quicker", "squats") for name in called], rests) or []
    )
    # The same name again begins a round of others; without a longer rest nothing parts them.
    again = parted(["hops", *none, "hops", *none], rests)
    assert again is not None
    assert "exercise 2" in again
    unparted = parted(["hops", *none, "hold", *none], [10.0] * 7)
    assert unparted is not None
    assert "exercise 2" in unparted


def test_one_exercise_after_another_is_a_block_for_each():
    """Their sets are its rounds, so that they are counted, and later sets' lines are said from theirs on."""
    rows, now = [FoundInterval("talk", 0.0, 20.0, 20.0, True)], 20.0
    for rest in [10.0, 10.0, 60.0, 10.0, 10.0, 0.0]:
        rows.append(FoundInterval("work", now, now + 20, 20.0, True))
        rows.append(FoundInterval("rest", now + 20, now + 20 + rest, rest, True))
        now += 20 + rest
    said = {
        1: [("setup", "Row. Elbows back."), ("form", "Cue a."), ("praise", "Lovely.")],
        5: [("form", "Cue b.")],
        7: [("setup", "Plank. Long neck."), ("form", "Cue c."), ("praise", "Super.")],
    }
    cues = [
        CutCue(at + 2000 * k, at + 2000 * k + 900, text, plan_role(purpose), n, f"{n}-{k}.wav", purpose)
        for n, lines in said.items()
        for at in [round(1000 * rows[n].start_s) + 900]
        for k, (purpose, text) in enumerate(lines)
    ]
    made = pattern_plan("Rows", rows[:-1], cues, None)

    assert made is not None
    plan = YAML(typ="safe").load(made.text)
    row, rest, plank = plan["session"]
    assert [(one["exercises"], one["rounds"], one["work"], one["rest"]) for one in (row, plank)] == [
        (["row"], 3, "20s", "10s"), (["plank"], 3, "20s", "10s"),
    ]  # fmt: skip
    assert rest == {"rest": "1m"}
    assert [line["text"] for one in (row, plank) for line in one["praise"]] == ["Lovely.", "Super."]
    assert [line.get("from_round") for line in plan["exercises"]["row"]["form"]] == [None, 3]
    assert "3 × row, then 3 × plank; 20s of work, 10s of rest." in pattern_lines(made, "")


def test_what_is_for_a_rest_is_not_said_to_call_it():
    """The report gives the reason that is true: the plan says nothing of water, and calls the rest."""
    made, _ = planned({
        1: [("setup", "Row. Elbows back.")],
        2: [("rest", "And rest."), ("rest", "Have some water if you need it.")],
    })  # fmt: skip

    assert [(cue.text, why) for cue, why in made.lines.left] == [
        ("And rest.", OWN_REST), ("Have some water if you need it.", FOR_REST),
    ]  # fmt: skip


def test_a_rest_and_what_comes_in_one_breath_are_left_to_the_program():
    """Later in a rest, where what comes is named, the rest would be called a second time."""
    made, _ = planned(
        {
            1: [("announce", "Goblet squat.")],
            2: [("preview", "and rest push ups next"), ("preview", "And rest after that it's push ups.")],
            3: [("announce", "Push ups.")],
            4: [("preview", "Shake it out, rows next, from the hips.")],
            5: [("announce", "Rows.")],
            7: [("announce", "Plank.")],
        }
    )

    assert [(cue.text, why) for cue, why in made.lines.left] == [
        ("and rest push ups next", OWN_REST), ("And rest after that it's push ups.", OWN_REST)
    ]  # fmt: skip
    assert [line.cue.text for line in made.lines.exercises["rows"]["preview"]] == [
        "Shake it out, rows next, from the hips."
    ]


def test_what_follows_the_name_in_a_rest_is_about_what_comes():
    """A guess at form behind "next is the plank" gets one into it; before it, it may be about the rest."""
    said = [("form", "Long exhale."), ("preview", "Next is the plank."), ("form", "Wrists under shoulders.")]
    cues = [CutCue(21_000, 22_000, "Row. Elbows back.", "setup", 1, "1.wav", "setup")]
    for number, interval in enumerate((2, 4)):
        cues += [
            CutCue(at, at + 1000, f"{text}{'!' * number}", plan_role(purpose), interval,
                   f"{interval}-{k}.wav", purpose, purpose != "form")
            for k, (purpose, text) in enumerate(said)
            for at in [61_000 + 60_000 * number + 2000 * k]
        ]  # fmt: skip
    made = pattern_plan("Legs", intervals(n_sets=3), cues, None)

    assert made is not None
    plank = YAML(typ="safe").load(made.text)["exercises"]["plank"]
    assert [line["text"] for line in plank["preview"]] == ["Next is the plank.", "Wrists under shoulders."]
    assert [line["text"] for line in plank["form"]] == ["Wrists under shoulders.!"]
    left = {(cue.text, why) for cue, why in made.lines.left}
    assert left == {
        ("Long exhale.", ABOUT_REST), ("Long exhale.!", ABOUT_REST), ("Next is the plank.!", NAMED_AGAIN),
    }  # fmt: skip


def test_what_begins_a_set_with_its_name_is_said_there_or_not_at_all():
    """ "Push ups, you know what to do" is no remark for the middle of a set."""
    made, plan = planned({
        1: [("setup", "Push ups. Elbows back."), ("say", "Push ups are my favourite.")],
        3: [("say", "Push ups, you know what to do.")],
        4: [("setup", "Bell down, well done, now push ups.")],
        5: [("announce", "Push ups.")],
        7: [("say", "Push ups, here we are.")],
    })  # fmt: skip

    ups = plan["exercises"]["push ups"]
    assert [(line["text"], line.get("rounds")) for line in ups["announce"]] == [
        ("Push ups. Elbows back.", 1), ("Push ups, you know what to do.", 2), ("Push ups.", None),
    ]  # fmt: skip
    assert [line["text"] for line in ups["say"]] == ["Push ups are my favourite."]
    assert {(cue.text, why) for cue, why in made.lines.left} == {
        ("Bell down, well done, now push ups.", NAMED_AGAIN), ("Push ups, here we are.", NAMED_TWICE),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "purpose", "untrue"),
    [
        ("Lift one hand for a second, then the other.", "setup", False),
        ("Hold for two seconds and lower.", "form", False),
        ("Balance for a second on each leg.", "form", False),
        ("Thirty seconds and then we swap.", "setup", True),
        ("Twenty seconds on, ten seconds off.", "setup", True),
        ("Side lunges, and then you're done.", "announce", True),
        ("We do five exercises three times, thirty five on and twenty five off.", "say", True),
        ("Today it's four moves, and we go round twice.", "preview", True),
        ("Three rounds of this.", "say", True),
        ("Thirty on. Your knees stay bent.", "say", False),
        ("Two moves today, hops and a hold.", "preview", False),
        ("Pulse three times each way.", "form", False),
        ("This is number seven of eight.", "praise", True),
        ("Six of eight done.", "form", True),
    ],
)
def test_a_hold_inside_a_movement_is_none_of_the_class_times(text, purpose, untrue):
    """A second or two is how it is done, at any work and rest."""
    assert UntrueCalls().tells_time(text, purpose) is untrue


def test_a_guess_that_begins_a_set_is_of_that_set():
    """Its name, guessed to be praise, names it; a guess at a change is form, until it is late."""
    rows = intervals(n_sets=2)
    said = [
        (1, 0.9, "Push ups. Elbows back.", "setup", True),
        (1, 5.0, "Push the floor away to stand up.", "change", False),
        (1, 30.0, "Then up to your feet.", "change", False),
        (2, 5.0, "Push ups next.", "preview", True),
        (3, 0.9, "Push ups again.", "praise", False),
        (3, 5.0, "Push ups, lovely.", "praise", False),
    ]
    cues = [
        CutCue(at, at + 900, text, plan_role(purpose), index, f"{number}.wav", purpose, sure)
        for number, (index, after_s, text, purpose, sure) in enumerate(said)
        for at in [round(1000 * (rows[index].start_s + after_s))]
    ]
    made = pattern_plan("Legs", rows, cues, None)

    assert made is not None
    ups = YAML(typ="safe").load(made.text)["exercises"]["push ups"]
    texts = {role: [line["text"] for line in lines] for role, lines in ups.items()}
    assert texts == {
        "announce": ["Push ups. Elbows back.", "Push ups again."],
        "form": ["Push the floor away to stand up."],
        "change": ["Then up to your feet."],
        "praise": ["Push ups, lovely."],
    }


def ladder(work_s: list[float]) -> list[FoundInterval]:
    """Return sets of these lengths with rests of 15 s between them, 30 s after every second."""
    rows, now = [FoundInterval("talk", 0.0, 20.0, 20.0, True)], 20.0
    for number, length in enumerate(work_s):
        rest = 30.0 if number % 2 else 15.0
        rows.append(FoundInterval("work", now, now + length, length, True))
        rows.append(FoundInterval("rest", now + length, now + length + rest, rest, True))
        now += length + rest
    return rows[:-1]


def test_rounds_of_growing_work_are_a_ladder():
    """Each round's work is one number to change, instead of a list of sets that each have their own."""
    rows = ladder([20.0, 20.0, 30.0, 30.0, 40.0, 40.0])
    shape = class_shape(rows, ["swing", "squat"] * 3)

    assert shape is not None
    assert (shape.rounds, shape.ladder_ms, shape.round_rest_ms) == (3, (20_000, 30_000, 40_000), 30_000)
    assert shape.is_regular
    cues = [
        CutCue(
            round(1000 * row.start_s) + 900,
            round(1000 * row.start_s) + 1900,
            name,
            "announce",
            at,
            f"{at}.wav",
        )
        for at, name in zip(range(1, 12, 2), ["Swing.", "Squat."] * 3, strict=True)
        for row in [rows[at]]
    ]
    made = pattern_plan("Ladder", rows, cues, None)
    assert made is not None
    block = YAML(typ="safe").load(made.text)["session"][0]
    assert (block["pattern"], block["work"], block["rest"]) == ("ladder", ["20s", "30s", "40s"], "15s")
    assert block["exercises"] == ["swing", "squat"]
    assert "rounds" not in block


@pytest.mark.parametrize("work_s", [[20.0, 30.0, 20.0, 30.0], [20.0, 30.0, 40.0, 50.0], [20.0] * 4])
def test_other_times_are_no_ladder(work_s):
    """Nor are rounds that are all the same, or a place's own time."""
    shape = class_shape(ladder(work_s), ["swing", "squat"] * 2)

    assert shape is not None
    assert shape.ladder_ms == ()


def test_all_that_is_kept_is_to_be_said():
    """The plan asks for as many points of form in a set as there is room for: the instructor said all."""
    _, plan = planned({1: [("setup", "Row. Elbows back.")], 3: [("setup", "Row. Long neck.")]})

    assert plan["coaching"] == "full"


def test_own_calls_are_named():
    """A last set that is called so is left to the program, with the reason."""
    made, _ = planned({
        1: [("setup", "Side lunge. Sit back.")],
        7: [("announce", "Last exercise, side lunge."), ("praise", "That's half.")],
    })  # fmt: skip

    assert [(cue.text, why) for cue, why in made.lines.left] == [
        ("Last exercise, side lunge.", OWN_CALL), ("That's half.", OWN_CALL),
    ]  # fmt: skip
