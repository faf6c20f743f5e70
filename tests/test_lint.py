"""Warnings about a plan's words: on sentences of both kinds, and each rule at its place and its edges."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest

from cuelane.base.page_words import page_words
from cuelane.base.roles import ROLES, Role
from cuelane.facts import count
from cuelane.lint import LintWarning, handbook, lint, rules
from cuelane.lint.line_signs import found, not_words
from cuelane.lint.not_done import not_done
from cuelane.lint.pointing import WARN, pointing
from cuelane.plan.load import load_plan
from cuelane.plan.model import Exercise
from cuelane.plan.variants import Chosen
from cuelane.plan.warning_codes import WARNINGS
from cuelane.session.expand import expand
from cuelane.speech.prepare import spoken_as
from lint_sentences import NO_PICTURE, NO_SIDE, PICTURE, SIDE_BY_HAND

PLAN = """\
title: Legs
{head}session:
  - block: Main
    pattern: circuit
    work: 30s
    rest: 20s
    rounds: 2
    exercises: [squat, lunge]
exercises:
  squat:
    setup: Sit down.
{squat}  lunge:
    sides: alternate
{lunge}"""


def by_words(text: str) -> float:
    """Two and a half words a second."""
    return len(text.split()) / 2.5


def warnings_of(
    folder: Path,
    text: str,
    seconds_of: Callable[[str], float] = by_words,
    spoken: Callable[[str], str] | None = None,
) -> list[LintWarning]:
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    loaded = load_plan(path)
    return lint(loaded, expand(loaded), seconds_of, spoken)


def plan(head: str = "", squat: str = "", lunge: str = "") -> str:
    return PLAN.format(
        head="".join(f"{line}\n" for line in head.split("\n") if line),
        squat="".join(f"    {line}\n" for line in squat.split("\n") if line),
        lunge="".join(f"    {line}\n" for line in lunge.split("\n") if line),
    )


def codes(warnings: list[LintWarning]) -> list[str]:
    return [warning.code for warning in warnings]


def test_the_sentences_it_was_fitted_to_are_told_apart() -> None:
    """Four in five that need a picture are warned of, and of those that need none fewer than one in thirty.

    The judge knows these sentences; how it does on others is held in tests/test_pointing.py.
    """
    judge = pointing("en")
    assert sum(judge.score(sentence) > WARN for sentence in PICTURE) >= 0.8 * len(PICTURE)
    assert sum(judge.score(sentence) > WARN for sentence in NO_PICTURE) < len(NO_PICTURE) / 30


@pytest.mark.parametrize("sentence", SIDE_BY_HAND)
def test_a_side_named_by_hand_is_found(sentence: str) -> None:
    """A sentence that names a side outright is warned of."""
    assert list(found(sentence, "en", "side"))


@pytest.mark.parametrize("sentence", NO_SIDE)
def test_left_and_right_in_other_senses_are_left_alone(sentence: str) -> None:
    """What is left, what is right, and both sides together name no side."""
    assert list(found(sentence, "en", "side")) == []


def test_the_sentences_are_many_and_distinct() -> None:
    """At least sixty sentences of each kind for pictures, thirty for sides, none in two lists."""
    assert len(set(PICTURE)) >= 60
    assert len(set(NO_PICTURE)) >= 60
    assert len(set(SIDE_BY_HAND)) >= 30
    assert len(set(NO_SIDE)) >= 30
    assert not set(PICTURE) & set(NO_PICTURE)
    assert not set(SIDE_BY_HAND) & set(NO_SIDE)


def test_a_warning_shows_its_place(tmp_path: Path) -> None:
    """A warning has file, line and column of the words, the line itself, its code, and what to do."""
    (warning,) = warnings_of(tmp_path, plan(squat='form: "Sit back like this, heels down."'))

    assert str(warning) == (
        f"{tmp_path}/plan.yaml:12:21: "
        "this points at a picture ('like this'), and a listener has none [screen-words]\n"
        '        form: "Sit back like this, heels down."\n'
        "                        ^\n"
        "    say what to do in words alone"
    )
    assert warning.to_dict() == {
        "code": "screen-words",
        "file": f"{tmp_path}/plan.yaml",
        "line": 12,
        "column": 21,
        "message": "this points at a picture ('like this'), and a listener has none",
        "hint": "say what to do in words alone",
    }


def test_a_plan_of_good_words_is_quiet(tmp_path: Path) -> None:
    """Nothing is said about a plan with nothing to say about."""
    text = plan(squat="form: Watch your knees.", lunge='setup: "{side} leg goes back first."')

    assert warnings_of(tmp_path, text, spoken=spoken_as) == []


@pytest.mark.parametrize(
    "path", sorted((Path(__file__).parent.parent / "demo").rglob("*.yaml")), ids=lambda p: p.name
)
def test_the_demos_are_quiet(path: Path) -> None:
    """The demos do what they teach: no warning about their words."""
    loaded = load_plan(path)

    assert [str(warning) for warning in lint(loaded, expand(loaded), by_words, spoken_as)] == []


class TestSides:
    def test_only_where_sides_change(self, tmp_path: Path) -> None:
        """The same words are fine where the exercise has no sides."""
        assert warnings_of(tmp_path, plan(squat="form: Left foot forward.")) == []

    @pytest.mark.parametrize(
        ("sides", "how"),
        [("alternate", "changes sides from set to set"), ("each", "is done on both sides in turn")],
    )
    def test_the_reason_is_given(self, tmp_path: Path, sides: str, how: str) -> None:
        """The warning names the words, the exercise and how its sides change."""
        text = plan(lunge="setup: Left foot forward.").replace("alternate", sides)

        (warning,) = warnings_of(tmp_path, text)

        assert warning.message == f"'Left foot' names a side, but 'lunge' {how}"
        assert warning.hint == "write {side} or {other_side} instead"

    def test_a_line_for_chosen_rounds_may_name_its_side(self, tmp_path: Path) -> None:
        """Where the person chose the rounds, the side is chosen with them."""
        assert warnings_of(tmp_path, plan(lunge="form: {text: Left foot forward., rounds: odd}")) == []


class TestLength:
    def test_a_line_that_fits_no_set_is_warned_of(self, tmp_path: Path) -> None:
        """A 30 s set ends in a countdown of 3 s and begins with a pip; both guarded, 26.5 s are left."""
        line = " ".join(["word"] * 70)  # 28 s

        (warning,) = warnings_of(tmp_path, plan(squat=f"form: {line}."))

        assert warning.code == "too-long"
        assert warning.message == "this takes about 28.0 s to say, but the set of 30 s has 26.5 s for it"
        # 70 words x 1.5 s too many of 28 s = 3.75
        assert warning.hint == "cut about 4 words, or give it more time"

    @pytest.mark.parametrize(("seconds", "warned"), [(26.5, []), (26.501, ["too-long"])])
    def test_the_edge_is_exact(self, tmp_path: Path, seconds: float, warned: list[str]) -> None:
        """What just fits is fine; a millisecond more is not."""
        text = plan(squat="form: Heels down.")

        found = warnings_of(tmp_path, text, lambda line: seconds if line.startswith("Heels") else 1.0)

        assert codes(found) == warned

    def test_a_preview_has_the_rest_before(self, tmp_path: Path) -> None:
        """A preview is held against the longest interval before its exercise, not against the set itself."""
        long = " ".join(["word"] * 45)  # 18 s; the rest of 20 s leaves 16.5 s
        text = plan(lunge=f"preview: {long}.")

        (warning,) = warnings_of(tmp_path, text)

        assert warning.message == "this takes about 18.0 s to say, but the rest of 20 s has 16.5 s for it"

    def test_halves_count_as_halves(self, tmp_path: Path) -> None:
        """In a set done on each side a line has half the set."""
        text = plan(lunge="form: Heels down.").replace("alternate", "each")

        (warning,) = warnings_of(tmp_path, text, lambda line: 15.0 if line.startswith("Heels") else 1.0)

        assert "set of 15 s" in warning.message

    def test_words_in_time_of_their_own_always_fit(self, tmp_path: Path) -> None:
        """A say item is as long as its words, unless the plan says how long it lasts."""
        long = " ".join(["word"] * 60)  # 24 s
        item = f"  - say: {long}.\n"

        assert (
            warnings_of(tmp_path, plan().replace("exercises:\n  squat", f"{item}exercises:\n  squat")) == []
        )
        lasting = item + "    lasts: 20s\n"
        found = warnings_of(tmp_path, plan().replace("exercises:\n  squat", f"{lasting}exercises:\n  squat"))
        assert codes(found) == ["too-long"]

    def test_a_script_cue_has_the_time_to_its_interval_end(self, tmp_path: Path) -> None:
        """A cue at 8 s of a 10 s interval has 2 s."""
        text = (
            "title: T\nsession:\n  - block: B\n    pattern: script\n    pips: false\n    intervals:\n"
            "      - {kind: talk, length: 10s, cues: [{at: 8s, text: One two three four five six.}]}\n"
        )

        (warning,) = warnings_of(tmp_path, text)

        assert warning.message == (
            "this takes about 2.4 s to say, but from there the talk of 10 s has 2.0 s for it"
        )


@pytest.mark.parametrize(
    ("text", "parts"),
    {
        "a number": ("Hold for 10 breaths.", ["10"]),
        "a unit": ("Take the 12 kg bell.", ["12 kg"]),
        "a unit without a space": ("Step 30cm apart.", ["30cm"]),
        "a clock time": ("Rest 1:30 now.", ["1:30"]),
        "a range": ("Do 8-10 of these.", ["8", "10"]),
        "an ordinal": ("The 2nd round.", ["2nd"]),
        "per cent": ("Give 80% now.", ["80%"]),
        "degrees": ("Turn 90° out.", ["90°"]),
        "capitals": ("Next the RDL.", ["RDL"]),
        "an abbreviation": ("Use a weight, e.g. a bottle.", ["e.g."]),
        "signs": ("Knees & hips.", ["&"]),
        "a slash": ("Knees/hips.", ["/"]),
        "a picture": ("Well done 💪!", ["💪"]),
        "a half": ("Go ½ way.", ["½"]),
        "nothing": ("Don't rush, it's a step-up: one, two… and three!", []),
        "the pronoun": ("I count, OK?", []),
        "an end": ("Give it your max.", []),
    }.values(),
    ids=lambda value: str(value)[:24],
)
def test_what_is_not_written_in_words_is_found(text: str, parts: list[str]) -> None:
    """Digits, units, capitals, short forms and signs are found; plain words are not."""
    assert not_words(text) == parts


def test_how_it_will_be_spoken_is_shown(tmp_path: Path) -> None:
    """With the engine's preparation at hand the hint says the line as it will be said."""
    text = plan(squat="form: Take the 12 kg bell & sit.")

    (warning,) = warnings_of(tmp_path, text, spoken=lambda line: line.replace("12 kg", "twelve kilo"))
    (plain,) = warnings_of(tmp_path, text)

    assert warning.message == "'12 kg', '&' are not written in words"
    assert warning.hint == "it will be spoken: “Take the twelve kilo bell & sit.”"
    assert plain.hint == "how it is said is up to the voice; write it in words"


def test_how_a_recorded_line_is_written_is_no_matter(tmp_path: Path) -> None:
    """It sounds as it was said, whichever way somebody wrote it down, and is not said in two."""
    (tmp_path / "form.wav").touch()
    line = "{text: 'Take 12, heels down. Chest up, eyes up, chin in.', clip: form.wav}"

    assert warnings_of(tmp_path, plan(squat=f"form: {line}")) == []
    (row, *_) = warnings_of(tmp_path, plan(squat="form: {text: 'Like this, 12 times.', clip: form.wav}"))
    assert row.code == "screen-words"


def test_a_line_of_signs_says_nothing(tmp_path: Path) -> None:
    """A line of which no word would be left is warned of."""
    (warning,) = warnings_of(tmp_path, plan(squat='form: "…"'), spoken=lambda line: line.strip("…"))

    assert (warning.code, warning.hint) == ("not-words", "nothing of it would be said")


LONG = "title: {title}\nsession:\n  - block: {block}\n    pattern: flow\n    work: {work}\n    rounds: 20\n    exercises: [walk]\nexercises:\n  walk:\n"  # noqa: E501


class TestWholeSession:
    def test_a_long_session_needs_a_warm_up(self, tmp_path: Path) -> None:
        """Over 20 minutes without a block, plan or title that warms up is warned of at `session`."""
        found = warnings_of(tmp_path, LONG.format(title="Walks", block="Main", work="61s"))

        assert codes(found) == ["no-warm-up", "no-cool-down"]
        assert (found[0].mark.line, found[0].mark.column) == (2, 1)
        assert found[0].message.endswith(", and no block is named as a warm-up")

    def test_twenty_minutes_may_do_without(self, tmp_path: Path) -> None:
        """A session of less than 20 minutes is not warned of."""
        assert warnings_of(tmp_path, LONG.format(title="Walks", block="Main", work="50s")) == []

    @pytest.mark.parametrize(
        ("title", "block"), [("Walks", "Warm-up"), ("Walks", "warming up"), ("Warm up", "B")]
    )
    def test_a_warm_up_is_known_by_its_name(self, tmp_path: Path, title: str, block: str) -> None:
        """A block or a plan whose name says warm is a warm-up."""
        text = "allow: no-cool-down\n" + LONG.format(title=title, block=block, work="61s")
        assert warnings_of(tmp_path, text) == []

    def test_slow_movement_may_follow_a_cool_down(self, tmp_path: Path) -> None:
        """A mobility block at the end hides no cool-down before it, and stands for none that is missing."""
        block = "  - block: {}\n    pattern: flow\n    work: 61s\n    rounds: 20\n    exercises: [walk]\n"
        ends = "exercises:\n  walk:\n"
        for before, expected in (("Cool-down", []), ("Main", ["no-cool-down"])):
            blocks = "".join(block.format(name) for name in ("Warm-up", before, "Mobility"))
            text = f"title: T\nsession:\n{blocks}{ends}"
            assert codes(warnings_of(tmp_path, text)) == expected

    def test_no_cautions_are_warned_of(self, tmp_path: Path) -> None:
        """cautions: none is the instructor's choice, and is said at its line; own cautions are fine."""
        found = warnings_of(tmp_path, plan(head="cautions: none"))

        assert codes(found) == ["no-cautions"]
        assert found[0].mark.line == 2
        assert warnings_of(tmp_path, plan(head="cautions: Stop if it hurts.")) == []

    def test_an_exercise_that_no_block_does_is_pointed_out(self, tmp_path: Path) -> None:
        """At its name; one in a script, or of a variant, is done, and a variant leaves out what it may."""
        circuit = "  - {block: A, pattern: circuit, work: 40s, exercises: [row]}\n"
        script = (
            "  - block: B\n    pattern: script\n    intervals: [{kind: work, length: 9s, exercise: plank}]\n"
        )
        ends = "exercises:\n  row: {}\n  plank:\n  press:\n    setup: Press up.\n"
        text = f"title: T\nsession:\n{circuit}{script}{ends}"
        (found,) = warnings_of(tmp_path, text)
        assert (found.code, found.message) == ("not-done", "no block does 'press'")
        assert (found.mark.line, found.mark.column) == (10, 3)
        assert found.source_line == "  press:"
        for variant in ("{swap: {row: press}}", "{blocks: {A: {exercises: [{exercise: press}]}}}"):
            assert warnings_of(tmp_path, f"{text}variants: {{short: {variant}}}\n") == []
        path = tmp_path / "plan.yaml"
        path.write_text(f"{text}variants: {{short: {{title: Short}}}}\n", encoding="utf-8")
        assert [name for name, _ in not_done(load_plan(path))] == ["press"]
        assert list(not_done(load_plan(path, variant=Chosen("short")))) == []

    def test_a_file_that_is_included_is_looked_at_by_itself(self, tmp_path: Path) -> None:
        """It may be kept for its exercises; what it does not do is said where it is the plan."""
        inner = "title: In\nsession:\n  - rest: 30s\nexercises:\n  row: {}\n"
        (tmp_path / "in.yaml").write_text(inner, encoding="utf-8")
        assert warnings_of(tmp_path, "title: T\nsession:\n  - include: in.yaml\n") == []
        assert codes(warnings_of(tmp_path, inner)) == ["not-done"]


class TestAllow:
    @pytest.mark.parametrize(
        ("code", "text"),
        [
            ("screen-words", plan(squat="form: Watch me.")),
            ("side-by-hand", plan(lunge="form: Left foot back.")),
            ("too-long", plan(squat="form: " + "word " * 90)),
            ("too-dense", plan(squat="form: {text: " + "word " * 44 + ", must: true}")),
            ("not-words", plan(squat="form: Take 5.")),
            ("no-warm-up", LONG.format(title="T", block="Cool-down", work="90s")),
            ("no-cool-down", LONG.format(title="Warm-up", block="B", work="90s")),
            ("two-things", plan(squat="form: Sit back. Stand tall.")),
            ("not-first", plan(squat="form: Never lean.")),
            ("inside-aim", plan(squat="form: Engage your core.")),
            ("name-twice", plan(squat="remind: Squat. Sit down.")),
            ("no-cautions", plan(head="cautions: none")),
            ("not-done", plan() + "  plank:\n"),
            ("never-said", plan(squat="form: {text: Sit tall., rounds: 3}")),
        ],
    )
    def test_each_code_can_be_allowed_in_the_plan(self, tmp_path: Path, code: str, text: str) -> None:
        """Each warning has its code, and the plan's allow keeps it quiet."""
        assert codes(warnings_of(tmp_path, text)) == [code]
        assert warnings_of(tmp_path, f"allow: {code}\n{text}") == []

    @pytest.mark.parametrize(
        ("wish", "message"),
        [
            ("rounds: 3", "'squat' has 2 sets, and this is for none of them, so it is never said"),
            ("rounds: [3, 4]", "'squat' has 2 sets, and this is for none of them, so it is never said"),
            ("from_round: 3", "'squat' is done in no round from 3 on, so this is never said"),
            ("rounds: 2", ""),
            ("rounds: [2, 3]", ""),
            ("rounds: last", ""),
            ("from_round: 2", ""),
            ("at: 40s", "this is to start at 40s, when the set of 30 s has no time left for it"),
        ],
    )
    def test_a_line_for_rounds_that_do_not_come_is_told(
        self, tmp_path: Path, wish: str, message: str
    ) -> None:
        """A caution for a round too many would be missed by nobody but the listener."""
        text = plan(squat=f"caution: {{text: Stop if it hurts., {wish}}}")
        assert [row.message for row in warnings_of(tmp_path, text)] == ([message] if message else [])
        longer = f"{text}variants: {{long: {{rounds: 5}}}}\n"
        if "round" in wish:
            assert warnings_of(tmp_path, longer) == []

    def test_one_line_can_allow_for_itself(self, tmp_path: Path) -> None:
        """A line's own allow quiets that line only."""
        squat = "form:\n  - {text: Watch me., allow: screen-words}\n  - Copy me."

        (warning,) = warnings_of(tmp_path, plan(squat=squat))

        assert "'Copy me'" in warning.message

    def test_a_script_cue_can_allow_for_itself(self, tmp_path: Path) -> None:
        """A cue of a script has an allow of its own."""
        text = (
            "title: T\nsession:\n  - block: B\n    pattern: script\n    intervals:\n"
            "      - {kind: talk, length: 20s, cues: [{at: 1s, text: Watch me., allow: screen-words}]}\n"
        )

        assert warnings_of(tmp_path, text) == []

    def test_an_unknown_code_is_said(self, tmp_path: Path) -> None:
        """An allow that silences nothing is itself warned of, with the nearest code."""
        (warning,) = warnings_of(tmp_path, "allow: no-warmup\n" + plan())

        assert (warning.code, warning.mark.line) == ("unknown-warning", 1)
        assert warning.hint == "did you mean 'no-warm-up'?"

    def test_codes_of_the_facts_are_known(self, tmp_path: Path) -> None:
        """The codes of the facts' warnings may stand in allow too."""
        assert warnings_of(tmp_path, "allow: [uneven-sides, same-load]\n" + plan()) == []


def test_included_plans_are_checked_with_their_own_allow(tmp_path: Path) -> None:
    """Words of an included plan are checked in their own file; its allow is its own."""
    inner = plan(squat="form: Watch me.")
    (tmp_path / "in.yaml").write_text(inner, encoding="utf-8")
    outer = "title: Series\nsession:\n  - say: Copy me.\n  - include: in.yaml\n  - include: in.yaml\n"

    found = warnings_of(tmp_path, outer)
    assert [(Path(row.mark.file).name, row.mark.line) for row in found] == [("plan.yaml", 3), ("in.yaml", 12)]

    (tmp_path / "in.yaml").write_text("allow: screen-words\n" + inner, encoding="utf-8")
    assert [Path(row.mark.file).name for row in warnings_of(tmp_path, outer)] == ["plan.yaml"]
    assert warnings_of(tmp_path, "allow: screen-words\n" + outer) == []


def test_the_codes_are_stable() -> None:
    """Plans hold these words: a change breaks them."""
    assert tuple(WARNINGS) == (
        "screen-words", "not-judged", "side-by-hand", "too-long", "too-dense", "not-words", "no-warm-up",
        "no-cool-down", "two-things", "not-first", "inside-aim", "two-names", "name-twice", "stay-down",
        "never-said", "not-done", "no-cautions", "unknown-warning", "uneven-sides", "same-load",
        "speaking-rate", "no-pick-up", "unknown-activity",
    )  # fmt: skip


def test_words_a_minute_are_counted_over_the_first_set(tmp_path: Path) -> None:
    """Of 30 s, 45 words are 90 a minute and may be; one more is 92, and each half of a set has half of that.

    Common practice, no source: about half of a set at most, at the pace of read speech.
    """
    for sides, most in (("alternate", 45), ("each", 22)):
        for more, said in ((0, []), (1, ["too-dense"])):
            # Its name is one word, and the set-up has the others.
            setup = " ".join(["word"] * (most - 1 + more))
            found = warnings_of(
                tmp_path, plan(lunge=f"setup: {setup}").replace("alternate", sides), lambda _: 1.0
            )
            assert codes(found) == said, (sides, more)
    assert "has to carry 92 words a minute" in found[0].message
    assert found[0].hint == "cut a word of its set-up, or say it in its preview"


def test_every_code_has_a_rule_and_every_rule_a_code() -> None:
    """The codes with which warnings are made, in words and in facts, are those of the one list."""
    made = set()
    for module in (rules, handbook, count):
        for node in ast.walk(ast.parse(inspect.getsource(module))):
            makes = isinstance(node, ast.Call) and ast.unparse(node.func) in (
                "LintWarning",
                "_warning",
                "Told",
            )
            first = node.args[0] if isinstance(node, ast.Call) and makes else None
            if isinstance(node, ast.Yield) and isinstance(node.value, ast.Tuple):
                first = node.value.elts[0]
            if isinstance(first, ast.Constant):
                made.add(first.value)

    assert made == set(WARNINGS)


HANDBOOK = """
title: Words
session:
  - {block: Main, pattern: circuit, work: 40s, rest: 30s, exercises: [side lunge, bridge]}
exercises:
  side lunge:
    preview: Lateral lunge. Feet wide.
    setup: Side lunge. Step out wide.
    form: [Never lean forward., Squeeze your glutes., Sit back. Then push the floor away.]
  bridge:
    setup: Push your feet into the floor.
    form: Reach for the wall.
    change: Stay on your back.
"""


def test_what_a_handbook_would_say(tmp_path: Path) -> None:
    """Each habit is named once with its line; lines without one are left alone."""
    path = tmp_path / "words.yaml"
    path.write_text(HANDBOOK.replace("[side lunge, bridge]", "[bridge, side lunge]"), encoding="utf-8")
    loaded = load_plan(path)
    found = {(row.code, row.mark.line) for row in lint(loaded, expand(loaded), lambda text: 1.0)}
    assert found == {
        ("two-names", 7), ("name-twice", 8), ("not-first", 9), ("inside-aim", 9), ("two-things", 9),
        ("stay-down", 13),
    }  # fmt: skip


def test_a_long_session_without_a_cool_down_says_so(tmp_path: Path) -> None:
    """Half an hour of one block lacks a warm-up and a cool-down; each is said once."""
    path = tmp_path / "long.yaml"
    plan = HANDBOOK.split("exercises:\n  side")[0].replace("rest: 30s", "rest: 30s, rounds: 14")
    path.write_text(plan + "exercises: {side lunge: {}, bridge: {}}\n", encoding="utf-8")
    loaded = load_plan(path)
    codes = [row.code for row in lint(loaded, expand(loaded), lambda text: 1.0)]
    assert sorted(codes) == ["no-cool-down", "no-warm-up"]


def test_the_lines_of_every_role_are_looked_at(tmp_path: Path) -> None:
    """A picture is pointed at in each of an exercise's keys that hold lines, and each is warned of."""
    roles = [key for key in Exercise.model_fields if key in ROLES]
    text = plan(squat="\n".join(f"{role}: Do it like this {number}." for number, role in enumerate(roles)))
    found = warnings_of(tmp_path, text.replace("    setup: Sit down.\n", ""))

    assert {"swap", "heavier"} <= set(roles)
    assert codes(found).count("screen-words") == len(roles)


def test_every_role_has_a_word_of_its_own() -> None:
    """Pages and the desk's timetable tell any two roles apart, and know each that a plan may use."""
    assert set(ROLES) == set(get_args(Role))
    assert len({page_words()(f"role.{role}") for role in ROLES}) == len(ROLES)
