"""Placing four hours of session: seconds for one, two and four hours, printed with their ratios.

Run by hand: python tests/benchmarks/bench_place.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from cuelane.arrange import arrange
from planning import RATE, exercise, session_of, steady_voice

NAMES = ["crouch", "bridge", "march", "reach", "plank", "row"]


def seconds_to_place(n_blocks: int) -> tuple[float, float, int]:
    """Return (hours of session, seconds to arrange it, number of cues)."""
    blocks = [
        {
            "block": f"Part {number}",
            "pattern": "build-up-and-down",
            "work": "40s",
            "rest": "30s",
            "exercises": NAMES,
        }
        for number in range(n_blocks)
    ]
    session = session_of({"session": blocks, "exercises": {name: exercise(name) for name in NAMES}})
    started = time.perf_counter()
    found = arrange(session, steady_voice, RATE)
    spent_s = time.perf_counter() - started
    assert not found.misfits
    return session.length_ms / 3_600_000, spent_s, len(found.schedule.cues)


def main() -> None:
    seconds_to_place(1)
    first = None
    for n_blocks in (2, 4, 8, 16):
        hours, spent_s, n_cues = min((seconds_to_place(n_blocks) for _ in range(3)), key=lambda row: row[1])
        rate = spent_s / hours
        first = first or rate
        print(
            f"{hours:5.2f} h  {n_cues:5d} cues  {spent_s:6.3f} s  {rate:6.3f} s an hour  x{rate / first:.2f}"
        )


if __name__ == "__main__":
    main()
