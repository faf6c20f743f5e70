"""What the exercises of a recorded class are called, where words without marks do not say it plainly."""

from __future__ import annotations

import pytest

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import class_shape
from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.misheard_names import as_meant, sound_alike
from cuelane.adapt.name_mentions import NameMentions
from cuelane.adapt.set_names import SetNames
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import plan_role
from cuelane.adapt.words.word_lists import word_lists

Said = tuple[str, str]


def named(said: list[list[Said]], before: dict[int, Said] | None = None) -> list[str | None]:
    """Return the names of sets in which (purpose, text) is said; `before` in the rest before one."""
    rows = [
        CutCue(n, n + 1, text, plan_role(purpose), 2 * n + 1, f"{n}-{k}.wav", purpose)
        for n, lines in enumerate(said)
        for k, (purpose, text) in enumerate(lines)
    ]
    rows += [
        CutCue(n, n + 1, text, plan_role(purpose), 2 * n, f"{n}-r.wav", purpose)
        for n, (purpose, text) in (before or {}).items()
    ]
    return SetNames(ExerciseNames(), [2 * n + 1 for n in range(len(said))], rows).as_said()


@pytest.mark.parametrize(
    ("text", "purpose", "name"),
    [
        ("wall angels next", "preview", "wall angels"),
        ("standing clock is up next so come to your feet", "preview", "standing clock"),
        ("skaters coming up", "preview", "skaters"),
        ("the one that you like next", "preview", None),
        ("put your weight down next", "preview", None),
        # A plural ends a name.
        ("kettlebell swings hinge and snap", "announce", "kettlebell swings"),
        ("okay forty five seconds of swings", "announce", "swings"),
        ("row to press next", "preview", "row to press"),
        ("good mornings hinge from the hips", "setup", "good mornings"),
        ("squat to calf raise after this", "preview", "squat to calf raise"),
        ("Let's squat again, left foot forward.", "setup", "squat"),
        # The letter of a pair and the number in it lead to a name, and "a one arm row" is none.
        ("B one, split squats.", "announce", "split squats"),
        ("a2 rows hinge over", "preview", "rows"),
        ("A one arm row.", "announce", "one arm row"),
        ("incline plank hold it there", "announce", "incline plank"),
        ("Let's rest.", "announce", None),
        ("Let's keep going.", "setup", None),
        # Behind a mark, which one it is of several is no part of it.
        ("Wall angels, last ones.", "announce", "wall angels"),
        ("Wall angels, 2 more.", "announce", "wall angels"),
        ("Wall angels, again.", "announce", "wall angels"),
        # What one does to something is told, not named.
        ("reach your left arm up and over", "setup", None),
        ("roll the ball under your foot", "setup", None),
        ("Crunch your ribs down to your hips.", "setup", None),
        ("Hinge the hips back.", "announce", None),
        ("Shrug those shoulders.", "preview", None),
        ("Crunches. The hands stay light.", "setup", "crunches"),
        ("Hip hinge. Push your hips back.", "setup", "hip hinge"),
        ("Dip. One minute.", "announce", "dip"),
        # How many are to be done, or which round it is, is no part of one either.
        ("Ten push-ups, hands under your shoulders.", "announce", "push ups"),
        ("12 goblet squats", "preview", "goblet squats"),
        ("Two arm swings.", "announce", "two arm swings"),
        ("four count burpees", "announce", "four count burpees"),
        ("Last round, swings.", "announce", "swings"),
        ("Final minute, shoulder taps.", "announce", "shoulder taps"),
        ("Minute three, 15 swings.", "announce", "swings"),
        ("Off we go.", "announce", None),
        ("so it's sit to stand bottom to the front of the chair", "preview", "sit to stand"),
        ("seated marching next", "preview", "seated marching"),
        ("ninety nineties both knees bent", "setup", None),
        ("sixteen step ups whole foot on the box", "announce", "step ups"),
        ("Two step swings.", "announce", "two step swings"),
        ("push press twelve swap arms after six", "setup", "push press"),
        ("dumbbell next push press twelve", "preview", "push press"),
        ("dumbbell next", "preview", None),
        ("we're coming to the floor for the next one", "preview", None),
        # "Rose", as one hears it who knows no rows.
        ("Rose next, down you go.", "preview", "rows"),
        # What is taken back is not meant.
        ("Renegade, no sorry, overhead press. Bells high.", "setup", "overhead press"),
        ("So next it's the ball, no wait, it's the side planks.", "preview", "side planks"),
        ("Swings, sorry, goblet squats.", "announce", "goblet squats"),
        ("Side plank, I mean.", "setup", "side plank"),
        ("Squats. Sorry about the noise.", "setup", "squats"),
        ("Knees hover, just off the floor.", "announce", None),
        ("High knees, quick feet.", "announce", "high knees"),
        ("Band again, pull aparts.", "announce", "pull aparts"),
        ("band again pull aparts", "announce", "pull aparts"),
        ("Squat, press and reach.", "announce", "squat press and reach"),
        ("90 90s", "announce", "90 nineties"),
        # Few words in a short set tell the time, praise, or how a part of the body is held.
        ("Halfway.", "announce", None),
        ("Other leg.", "announce", None),
        ("Nice.", "announce", None),
        ("Low hips.", "announce", None),
        ("High knees.", "announce", "high knees"),
        # What follows on what is another name, and none runs on into the next sentence.
        ("Jab, cross, jab, cross.", "announce", "jab cross jab cross"),
        ("Jab, cross and left hook to the body, keep moving.", "setup", "jab cross and left hook"),
        ("Slip left, slip right.", "announce", "slip left slip right"),
        ("Cross your arms.", "setup", None),
        ("Child's pose. Knees wide, big toes touch.", "announce", "child's pose"),
        ("Forward fold. Hang.", "announce", "forward fold"),
        ("child's pose knees wide", "announce", "child's pose"),
        # A rest or a time that is called in the same breath is no part of a name.
        ("and stop squats next", "preview", "squats"),
        ("and time rest squats next", "preview", "squats"),
        ("that's time push ups next", "preview", "push ups"),
        ("good work rest mountain climbers next", "preview", "mountain climbers"),
        ("halfway there side plank next", "preview", "side plank"),
        ("and relax next is the side plank on your left", "preview", "side plank"),
        ("three two one and squats go", "announce", "squats"),
        ("Time for good mornings.", "announce", "good mornings"),
        ("Good mornings next.", "preview", "good mornings"),
        # A move that is done in another one.
        ("plank shoulder taps next", "preview", "plank shoulder taps"),
        ("Bridge leg lifts, squeeze.", "announce", "bridge leg lifts"),
        ("squat knees out", "setup", "squat"),
        ("plank hold your shoulders still", "setup", "plank"),
        ("Arms next.", "preview", None),
        # What is heard for a punch beside another one.
        ("JAP, cross.", "announce", "jab cross"),
        ("Hug yourself.", "setup", None),
        # The name of what comes stands before a mark, and may be an order without it.
        ("Say there, swimming's next.", "preview", "swimming"),
        ("Down you come, sit to stands next.", "preview", "sit to stands"),
        ("Set the chair next, shuffle forward.", "preview", None),
        # Where one moves is told where a set begins, too.
        ("Slide down, thighs level.", "setup", None),
        ("Walk outs, hands to the floor.", "setup", "walk outs"),
    ],
)  # fmt: skip
def test_names_are_told_from_what_stands_around_them(text, purpose, name):
    """What comes next, how long, and what to do are no part of a name."""
    assert ExerciseNames().in_text(text, purpose) == name


def test_sets_that_begin_with_the_other_side_alone_are_not_called_so():
    """Twice "other leg" is no exercise: each is the other side of the one before."""
    sets = [[("announce", "Lunges.")], [("announce", "Other leg.")]] * 2
    assert named(sets) == ["lunges"] * 4


def test_now_is_no_part_of_a_name():
    """ "Rows now" begins two sets, and they are rows all the same."""
    sets = [[("announce", "Rows now, hinge forward.")], [("announce", "Rows now again.")]]
    assert named(sets) == ["rows", "rows"]


def test_what_is_called_by_more_words_at_first_is_meant_by_fewer_later():
    """ "Deep squat hold" in the first set is no other exercise than the "deep squat" of the next."""
    first = [("announce", "Sink into it, deep squat hold.")]
    told: dict[int, Said] = {0: ("preview", "First up is a deep squat hold.")}
    assert named([first, [("announce", "Deep squat again.")]], told) == ["deep squat hold"] * 2
    # Said once, it may run on into how it is done.
    assert named([first, [("announce", "Deep squat again.")]])[1] == "deep squat"
    squats = [[("announce", "Squat jumps.")], [("announce", "Squat jumps.")], [("announce", "Squats.")]]
    assert named(squats) == ["squat jumps", "squat jumps", "squats"]


@pytest.mark.parametrize(
    ("purpose", "text", "name"),
    [
        ("rest", "and rest squats next", "squats"),
        ("rest", "And rest. Shake it out. Squats next.", "squats"),
        ("rest", "recover and get ready for rows", "rows"),
        ("rest", "And rest, sit to stands again, you know what to do.", "sit to stands"),
        ("rest", "And rest. Those squats.", None),
        ("time", "that was round one rest squats again", "squats"),
        # What was done is not what comes.
        ("rest", "and rest those squats were lovely", None),
        ("rest", "rest your feet", None),
    ],
)
def test_what_is_named_beside_the_call_of_a_rest_is_what_comes(purpose, text, name):
    """Without any quiet between them the two cannot be cut apart, and the sentence is for the rest."""
    sets = [[("announce", "Lunges.")], [("form", "Heels heavy.")]]
    assert named(sets, {1: (purpose, text)}) == ["lunges", name]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("ten seconds left then it's squats", "squats"),
        ("last ten seconds of squats", None),
        ("last ten", None),
    ],
)
def test_what_is_named_beside_the_last_call_of_a_time_is_what_comes(text, name):
    assert named([[("announce", "Lunges."), ("time", text)], [("form", "Heels heavy.")]]) == ["lunges", name]


@pytest.mark.parametrize(
    ("before", "first", "name"),
    [
        (("change", "on to your front please for the swan"), "swan hands by your shoulders", "swan"),
        (
            ("preview", "Hands and knees, we're going into leg pull."),
            "leg pull front lift a foot",
            "leg pull",
        ),
        (("preview", "stay there clockwork's next"), "clockwork arms and legs go round", "clockwork"),
        (("setup", "lie back and let's start with the hundred"), "the hundred knees over hips", "hundred"),
        # How one stands, a part of the body, kit or an order is none.
        (("setup", "come up to standing and stay tall"), "tall spine and look ahead", None),
        (("setup", "put your weight on your left leg"), "leg long behind you", None),
        (("change", "go and get your towel"), "towel in both hands and hold it out", None),
        (("preview", "this one is a long slow reach"), "reach your arm over your head", None),
        # What is said about a rest leads to nothing.
        (("rest", "sip of water and a wiggle"), "wiggle your toes and settle", None),
    ],
)
def test_a_word_that_ends_what_comes_before_and_begins_the_set_is_its_name(before, first, name):
    """No list knows them all, and captions have no marks that would end them."""
    sets = [[("announce", "Lunges.")], [("setup", first)]]
    assert named(sets, {1: before}) == ["lunges", name]


def test_what_comes_is_called_in_so_many_words_and_what_begins_the_set_tells_how():
    """ "Sink, then explode" was said once and is no move; "happy baby", with nothing before it, stays."""
    rows = [("announce", 1, "Lunges."), ("preview", 2, "And stop, last one, squat jumps next."),
            ("announce", 3, "Sink, then explode."), ("announce", 5, "Happy baby.")]  # fmt: skip
    cues = [CutCue(n, n + 1, t, plan_role(p), at, f"{n}.wav", p) for n, (p, at, t) in enumerate(rows)]
    of_sets = SetNames(ExerciseNames(), [1, 3, 5], cues)

    assert of_sets.as_prepared(of_sets.as_said()) == ["lunges", "squat jumps", "happy baby"]


def test_what_lists_the_first_ones_names_not_the_first():
    opening = (-1, "preview", "The first three are ball slams, step ups and rope waves.")
    cues = [CutCue(-1, 0, opening[2], plan_role("preview"), 0, "o.wav", "preview"),
            CutCue(1, 2, "Big throws with your whole back.", plan_role("form"), 1, "1.wav", "form"),
            CutCue(3, 4, "Step ups.", plan_role("announce"), 3, "3.wav", "announce")]  # fmt: skip

    assert SetNames(ExerciseNames(), [1, 3], cues).as_said() == [None, "step ups"]


def test_the_other_side_of_a_set_is_called_as_that_set_is_meant():
    """ "Side twirl sit on your left hip" is a side twirl, as was said before it; so is its other side."""
    sets = [[("setup", "side twirl sit on your left hip")], [("side", "other side sit on your right hip")]]
    rows = [
        ("preview", 0, "side twirl next"),
        *((p, 2 * n + 1, t) for n, own in enumerate(sets) for p, t in own),
    ]
    cues = [CutCue(n, n + 1, t, plan_role(p), at, f"{n}.wav", p) for n, (p, at, t) in enumerate(rows)]
    of_sets = SetNames(ExerciseNames(), [1, 3], cues)

    assert of_sets.as_prepared(of_sets.as_said()) == ["side twirl"] * 2


def test_what_two_sets_begin_with_is_what_they_do():
    """A name of no known word is found where it is said twice; what begins sets of two names is none."""
    assert (
        named(
            [
                [("setup", "single leg stand start on your left leg")],
                [("setup", "half kneeling stretch right foot in front")],
                [("side", "single leg stand again left leg")],
                [("setup", "half kneeling same as before right foot forward")],
            ]
        )
        == ["single leg stand", "half kneeling stretch"] * 2
    )
    assert named(
        [
            [("setup", "stand tall with your weight in front")],
            [("setup", "stand tall and look ahead")],
            [("setup", "window wipers with your feet wide")],
            [("setup", "window shoppers with your feet narrow")],
        ]
    ) == [None] * 4  # fmt: skip


def test_a_name_that_was_prepared_is_what_the_set_begins_with():
    """Captions have no marks, and no list knows "ninety nineties": it was said in the rest before."""
    assert named(
        [
            [("setup", "ninety nineties both knees bent")],
            [("setup", "thread the needle left arm goes under")],
            [("setup", "stand up tall with your feet wide")],
            [("form", "elbow tight against your side")],
        ],
        {
            0: ("rest", "sit down for ninety nineties"),
            1: ("preview", "hands and knees now for thread the needle left arm first"),
            2: ("preview", "come up and stand up tall"),
            3: ("rest", "shake it out and bring your elbow tight"),
        },
    ) == ["ninety nineties", "thread the needle", None, None]


@pytest.mark.parametrize(
    ("text", "third"),
    [
        ("couch left knee", "couch stretch"),
        ("left side couch", "couch stretch"),
        ("Needle, left arm.", "thread the needle"),
        ("couch stretch again", "couch stretch"),
        ("stretch", None),
        ("left leg", None),
        ("sit on the couch", None),
    ],
)
def test_a_name_is_shortened_later(text, third):
    """Its first or last words, with no more than a side, if they are of no other name."""
    names = ("couch stretch", "thread the needle", "hip stretch")
    said = [[("announce", name)] for name in names]

    assert named([*said, [("form", "breathe out")]], {3: ("rest", text)}) == [*names, third]


def test_where_one_moves_names_a_set_that_nothing_else_does():
    """ "Off we go, side to side" after "ninety nineties again" is no exercise; "in and out" may be one."""
    said = [
        [("announce", "ninety nineties")],
        [("announce", "off we go side to side")],
        [("announce", "in and out")],
    ]

    assert named(said, {1: ("rest", "ninety nineties again")}) == ["ninety nineties"] * 2 + ["in and out"]


def test_a_short_name_beside_the_whole_one_is_an_exercise_of_its_own():
    """Where the class repeats with both, they are two; where it repeats only as one, one."""
    intervals = [FoundInterval("work", 40.0 * n, 40.0 * n + 40, 40.0, True) for n in range(4)]
    two = class_shape(intervals, ["squat", "goblet squat"] * 2)
    one = class_shape(intervals, ["goblet squats", "lunges", "goblets", "lunges"])

    assert two is not None
    assert two.names == ("squat", "goblet squat") * 2
    assert one is not None
    assert one.names == ("goblet squats", "lunges") * 2


@pytest.mark.parametrize(
    "said", [["squat", "lunge", "squat hold", "lunge hold"], ["squats", "row", "squat jumps", "row"]]
)
def test_a_movement_and_what_is_made_of_it_are_two_exercises(said):
    """A squat is no squat hold said short, whatever would come round by it."""
    shape = class_shape([FoundInterval("work", 40.0 * n, 40.0 * n + 40, 40.0, True) for n in range(4)], said)

    assert shape is not None
    assert shape.rounds == 1
    assert set(shape.names) == set(said)


def test_the_side_that_is_told_before_a_set_is_its_side():
    """The needle with the left arm, and then "right arm under": it is the other side, whoever names it."""
    assert (
        named(
            [
                [("announce", "thread the needle")],
                [("form", "push the floor away")],
                [("setup", "right arm under")],
            ],
            {1: ("preview", "needle left arm")},
        )
        == ["thread the needle"] * 3
    )


def test_the_rest_before_a_set_names_it():
    """ "Standing clock next" names the set that begins with the same words, and one that does not."""
    said = [[("setup", "standing clock stand on one leg")], [("form", "long spine")]]

    assert named(said, {0: ("preview", "standing clock next"), 1: ("preview", "wall angels after this")}) == [
        "standing clock",
        "wall angels",
    ]


def test_a_name_that_ends_in_a_small_word_is_said_in_a_rest():
    """The "up" of a chin up belongs to it, and that of "up next" does not."""
    said = [[("announce", "chin up")], [("announce", "wall sit")], [("form", "slow on the way down")]]

    assert named(said, {2: ("say", "chin up again")}) == ["chin up", "wall sit", "chin up"]
    assert named(said, {2: ("say", "wall sit up next")}) == ["chin up", "wall sit", "wall sit"]
    assert named(said, {2: ("say", "chin now")})[2] is None


def test_the_last_words_of_a_name_stand_for_it():
    """ "And bridges, down on your back" names a glute bridge, unless another exercise is a bridge too."""
    mentions = NameMentions(ExerciseNames())

    assert mentions.begins_with("and bridges down on your back", "glute bridge", ["bear crawl"])
    assert not mentions.begins_with("and bridges down on your back", "glute bridge", ["side bridge"])
    assert not mentions.begins_with("up you come", "step up", ["bear crawl"])
    assert not mentions.begins_with("keep your hips high", "glute bridge")


def test_a_call_of_what_comes_next_points_at_no_picture():
    """ "Bear crawl coming up" names what comes; "this one coming up" has to be seen."""
    lists = word_lists()

    assert lists.reasons("Bear crawl coming up.") == ()
    assert lists.reasons("next the frog squats coming up") == ()
    assert lists.reasons("This one coming up.") == ("points at a picture",)
    assert lists.reasons("The picture of the move coming up.") == ("points at a picture",)


@pytest.mark.parametrize("count", ["Three, two, one,", "3, 2, 1,"])
def test_counting_into_a_set_names_nothing(count):
    """However the numbers are written, they are no exercise, though they are said again elsewhere."""
    said = [[("setup", f"{count} and lift your heels.")], [("form", "Hold for three. Up for 3.")]]

    assert named(said) == [None, None]


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("sight plank", "side plank", True),
        ("pell of press", "pallof press", True),
        ("whichop", "wood chops", True),
        ("bulgarian squat", "vulgarian squat", True),
        # The end was lost.
        ("pol", "pull apart", True),
        ("high plank", "side plank", False),
        ("chest press", "leg press", False),
        ("push ups", "pull ups", False),
        ("left lunge", "right lunge", False),
        # What only one of them has was said.
        ("squat", "squat jump", False),
        ("jump squat", "squat", False),
        ("let's squat", "squat left", False),
        ("row", "romanian deadlift", False),
    ],
)
def test_names_sound_alike_where_one_may_be_heard_for_the_other(one, other, alike):
    """By the sounds of the words that differ; either way round."""
    assert sound_alike(one, other) is sound_alike(other, one) is alike


def test_what_always_follows_a_name_belongs_to_it():
    """Where it is not known: "plank claps partner one", but not the hips that only some sets begin with."""
    claps = [[("announce", f"plank claps {turn}")] for turn in ("partner one", "nice and slow")]
    assert named(claps, {1: ("preview", "next is plank claps")}) == ["plank claps"] * 2
    for behind in ("hips", "elbows"):
        sets = [[("announce", f"plank {behind} {how}")] for how in ("low", "still", "down")]
        assert named(sets) == ["plank"] * 3


@pytest.mark.parametrize(("said", "name"), [("plank hold", "plank"), ("plank jacks", "plank jacks")])
def test_an_order_behind_what_was_prepared_is_none_of_the_name(said, name):
    """ "Plank next", and then "plank, hold", of which captions leave out the mark; jacks are another one."""
    rows = [
        CutCue(0, 1, "plank next", "preview", 0, "a.wav", "preview"),
        CutCue(2, 3, said, "announce", 1, "b.wav", "announce"),
    ]
    names = SetNames(ExerciseNames(), [1], rows)

    assert names.as_prepared([said]) == [name]


def test_a_name_is_what_sounds_like_it_and_is_said_more_often():
    """ "Sight plank" is the side plank that is spoken of before and after; "high plank" is another."""
    texts = ["Sight plank, elbow down.", "Down for a side plank.", "Side plank, last one.", "Goblet squat."]

    assert as_meant(["goblet squat", "sight plank"], texts) == ["goblet squat", "side plank"]
    assert as_meant(["goblet squat", "sight plank"], texts[:2]) == ["goblet squat", "sight plank"]
    assert as_meant(["goblet squat", "high plank"], ["High plank.", *texts]) == ["goblet squat", "high plank"]


def test_a_plural_is_the_same_name():
    """One that is said in the plural more often keeps its name, and both count for what sounds like it."""
    texts = ["Lateral lunge, step wide.", "Lateral lunges next.", "Lateral lunges again.", "Literal lunch."]

    assert as_meant(["lateral lunge"], texts) == ["lateral lunge"]
    assert as_meant(["literal lunge"], [*texts[:2], "Literal lunge."]) == ["lateral lunge"]


def test_names_that_are_said_once_are_those_of_their_place_in_the_round():
    """Only where they sound alike, and where as many sets show the round as speak against it."""
    heard = ["halif press", "pull apart", "dead bug", "pell of press", "pol", "dead bug", None, "pull apart"]
    heard.append("dead bug")

    assert as_meant(heard, []) == [*["halif press", "pull apart", "dead bug"] * 2, None, *heard[7:]]
    for said in (
        ["squat", "row", "squat", "row", "squat jump", "row"],
        ["push ups", "row", "pull ups", "row"],
        ["high plank", "row", "side plank", "row"],
        # Two of four sound alike, none is said twice.
        ["halif press", "sight plank", "pell of press", "side plank"],
        # A name of its own that is said twice was meant.
        ["hollow hold", "row", "hollow hold", "row", "shallow hold", "row", "shallow hold", "row"],
    ):
        assert as_meant(said, []) == said


@pytest.mark.parametrize(
    ("opening", "is_used"),
    [
        ("Four exercises, two rounds, thirty on and ten off.", True),
        ("4 moves, and we go round twice.", True),
        ("Four exercises. We do them 2 times.", True),
        # Not the sets that were found.
        ("Four exercises, three rounds.", False),
        ("Five exercises, two rounds.", False),
        ("Two rounds of this.", False),
        ("Hello.", False),
    ],
)
def test_rounds_that_are_announced_place_what_was_misheard(opening, is_used):
    """Eight sets of which four exercises in two rounds are announced, though half of the names are lost."""
    round_ = ["step ups", "swings", "renegade row", "bear crawl"]
    heard = [*round_, None, None, "wants", "want to go crawl"]

    assert as_meant(heard, [], [opening]) == (round_ * 2 if is_used else heard)


def test_names_that_are_said_twice_are_stronger_than_what_is_announced():
    """As are places that have no name at all."""
    opening = ["Two exercises, two rounds."]

    for heard in (["squat", "row", "row", "squat"], ["squat", None, "swings", None]):
        assert as_meant(heard, [], opening) == heard
