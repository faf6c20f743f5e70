"""The desk's answers: its start to the first page, a letter typed to the timetable, a seek to its sound.

Run by hand: python tests/benchmarks/bench_desk.py. For the demos and for an hour, without a browser. The
start is that of the command, asked by HTTP, with the processor time of its process where the system tells
it. The rest is asked without a network. Two letters are typed: one that changes hardly anything, in the
title, and one that moves all that comes after it, in a time of the first block; beside the time stand the
bytes of the answer, and of the whole that a page without anything is told. A seek is to a second that was
not heard before: first in a plan that was just opened, its lines in the store (those that are not there are
spoken before), then on from there. Goals: a page 2 s after a warm start, a letter 150 ms and for an hour
400 ms, a first seek 150 ms. Beside each time by the clock stands the processor time, which other programs
change less.
"""

from __future__ import annotations

import http.client
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from cuelane.desk.app import application
from cuelane.desk.edits import data_of
from cuelane.desk.guard import Guard
from deskkit import PORT, ask, post

DEMOS = Path(__file__).parents[2] / "demo"
TIMES = 9


def median_ms(act: Callable[[int], None]) -> tuple[float, float]:
    """Return the median of `TIMES` runs, in ms by the clock and of the processor.

    The first run, which fills what is kept, is not counted.
    """
    spent, worked = [], []
    for number in range(TIMES + 1):
        started, working = time.perf_counter(), time.process_time()
        act(number)
        spent.append(1000 * (time.perf_counter() - started))
        worked.append(1000 * (time.process_time() - working))
    return statistics.median(spent[1:]), statistics.median(worked[1:])


def processor_s(process: subprocess.Popen[str]) -> float:
    """Return the processor time that a running process has used, in s; NaN where the system does not tell."""
    try:
        about = Path(f"/proc/{process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(about[11]) + int(about[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, AttributeError):
        return float("nan")


def start_of(folder: Path, plan: str) -> list[tuple[str, float, float]]:
    """Start the desk; return each page, the seconds from the start to it, and the processor's share."""
    command = [sys.executable, "-c", "from cuelane.cli import main; main()", "desk", str(folder), "--no-open"]
    pages = []
    started = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as desk:
        assert desk.stdout is not None
        _, _, host, path = desk.stdout.readline().strip().split("/", 3)
        asked = http.client.HTTPConnection(host, timeout=120)
        asked.request("GET", f"/{path}")
        opened = asked.getresponse()
        opened.read()
        cookie = opened.headers["set-cookie"].partition(";")[0]
        for name, address in (("shelf", "/"), ("plan", f"/plan/{plan}")):
            asked.request("GET", address, headers={"cookie": cookie})
            answer = asked.getresponse()
            answer.read()
            assert answer.status == 200
            pages.append((name, time.perf_counter() - started, processor_s(desk)))
        asked.close()
        desk.terminate()
    return pages


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
        for turn in ("first", "second"):
            for page, spent_s, processor in start_of(folder, "quayside-legs.yaml"):
                print(
                    f"{turn} start to the {page:6s} {spent_s:6.2f} s (processor {processor:5.2f} s)",
                    flush=True,
                )
        for plan in sorted(path.name for path in folder.glob("*.yaml")):
            told(folder, plan)


def told(folder: Path, plan: str) -> None:
    """Print what a plan's letters and seeks take, on desks that have just been started."""
    guard, cookie = desk_of(folder)
    first = ask(guard, "GET", f"/api/plan/{plan}", headers={"cookie": cookie})
    shown, n_bytes = first.json["shown"], 0
    timed = next(
        (f"session/{n}/{key}" for n, part in enumerate(parts_of(folder / plan))
         for key in ("change", "rest", "work", "inhale", "lasts") if key in part),
        "title",
    )  # fmt: skip

    def typed(at: str, number: int) -> None:
        nonlocal shown, n_bytes
        kind, text = ("text", f"Title {number}") if at == "title" else ("duration", f"{20 + number}s")
        edit = {"op": "set", "at": at, "kind": kind, "typed": text}
        answer = post(guard, f"/api/plan/{plan}/try", {"edits": [edit], "shown": shown}, cookie=cookie)
        assert answer.status == 200
        shown, n_bytes = answer.json["shown"], len(answer.body)

    print(f"{plan:30s} whole {len(first.body) / 1000:6.1f} kB")
    for at in dict.fromkeys(("title", timed)):
        clock_ms, work_ms = median_ms(lambda number, at=at: typed(at, number))
        print(
            f"    letter in {at:20s} {clock_ms:7.1f} ms (processor {work_ms:6.1f})  {n_bytes / 1000:6.1f} kB"
        )

    def sought(number: int) -> None:
        start = 44 + 2 * 48_000 * (30 + 20 * number)
        head = {"cookie": cookie, "range": f"bytes={start}-{start + 200_000}"}
        assert ask(guard, "GET", f"/sound/{plan}/1.wav", headers=head).status in (206, 416)

    for number in range(TIMES + 1):
        sought(number)
    firsts = []
    for number in range(4):
        guard, cookie = desk_of(folder)
        ask(guard, "GET", f"/plan/{plan}", headers={"cookie": cookie})
        started, working = time.perf_counter(), time.process_time()
        sought(2 * number)
        firsts.append((1000 * (time.perf_counter() - started), 1000 * (time.process_time() - working)))
    clock_ms, work_ms = (statistics.median(row[n] for row in firsts) for n in (0, 1))
    print(f"    first seek                     {clock_ms:7.1f} ms (processor {work_ms:6.1f})")
    clock_ms, work_ms = median_ms(sought)
    print(f"    seeks after it                 {clock_ms:7.1f} ms (processor {work_ms:6.1f})", flush=True)


def desk_of(folder: Path) -> tuple[Guard, str]:
    """Return a desk that nothing has been asked of, and the cookie for it."""
    guard = Guard(application(folder), port=PORT)
    return guard, ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].partition(";")[0]


def parts_of(plan: Path) -> list[Mapping[str, Any]]:
    """Return the parts of a plan's session."""
    return list(data_of(plan.read_text(encoding="utf-8"))["session"])


if __name__ == "__main__":
    main()
