"""The desk's answers: a letter typed to the timetable, a seek to its sound; for the demos and for an hour.

Run by hand: python tests/benchmarks/bench_desk.py. Asked without a browser or a network; clips as they lie in
the store, lines that are not there are spoken before a seek is timed.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.desk.app import application
from cuelane.desk.guard import Guard
from deskkit import PORT, ask, post

DEMOS = Path(__file__).parents[2] / "demo"
TIMES = 9


def median_ms(act: Callable[[int], None]) -> float:
    """Return the median of `TIMES` runs, in ms; the first, which fills what is kept, is not counted."""
    spent = []
    for number in range(TIMES + 1):
        started = time.perf_counter()
        act(number)
        spent.append(1000 * (time.perf_counter() - started))
    return statistics.median(spent[1:])


def hour() -> str:
    """Return a plan of an hour that says much: 60 sets of 40 s with 20 s of rest."""
    names = ["crouch", "bridge", "march", "reach", "plank", "row"]
    lines = "".join(
        f"  {name}:\n    preview: Next the {name}.\n    setup: Make yourself long for the {name}.\n"
        f"    form: [Breathe out on the {name}., Shoulders low., Eyes ahead.]\n"
        for name in names
    )
    return (
        "title: An hour\nvoice: system\nsession:\n  - block: Main\n    pattern: circuit\n"
        "    work: 40s\n    rest: 20s\n"
        f"    rounds: 10\n    exercises: [{', '.join(names)}]\nexercises:\n{lines}"
    )


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for demo in DEMOS.glob("*.yaml"):
            shutil.copy(demo, folder)
        (folder / "an-hour.yaml").write_text(hour(), encoding="utf-8")
        guard = Guard(application(folder), port=PORT)
        cookie = ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]
        first_ms = 0.0
        for plan in sorted(path.name for path in folder.glob("*.yaml")):

            def typed(number: int, plan: str = plan) -> None:
                edit = {"op": "set", "at": "title", "kind": "text", "typed": f"Title {number}"}
                answer = post(guard, f"/api/plan/{plan}/try", {"edits": [edit]}, cookie=cookie)
                assert answer.status == 200

            def sought(number: int, plan: str = plan) -> None:
                first = 44 + 2 * 48_000 * (30 + 20 * number)
                head = {"cookie": cookie, "range": f"bytes={first}-{first + 200_000}"}
                assert ask(guard, "GET", f"/sound/{plan}/1.wav", headers=head).status == 206

            typed_ms = median_ms(typed)
            first_ms = first_ms or typed_ms
            sought(0)
            sought_ms = median_ms(sought)
            print(f"{plan:30s} keystroke {typed_ms:7.1f} ms  x{typed_ms / first_ms:5.2f}   "
                  f"seek {sought_ms:7.1f} ms", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
