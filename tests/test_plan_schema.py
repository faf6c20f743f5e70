"""The JSON Schema that editors use, held against the loader: jsonschema (draft 2020-12) is the referee."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from cuelane.base.errors import PlanError
from cuelane.plan.load import load_plan
from cuelane.plan.parse import Budget, parse
from cuelane.plan.schema import plan_schema
from cuelane.plan.source_text import Lines
from cuelane.plan.starter import PATTERNS, starter_plan
from cuelane.plan.tree import plain
from plan_text import FULL_PLAN
from test_plan_messages import CASES

DEMO = Path(__file__).parent.parent / "demo"
# What no schema can tell: it sees no files, no sums and no other part of the plan than the one it is in.
ONLY_LOADING_TELLS = {
    "language without words",
    "an exercise that is missing",
    "a list without brackets",
    "a rest of an exercise where none follows it",
    "a change towards an exercise that there is not",
    "no exercises at all",
    "side without sides",
    "unknown placeholder",
    "a stray brace",
    "a placeholder that is not closed",
    "a decimal comma in a list",
    "side in a say item",
    "rests of a ladder",
    "no rest left on the minute",
    "settle as long as work",
    "settle of an exercise",
    "halves too short",
    "intervals too short for the pips around them",
    "settle as long as a half",
    "a cue outside its interval",
    "a clip that is not there",
    "a clip outside",
    "a clip at the root",
    "settle as long as a script's interval",
    "include outside",
    "include at the root",
    "include from another drive",
    "include with backslashes",
    "include that is not there",
    "include that is no plan",
    "include of itself",
    "work over an hour",
    "work finer than a millisecond",
    "date outside the calendar",
    "a key twice",
    "an escaped control character",
}


def data_of(text: str) -> Any:
    return plain(parse(Lines("plan.yaml", text), Budget()))


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    return Draft202012Validator(plan_schema())


def test_the_schema_is_one(validator: Draft202012Validator) -> None:
    """The schema names its dialect and is valid in it; every key says what it is for."""
    schema = plan_schema()

    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)
    without = [
        f"{name}.{key}"
        for name, part in {"Plan": schema, **schema["$defs"]}.items()
        for key, body in part.get("properties", {}).items()
        if "description" not in body and key != "pattern"
    ]
    assert without == []


@pytest.mark.parametrize(
    "path", [*sorted(DEMO.rglob("*.yaml")), "every pattern"], ids=lambda path: Path(path).name
)
def test_the_schema_accepts_what_loads(path: Path | str, validator: Draft202012Validator) -> None:
    """Every demo, and a plan with every pattern and key, is valid."""
    text = path.read_text(encoding="utf-8") if isinstance(path, Path) else FULL_PLAN

    assert [error.message for error in validator.iter_errors(data_of(text))] == []


@pytest.mark.parametrize(
    "written", ["40S", "1Min 5Sec", "1M30S", "900MS", " 40 s ", "40 Seconds", "1 minute 5 secs"]
)
def test_units_in_capitals_are_valid(written: str, tmp_path: Path, validator: Draft202012Validator) -> None:
    """A duration loads in capitals or not; an editor must not call it wrong."""
    text = f"title: T\nsession:\n  - rest: '{written}'\n"
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    load_plan(tmp_path / "plan.yaml")
    assert [error.message for error in validator.iter_errors(data_of(text))] == []


def test_the_schema_refuses_what_it_can(validator: Draft202012Validator) -> None:
    """Of the bad plans, the schema passes only those whose fault lies outside what it can see."""
    passed = set()
    for name, (text, _) in CASES.items():
        try:
            data = data_of(text)
        except PlanError:
            continue
        if validator.is_valid(data):
            passed.add(name)

    assert passed == ONLY_LOADING_TELLS


@pytest.mark.parametrize("pattern", PATTERNS)
def test_starters_are_valid(pattern: str, validator: Draft202012Validator) -> None:
    """Each starter plan satisfies the schema that its first lines point to."""
    text = starter_plan(pattern, "My session")

    assert text.startswith("# yaml-language-server: $schema=plan.schema.json\n# $schema: plan.schema.json\n")
    assert [error.message for error in validator.iter_errors(data_of(text))] == []


LINES = FULL_PLAN.split("\n")


@settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    index=st.integers(0, len(LINES) - 2),
    value=st.sampled_from(
        ["0", "1", "2.5", "40s", "1:30", "squat", "[squat, lunge]", "[1s, 2s]", "false", "none", "left",
         "each", "{text: Go., rounds: odd}", "first", "[]", "{}", "2026-01-02", "1ms", "form", "rest"]
    ),
)  # fmt: skip
def test_whatever_loads_is_valid(
    tmp_path: Path, validator: Draft202012Validator, index: int, value: str
) -> None:
    """A plan with one value replaced at random is accepted by the schema if it loads."""
    key = LINES[index].split(":")[0]
    text = "\n".join([*LINES[:index], f"{key}: {value}", *LINES[index + 1 :]])
    path = tmp_path / "plan.yaml"
    path.write_text(text, encoding="utf-8")

    try:
        load_plan(path)
    except PlanError:
        return

    assert [error.message for error in validator.iter_errors(data_of(text))] == []
