"""Plans by chance: broken in bytes, tokens or trees, and valid ones, most of them short."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable, Iterator
from typing import Any

from plan_seeds import SEEDS, demos

ROLES = (
    "announce", "preview", "setup", "remind", "form", "easier", "harder", "swap", "heavier", "caution",
    "change", "praise", "say",
)  # fmt: skip
TOKENS = (
    "- ", "-", ": ", ":", "\n", "\n  ", "\n    ", "[", "]", "{", "}", ", ", "#", "&a", "*a", "!!str ", "'",
    '"', "|", ">", "?", "%YAML 1.3", "%TAG ! x", "---", "...", "<<", "~", "\t", "\u202e", "é", "\x07", "0x10",
    "title", "session", "exercises", "block", "pattern", "circuit", "build-up", "script", "breath", "work",
    "rest", "say", "include", "plan.yaml", "../x.yaml", "40s", "1:30", "10ms", "0", "-1", "1e9", ".inf",
    ".nan", "true", "false", "squat", "lunge",
    "pips", "count", "spacing", "{side}", "9" * 30, "voice", "text", "at",
)  # fmt: skip


# A demo takes twenty times as long to read as a seed: few of them, so that there are many plans.
DEMO_SHARE = 0.03
DEMOS = demos()
NATURAL = list("abc XYZ 0123456789 :-#'\"[]{},\n\n>|&*!%?~\t")


def seed_text(rng: random.Random) -> str:
    return rng.choice(DEMOS if rng.random() < DEMO_SHARE else SEEDS)


def broken_bytes(rng: random.Random) -> bytes:
    """Return a plan with bytes changed, put in, taken out or copied; half of them to what people type."""
    data = bytearray(seed_text(rng).encode())
    typed = rng.random() < 0.5
    for _ in range(rng.choice([1, 1, 1, 2, 3, 12])):
        at = rng.randrange(len(data)) if data else 0
        what = rng.randrange(4)
        if what == 0:
            data[at : at + 1] = rng.choice(NATURAL).encode() if typed else bytes([rng.randrange(256)])
        elif what == 1:
            del data[at : at + rng.randint(1, 60)]
        elif what == 2:
            some = "".join(rng.choices(NATURAL, k=rng.randint(1, 4))).encode()
            data[at:at] = some if typed else bytes(rng.randrange(256) for _ in range(rng.randint(1, 4)))
        else:
            source = rng.randrange(len(data)) if data else 0
            data[at:at] = data[source : source + rng.randint(1, 200)]
    return bytes(data)


def broken_tokens(rng: random.Random) -> bytes:
    """Return tokens of a plan in a row: alone, where an item stands, or inside a right plan."""
    some = "".join(rng.choices(TOKENS, k=rng.choice([2, 5, 20, 60])))
    if rng.random() < 0.002:
        # The same few tokens over and over, as much as a file may have: what is quadratic shows here.
        text = "".join(rng.choices(TOKENS, k=rng.randint(1, 4)))
        return (text * (500_000 // len(text.encode()) + 1)).encode()[:500_000]
    where = rng.random()
    if where < 0.3:
        return some.encode()
    if where < 0.5:
        return ("title: x\nsession:\n  - " + some).encode()
    text = seed_text(rng)
    # Where a value begins or a line ends: what stands there is read as part of the plan.
    places = [n + 1 for n, character in enumerate(text) if character in ": \n"]
    for token in rng.choices(TOKENS, k=rng.choice([1, 1, 2, 4])):
        at = rng.choice(places)
        text = text[:at] + token + text[at + rng.choice([0, 0, 1, 8]) :]
    return text.encode()


ODD: tuple[Any, ...] = (
    None, True, -1, 0, 1e300, "", "40s", "1ms", "first", [], {}, [[]], {"a": 1}, "x" * 700,
)  # fmt: skip


def broken_tree(rng: random.Random) -> bytes:
    """Return a valid plan with values taken out, renamed or put in the place of others."""
    plan = valid_plan(rng)
    for _ in range(rng.choice([1, 1, 2, 4])):
        holder, key = rng.choice(list(places(plan)))
        if rng.random() < 0.3:
            del holder[key]
        elif rng.random() < 0.3 and isinstance(holder, dict):
            holder[f"{key}s"] = holder.pop(key)
        else:
            holder[key] = copy.deepcopy(rng.choice(ODD))
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


WORDS = ["knees", "over", "toes", "slow", "breathe", "and", "hold"]


def words(rng: random.Random) -> str:
    return " ".join(rng.choices(WORDS, k=rng.randint(1, 9))) + "."


def cue_line(rng: random.Random, role: str) -> Any:
    if rng.random() < 0.7:
        return words(rng)
    line: dict[str, Any] = {"text": words(rng)}
    if rng.random() < 0.3:
        line["rounds"] = rng.choice(["first", "last", "odd", "even", 2, [1, 3]])
    if rng.random() < 0.2:
        line["from_round"] = rng.randint(1, 3)
    if rng.random() < 0.3 and role == "change":
        line["to"] = "rest"
    if rng.random() < 0.3:
        line["at"] = pause(rng)
    if rng.random() < 0.3:
        line["must"] = rng.random() < 0.5
    if rng.random() < 0.3:
        line["weight"] = rng.randint(0, 1000)
    return line


def pips(rng: random.Random) -> Any:
    return rng.choice([False, {"count": rng.randint(0, 10), "spacing": f"{rng.randint(200, 3000)}ms"}])


BUILDS = ["build-up", "build-up-and-down", "build-down"]
PATTERNS = ["circuit", *BUILDS, "ladder", "on-the-minute", "flow", "breath", "script"]
LEAST_WORK_MS = 4_000
MOST_SETTLE_MS = 1_999
"""Less than half of the shortest work: ``sides: each`` gives each side half of it, settling included."""


def valid_block(rng: random.Random, names: list[str], most: int) -> dict[str, Any]:
    pattern = rng.choice(PATTERNS)
    block: dict[str, Any] = {"block": rng.choice(["Main", "Warm-up", "Core"]), "pattern": pattern}
    if rng.random() < 0.4:
        block["pips"] = pips(rng)
    if rng.random() < 0.3:
        block["say"] = words(rng)
    if rng.random() < 0.3:
        block["calls"] = [length(rng) for _ in range(rng.randint(0, 4))]
    if pattern == "breath":
        more = {"inhale": length(rng), "hold": pause(rng), "exhale": length(rng), "hold_out": pause(rng)}
        return block | more | {"cycles": rng.randint(1, 2 * most), "spoken_cycles": rng.randint(0, 3)}
    if pattern == "script":
        return block | {"intervals": [script_interval(rng) for _ in range(rng.randint(1, 2 * most))]}
    block["exercises"] = rng.choices(names, k=rng.randint(1, min(most, 2 if pattern in BUILDS else most)))
    block["work"] = f"{rng.randint(LEAST_WORK_MS, 60_000)}ms"
    if rng.random() < 0.3:
        block["settle"] = f"{rng.randint(0, MOST_SETTLE_MS)}ms"
    if rng.random() < 0.2:
        block["praise"] = [words(rng)]
    if pattern == "ladder":
        block["work"] = [f"{rng.randint(LEAST_WORK_MS, 60_000)}ms" for _ in range(rng.randint(1, most))]
    if pattern == "on-the-minute":
        block["every"] = "61s"
    if pattern in ("circuit", "flow", "on-the-minute"):
        block["rounds"] = rng.randint(1, most)
    if pattern in ("circuit", "ladder"):
        block |= {"rest": pause(rng), "round_rest": pause(rng)}
    if pattern in BUILDS:
        block |= {"rest": pause(rng), "change": pause(rng)}
    if pattern not in ("flow", "on-the-minute") and rng.random() < 0.3:
        block["last_rest"] = rng.random() < 0.5
    if pattern == "flow":
        block["change"] = pause(rng)
    return block


KINDS = ["work", "rest", "change", "talk", "in", "hold", "out"]


def script_interval(rng: random.Random) -> dict[str, Any]:
    written = length(rng)
    row: dict[str, Any] = {"kind": rng.choice(KINDS), "length": written}
    if rng.random() < 0.3:
        row["countdown"] = rng.random() < 0.5
    if rng.random() < 0.5:
        at = [f"{rng.randrange(int(written[:-2]))}ms" for _ in range(rng.randint(1, 3))]
        row["cues"] = [{"at": one, "text": words(rng), "must": rng.random() < 0.3} for one in at]
    return row


LONG_SHARE = 0.05


def valid_plan(rng: random.Random) -> dict[str, Any]:
    """Return a valid plan: one or two short blocks, and one in twenty with up to four long ones."""
    long = rng.random() < LONG_SHARE
    names = ["squat", "lunge", "plank", "row"][: rng.randint(1, 4 if long else 2)]
    exercises: dict[str, Any] = {}
    for name in names:
        exercises[name] = {"sides": rng.choice(["none", "alternate", "each"])}
        for role in ROLES:
            if rng.random() < (0.4 if long else 0.25):
                how_many = rng.randint(1, 3 if long else 2)
                exercises[name][role] = [cue_line(rng, role) for _ in range(how_many)]
        if rng.random() < 0.3:
            exercises[name]["load"] = ["legs"]
        if rng.random() < 0.3:
            exercises[name]["needs"] = ["a mat"]
        if "heavier" in exercises[name] and rng.random() < 0.5:
            exercises[name]["heavier_needs"] = ["a heavy mat"]
    session: list[Any] = []
    for _ in range(rng.randint(1, 4 if long else 2)):
        kind = rng.random()
        if kind < 0.7:
            session.append(valid_block(rng, names, 3 if long else 2))
        elif kind < 0.85:
            session.append({"rest": length(rng)})
        else:
            session.append({"say": words(rng)} | ({"lasts": length(rng)} if rng.random() < 0.5 else {}))
    return {"title": "Tried", "session": session, "exercises": exercises} | settings(rng)


def settings(rng: random.Random) -> dict[str, Any]:
    """Return some of the keys that stand at the top of a plan."""
    plan: dict[str, Any] = {}
    if rng.random() < 0.5:
        plan |= {"pips": pips(rng), "lead_in": pause(rng), "cautions": "none"}
    if rng.random() < 0.3:
        plan |= {"gap": f"{rng.randint(0, 1500)}ms", "guard": f"{rng.randint(0, 1500)}ms"}
    if rng.random() < 0.3:
        plan["talk_share"] = {"work": rng.uniform(0.05, 1), "rest": rng.uniform(0.05, 1)}
    if rng.random() < 0.3:
        plan["closing"] = rng.choice([False, words(rng)])
    if rng.random() < 0.3:
        plan |= {"coaching": rng.choice(["spare", "usual", "full"]), "praise": rng.choice([False, ["Good."]])}
    if rng.random() < 0.3:
        plan["even_sides"] = True
    if rng.random() < 0.2:
        plan["calls"] = [length(rng)]
    return plan


MAKERS: dict[str, Callable[[random.Random], bytes]] = {
    "bytes": broken_bytes,
    "tokens": broken_tokens,
    "trees": broken_tree,
    "valid": lambda rng: json.dumps(valid_plan(rng)).encode(),
}
