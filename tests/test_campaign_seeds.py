"""What the plan campaign tries: its small plans hold every key of a plan, and its valid plans are valid."""

from __future__ import annotations

import json
import random
from pathlib import Path

import campaign_plans
import plan_makers
import plan_seeds
import pytest
from pydantic import Field, create_model

from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan


@pytest.fixture(scope="module")
def seeds(tmp_path_factory: pytest.TempPathFactory) -> list[LoadedPlan]:
    """All seeds, read: each is right as it stands."""
    folder = tmp_path_factory.mktemp("seeds")
    plan_seeds.put_beside(folder)
    loaded = []
    for number, text in enumerate(plan_seeds.SEEDS):
        path: Path = folder / f"{number}.yaml"
        path.write_text(text, encoding="utf-8")
        loaded.append(load_plan(path))
    return loaded


def test_every_key_of_a_plan_is_in_a_seed(seeds: list[LoadedPlan]) -> None:
    """A key added to the model and to no seed is named; it belongs into `tests/campaigns/plan_seeds.py`."""
    assert plan_seeds.missing_keys(seeds) == set()


def test_a_key_that_no_seed_has_is_named(seeds: list[LoadedPlan], monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a plan with one more key, and of plans without the first seed, whose keys are in no other."""
    wider = create_model("Plan", __base__=Plan, tempo_bpm=(int, Field(default=1)))
    monkeypatch.setattr(plan_seeds, "Plan", wider)
    assert plan_seeds.missing_keys(seeds) == {"Plan.tempo_bpm"}
    assert {"Plan.activity", "Plan.body_mass_kg"} <= plan_seeds.missing_keys(seeds[1:])


@pytest.mark.parametrize("pattern", ["circuit", "ladder", "on-the-minute", "flow", *plan_makers.BUILDS])
def test_the_campaign_leaves_each_side_time_after_settling(
    pattern: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The longest `settle` that it draws fits into half of the shortest work, for `sides: each`."""
    monkeypatch.setattr(plan_makers, "PATTERNS", [pattern])

    class Extreme(random.Random):
        """Draws the shortest of what begins at the shortest work, the longest of every other range."""

        def randint(self, a: int, b: int) -> int:
            return a if a == plan_makers.LEAST_WORK_MS else b

        def random(self) -> float:
            return 0.0

    block = plan_makers.valid_block(Extreme(1), ["squat"], 2)
    assert block["settle"] == f"{plan_makers.MOST_SETTLE_MS}ms"
    plan = {"title": "Tried", "session": [block], "exercises": {"squat": {"sides": "each"}}}
    path = tmp_path / "plan.yaml"
    path.write_text(json.dumps(plan), encoding="utf-8")
    assert load_plan(path).plan.session


def test_the_campaign_counts_a_refused_valid_plan_as_a_finding(tmp_path: Path) -> None:
    """A plan that is meant to be valid may not be refused; of a broken one that is the right answer."""
    path = tmp_path / "plan.yaml"
    path.write_text("title: x\n", encoding="utf-8")
    assert campaign_plans.try_plan(path, random.Random(1), valid=False) == "refused"
    with pytest.raises(AssertionError, match="a valid plan refused"):
        campaign_plans.try_plan(path, random.Random(1), valid=True)
