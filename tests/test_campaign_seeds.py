"""The small plans that the plan campaign breaks hold every key of a plan, so that no new one goes untried."""

from __future__ import annotations

from pathlib import Path

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
