"""A variant is the plan that a person would have written by hand with its changes, and is checked as such."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.base.errors import PlanError
from cuelane.cli.app import run
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.series import load_series
from cuelane.plan.variants import Chosen
from cuelane.render.run import prepare

PLAN = """\
title: Slipway
voice: system
session:
  - block: Warm-up
    pattern: flow
    work: 30s
    exercises: [march]
  - block: Legs
    pattern: circuit
    work: 40s
    rest: 20s
    rounds: 3
    exercises: [squat, {exercise: lunge, work: 50s}]
exercises:
  march: {setup: March.}
  squat: {setup: Sit down.}
  lunge: {setup: Step back., work: 45s}
"""


def loaded(folder: Path, text: str, variant: str | None = None) -> LoadedPlan:
    """Return the plan written in `text`, or a variant of it."""
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    return load_plan(path, variant=None if variant is None else Chosen(variant))


def by_hand(folder: Path, *changes: tuple[str, str]) -> LoadedPlan:
    """Return the plan with each text replaced by another, as a person would in an editor."""
    text = PLAN
    for was, now in changes:
        assert text.count(was) == 1
        text = text.replace(was, now)
    return loaded(folder, text)


@pytest.mark.parametrize(
    ("variant", "changes"),
    [
        ("rounds: 2", [("rounds: 3", "rounds: 2")]),
        ("work: 25s", [("work: 30s", "work: 25s"), ("work: 40s", "work: 25s")]),
        ("rest: 5s", [("rest: 20s", "rest: 5s")]),
        ("title: Slipway in brief", [("title: Slipway", "title: Slipway in brief")]),
        ("coaching: spare", [("voice: system", "voice: system\ncoaching: spare")]),
        ("voice: natural", [("voice: system", "voice: natural")]),
        ("pips: false", [("voice: system", "voice: system\npips: false")]),
        ("leave_out: lunge", [(", {exercise: lunge, work: 50s}", "")]),
        ("swap: {lunge: march}", [("exercise: lunge", "exercise: march")]),
        ("swap: {squat: march, march: squat}", [("[squat,", "[march,"), ("[march]", "[squat]")]),
        ("blocks: {Legs: {work: 20s, last_rest: true}}", [("work: 40s", "work: 20s\n    last_rest: true")]),
        ("blocks: {Warm-up: {exercises: [squat]}}", [("[march]", "[squat]")]),
        ("rounds: 1, blocks: {Legs: {rounds: 5}}", [("rounds: 3", "rounds: 5")]),
    ],
)
def test_a_variant_is_the_plan_written_by_hand(
    tmp_path: Path, variant: str, changes: list[tuple[str, str]]
) -> None:
    """The same session, exercises and keys come out; keys that a block does not give stay away from it."""
    made = loaded(tmp_path, f"{PLAN}variants: {{other: {{{variant}}}}}\n", "other")
    wanted = by_hand(tmp_path, *changes)
    assert made.variant == "other"
    assert made.plan.model_dump(exclude={"variants"}) == wanted.plan.model_dump(exclude={"variants"})


@given(rounds=st.integers(1, 100), work_ms=st.integers(200, 3_600_000))
def test_the_plan_itself_stays_as_it_is(
    tmp_path_factory: pytest.TempPathFactory, rounds: int, work_ms: int
) -> None:
    """Whatever a variant says, loading the plan without it gives the plan."""
    folder = tmp_path_factory.mktemp("plan")
    text = f"{PLAN}variants: {{other: {{rounds: {rounds}, blocks: {{Legs: {{work: {work_ms}ms}}}}}}}}\n"
    plain = loaded(folder, text)
    assert plain.plan.model_dump(exclude={"variants"}) == by_hand(folder).plan.model_dump(
        exclude={"variants"}
    )
    assert plain.variant is None


def test_a_pace_that_is_asked_for_counts_before_the_variants(tmp_path: Path) -> None:
    """The usual pace too, which was once taken for none."""
    path = tmp_path / "plan.yaml"
    path.write_text(f"{PLAN}variants: {{calm: {{pace: 0.9}}}}\n", encoding="utf-8")
    calm = Chosen("calm")
    paces = {
        asked: prepare(path, variant=calm, pace=asked, speak=False).pace for asked in (None, 1.0, 0.85, 1.1)
    }
    assert paces == {None: 0.9, 1.0: 1.0, 0.85: 0.85, 1.1: 1.1}
    assert prepare(path, speak=False).pace == 1.0


def test_the_pace_goes_with_the_variant(tmp_path: Path) -> None:
    """It is no key of the plan: it is how fast the voice speaks."""
    text = f"{PLAN}variants: {{calm: {{pace: 0.9}}, usual: {{rounds: 2}}}}\n"
    assert loaded(tmp_path, text, "calm").pace == 0.9
    assert loaded(tmp_path, text, "usual").pace == 1.0


@pytest.mark.parametrize(
    ("variants", "message"),
    [
        ("{short: {roundz: 2}}", "unknown key 'roundz' in a variant"),
        ("{short: {rounds: 0}}", "rounds: expected a number from 1 to 100, but got 0"),
        ("{short: {leave_out: lung}}", "variant 'short': leave_out: there is no exercise 'lung'"),
        ("{short: {swap: {squat: lung}}}", "variant 'short': swap: there is no exercise 'lung'"),
        ("{short: {blocks: {Leg: {work: 3s}}}}", "variant 'short': blocks: there is no block 'Leg'"),
        ("[short]", "variants: expected"),
        ("{plain: {rounds: 2}}", "a variant cannot be called 'plain', which stands for the plan as it is"),
        ("{short: {blocks: {Legs: {block: Knees}}}}", "variant 'short': blocks: a block keeps its title"),
    ],
)
def test_a_wrong_variant_is_told_whenever_the_plan_is_read(
    tmp_path: Path, variants: str, message: str
) -> None:
    """With its place, and with the nearest name where there is one."""
    with pytest.raises(PlanError) as caught:
        loaded(tmp_path, f"{PLAN}variants: {variants}\n")
    assert message in str(caught.value)
    assert caught.value.problems[0].mark.line == 18


@pytest.mark.parametrize(
    ("variant", "message"),
    [
        ("blocks: {Legs: {work: 5h}}", "work: expected a duration of at most 1 hour, but got '5h'"),
        ("blocks: {Legs: {wrok: 5s}}", "unknown key 'wrok' in a block of pattern circuit"),
        ("leave_out: march", "leave_out: this leaves block 'Warm-up' with no exercise"),
        ("language: xx", "language: "),
    ],
)
def test_a_variant_is_checked_as_a_plan(tmp_path: Path, variant: str, message: str) -> None:
    """What only shows in the plan that it makes points to the variant that makes it."""
    text = f"{PLAN}variants:\n  short: {{{variant}}}\n"
    loaded(tmp_path, text)
    with pytest.raises(PlanError) as caught:
        loaded(tmp_path, text, "short")
    assert message in str(caught.value)
    assert caught.value.problems[0].mark.line == 19


def test_a_variant_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """With those that are there, or that there are none."""
    with pytest.raises(PlanError, match=r"no variant 'shorter'\n.*did you mean 'short'"):
        loaded(tmp_path, f"{PLAN}variants: {{short: {{rounds: 2}}}}\n", "shorter")
    with pytest.raises(PlanError, match="it has none"):
        loaded(tmp_path, PLAN, "short")


def test_the_schedule_lists_them_and_shows_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Names and what each changes; with --variant, the session that it makes."""
    path = tmp_path / "plan.yaml"
    path.write_text(f"{PLAN}variants:\n  short: {{title: Slipway in brief, rounds: 1}}\n", encoding="utf-8")
    run(["schedule", str(path), "--estimate", "--brief"])
    plain = capsys.readouterr().out
    run(["schedule", str(path), "--estimate", "--brief", "--variant", "short"])
    short = capsys.readouterr().out
    assert "short: changes title, rounds\n" in plain
    assert plain.startswith("Slipway\n")
    assert short.startswith("Slipway in brief\n")
    assert "short: changes title, rounds (this one)" in short
    assert plain.count("squat  (round") == 3
    assert short.count("squat") < plain.count("squat")


def test_a_series_in_another_folder_names_no_recording(tmp_path: Path) -> None:
    """A recording lies beside the file that names it: a series elsewhere is refused, with the place."""
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans" / "bye.wav").write_bytes(b"sound")
    path = tmp_path / "series.yaml"
    text = "title: S\nplans: [plans/plan.yaml]\nvariants:\n  loud: {closing: {text: Bye., clip: bye.wav}}\n"
    path.write_text(text, encoding="utf-8")
    (tmp_path / "plans" / "plan.yaml").write_text(PLAN, encoding="utf-8")
    series = load_series(path)

    with pytest.raises(PlanError, match=r"series\.yaml:4:\d+: clip: a series in another folder"):
        load_plan(series.plans[0], variant=series.variants[0])
    # Beside the plan it is the same file for both.
    beside = tmp_path / "plans" / "series.yaml"
    beside.write_text(text.replace("plans/", ""), encoding="utf-8")
    series = load_series(beside)
    closing = load_plan(series.plans[0], variant=series.variants[0]).plan.closing
    assert isinstance(closing, list)
    assert closing[0].clip == "bye.wav"
