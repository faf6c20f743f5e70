"""What each pattern does: a block to its intervals, in order, with lengths but no places in time.

=================== ===============================================================================
circuit             every exercise, `rounds` times; rest after each, round rest between rounds
build-up            round k holds the first k of n exercises: n(n+1)/2 sets
build-up-and-down   up to all n and back, the top round once: n**2 sets
build-down          all n, then one fewer each round: n(n+1)/2 sets
ladder              a circuit with one work time for each round
on-the-minute       work starts every `every`; what is left of it is rest
flow                one movement after another, no rest
breath              in, hold, out, hold out
script              explicit intervals
=================== ===============================================================================

In the build patterns a round is unbroken and `rest` comes between rounds: four exercises at 50 s with 40 s
make 10 sets and 10 min 20 s. There is no rest after a block's last set unless `last_rest` asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.plan.model import (
    Breath,
    Build,
    Circuit,
    Entry,
    Exercise,
    ExerciseBlock,
    Flow,
    Ladder,
    OnTheMinute,
    PatternBlock,
    Plan,
    Script,
)

NOT_AN_EXERCISE = Exercise()


@dataclass(frozen=True)
class Draft:
    """An interval before it has a place in time."""

    kind: str
    length_ms: int
    round: int | None = None
    rounds: int | None = None
    exercise: str | None = None
    settle_ms: int = 0
    fields: tuple[tuple[str, object], ...] = ()


def drafts_of(plan: Plan, block: PatternBlock) -> list[Draft]:
    """Return the intervals of `block`, in order."""
    if isinstance(block, Script):
        return _script(block)
    if isinstance(block, Breath):
        return _breath(block)
    if isinstance(block, OnTheMinute):
        return _on_the_minute(plan, block)
    if isinstance(block, Build):
        return _build(plan, block)
    if isinstance(block, Flow):
        return _flow(plan, block)
    return _circuit(plan, block)


def _own(entry: Entry, plan: Plan, key: str, otherwise: int) -> int:
    """Return `key` as the entry says it, else as the exercise does, else as the block does."""
    spec = plan.exercises.get(entry.exercise, NOT_AN_EXERCISE)
    for source in (entry, spec):
        value: int | None = getattr(source, key)
        if value is not None:
            return value
    return otherwise


def _work(
    plan: Plan,
    block: ExerciseBlock,
    entry: Entry,
    work_ms: int,
    number: int,
    rounds: int,
) -> Draft:
    settle_ms = _own(entry, plan, "settle", block.settle)
    return Draft("work", _own(entry, plan, "work", work_ms), number, rounds, entry.exercise, settle_ms)


def _circuit(plan: Plan, block: Circuit | Ladder) -> list[Draft]:
    if isinstance(block, Ladder):
        works = block.work
        rests = block.rest if len(block.rest) > 1 else block.rest * len(works)
    else:
        works, rests = [block.work] * block.rounds, [block.rest] * block.rounds
    rounds = len(works)
    drafts: list[Draft] = []
    for number, (work_ms, rest_ms) in enumerate(zip(works, rests, strict=True), 1):
        for place, entry in enumerate(block.exercises, 1):
            drafts.append(_work(plan, block, entry, work_ms, number, rounds))
            after_ms = _own(entry, plan, "rest", rest_ms)
            if place == len(block.exercises):
                if number == rounds and not block.last_rest:
                    continue
                if block.round_rest is not None and number < rounds:
                    after_ms = block.round_rest
            if after_ms:
                drafts.append(Draft("rest", after_ms, number, rounds))
    return drafts


def _build(plan: Plan, block: Build) -> list[Draft]:
    n_exercises = len(block.exercises)
    up, down = list(range(1, n_exercises + 1)), list(range(n_exercises, 0, -1))
    sizes = {"build-up": up, "build-down": down, "build-up-and-down": up + down[1:]}[block.pattern]
    drafts: list[Draft] = []
    for number, size in enumerate(sizes, 1):
        for place, entry in enumerate(block.exercises[:size], 1):
            drafts.append(_work(plan, block, entry, block.work, number, len(sizes)))
            if place < size and block.change:
                drafts.append(Draft("change", block.change, number, len(sizes)))
        if block.rest and (number < len(sizes) or block.last_rest):
            drafts.append(Draft("rest", block.rest, number, len(sizes)))
    return drafts


def _on_the_minute(plan: Plan, block: OnTheMinute) -> list[Draft]:
    drafts: list[Draft] = []
    for number in range(1, block.rounds + 1):
        for entry in block.exercises:
            work = _work(plan, block, entry, block.work, number, block.rounds)
            drafts.append(work)
            if work.length_ms < block.every:
                drafts.append(Draft("rest", block.every - work.length_ms, number, block.rounds))
    return drafts


def _flow(plan: Plan, block: Flow) -> list[Draft]:
    drafts: list[Draft] = []
    for number in range(1, block.rounds + 1):
        for entry in block.exercises:
            if drafts and block.change:
                drafts.append(Draft("change", block.change, number, block.rounds))
            drafts.append(_work(plan, block, entry, block.work, number, block.rounds))
    return drafts


def _breath(block: Breath) -> list[Draft]:
    phases = (("in", block.inhale), ("hold", block.hold), ("out", block.exhale), ("hold", block.hold_out))
    return [
        Draft(
            kind,
            length_ms,
            number,
            block.cycles,
            fields=(
                ("cycle", number),
                ("half", 2 if place == 3 else 1),
                ("opening_pip", True),
                ("spoken_cycles", block.spoken_cycles),
                ("explain", block.explain),
            ),
        )
        for number in range(1, block.cycles + 1)
        for place, (kind, length_ms) in enumerate(phases)
        if length_ms
    ]


def _script(block: Script) -> list[Draft]:
    drafts = []
    for entry in block.intervals:
        fields: list[tuple[str, object]] = [("script_cues", tuple(entry.cues)), ("side", entry.side)]
        if entry.countdown is False:
            fields.append(("countdown", None))
        drafts.append(
            Draft(entry.kind, entry.length, entry.round, None, entry.exercise, entry.settle, tuple(fields))
        )
    return drafts
