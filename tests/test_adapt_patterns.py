"""A recorded class as a plan of exercises: names, rounds, lines by role, what is no longer true."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import soundfile
from ruamel.yaml import YAML

from classgen_captions import as_vtt, captions
from classgen_scripts import SHORT, speak_script
from classgen_speech import SAMPLE_RATE, formant
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import class_shape
from cuelane.adapt.exercise_lines import (
    ABOUT_REST,
    LOST_TURN,
    NAMED_AGAIN,
    OTHER_SIDE,
    OWN_CALL,
    OWN_REST,
    OWN_TURN,
    SAID_TWICE,
)
from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.pattern_report import shape_doubts
from cuelane.adapt.picture_words import proposals
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.set_names import SetNames
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import plan_role
from cuelane.audio.store import ClipStore
from cuelane.base.schedule import load_schedule
from cuelane.check.run import check
from cuelane.render.run import RenderOptions, render

WORK_S, REST_S = 40.0, 20.0

# Of each interval in turn, from the opening on: what is said, and what for.
SAID = [
    [("say", "You need a mat."), ("time", "Six minutes in all.")],
    [("setup", "Goblet squat. Weight at your chest."), ("form", "Heels heavy."), ("time", "Ten to go.")],
    [("rest", "And rest."), ("preview", "Next up is the side plank.")],
    [("setup", "Side plank, elbow down."), ("form", "Left hip up."), ("praise", "Lovely.")],
    [("preview", "Goblet squat again."), ("caution", "Mind your knees.")],
    [("announce", "Goblet squat."), ("form", "Heels heavy."), ("harder", "For more, slow down.")],
    [("praise", "Lovely.")],
    [("setup", "Side plank, legs long."), ("side", "Right side now."), ("form", "Halfway, hips up.")],
    [("praise", "You made it.")],
]  # fmt: skip


def intervals(work_s: float = WORK_S, rest_s: float = REST_S, n_sets: int = 4) -> list[FoundInterval]:
    """Return talk, sets with rests between them, and talk."""
    found, now = [FoundInterval("talk", 0.0, 20.0, 20.0, True)], 20.0
    for number in range(2 * n_sets - 1):
        kind, length = ("rest", rest_s) if number % 2 else ("work", work_s)
        found.append(FoundInterval(kind, now, now + length, length, True))
        now += length
    return [*found, FoundInterval("talk", now, now + 20, 20.0, False)]


def cues() -> list[CutCue]:
    """Return `SAID` as clips, two seconds each."""
    rows = intervals()
    return [
        CutCue(
            round(rows[index].start_s * 1000) + 3000 * n, round(rows[index].start_s * 1000) + 3000 * n + 2000,
            text, plan_role(purpose), index, f"{index}-{n}.wav", purpose,
        )
        for index, said in enumerate(SAID)
        for n, (purpose, text) in enumerate(said)
    ]  # fmt: skip


def planned() -> tuple[PatternPlan, dict[str, Any]]:
    """Return the class as exercises, and its plan as read from YAML."""
    made = pattern_plan("Legs", intervals(), cues(), None)
    assert made is not None
    return made, YAML(typ="safe").load(made.text)


def test_what_repeats_is_found_with_its_names_and_times():
    """Two exercises, two rounds, forty and twenty seconds, called as they were."""
    _, plan = planned()
    block = plan["session"][1]

    assert (block["work"], block["rest"], block["rounds"]) == ("40s", "20s", 2)
    assert block["exercises"] == ["goblet squat", "side plank"]


def test_lines_go_to_their_exercise_by_role():
    """A line that names its set stands for the name; what names a side holds where it was said."""
    _, plan = planned()
    squat, side_plank = (
        plan["exercises"]["goblet squat"],
        plan["exercises"]["side plank"],
    )

    texts = {role: [line["text"] for line in lines] for role, lines in squat.items()}
    assert texts == {
        "announce": ["Goblet squat. Weight at your chest.", "Goblet squat."],
        "form": ["Heels heavy."],
        "harder": ["For more, slow down."],
        "caution": ["Mind your knees."],
    }
    assert squat["announce"][0]["rounds"] == 1
    assert [line["text"] for line in side_plank["preview"]] == ["Next up is the side plank."]
    assert side_plank["form"] == [{"text": "Left hip up.", "clip": "clips/3-1.wav", "rounds": 1}]
    assert side_plank["remind"] == [
        {"text": "Right side now.", "clip": "clips/7-1.wav", "rounds": 2, "must": False}
    ]
    assert [line["text"] for line in plan["session"][1]["praise"]] == ["Lovely."]
    assert [line["text"] for line in plan["session"][2]["say"]] == ["You made it."]


def test_what_is_no_longer_true_or_said_by_the_program_is_named():
    """Nothing is lost without a word: each kept line is in the plan, or in the report with the reason."""
    made, _ = planned()
    left = {(cue.text, why) for cue, why in made.lines.left}

    assert left == {
        ("Six minutes in all.", OWN_CALL), ("Ten to go.", OWN_CALL), ("Halfway, hips up.", OWN_CALL),
        ("And rest.", OWN_REST), ("Goblet squat again.", NAMED_AGAIN), ("Heels heavy.", SAID_TWICE),
        ("Lovely.", SAID_TWICE),
    }  # fmt: skip
    lists = [made.lines.praise, made.lines.opening, made.lines.closing]
    lists += [rows for roles in made.lines.exercises.values() for rows in roles.values()]
    assert sum(map(len, lists)) + len(made.lines.left) == len(cues())


def test_a_line_that_was_heard_with_another_name_still_names_its_set():
    """ "Sight plank" begins a set of side planks: the line is its name, and the report says so."""
    heard = [replace(cue, text=cue.text.replace("Side plank, elbow", "Sight plank, elbow")) for cue in cues()]
    heard = [replace(cue, text=cue.text.replace("Lovely.", "That's a side plank.")) for cue in heard]
    made = pattern_plan("Legs", intervals(), heard, None)
    assert made is not None
    plan = YAML(typ="safe").load(made.text)

    assert plan["session"][1]["exercises"] == ["goblet squat", "side plank"]
    announced = plan["exercises"]["side plank"]["announce"]
    assert announced[0] == {"text": "Sight plank, elbow down.", "clip": "clips/3-0.wav", "rounds": 1}
    assert shape_doubts(made.shape) == [
        'Taken for one exercise, by their sound or their place in the round: "sight plank" for side plank.'
    ]


@pytest.mark.parametrize(
    ("said", "size", "rounds"),
    [
        (["squat", "row"] * 3, 2, 3),
        (["squat"] * 4, 1, 4),
        # The second round names one of its two.
        (["squat", "row", None, "row"], 2, 2),
        # Only the first time through is named: nothing shows that it begins again.
        (["squat", "row", None, None], 4, 1),
        (["squat", "row", "squat", "press"], 4, 1),
        ([None] * 3, 3, 1),
    ],
)
def test_rounds_are_what_the_names_repeat(said, size, rounds):
    """A round is the shortest stretch that all names agree with."""
    shape = class_shape(intervals(n_sets=len(said)), said)

    assert shape is not None
    assert (len(shape.places), shape.rounds) == (size, rounds)
    assert shape.named == sum(name is not None for name in said)


def test_names_heard_a_little_differently_are_one():
    """A word heard wrongly, or one that runs on, makes no new exercise; another first word does."""
    names = ExerciseNames()
    said = ["bent over row.", "bend over row.", "side steps.", "single steps.", "thread the needle.",
            "thread the needle slide.", "thread the needle."]  # fmt: skip
    rows = [CutCue(n, n + 1, text, "announce", n, f"{n}.wav") for n, text in enumerate(said)]

    assert SetNames(names, range(len(said)), rows).as_said() == [
        "bend over row", "bend over row", "side steps", "single steps", *["thread the needle"] * 3
    ]  # fmt: skip


def named(said: list[list[tuple[str, str, bool]]]) -> list[str | None]:
    """Return the names of sets in which (purpose, text, is it sure) is said."""
    rows = [
        CutCue(n, n + 1, text, plan_role(purpose), n, f"{n}-{k}.wav", purpose, sure)
        for n, lines in enumerate(said)
        for k, (purpose, text, sure) in enumerate(lines)
    ]
    return SetNames(ExerciseNames(), range(len(said)), rows).as_said()


def test_a_set_may_be_called_by_a_name_that_another_set_gives():
    """What is judged a side, or a guess at form, names a set where it begins so, or holds one such name."""
    assert named([
        [("announce", "Bird dog.", True)],
        [("setup", "Come onto all fours, into your bird dogs", True)],
        [("form", "bird dog second time long spine", False)],
        [("side", "Now a bird dog on the left", True)],
        [("form", "Think of a bird dog", True)],
        [("praise", "Bird dog champion", True)],
    ]) == [*["bird dog"] * 4, None, None]  # fmt: skip


def test_a_name_that_no_list_knows_is_heard_where_it_is_said_twice():
    """It stands alone before a set-up; a part of the body or a side that stands so is none."""
    assert named([
        [("setup", "Woodpecker. Fold forward and tap the floor.", True)],
        [("setup", "Arms up. Reach for the ceiling.", True)],
        [("time", "Forty seconds, woodpeckers, the big one.", True)],
        [("setup", "Left leg. Fold forward.", True), ("form", "Arms up and left leg long.", True)],
        [("setup", "Elbows wide. Fold forward.", True)],
    ]) == ["woodpecker", None, "woodpecker", None, None]  # fmt: skip


def test_no_order_is_a_name():
    """Nor is what stands in a sentence of its own before a name."""
    assert named([
        [("announce", "Swing those arms across.", True)],
        [("preview", "Phew. Marching next.", True)],
    ]) == [None, None]  # fmt: skip
    assert ExerciseNames().in_text("Phew. Marching next.", "preview") == "marching"
    assert ExerciseNames().in_text("Squat thrust. Hands on the floor.", "setup") == "squat thrust"


def test_what_is_said_of_all_exercises_before_the_first_names_none():
    """ "Wide hovers and a bear hold": the first set is not the one that another is called by."""
    rows = [
        CutCue(0, 1, "Two moves today, wide hovers and a bear hold.", "preview", 0, "0.wav"),
        CutCue(2, 3, "Land on one leg.", "form", 1, "1.wav"),
        CutCue(4, 5, "Bear hold. On all fours, tuck your toes.", "setup", 2, "2.wav"),
    ]
    first = CutCue(1, 2, "We'll start in a bear hold, on all fours.", "setup", 0, "3.wav")

    assert SetNames(ExerciseNames(), [1, 2], rows).as_said() == [None, "bear hold"]
    assert SetNames(ExerciseNames(), [1, 2], [first, *rows]).as_said() == ["bear hold"] * 2


def test_few_words_that_are_only_guessed_to_announce_are_no_name():
    """ "Don't squat it, hinge" is how it is done; the set-up that names the move is heard all the same."""
    said = [("setup", "Kettlebell swing here we go snap your hips", True)]

    assert named([[*said, ("announce", "don't squat it hinge", False)]]) == ["kettlebell swing"]
    assert named([[("announce", "Don't look down", False)]]) == [None]
    assert named([[("announce", "Don't look down", True)]]) == ["don't look down"]


@pytest.mark.parametrize(
    ("said", "places"),
    [
        (["kettlebell swing", "row", "swings", "row"], ["kettlebell swing", "row"]),
        # A squat beside a goblet squat is an exercise of its own.
        (["goblet squat", "squat", "row"], ["goblet squat", "squat", "row"]),
        # Either of two could be meant.
        (["front squat", "back squat", "squat"], ["front squat", "back squat", "squat"]),
        # What follows on what is another one with every move more.
        (["jab cross", "jab cross hook", "jab cross hook", "jab cross"],) * 2,
    ],
)
def test_the_end_of_a_name_is_the_whole_where_a_round_repeats_by_it(said, places):
    """Names are put together only where the class is then seen to repeat."""
    shape = class_shape(intervals(n_sets=len(said)), said)

    assert shape is not None
    assert [place.exercise for place in shape.places] == places


def with_sides(said: list[list[tuple[float, str, str]]]) -> tuple[dict[str, str], dict[str, Any]]:
    """Return why lines are left out, and the exercises; a set is (share of its 40 s, purpose, text)."""
    rows = intervals(n_sets=len(said))
    own = [
        CutCue(at, at + 1500, text, plan_role(purpose), 2 * n + 1, f"{n}-{k}.wav", purpose)
        for n, lines in enumerate(said)
        for k, (share, purpose, text) in enumerate(lines)
        for at in [round(1000 * (rows[2 * n + 1].start_s + 40 * share))]
    ]
    made = pattern_plan("Legs", rows, own, None)
    assert made is not None
    plan = YAML(typ="safe").load(made.text)
    return {cue.text: why for cue, why in made.lines.left}, plan["exercises"]


def test_a_set_that_turns_half_way_is_done_on_both_sides():
    """The plan does each side for half of any work; what turned or holds for one half is left out."""
    left, exercises = with_sides([
        [(0.05, "setup", "Side lunge. Step out to the right."), (0.2, "form", "Right knee over your toes."),
         (0.5, "side", "Swap to the left now.")],
        [(0.05, "setup", "Row. Pull your elbows back."), (0.3, "form", "Long neck.")],
        [(0.05, "setup", "Side lunge. Start on the left this time."), (0.5, "time", "Halfway, change legs."),
         (0.6, "side", "Other site please.")],
        [(0.05, "setup", "Row. Same again."), (0.5, "form", "Change your grip if you like."),
         (0.7, "side", "Same thing there.")],
    ])  # fmt: skip

    assert left == {
        "Right knee over your toes.": OTHER_SIDE,
        "Swap to the left now.": OWN_TURN,
        "Side lunge. Start on the left this time.": OTHER_SIDE,
        "Halfway, change legs.": OWN_TURN,
        # Judged to be about a side, in words that no list knows.
        "Other site please.": OTHER_SIDE,
    }
    assert (exercises["side lunge"]["sides"], exercises["side lunge"]["first_side"]) == ("each", "right")
    assert "sides" not in exercises["row"]


def test_a_turn_tells_the_side_that_it_leaves():
    """Where only the turn names a side the set begins on the other, and on the left where none is named."""
    _, named = with_sides(
        [[(0.05, "setup", "Side lunge. Sit back."), (0.5, "side", "Swap to the left.")]] * 2
    )
    _, unnamed = with_sides([[(0.05, "setup", "Side lunge. Sit back."), (0.5, "side", "Switch legs.")]] * 2)

    assert named["side lunge"]["first_side"] == "right"
    assert unnamed["side lunge"]["sides"] == "each"
    assert "first_side" not in unnamed["side lunge"]


@pytest.mark.parametrize("share", [0.05, 0.9])
def test_what_begins_or_ends_a_set_does_not_turn_it(share):
    """Sides are changed between sets then, not in them."""
    said = [(0.1, "setup", "Side lunge. Sit back."), (share, "side", "Change legs.")]

    assert "sides" not in with_sides([said] * 2)[1]["side lunge"]


def test_one_turn_of_three_sets_makes_no_exercise_of_both_sides():
    """It is not true at another work either, so it is left out and the report says why."""
    begins = [(0.05, "setup", "Side lunge. Sit back.")]
    left, exercises = with_sides([begins, [*begins, (0.5, "side", "Switch legs.")], begins])

    assert left["Switch legs."] == LOST_TURN
    assert "sides" not in exercises["side lunge"]


def test_what_is_said_about_a_rest_is_said_in_no_set():
    """A guess at form, or just something said, in a rest is left out; a sure one prepares the next set."""
    rows = [
        CutCue(70_000 + 2000 * n, 71_000 + 2000 * n, text, plan_role(role), 2, f"{n}.wav", role, sure)
        for n, (role, text, sure) in enumerate([
            ("form", "Sit back on your heels.", False),
            ("say", "Walk about a bit.", True),
            ("form", "Keep your heels heavy.", True),
        ])
    ]  # fmt: skip
    made = pattern_plan("Legs", intervals(), rows, None)

    assert made is not None
    left = {cue.text for cue, why in made.lines.left if why == ABOUT_REST}
    assert left == {"Sit back on your heels.", "Walk about a bit."}
    assert len(made.lines.left) == 2


def test_counting_down_is_a_time_call():
    """Numbers that count down are true only where they were said; one number is not such."""
    untrue = UntrueCalls()

    assert untrue.tells_time("and ten nine eight keep it up", "praise")
    assert not untrue.tells_time("two hands on the bell", "form")


def test_times_of_their_own_stay():
    """A set or a rest that is unlike the others keeps its length; a longer rest after each round is found."""
    rows = intervals(n_sets=4)
    rows[4] = FoundInterval("rest", rows[4].start_s, rows[4].end_s, 60.0, True)
    shape = class_shape(rows, ["squat", "row"] * 2)
    assert shape is not None
    assert (shape.rest_ms, shape.round_rest_ms, shape.rounds) == (20_000, 60_000, 2)
    assert [place.rest_ms for place in shape.places] == [None, None]

    rows[3] = FoundInterval("work", rows[3].start_s, rows[3].end_s, 50.0, True)
    shape = class_shape(rows, ["squat", "row"] * 2)
    assert shape is not None
    assert shape.rounds == 1
    assert [place.work_ms for place in shape.places] == [None, 50_000, None, None]
    assert shape.is_regular
    assert class_shape(rows[:2], ["squat"]) is None


@pytest.mark.parametrize(
    ("text", "purpose", "name"),
    [
        ("Goblet squat. Weight held at your chest.", "setup", "goblet squat"),
        ("bent over row pull your elbows past your ribs", "setup", "bent over row"),
        ("Okay, next up we've got the side plank", "preview", "side plank"),
        ("First one, push ups.", "announce", "push ups"),
        ("Thread the needle.", "announce", "thread the needle"),
        ("Bring your ankle over your knee and stretch.", "setup", None),
        ("Hold a plank.", "form", None),
        ("Clean and press. Bell from the floor to overhead.", "setup", "clean and press"),
        ("Next up, the squat and press", "preview", "squat and press"),
        ("Overhead press. Start at your shoulders.", "setup", "overhead press"),
        ("Side plank and hold your hips high", "setup", "side plank"),
        ("Press into the floor and hold.", "setup", None),
        ("push ups are next", "preview", "push ups"),
        ("hollow hold press your low back down", "setup", "hollow hold"),
        ("We're going to start with a hollow hold", "preview", "hollow hold"),
        ("rest push ups next same as last time", "preview", "push ups"),
        ("hands on the floor for push ups shoulders over your wrists", "setup", "push ups"),
        ("Big step out for your side lunge sit back into that hip", "setup", "side lunge"),
        ("Stand tall for a breath or two", "setup", None),
        ("In and out.", "announce", "in and out"),
        ("", "announce", None),
    ],
)
def test_an_exercise_is_called_as_it_is_said(text, purpose, name):
    """A name is what a sentence begins with, without the words that lead to it."""
    assert ExerciseNames().in_text(text, purpose) == name


@pytest.mark.parametrize(
    ("text", "purpose", "untrue"),
    [
        ("Thirty seconds left.", "time", True),
        ("Keep it up, halfway there.", "praise", True),
        ("This is round two of three.", "say", True),
        ("Forty seconds of lunges.", "preview", True),
        ("Hold each one for three seconds.", "form", False),
        ("Breathe in for four.", "setup", False),
        ("Half squats only.", "easier", False),
    ],
)
def test_what_is_true_only_at_its_times_is_known(text, purpose, untrue):
    """Time that is left, rounds and halves are the class's; a hold within a movement is the movement's."""
    assert UntrueCalls().tells_time(text, purpose) is untrue


def test_what_needs_a_picture_has_words_instead():
    """The same exercise's own lines, those that name the same part of the body first."""
    cues = [
        FoundCue(1.0, 2.0, "Chest up.", "form", 1),
        FoundCue(3.0, 4.0, "Watch what my knees do.", "form", 1, ("points at a picture",)),
        FoundCue(5.0, 6.0, "Knees over your toes.", "form", 1),
        FoundCue(7.0, 8.0, "Knees down.", "easier", 1),
        FoundCue(9.0, 10.0, "Knees wide.", "form", 3),
        FoundCue(11.0, 12.0, "Like this.", "form", 5, ("points at a picture",)),
    ]
    found = proposals(cues, ["squat", "squat", "squat", "squat", "row", "press"])

    assert found == [[], ["Knees over your toes.", "Chest up."], [], [], [], []]


def test_a_class_is_retimed_and_passes_check(tmp_path: Path, monkeypatch):
    """From sound to a plan of exercises, to another work and rest, to a track that is as planned."""
    monkeypatch.setenv("CUELANE_CACHE", str(tmp_path / "cache"))
    made = speak_script(SHORT, formant, work_s=16.0, rest_s=9.0)
    soundfile.write(tmp_path / "class.wav", made.samples, SAMPLE_RATE, subtype="PCM_16")
    (tmp_path / "class.vtt").write_text(as_vtt(captions(made, 2, late_s=0.8, wrong=0.0)), encoding="utf-8")
    out = tmp_path / "out"

    adapted = adapt_recording(tmp_path / "class.wav", out, AdaptOptions(tmp_path / "class.vtt"))

    assert adapted.patterns is not None, adapted.why_none
    shape, lines = adapted.patterns.shape, adapted.patterns.lines
    assert [place.exercise for place in shape.places] == list(SHORT.exercises)
    assert (shape.rounds, shape.work_ms, shape.rest_ms) == (2, 16_000, 9_000)
    plan = out / "retimed.yaml"
    text = (out / "patterns.yaml").read_text(encoding="utf-8")
    text = text.replace("work: 16s", "work: 25s").replace("rest: 9s", "rest: 12s")
    plan.write_text(f"cautions: none\nvoice: system\n{text}", encoding="utf-8")
    schedule = render(plan, tmp_path / "track.wav", RenderOptions(extras=False)).prepared.schedule
    verdict = check(
        tmp_path / "track.wav",
        load_schedule(tmp_path / "track.schedule.json"),
        store=ClipStore(),
    )

    assert verdict.ok
    works = [row for row in schedule.intervals if row.kind == "work"]
    assert {row.end_sample - row.start_sample for row in works} == {25 * 48_000}
    own = {line.cue.text for roles in lines.exercises.values() for rows in roles.values() for line in rows}
    spoken = {event.text for event in schedule.cues if event.text}
    assert len(own & spoken) >= 3
    assert "five seconds left" not in " ".join(spoken).lower()
