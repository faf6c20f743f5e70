"""Run by hand: is a check's verdict the same on a busy machine, and with every import slow?

    python tests/campaigns/busy_checks.py [--runs 40] [--seed 1]

A right track and one with a late cue are checked again and again, two at a time, with every core kept busy
and, in half of the runs, each import delayed by a time of chance. Counted are verdicts, faults or
errors in ms that differ from those of one quiet run, other exit codes, and traces.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

import roomkit
from cuelane.base import schedule as schedules
from cuelane.media import encode

LATE_S = 0.2
RUN = """
import random, sys, time
most_s, seed = float(sys.argv[1]), sys.argv[2]
chance = random.Random(seed)
class Slow:
    def find_spec(self, name, path=None, target=None):
        time.sleep(chance.random() * most_s)
        return None
if most_s:
    sys.meta_path.insert(0, Slow())
sys.setswitchinterval(chance.choice([1e-6, 5e-3]))
from cuelane.cli import main
main(sys.argv[3:])
"""


def make(folder: Path) -> list[Path]:
    """Write a track that is right, and one whose second half comes late; both with their schedule."""
    sounds = roomkit.clips(roomkit.TEXTS[:4])
    session = roomkit.session(sounds, gap_s=2.5)
    sound = roomkit.track(session, sounds, 4.0)
    late = sound.copy()
    middle, by = session.n_frames // 2, round(LATE_S * roomkit.RATE)
    late[middle + by :] = sound[middle:-by]
    late[middle : middle + by] = 0
    for name, samples in (("right", sound), ("late", late)):
        encode(folder / f"{name}.wav", [samples], sample_rate=roomkit.RATE)
        (folder / f"{name}.schedule.json").write_text(schedules.to_json(session), encoding="utf-8")
    return [folder / "right.wav", folder / "late.wav"]


def check(track: Path, delay_s: float, seed: str) -> tuple[int, Any, str]:
    """Return (exit code, what the report says, what was said on standard error) of a check in a process."""
    command = [sys.executable, "-c", RUN, str(delay_s), seed, "check", str(track), "--json", "-"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    try:
        report = json.loads(done.stdout)
    except ValueError:
        report = None
    return done.returncode, report, done.stderr


def spin(parent: int) -> None:
    """Keep a core busy for as long as `parent` lives."""
    while os.getppid() == parent:
        pass


def main() -> int:
    """Run the campaign, print its table, and return how many runs differed."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=40)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    started = time.monotonic()
    differing: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        tracks = make(Path(name))
        quiet = {track: check(track, 0.0, "quiet") for track in tracks}
        assert [quiet[track][0] for track in tracks] == [0, 1], quiet
        busy = [
            multiprocessing.Process(target=spin, args=(os.getpid(),), daemon=True)
            for _ in range(os.cpu_count() or 1)
        ]
        for process in busy:
            process.start()

        def one(number: int) -> None:
            track = tracks[number // 2 % 2]
            code, report, said = check(track, 0.004 * (number % 2), f"{chosen.seed}-{number}")
            if (code, report) != quiet[track][:2] or "Traceback" in said:
                differing.append(f"run {number}, {track.name}: exit code {code}: {said.strip()[-500:]}")

        try:
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(one, range(chosen.runs)))
        finally:
            for process in busy:
                process.kill()
    print(f"seed {chosen.seed}: {chosen.runs} checks, two at a time, {len(busy)} busy cores, half with slow")
    print(f"imports, in {time.monotonic() - started:.0f} s: {len(differing)} differ from the quiet run")
    print(*differing, sep="\n")
    return len(differing)


if __name__ == "__main__":
    sys.exit(min(1, main()))
