"""Recorded classes of several circuits, one after another: a warm-up before the rounds, or two circuits."""

from __future__ import annotations

from pathlib import Path

from ruamel.yaml import YAML

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.pattern_plan import PatternPlan, pattern_plan
from cuelane.adapt.pattern_report import as_json, pattern_lines, shape_doubts
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import plan_role
from cuelane.plan.load import load_plan
from cuelane.session.expand import expand

Row = tuple[str, float, str]
"""An interval: its kind, its length in s, and what is said as it begins; "purpose|" may stand before that."""

WARM_UP: list[Row] = [
    ("work", 30, "Marching."), ("work", 30, "Arm circles."), ("work", 30, "Hip circles."),
]  # fmt: skip


def circuit(names: list[str], rounds: int, work_s: float, rest_s: float, after_s: float = 0) -> list[Row]:
    rows: list[Row] = []
    for number in range(rounds * len(names)):
        rows += [("work", work_s, f"{names[number % len(names)]}."), ("rest", rest_s, "rest|And rest.")]
    return [*rows[:-1], *([("rest", after_s, "rest|Have some water.")] if after_s else [])]


def made_of(rows: list[Row], opening: str = "say|Four things, and then the rest.") -> PatternPlan:
    """Return the class of `rows` as exercises."""
    intervals, cues, now = [FoundInterval("talk", 0.0, 30.0, 30.0, True)], [], 30.0
    for kind, length_s, _ in rows:
        intervals.append(FoundInterval(kind, now, now + length_s, length_s, True))
        now += length_s
    intervals.append(FoundInterval("talk", now, now + 20, 20.0, False))
    for index, text in enumerate([opening, *(text for _, _, text in rows)]):
        for number, part in enumerate(text.split(" / ")):
            purpose, bar, said = part.rpartition("|")
            at = round(1000 * intervals[index].start_s) + 500 + 9000 * number
            purpose = purpose if bar else "announce"
            cues.append(CutCue(at, at + 1000, said, plan_role(purpose), index, f"{len(cues)}.wav", purpose))
    made = pattern_plan("Legs", intervals, cues, None)
    assert made is not None
    return made


def blocks_of(made: PatternPlan) -> list[dict]:
    """Return the plan's blocks, and the rests between them, without its talk."""
    rows = YAML(typ="safe").load(made.text)["session"]
    return [row for row in rows if "say" not in row]


MAIN = ["Squats", "Push ups", "Rows"]


def test_a_warm_up_before_the_rounds_is_a_block_of_its_own():
    """Three sets of 30 s without a rest, and then three rounds of three: each is re-timed by itself."""
    made = made_of(
        [*WARM_UP, ("rest", 45, "rest|Have a sip."), *circuit(MAIN, 3, 40, 20)],
        "say|A little warm up, and then the rounds.",
    )

    assert blocks_of(made) == [
        {"block": "Warm-up", "pattern": "circuit", "work": "30s", "rest": "0s", "rounds": 1,
         "exercises": ["marching", "arm circles", "hip circles"]},
        {"rest": "45s"},
        {"block": "Class", "pattern": "circuit", "work": "40s", "rest": "20s", "rounds": 3,
         "exercises": ["squats", "push ups", "rows"]},
    ]  # fmt: skip
    assert shape_doubts(made.shape) == []
    assert (
        "Warm-up: 1 × (marching, arm circles, hip circles); 30s of work, 0s of rest. "
        "Class: 3 × (squats, push ups, rows); 40s of work, 20s of rest."
    ) in pattern_lines(made, "")
    assert [row["title"] for row in as_json(made, "")["sections"]] == ["Warm-up", "Class"]


def test_two_circuits_are_two_blocks_and_last_as_long_as_the_class(tmp_path: Path):
    """With the same times, and a long rest between them; another one ends the class."""
    rows = [*circuit(MAIN, 3, 40, 20, 90), *circuit(["Lunges", "Planks"], 2, 40, 20, 60)]
    rows.append(("work", 60, "Burpees."))
    made = made_of(rows)

    assert [(row.get("block", "rest"), row.get("rounds", row.get("rest"))) for row in blocks_of(made)] == [
        ("Circuit A", 3), ("rest", "1m30s"), ("Circuit B", 2), ("rest", "1m"), ("Finisher", 1),
    ]  # fmt: skip
    (tmp_path / "clips").mkdir()
    for number in range(len(rows) + 1):
        (tmp_path / "clips" / f"{number}.wav").touch()
    (tmp_path / "class.yaml").write_text(made.text, encoding="utf-8")
    session = expand(load_plan(tmp_path / "class.yaml"))
    lengths = [(row.kind, row.length_ms / 1000) for row in session.intervals if row.kind != "talk"]
    assert lengths == [(kind, length_s) for kind, length_s, _ in rows]


def test_a_line_of_a_later_circuit_is_said_from_its_own_round_on():
    """Rounds are counted anew in each block."""
    rows = [*circuit(MAIN, 2, 40, 20, 90), *circuit(["Lunges", "Planks"], 2, 40, 20)]
    at = len(circuit(MAIN, 2, 40, 20, 90)) + 4
    rows[at] = ("work", 40, "Lunges. / form|Knee over your toes.")
    made = made_of(rows)

    (line,) = made.lines.exercises["lunges"]["form"]
    assert line.from_round == 2


def test_praise_is_said_in_its_own_circuit():
    rows = [*circuit(MAIN, 2, 40, 20, 90), *circuit(["Lunges", "Planks"], 2, 40, 20)]
    rows[0] = ("work", 40, "Squats. / praise|Lovely start.")
    rows[-1] = ("work", 40, "Planks. / praise|What a finish.")
    found = [[line["text"] for line in row.get("praise", [])] for row in blocks_of(made_of(rows))]

    assert found == [["Lovely start."], [], ["What a finish."]]


def test_two_circuits_on_the_minute_are_on_the_minute_both():
    """Six minutes of two exercises, and six of two others, each with what is left as rest."""
    names = ["Thrusters, ten."] + ["Pull ups, six.", "Thrusters, ten."] * 2 + ["Pull ups, six."]
    names += ["Sit ups, twelve.", "Box jumps, eight."] * 3
    made = made_of([("work", 60, name) for name in names], "say|It's on the minute, two blocks.")
    blocks = blocks_of(made)

    assert [(row["block"], row["pattern"], row["every"], row["work"], row["rounds"]) for row in blocks] == [
        ("Circuit A", "on-the-minute", "1m", "40s", 3), ("Circuit B", "on-the-minute", "1m", "40s", 3),
    ]  # fmt: skip
    (doubt,) = shape_doubts(made.shape)
    assert doubt.startswith("A set starts every 1m")


def test_what_is_no_several_circuits_stays_one():
    """Sets for each side, exercises that all differ, and few that repeat among many."""
    sides = [name for name in ("Lunges", "Planks", "Rows") for _ in range(2)]
    differ = ["Squats", "Push ups", "Rows", "Lunges", "Planks", "Swings"]
    for names, rounds in ((sides, 1), (differ, 1), (MAIN, 3)):
        assert made_of(circuit(names, rounds, 40, 20)).shape.sections == ()
    others = ["Thrusters", "Curls", "Bridges", "Twists", "Bear crawls", "Step ups"]
    once = circuit([*differ, *others], 1, 40, 20, 20) + circuit(["Dips", "Crunches"], 2, 40, 20)
    assert made_of(once).shape.sections == ()


def test_a_round_in_which_each_exercise_is_explained_is_a_block_of_its_own():
    """Its rests are longer than those of the second round: two blocks of the same exercises.

    "Presses", as a floor press is called the second time, is the same exercise.
    """
    names = ["Step taps", "Floor presses", "Glute bridges", "Tuck sits"]
    rows = circuit(names, 1, 30, 40, after_s=45) + circuit(["Step taps", "Presses", *names[2:]], 1, 30, 15)
    made = made_of(rows)
    blocks = blocks_of(made)

    assert [(row.get("work"), row.get("rest"), row.get("rounds")) for row in blocks] == [
        ("30s", "40s", 1), (None, "45s", None), ("30s", "15s", 1)
    ]  # fmt: skip
    assert blocks[0]["exercises"] == blocks[2]["exercises"] == [name.lower() for name in names]
    assert not any("lengths of their own" in row for row in shape_doubts(made.shape))


def test_other_exercises_at_other_rests_are_no_rounds():
    """Nothing shows that they are two blocks."""
    rows = circuit(["Step taps", "Floor presses", "Glute bridges"], 1, 30, 40, after_s=45)
    made = made_of([*rows, *circuit(["Squats", "Rows", "Planks"], 1, 30, 15)])

    assert made.shape.sections == ()
