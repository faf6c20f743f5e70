"""Tries plans by the thousand, broken and valid, and checks every schedule by rules written a second time.

Run: ``python tests/campaigns/campaign_plans.py [bytes|tokens|trees|valid] [how many] [first seed]``. Each
plan has a seed of its own; a finding prints its seed and leaves the plan beside the system's temporary files.
Lengths of clips are drawn, not spoken. Answers allowed: a session, or, of a broken plan, a PlanError (exit
code 2); never another exception, never more than 10 s of processor time. Of a plan with variants
each is made as often as the plan itself. What is broken are the small plans of `plan_seeds.py`, which hold
every key between them, and now and then a demo (`plan_makers.py`).
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

from plan_makers import MAKERS
from plan_seeds import SEEDS, missing_keys, put_beside
from schedule_rules import check_schedule

from cuelane.base.errors import PlanError
from cuelane.base.schedule import from_json, to_json
from cuelane.facts import facts
from cuelane.lint import lint
from cuelane.plan.load import load_plan
from cuelane.plan.variants import Chosen
from cuelane.session.arrange import Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.remedies import advise

MOST_S = 10.0
LARGE = 400
AGAIN_SHARE = 0.1


def try_plan(path: Path, rng: random.Random, *, valid: bool) -> str:
    try:
        loaded = load_plan(path, voices=lambda _: ["natural", "system"])
        names = [None, *loaded.plan.variants]
        if (name := rng.choice(names)) is not None:
            loaded = load_plan(path, voices=lambda _: ["natural", "system"], variant=Chosen(name))
    except PlanError as error:
        if not all(problem.mark.line >= 1 and problem.message for problem in error.problems):
            raise AssertionError("a problem without a place or words") from error
        if valid:
            raise AssertionError(f"a valid plan refused: {error.problems[0].message}") from error
        return "refused"
    session = expand(loaded)
    if len(session.intervals) > LARGE:
        return "large"
    rate, pace = rng.choice([48_000, 44_100, 22_050]), rng.uniform(0.1, 0.5)

    def voice(candidate: Candidate) -> Sounding:
        return Sounding(max(1, int(rate * pace * (0.3 + len(candidate.text.split())))))

    result = arrange(session, voice, rate)
    check_schedule(session, result, rate)
    if rng.random() < AGAIN_SHARE:
        assert arrange(session, voice, rate).schedule == result.schedule, "not the same again"
    assert from_json(to_json(result.schedule)).events == result.schedule.events
    facts(session, result.schedule)
    lint(loaded, session, lambda text: pace * len(text.split()))
    advise(result.misfits[:3], rate)
    return "misfit" if result.misfits else "placed"


def seeds_are_whole() -> None:
    """Stop the campaign where a seed is no plan, or a key of the plan is in none of them."""
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "plan.yaml"
        put_beside(path.parent)
        loaded = []
        for text in SEEDS:
            path.write_text(text, encoding="utf-8")
            loaded.append(load_plan(path))
    missing = missing_keys(loaded)
    assert not missing, f"in no seed: {missing}"


def campaign(kind: str, plans: int, seed: int) -> int:
    """Try so many plans of one kind and print what came; return the number of findings."""
    folder = Path(tempfile.mkdtemp(prefix="plans-"))
    put_beside(folder)
    answers: Counter[str] = Counter()
    findings = 0
    slowest = (0.0, seed)
    first, begun_s = seed, time.process_time()
    for seed in range(first, first + plans):
        rng = random.Random(seed)
        path = folder / "plan.yaml"
        path.write_bytes(MAKERS[kind](rng))
        started = time.thread_time()
        try:
            answers[try_plan(path, rng, valid=kind == "valid")] += 1
        except Exception as error:
            findings += 1
            path.rename(folder / f"{seed}.yaml")
            what = traceback.extract_tb(error.__traceback__)[-1]
            print(
                f"{kind} seed {seed}: {type(error).__name__}: {str(error)[:100]} ({what.name}) in {folder}",
                flush=True,
            )
        took = time.thread_time() - started
        slowest = max(slowest, (took, seed))
        if took > MOST_S:
            findings += 1
            print(f"{kind} seed {seed}: took {took:.1f} s of processor time", flush=True)
    print(
        f"{kind}: {plans:,} plans from seed {first} in {time.process_time() - begun_s:.0f} s, "
        f"{findings} findings, {dict(answers)}, slowest {slowest[0]:.2f} s (seed {slowest[1]})",
        flush=True,
    )
    return findings


if __name__ == "__main__":
    kinds = [sys.argv[1]] if len(sys.argv) > 1 else list(MAKERS)
    how_many = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000
    begin = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    seeds_are_whole()
    sys.exit(1 if sum(campaign(one, how_many, begin) for one in kinds) else 0)
