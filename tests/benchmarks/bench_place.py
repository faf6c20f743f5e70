"""Placing four hours of session: seconds for one, two and four hours of each pattern, and their ratios.

Run by hand: python tests/benchmarks/bench_place.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.session.arrange import arrange
from planning import RATE, exercise, session_of, steady_voice

NAMES = ["crouch", "bridge", "march", "reach", "plank", "row"]


PATTERNS: dict[str, dict[str, Any]] = {
    "circuit": {"work": "40s", "rest": "20s", "rounds": 3},
    "build-up": {"work": "40s", "rest": "30s"},
    "build-up-and-down": {"work": "40s", "rest": "30s"},
    "build-down": {"work": "40s", "rest": "30s"},
    "ladder": {"work": ["20s", "30s", "40s"], "rest": "15s"},
    "on-the-minute": {"every": "60s", "work": "40s", "rounds": 3},
    "flow": {"work": "45s", "rounds": 3},
}


def seconds_to_place(pattern: str, n_blocks: int) -> tuple[float, float, int]:
    """Return (hours of session, seconds to arrange it, number of cues)."""
    blocks = [
        {"block": f"Part {number}", "pattern": pattern, **PATTERNS[pattern], "exercises": NAMES}
        for number in range(n_blocks)
    ]
    session = session_of({"session": blocks, "exercises": {name: exercise(name) for name in NAMES}})
    started = time.perf_counter()
    found = arrange(session, steady_voice, RATE)
    spent_s = time.perf_counter() - started
    assert not found.misfits
    return session.length_ms / 3_600_000, spent_s, len(found.schedule.cues)


def seconds_for_full_intervals(n_blocks: int) -> tuple[int, float]:
    """Return (intervals, seconds to arrange them): hardly two alike, each with much to say."""
    block = {
        "block": "Steps", "pattern": "ladder", "rest": "15s", "exercises": NAMES,
        "work": [f"{20_000 + 37 * step}ms" for step in range(50)],
    }  # fmt: skip
    many = [f"Point {number} of form." for number in range(6)]
    exercises = {name: exercise(name, form=many, caution=f"Mind the {name}.") for name in NAMES}
    session = session_of({"session": [block] * n_blocks, "exercises": exercises})
    started = time.perf_counter()
    arrange(session, steady_voice, RATE)
    return len(session.intervals), time.perf_counter() - started


def main() -> None:
    first = None
    for n_blocks in (1, 4, 8):
        n_intervals, spent_s = seconds_for_full_intervals(n_blocks)
        each = spent_s / n_intervals
        first = first or each
        print(f"full intervals    {n_intervals:5d}  {spent_s:6.3f} s  {each * 1000:5.2f} ms each  "
              f"x{each / first:.2f}", flush=True)  # fmt: skip
    for pattern in PATTERNS:
        hours_of_one, _, _ = seconds_to_place(pattern, 1)
        first = None
        for hours in (1, 2, 4):
            n_blocks = round(hours / hours_of_one)
            runs = [seconds_to_place(pattern, n_blocks) for _ in range(3)]
            length_h, spent_s, n_cues = min(runs, key=lambda row: row[1])
            rate = spent_s / length_h
            first = first or rate
            print(f"{pattern:17s} {length_h:5.2f} h  {n_cues:5d} cues  {spent_s:6.3f} s  "
                  f"{rate:6.3f} s an hour  x{rate / first:.2f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
