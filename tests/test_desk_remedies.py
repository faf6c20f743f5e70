"""Remedies at the desk: each button does away with what it stands beside, and hurts nothing else."""

from __future__ import annotations

from concurrent.futures import Future
from functools import cache
from pathlib import Path

import pytest

from cuelane.audio.store import ClipStore
from cuelane.desk.document import Document
from cuelane.desk.edits import Set, data_of
from cuelane.desk.longer import longer
from cuelane.desk.planning import Notice, Planner, PlanView
from cuelane.plan.load import load_plan
from cuelane.session.expand import expand

QUIET = "not say this again"

WORDS = """\
# a plan whose words are at odds
title: Legs
voice: system
session:
  - block: Main   # the only one
    pattern: circuit
    work: 30s
    rest: 25s
    rounds: 2
    exercises: [cup squat, lunge]
exercises:
  cup squat:
    preview: Box squat. Feet apart.
    setup: Cup squat. Sit down slowly.     # twice its name
    form:
      - {text: Knees out. Heels heavy., weight: 30}
      - Don't rush. Take your time.
      - As you can see here on the screen.
  lunge:
    sides: alternate
    setup: Left foot goes back, 3 x 10 cm.
    form: Squeeze your glutes.
    change: Stay down on your back.
cautions: none
allow: [nothing-such]
"""


def planned(folder: Path, text: str) -> PlanView:
    return planner_of(folder).plan_now(text)


@cache
def planner_of(folder: Path) -> Planner:
    return Planner(folder / "plan.yaml", ClipStore(), Future())


def left(view: PlanView, finding: Notice) -> list[Notice]:
    """Return what is still said of the kind that a finding was, about its exercise or its line."""
    return [
        row
        for row in view.findings
        if (row.level, row.code) == (finding.level, finding.code) and row.message == finding.message
    ]


def pressed(folder: Path, text: str, finding: Notice, label: str) -> PlanView:
    """Return the view after a button was pressed; the step is taken back and made again on the way."""
    path = folder / "pressed.yaml"
    path.write_text(text, encoding="utf-8")
    document = Document(path)
    fix = next(fix for fix in finding.fixes if fix.label == label)
    made = document.edit(fix.edits, what=fix.label, number=1)
    assert document.undo().text == text, "one step back is the plan as it was, byte for byte"
    assert document.redo().text == made.text
    view = planned(folder, made.text)
    assert view.schedule is not None, [row.message for row in view.findings]
    return view


def test_every_button_beside_a_warning_does_away_with_it(tmp_path: Path) -> None:
    """Each warning of the plan has a way out that is more than keeping quiet."""
    found = planned(tmp_path, WORDS).findings
    codes = {row.code for row in found if row.level == "warning"}
    assert codes >= {"two-names", "name-twice", "two-things", "not-first", "screen-words", "side-by-hand",
                     "not-words", "inside-aim", "stay-down", "no-cautions", "unknown-warning"}  # fmt: skip
    for finding in found:
        assert finding.place, finding.code
        assert finding.fixes, finding.code
        assert [fix for fix in finding.fixes if QUIET not in fix.label], finding.code
        for fix in finding.fixes:
            after = pressed(tmp_path, WORDS, finding, fix.label)
            before = sum(row.message == finding.message for row in found)
            assert len(left(after, finding)) == before - 1, (finding.code, fix.label)
            assert after.text.startswith("# a plan whose words are at odds\n")
            assert "# the only one" in after.text


@pytest.mark.parametrize("weight", ["", ", weight: 50"])
def test_a_line_at_a_place_where_it_does_not_fit_is_freed_by_a_button(weight: str, tmp_path: Path) -> None:
    """Moved over the pips, it need not be taken out: it finds its own place again, its other wishes kept."""
    text = WORDS.replace("Squeeze your glutes.", f"{{text: Press the floor away., at: 29s{weight}}}")
    (finding,) = (row for row in planned(tmp_path, text).findings if row.code == "too-long")
    assert [fix.label for fix in finding.fixes][:2] == ["Let it find its own place", "Take this line out"]
    after = pressed(tmp_path, text, finding, "Let it find its own place")
    assert left(after, finding) == []
    line = data_of(after.text)["exercises"]["lunge"]["form"]
    assert line == ({"text": "Press the floor away.", "weight": 50} if weight else "Press the floor away.")
    assert after.schedule is not None
    assert "Press the floor away." in [cue.text for cue in after.schedule.cues]


def test_what_the_buttons_write(tmp_path: Path) -> None:
    """The new words themselves, for a few: with the wishes of the line they came from."""
    found = {row.code: row for row in reversed(planned(tmp_path, WORDS).findings)}

    def first(code: str, nth: int = 0) -> dict[str, dict[str, object]]:
        label = found[code].fixes[nth].label
        return data_of(pressed(tmp_path, WORDS, found[code], label).text)["exercises"]

    assert first("two-names")["cup squat"]["preview"] == "Cup squat. Feet apart."
    assert first("name-twice")["cup squat"]["setup"] == "Sit down slowly."
    form = first("two-things")["cup squat"]["form"]
    assert isinstance(form, list)
    assert form[:2] == [{"text": "Knees out.", "weight": 30}, {"text": "Heels heavy.", "weight": 30}]
    assert first("side-by-hand")["lunge"]["setup"] == "{side} foot goes back, 3 x 10 cm."
    assert first("side-by-hand", 1)["lunge"]["setup"] == "{other_side} foot goes back, 3 x 10 cm."
    assert first("not-words")["lunge"]["setup"] == "Left foot goes back, three times ten centimeters."


def test_a_line_that_is_meant_so_does_not_silence_the_others(tmp_path: Path) -> None:
    """Two lines point at a picture; keeping one leaves the warning about the other."""
    second = "      - Watch how my hips move here.\n"
    text = WORDS.replace("  lunge:\n", f"{second}  lunge:\n")
    rows = [row for row in planned(tmp_path, text).findings if row.code == "screen-words"]
    assert len(rows) == 2
    label = next(fix.label for fix in rows[0].fixes if QUIET in fix.label)
    after = pressed(tmp_path, text, rows[0], label)
    assert [row.message for row in after.findings if row.code == "screen-words"] == [rows[1].message]


LONG = (
    "Weight at your chest, elbows under it, feet just outside your hips, toes a little out, eyes on the far"
    " wall, and then sit down slowly between your heels."
)
BLOCKS = {
    "circuit": "work: 12s\n    rest: 8s\n    exercises: [a, squat]",
    "own time": "work: 40s\n    rest: 8s\n    exercises: [a, {exercise: squat, work: 12s}]",
    "build-up": "work: 12s\n    change: 4s\n    exercises: [a, squat]",
    "ladder": "work: [40s, 12s]\n    rest: 8s\n    exercises: [a, squat]",
    "on-the-minute": "every: 14s\n    work: 12s\n    exercises: [a, squat]",
    "flow": "work: 12s\n    exercises: [a, squat]",
}


@pytest.mark.parametrize("kind", BLOCKS)
def test_every_button_beside_a_misfit_makes_it_fit(tmp_path: Path, kind: str) -> None:
    """Longer, in the rest before, or only if there is room: whichever is pressed, the misfit is gone."""
    pattern = {"own time": "circuit"}.get(kind, kind)
    line = f"remind: {{text: '{LONG}', must: true}}" if kind == "ladder" else f"setup: {LONG}"
    text = (
        "title: Too much\nvoice: system\ncautions: none\nsession:\n  - block: Legs\n"
        f"    pattern: {pattern}\n    {BLOCKS[kind]}\nexercises:\n  a: {{}}\n  squat:\n    {line}\n"
    )
    misfits = [row for row in planned(tmp_path, text).findings if row.level == "misfit"]
    assert misfits
    for finding in misfits:
        assert finding.place[:2] == ("exercises", "squat")
        labels = [fix.label for fix in finding.fixes]
        assert any("longer" in label for label in labels), labels
        for label in labels:
            after = pressed(tmp_path, text, finding, label)
            still = [row.message for row in after.findings if row.level == "misfit"]
            # What follows in brackets are the times, which may have changed.
            assert finding.message.partition(" (")[0] not in [row.partition(" (")[0] for row in still], label


def test_a_long_session_is_given_its_ends_by_a_button(tmp_path: Path) -> None:
    """No block is named as a warm-up or a cool-down in 24 minutes: the first and the last block can be."""
    text = (
        "title: T\nvoice: system\nsession:\n"
        "  - {block: Stairs, pattern: circuit, work: 12m, exercises: [a]}\n"
        "  - say: Well done.\n  - {block: Rope, pattern: circuit, work: 12m, exercises: [a]}\n"
        "exercises:\n  a: {}\n"
    )
    ends = [row for row in planned(tmp_path, text).findings if row.code in ("no-warm-up", "no-cool-down")]
    assert len(ends) == 2
    for finding in ends:
        assert left(pressed(tmp_path, text, finding, finding.fixes[0].label), finding) == []


def test_uneven_sides_are_evened_by_a_button(tmp_path: Path) -> None:
    """Three sets that alternate leave one side with one more."""
    text = (
        "title: T\nvoice: system\nsession:\n  - {block: B, pattern: circuit, work: 40s, rounds: 3,"
        " exercises: [step]}\nexercises:\n  step: {sides: alternate}\n"
    )
    (finding,) = [row for row in planned(tmp_path, text).findings if row.code == "uneven-sides"]
    assert finding.place == ("exercises", "step")
    assert left(pressed(tmp_path, text, finding, finding.fixes[0].label), finding) == []


def test_a_set_with_too_many_words_is_thinned_by_a_button(tmp_path: Path) -> None:
    """40 words in 20 s are too many; most of them can be said in the rest before."""
    setup = f"Feet apart. {'Sit down slowly and stand up again. ' * 5}".strip()
    text = (
        "title: T\nvoice: system\nsession:\n"
        "  - {block: B, pattern: circuit, work: 20s, rest: 20s, exercises: [a, squat]}\n"
        f"exercises:\n  a: {{}}\n  squat:\n    setup: {setup}\n"
    )
    (finding,) = [row for row in planned(tmp_path, text).findings if row.code == "too-dense"]
    after = pressed(tmp_path, text, finding, finding.fixes[0].label)
    assert left(after, finding) == []
    squat = data_of(after.text)["exercises"]["squat"]
    assert squat["setup"] == "Feet apart."
    assert squat["preview"].startswith("Sit down slowly")


@pytest.mark.parametrize("listed", ["[press]", "press"])
def test_an_exercise_that_no_block_does_is_put_into_one_or_taken_out(tmp_path: Path, listed: str) -> None:
    """Into each block that does exercises; who has just added it sees why it is in no timetable."""
    text = (
        "title: T\nvoice: system\ncautions: standard\nsession:\n"
        f"  - {{block: Legs, pattern: circuit, work: 40s, exercises: {listed}}}\n"
        "  - {block: Calm, pattern: breath, inhale: 4s, exhale: 4s, cycles: 3}\n"
        "exercises:\n  press: {}\n  row: {}\n"
    )
    (finding,) = [row for row in planned(tmp_path, text).findings if row.level == "warning"]
    assert (finding.place, finding.code) == (("exercises", "row"), "not-done")
    labels = [fix.label for fix in finding.fixes]
    assert labels[:2] == ["Do “row” in “Legs” too", "Take “row” out of the exercises"]
    for label in labels:
        assert pressed(tmp_path, text, finding, label).findings == (), label


@pytest.mark.parametrize("entry", ["rwo", "{exercise: rwo, work: 20s}"])
def test_an_exercise_that_is_not_there_is_found_added_or_taken_out(tmp_path: Path, entry: str) -> None:
    """A slip of the pen, one that is still to be written, or one too many."""
    text = (
        "title: T\nvoice: system\ncautions: standard\nsession:\n"
        f"  - {{block: B, pattern: circuit, work: 40s, exercises: [press, row, {entry}]}}\n"
        "exercises:\n  press: {}\n  row: {}\n"
    )
    (finding,) = planned(tmp_path, text).findings
    assert [fix.label for fix in finding.fixes] == [
        "Use “row”", "Add an exercise “rwo”", "Take “rwo” out of the block"
    ]  # fmt: skip
    for fix in finding.fixes:
        assert pressed(tmp_path, text, finding, fix.label).findings == ()


@pytest.mark.parametrize("inner", ["inner.yaml", "more/plan.yaml"])
def test_what_stands_in_another_file_has_no_button(inner: str, tmp_path: Path) -> None:
    """The desk edits one plan; a warning about an included one says where it is, also one of its own name."""
    (tmp_path / inner).parent.mkdir(exist_ok=True)
    (tmp_path / inner).write_text(WORDS, encoding="utf-8")
    text = f"title: Outer\nvoice: system\nsession:\n  - include: {inner}\n"
    view = planned(tmp_path, text)
    rows = [row for row in view.findings if row.code == "screen-words"]
    assert rows
    for row in rows:
        assert f"{Path(inner)}, line " in str(row.file)
        assert (row.fixes, row.place) == ((), ())
    assert view.places == {}


def test_a_line_is_moved_to_the_rest_before_only_if_it_fits_as_it_is_said_there(tmp_path: Path) -> None:
    """A preview is said after the name of what comes, which takes time of its own; other wishes stay."""
    offered = 0
    for rest in range(9, 25, 1):
        text = (
            "title: T\nvoice: system\ncautions: none\nsession:\n  - block: Legs\n    pattern: circuit\n"
            f"    work: 8s\n    rest: {rest}s\n    exercises: [a, squat]\nexercises:\n  a: {{}}\n  squat:\n"
            f"    setup: {{text: '{LONG}', must: true, allow: too-long}}\n"
        )
        for finding in planned(tmp_path, text).findings:
            for fix in finding.fixes if finding.level == "misfit" else ():
                if "rest before" in fix.label:
                    offered += 1
                    after = pressed(tmp_path, text, finding, fix.label)
                    assert [row.message for row in after.findings if row.level == "misfit"] == [], rest
                    squat = data_of(after.text)["exercises"]["squat"]
                    assert squat["preview"] == {"text": LONG, "must": True, "allow": "too-long"}
    assert offered


ROUND = "title: T\nsession:\n  - block: B\n    pattern: circuit\n    work: 40s\n    rounds: 2\n"


@pytest.mark.parametrize(
    ("block", "kind", "nth", "place"),
    [
        ("exercises: [{exercise: a, work: 30s}, b, {exercise: a, work: 30s}]", "work", 0, 0),
        ("exercises: [{exercise: a, work: 30s}, b, {exercise: a, work: 30s}]", "work", 2, 2),
        ("exercises: [{exercise: a, work: 40s}, b]", "work", 1, None),
    ],
)
def test_the_set_that_is_made_longer_is_the_one_meant(
    block: str, kind: str, nth: int, place: int | None, tmp_path: Path
) -> None:
    """Where two lengths are the same, it is the place in the round that counts."""
    text = f"{ROUND}    {block}\nexercises:\n  a: {{}}\n  b: {{}}\n"
    (edit,) = made_longer(tmp_path, text, kind, nth)
    wanted = ("work",) if place is None else ("exercises", place, "work")
    assert edit.path == ("session", 0, *wanted)


@pytest.mark.parametrize(("nth", "key"), [(0, "rest"), (1, "round_rest"), (2, "rest")])
def test_the_rest_that_is_made_longer_is_the_one_meant(nth: int, key: str, tmp_path: Path) -> None:
    """The rest between rounds is not that between sets, though both are of 20 s."""
    block = "rest: 20s\n    round_rest: 20s\n    exercises: [a, b]"
    text = f"{ROUND}    {block}\nexercises:\n  a: {{}}\n  b: {{}}\n"
    (edit,) = made_longer(tmp_path, text, "rest", nth)
    assert edit == Set(("session", 0, key), "25s")


def made_longer(folder: Path, text: str, kind: str, nth: int) -> tuple[Set, ...]:
    """Return the edits that make the nth interval of a kind five seconds longer."""
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    loaded = load_plan(path)
    intervals = expand(loaded).intervals
    index = [one.index for one in intervals if one.kind == kind][nth]
    edits = longer(loaded, data_of(text), intervals, index, 5)
    return tuple(edit for edit in edits if isinstance(edit, Set))


def test_a_line_at_a_time_is_not_made_two_at_that_time(tmp_path: Path) -> None:
    """Of two lines at one time one would be dropped."""
    text = WORDS.replace(
        "{text: Knees out. Heels heavy., weight: 30}", "{text: Knees out. Heels heavy., at: 20s}"
    )
    rows = [row for row in planned(tmp_path, text).findings if row.code == "two-things"]
    assert len(rows) == 2
    timed = next(row for row in rows if row.place[-1] in (0, "text") and 0 in row.place)
    for fix in timed.fixes:
        assert len(fix.edits) == 1, fix.label


def test_uneven_sides_are_found_in_a_language_with_a_space_before_the_colon(tmp_path: Path) -> None:
    """The exercise is known from the facts, not read out of words that a language puts its own way."""
    text = (
        "title: T\nlanguage: fr\nvoice: system\nsession:\n"
        "  - {block: B, pattern: circuit, work: 40s, rounds: 3, exercises: [step]}\n"
        "exercises:\n  step: {sides: alternate}\n"
    )
    (finding,) = [row for row in planned(tmp_path, text).findings if row.code == "uneven-sides"]
    assert finding.place == ("exercises", "step")
    assert left(pressed(tmp_path, text, finding, finding.fixes[0].label), finding) == []


def test_an_abbreviation_ends_no_sentence_of_a_set_up_that_is_thinned(tmp_path: Path) -> None:
    """What stays is a whole sentence."""
    setup = f"Go down approx. ten times. {'Sit down slowly and stand up again. ' * 5}".strip()
    text = (
        "title: T\nvoice: system\nsession:\n"
        "  - {block: B, pattern: circuit, work: 20s, rest: 20s, exercises: [a, squat]}\n"
        f"exercises:\n  a: {{}}\n  squat:\n    setup: {setup}\n"
    )
    (finding,) = [row for row in planned(tmp_path, text).findings if row.code == "too-dense"]
    squat = data_of(pressed(tmp_path, text, finding, finding.fixes[0].label).text)["exercises"]["squat"]
    assert squat["setup"] == "Go down approx. ten times."
