"""Tries thousands of plans, broken and valid, and checks every schedule by rules written here a second time.

Run: ``python tests/campaigns/campaign_plans.py [bytes|tokens|trees|valid] [seconds] [first seed]``. Each plan
has a seed of its own; a finding prints its seed and leaves the plan beside the system's temporary files.
Lengths of clips are drawn, not spoken. Answers allowed: a session, or a PlanError (exit code 2); never
another exception, never more than 10 s.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.base.errors import PlanError
from cuelane.base.schedule import Schedule, from_json, to_json
from cuelane.facts import facts
from cuelane.lint import lint
from cuelane.plan.load import load_plan
from cuelane.session.arrange import Arranged, Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.model import Session
from cuelane.session.remedies import advise
from plan_text import FULL_PLAN

MOST_S = 10.0
ROLES = ("preview", "setup", "remind", "form", "easier", "harder", "caution", "change", "praise", "say")
TOKENS = (
    "- ", "-", ": ", ":", "\n", "\n  ", "\n    ", "[", "]", "{", "}", ", ", "#", "&a", "*a", "!!str ", "'",
    '"', "|", ">", "?", "%YAML 1.3", "%TAG ! x", "---", "...", "<<", "~", "\t", "\u202e", "é", "\x07", "0x10",
    "title", "session", "exercises", "block", "pattern", "circuit", "build-up", "script", "breath", "work",
    "rest", "say", "include", "plan.yaml", "../x.yaml", "40s", "1:30", "10ms", "0", "-1", "1e9", ".inf",
    ".nan", "true", "false", "squat", "lunge",
    "pips", "count", "spacing", "{side}", "9" * 30, "voice", "text", "at",
)  # fmt: skip


def broken_bytes(rng: random.Random) -> bytes:
    data = bytearray(FULL_PLAN.encode())
    for _ in range(rng.randint(1, 12)):
        at = rng.randrange(len(data))
        what = rng.randrange(4)
        if what == 0:
            data[at] = rng.randrange(256)
        elif what == 1:
            del data[at : at + rng.randint(1, 60)]
        elif what == 2:
            data[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 4)))
        else:
            source = rng.randrange(len(data))
            data[at:at] = data[source : source + rng.randint(1, 200)]
    return bytes(data)


def broken_tokens(rng: random.Random) -> bytes:
    some = rng.choices(TOKENS, k=rng.randint(1, 60))
    if rng.random() < 0.02:
        # The same few tokens over and over, as much as a file may have: what is quadratic shows here.
        text = "".join(rng.choices(TOKENS, k=rng.randint(1, 4)))
        return (text * (500_000 // len(text.encode()) + 1)).encode()[:500_000]
    return ("".join(some) if rng.random() < 0.5 else "title: x\nsession:\n  - " + "".join(some)).encode()


def broken_tree(rng: random.Random) -> bytes:
    plan = valid_plan(rng)
    for _ in range(rng.randint(1, 4)):
        holder, key = rng.choice(list(places(plan)))
        odd: list[Any] = [
            None,
            True,
            -1,
            0,
            1e300,
            "",
            "40s",
            "1ms",
            "first",
            [],
            {},
            [[]],
            {"a": 1},
            "x" * 700,
        ]
        if rng.random() < 0.3:
            del holder[key]
        elif rng.random() < 0.3 and isinstance(holder, dict):
            holder[f"{key}s"] = holder.pop(key)
        else:
            holder[key] = rng.choice(odd)
        if not plan:
            break
    return json.dumps(plan, ensure_ascii=False, indent=rng.choice([None, 1])).encode()


def places(node: Any) -> Iterator[tuple[Any, Any]]:
    pairs = list(node.items()) if isinstance(node, dict) else list(enumerate(node))
    for key, value in pairs:
        yield node, key
        if isinstance(value, dict | list):
            yield from places(value)


def length(rng: random.Random, least_ms: int = 200) -> str:
    low, high = rng.choice([(least_ms, 900), (1_000, 8_000), (8_000, 60_000)])
    return f"{rng.randint(low, high)}ms"


def pause(rng: random.Random) -> str:
    return rng.choice(["0", length(rng)])


def words(rng: random.Random) -> str:
    return (
        " ".join(
            rng.choices(["knees", "over", "toes", "slow", "breathe", "and", "hold"], k=rng.randint(1, 9))
        )
        + "."
    )


def cue_line(rng: random.Random) -> Any:
    if rng.random() < 0.7:
        return words(rng)
    line: dict[str, Any] = {"text": words(rng)}
    if rng.random() < 0.3:
        line["rounds"] = rng.choice(["first", "last", "odd", "even", 2, [1, 3]])
    if rng.random() < 0.3:
        line["at"] = pause(rng)
    if rng.random() < 0.3:
        line["must"] = rng.random() < 0.5
    if rng.random() < 0.3:
        line["weight"] = rng.randint(0, 1000)
    return line


def pips(rng: random.Random) -> Any:
    return rng.choice([False, {"count": rng.randint(0, 10), "spacing": f"{rng.randint(200, 3000)}ms"}])


def valid_block(rng: random.Random, names: list[str]) -> dict[str, Any]:
    pattern = rng.choice(
        [
            "circuit",
            "build-up",
            "build-up-and-down",
            "build-down",
            "ladder",
            "on-the-minute",
            "flow",
            "breath",
            "script",
        ]
    )
    block: dict[str, Any] = {"block": rng.choice(["Main", "Warm-up", "Core"]), "pattern": pattern}
    if rng.random() < 0.4:
        block["pips"] = pips(rng)
    if rng.random() < 0.3:
        block["say"] = words(rng)
    if rng.random() < 0.3:
        block["calls"] = [length(rng) for _ in range(rng.randint(0, 4))]
    if pattern == "breath":
        more = {"inhale": length(rng), "hold": pause(rng), "exhale": length(rng), "hold_out": pause(rng)}
        return block | more | {"cycles": rng.randint(1, 6), "spoken_cycles": rng.randint(0, 3)}
    if pattern == "script":
        return block | {"intervals": [script_interval(rng) for _ in range(rng.randint(1, 8))]}
    block["exercises"] = rng.choices(names, k=rng.randint(1, 4))
    least = 4_000
    block["work"] = f"{rng.randint(least, 60_000)}ms"
    if pattern == "ladder":
        block["work"] = [f"{rng.randint(least, 60_000)}ms" for _ in range(rng.randint(1, 3))]
    if pattern == "on-the-minute":
        block["every"] = "61s"
    if pattern in ("circuit", "flow", "on-the-minute"):
        block["rounds"] = rng.randint(1, 3)
    if pattern in ("circuit", "ladder"):
        block |= {"rest": pause(rng), "round_rest": pause(rng)}
    if pattern.startswith("build"):
        block |= {"rest": pause(rng), "change": pause(rng)}
    if pattern == "flow":
        block["change"] = pause(rng)
    return block


def script_interval(rng: random.Random) -> dict[str, Any]:
    written = length(rng)
    row: dict[str, Any] = {
        "kind": rng.choice(["work", "rest", "change", "talk", "in", "hold", "out"]),
        "length": written,
    }
    if rng.random() < 0.3:
        row["countdown"] = rng.random() < 0.5
    if rng.random() < 0.5:
        at = [f"{rng.randrange(int(written[:-2]))}ms" for _ in range(rng.randint(1, 3))]
        row["cues"] = [{"at": one, "text": words(rng), "must": rng.random() < 0.3} for one in at]
    return row


def valid_plan(rng: random.Random) -> dict[str, Any]:
    names = ["squat", "lunge", "plank", "row"][: rng.randint(1, 4)]
    exercises: dict[str, Any] = {}
    for name in names:
        exercises[name] = {"sides": rng.choice(["none", "alternate", "each"])}
        for role in ROLES:
            if rng.random() < 0.4:
                exercises[name][role] = [cue_line(rng) for _ in range(rng.randint(1, 3))]
        if rng.random() < 0.3:
            exercises[name]["load"] = ["legs"]
        if rng.random() < 0.3:
            exercises[name]["needs"] = ["a mat"]
    session: list[Any] = []
    for _ in range(rng.randint(1, 4)):
        kind = rng.random()
        if kind < 0.7:
            session.append(valid_block(rng, names))
        elif kind < 0.85:
            session.append({"rest": length(rng)})
        else:
            session.append({"say": words(rng)} | ({"lasts": length(rng)} if rng.random() < 0.5 else {}))
    plan: dict[str, Any] = {"title": "Tried", "session": session, "exercises": exercises}
    if rng.random() < 0.5:
        plan |= {"pips": pips(rng), "lead_in": pause(rng), "cautions": "none"}
    if rng.random() < 0.3:
        plan |= {"gap": f"{rng.randint(0, 1500)}ms", "guard": f"{rng.randint(0, 1500)}ms"}
    if rng.random() < 0.3:
        plan["talk_share"] = {"work": rng.uniform(0.05, 1), "rest": rng.uniform(0.05, 1)}
    if rng.random() < 0.3:
        plan["closing"] = rng.choice([False, words(rng)])
    return plan


def check_schedule(session: Session, result: Arranged, rate: int) -> None:
    """Hold a schedule to the rules, in arithmetic of its own (halves up: `2 * x + 1) // 2`)."""
    plan, schedule = session.plan, result.schedule
    at = lambda ms: (2 * ms * rate + 1000) // 2000  # noqa: E731
    assert schedule.n_frames == at(sum(entry.length_ms for entry in session.intervals)), "total"
    start_ms = 0
    for entry, row in zip(session.intervals, schedule.intervals, strict=True):
        assert entry.length_ms > 0
        assert (row.start_sample, row.end_sample) == (
            at(start_ms),
            at(start_ms + entry.length_ms),
        )
        start_ms += entry.length_ms
    onsets = [event.onset_sample for event in schedule.events]
    assert onsets == sorted(onsets), "onset order"
    for event in schedule.events:
        assert {type(event.onset_sample), type(event.end_sample)} == {int}, "integers"
        assert 0 <= event.onset_sample < event.end_sample <= schedule.n_frames, "in range"
    sounding = sorted(schedule.pips, key=lambda pip: pip.onset_sample)
    for first, second in pairwise(sounding):
        assert first.end_sample <= second.onset_sample, "two pips at once"
    check_cues(session, schedule, at)
    misfits = {attempt.interval.index for attempt in result.misfits}
    check_musts(session, result, misfits)
    for entry, row in zip(session.intervals, schedule.intervals, strict=True):
        if entry.index not in misfits and entry.pattern != "script":
            check_room(plan, entry, row, schedule, at)


def check_cues(session: Session, schedule: Schedule, at: Any) -> None:
    guard, gap = at(session.plan.guard), at(session.plan.gap)
    cues = sorted(schedule.cues, key=lambda cue: cue.onset_sample)
    for first, second in pairwise(cues):
        apart = second.onset_sample - first.end_sample
        assert apart >= 0, "cues overlap"
        same = first.interval == second.interval
        assert not same or session.intervals[first.interval].pattern == "script" or apart >= gap, "gap"
    for cue in cues:
        row = schedule.intervals[cue.interval]
        assert row.start_sample <= cue.onset_sample, "cue over a boundary"
        assert cue.end_sample <= row.end_sample, "cue over a boundary"
        for pip in schedule.pips:
            apart = max(pip.onset_sample - cue.end_sample, cue.onset_sample - pip.end_sample)
            assert apart >= 0, "cue over a pip"
            near = abs(pip.interval - cue.interval) <= 1
            assert apart >= guard or not near, f"guard {cue.interval} {pip.interval} {apart}"


def check_musts(session: Session, result: Arranged, misfits: set[int]) -> None:
    del session
    dropped = Counter((row.role, row.text, row.interval) for row in result.schedule.dropped)
    spoken = {(event.role, event.text) for event in result.schedule.cues}
    for candidate in result.offered:
        if candidate.must and candidate.group is None and (candidate.role, candidate.text) not in spoken:
            where = {key[2] for key in dropped if key[:2] == (candidate.role, candidate.text)}
            assert where & misfits, "a must-cue was dropped without an error"


def check_room(plan: Any, entry: Any, row: Any, schedule: Schedule, at: Any) -> None:
    length_of = row.end_sample - row.start_sample
    inside = [
        event
        for event in schedule.events
        if event.onset_sample < row.end_sample and event.end_sample > row.start_sample
    ]
    share = {"work": plan.talk_share.work, "rest": plan.talk_share.rest, "change": plan.talk_share.rest}
    spoken = sum(cue.end_sample - cue.onset_sample for cue in inside if cue.kind == "cue")
    assert spoken <= length_of * (share.get(entry.kind, 1.0) + 0.0005), "talk share"
    if entry.kind == "work" and length_of >= at(20_000):
        ends = [row.start_sample, *(event.end_sample for event in inside)]
        starts = [*(event.onset_sample for event in inside), row.end_sample]
        assert max(b - a for a, b in zip(ends, starts, strict=True)) >= at(4_000), "open stretch"


def try_plan(path: Path, rng: random.Random) -> str:
    try:
        loaded = load_plan(path, voices=lambda _: ["natural", "system"])
    except PlanError as error:
        if not all(problem.mark.line >= 1 and problem.message for problem in error.problems):
            raise AssertionError("a problem without a place or words") from error
        return "refused"
    session = expand(loaded)
    if len(session.intervals) > 400:
        return "large"
    rate, pace = rng.choice([48_000, 44_100, 22_050]), rng.uniform(0.1, 0.5)

    def voice(candidate: Candidate) -> Sounding:
        return Sounding(max(1, int(rate * pace * (0.3 + len(candidate.text.split())))))

    result = arrange(session, voice, rate)
    check_schedule(session, result, rate)
    assert from_json(to_json(result.schedule)).events == result.schedule.events
    facts(session, result.schedule)
    lint(loaded, session, lambda text: pace * len(text.split()))
    advise(result.misfits[:3], rate)
    return "misfit" if result.misfits else "placed"


MAKERS = {
    "bytes": broken_bytes,
    "tokens": broken_tokens,
    "trees": broken_tree,
    "valid": lambda rng: json.dumps(valid_plan(rng)).encode(),
}


def campaign(kind: str, seconds: float, seed: int) -> int:
    """Try plans of one kind for some time and print what came; return the number of findings."""
    folder = Path(tempfile.mkdtemp(prefix="plans-"))
    answers: Counter[str] = Counter()
    findings = 0
    slowest = (0.0, seed)
    first, until = seed, time.monotonic() + seconds
    while time.monotonic() < until:
        rng = random.Random(seed)
        path = folder / "plan.yaml"
        path.write_bytes(MAKERS[kind](rng))
        started = time.thread_time()
        try:
            answers[try_plan(path, rng)] += 1
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
        seed += 1
    print(
        f"{kind}: {seed - first:,} plans from seed {first}, {findings} findings, {dict(answers)}, "
        f"slowest {slowest[0]:.2f} s (seed {slowest[1]})",
        flush=True,
    )
    return findings


if __name__ == "__main__":
    kinds = [sys.argv[1]] if len(sys.argv) > 1 else list(MAKERS)
    how_long = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    begin = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    sys.exit(1 if sum(campaign(one, how_long, begin) for one in kinds) else 0)
