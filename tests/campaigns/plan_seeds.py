"""Small plans that hold every key of a plan between them: what the plan campaign breaks, quick to read.

`SEEDS` are right as they stand; `missing_keys` names what a key added to the plan has left them without.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import Plan

DEMO = Path(__file__).parents[2] / "demo"
INCLUDED = "title: Inner\nsession:\n- say: Begin.\n  lasts: 3s\n"

SEEDS = (
    """\
title: Head
language: en
voice: natural
author: A. Coach
date: 2026-05-31
description: All at the top.
activity: 02214
body_mass_kg: 70
allow: [no-warm-up]
cautions: none
closing: false
session:
- rest: 5s
""",
    """\
title: Room
pips: {count: 2, spacing: 500ms}
cautions: [Clear the floor.]
lead_in: 4s
calls: [10s, 5s]
coaching: full
praise: [Good., Strong.]
gap: 300ms
guard: 0.25
talk_share:
  work: 0.5
  rest: 0.8
closing: Done.
session:
- block: A
  pattern: flow
  work: 20s
  exercises: [squat]
exercises:
  squat:
""",
    """\
title: Circuit # one of two
even_sides: true
session:
- block: Main
  pattern: circuit
  work: 20s
  settle: 2s
  rest: 10s
  round_rest: 1m
  rounds: 2
  last_rest: true
  pips: false
  say: Two rounds.
  calls: 5s
  praise: [Good.]
  activity: "02214"
  exercises:
  - exercise: lunge
    work: 25s
    rest: 15s
    settle: 3s
exercises:
  lunge: {sides: alternate, first_side: right, settle: 4s, setup: "{side} leg back."}
""",
    """\
title: Build
session:
- block: B
  pattern: build-up-and-down
  work: 15
  rest: 1:05
  change: 5s
  last_rest: false
  exercises: [a, "b c"]
- include: inner.yaml
exercises:
  a: {work: 12s, rest: 8s, activity: 02214, sides: each}
  b c:
    sides: alternate
    change:
    - {text: "Then the {other_side}.", to: rest}
    - {text: "Turn round, {other_side} leg.", to: other side}
""",
    """\
title: Ladder
session:
- block: L
  pattern: ladder
  work: [15s, 20s]
  rest: [5s, 6s]
  round_rest: 9s
  last_rest: true
  exercises: a
- {block: M, pattern: on-the-minute, every: 40s, work: 25s, rounds: 2, exercises: a}
exercises:
  a: {remind: Again.}
  b: {}
variants:
  short: {title: Ladder in brief, pace: 0.9, rounds: 1, leave_out: b, swap: {b: a}, blocks: {M: {work: 20s}}}
""",
    """\
title: Breath
session:
- block: B
  pattern: breath
  inhale: 4s
  hold: 2s
  exhale: 6s
  hold_out: 1s
  cycles: 2
  spoken_cycles: 1
  explain: false
  caution: Breathe normally if you feel light-headed.
""",
    """\
title: Script
session:
- block: S
  pattern: script
  intervals:
  - kind: work
    length: 20s
    exercise: taps
    side: left
    round: 1
    settle: 2s
    countdown: false
    cues:
    - {at: 5s, text: Slow., role: form, must: false, clip: own.wav, allow: too-long}
  - {kind: rest, length: 10s}
exercises:
  taps:
""",
    """\
title: Words
session:
- {block: A, pattern: flow, work: 30s, change: 5s, rounds: 2, exercises: [squat]}
exercises:
  squat:
    needs: one dumbbell
    load: [quads, glutes]
    announce: Goblet squat.
    preview: Squat next.
    setup: Sit down between your heels.
    remind: Back to the squat.
    form:
    - Knees out.
    - text: Heels heavy.
      clip: own.wav
      rounds: [2, 3]
      from_round: 2
      weight: 50
      must: false
      at: 12s
      allow: too-long
""",
    """\
title: More words
session:
- {block: A, pattern: circuit, work: 40s, rest: 20s, rounds: 2, exercises: [hinge]}
- say: |
    That is
    all.
  lasts: 8s
exercises:
  hinge:
    easier: >-
      Use a
      chair.
    harder: 'Three seconds down.'
    swap: Leave it out.
    heavier: Take the heavy one.
    heavier_needs: [a heavy dumbbell]
    caution: "Stop if it \\"hurts\\"."
    praise: Strong.
    say: Halfway.
""",
    """\
title: Variants
session:
- {block: A, pattern: circuit, work: 40s, rest: 20s, round_rest: 30s, rounds: 2, exercises: [squat, lunge]}
- {block: B, pattern: breath, inhale: 4s, exhale: 6s, cycles: 4}
exercises:
  squat: {}
  lunge: {}
  sit: {}
variants:
  short:
    title: Short
    description: Half of it.
    language: en
    voice: system
    pace: 0.9
    pips: {count: 1}
    lead_in: 3s
    calls: [10s]
    coaching: spare
    praise: Good.
    talk_share: {work: 0.5}
    closing: false
  other:
    work: 30s
    rest: 15s
    round_rest: 20s
    change: 5s
    rounds: 1
    settle: 3s
    cycles: 2
    leave_out: [squat]
    swap: {lunge: sit}
    blocks: {A: {work: 20s, exercises: [lunge, sit]}}
""",
)


def put_beside(folder: Path) -> None:
    """Write into `folder` what the seeds name."""
    (folder / "inner.yaml").write_text(INCLUDED, encoding="utf-8")
    (folder / "own.wav").write_bytes(b"")


def demos() -> tuple[str, ...]:
    """Return the demos' text: long plans, as people write them."""
    return tuple(path.read_text(encoding="utf-8") for path in sorted(DEMO.glob("*.yaml")))


def missing_keys(loaded: list[LoadedPlan]) -> set[str]:
    """Return the keys of a plan that none of these plans writes, each with the model that declares it."""
    wanted = {(kind, key) for model in _models(Plan) for kind in model.__mro__ for key in _own(kind)}
    written = {
        (kind, key)
        for plan in loaded
        for part in _parts(plan.plan)
        for kind in type(part).__mro__
        for key in _own(kind)
        if key in part.model_fields_set
    }
    return {f"{kind.__name__}.{key}" for kind, key in wanted - written}


def _own(kind: type) -> set[str]:
    """Return the keys that a model itself declares, without those it has from another."""
    return set(getattr(kind, "model_fields", {})) & set(inspect.get_annotations(kind))


def _parts(value: Any) -> Iterator[Any]:
    if isinstance(value, BaseModel):
        yield value
        for key in type(value).model_fields:
            yield from _parts(getattr(value, key))
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _parts(inner)


def _models(kind: type[BaseModel]) -> set[type[BaseModel]]:
    """Return `kind` and every model that its keys can hold."""
    found: set[type[BaseModel]] = set()
    waiting: list[Any] = [kind]
    while waiting:
        here = waiting.pop()
        if isinstance(here, type) and issubclass(here, BaseModel):
            if here not in found:
                found.add(here)
                waiting += [field.annotation for field in here.model_fields.values()]
        else:
            waiting += getattr(here, "__args__", ())
    return found
