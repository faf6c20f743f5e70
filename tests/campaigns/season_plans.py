"""A season by chance: plans of one length from a few names and lines, some with one included block."""

from __future__ import annotations

import random
import re
from pathlib import Path

CLOSE = "close.yaml"
FIRST_LINE, CHANGED_LINE = "Sit down and breathe.", "Lie down and breathe."
CLOSE_S = 60
_INCLUDE = re.compile(rf"(?m)^ *- include: {re.escape(CLOSE)}$")
_NAMES = ("squat", "row", "plank", "march", "bridge", "press", "step up", "side bend")
_LINES = ("Feet flat.", "Look ahead.", "Breathe out.", "Stand tall.", "Slow and steady.", "Hold the chair.")
# Work and rest in seconds: a round of four exercises is then 4, 5 or 2 minutes.
_TIMES = ((40, 20), (45, 30), (20, 10), (50, 10))


def write_season(
    folder: Path, n_plans: int, length_s: int, seed: int, share_included: float = 0.1
) -> list[Path]:
    """Write plans of `length_s`, at least three minutes, and the file that a share of them includes."""
    rng = random.Random(seed)
    write_close(folder, FIRST_LINE)
    paths = []
    for number in range(n_plans):
        path = folder / f"class-{number:05}.yaml"
        path.write_text(_plan(rng, length_s, with_close=rng.random() < share_included), encoding="utf-8")
        paths.append(path)
    return paths


def write_close(folder: Path, line: str) -> None:
    """Write the included file: one minute, in which `line` is said."""
    text = f'title: Close\nsession:\n  - say: "{line}"\n    lasts: {CLOSE_S}s\n'
    (folder / CLOSE).write_text(text, encoding="utf-8")


def that_include(plans: list[Path]) -> set[str]:
    """Return the names of the plans that include the file, by their text alone."""
    return {path.stem for path in plans if _INCLUDE.search(path.read_text(encoding="utf-8"))}


def _plan(rng: random.Random, length_s: int, *, with_close: bool) -> str:
    """Return a plan: blocks until they come to it, and a rest for what is left."""
    left_s = length_s - (CLOSE_S if with_close else 0)
    blocks = []
    while left_s >= 120:
        work, rest = rng.choice([one for one in _TIMES if 4 * sum(one) <= left_s])
        rounds = rng.randint(1, min(3, left_s // (4 * (work + rest))))
        left_s -= rounds * 4 * (work + rest)
        used = ", ".join(rng.sample(_NAMES, 4))
        blocks.append(
            f"  - block: Part {len(blocks) + 1}\n    pattern: circuit\n    work: {work}s\n    rest: {rest}s\n"
            f"    rounds: {rounds}\n    exercises: [{used}]\n"
        )
    if left_s:
        blocks.append(f"  - rest: {left_s}s\n")
    if with_close:
        blocks.append(f"  - include: {CLOSE}\n")
    exercises = "".join(f'  {name}: {{setup: "{rng.choice(_LINES)}"}}\n' for name in _NAMES)
    head = "title: Class of the season\nvoice: system\ncautions: none\nlead_in: 0\nclosing: false\nsession:\n"
    return head + "".join(blocks) + "exercises:\n" + exercises
