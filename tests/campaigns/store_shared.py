"""Eight processes on one clip store that is too small for them, with clocks that jump and processes killed.

Each process takes clips, or puts what is not there, and holds them; whatever it holds must be there, whole,
for as long as it holds it. The store is bounded to a fifth of what is put into it, so that every few puts
prune. Meanwhile times of use are set years back and ahead, and processes are killed and replaced.

    python tests/campaigns/store_shared.py --seconds 60 --seed 1
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import tempfile
import time
from collections import Counter
from multiprocessing.queues import Queue
from pathlib import Path

import numpy as np

from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.base.errors import CuelaneError

N_CLIPS = 300
N_FRAMES = 4_800
MAX_BYTES = N_CLIPS * 3 * N_FRAMES // 5
HELD = 12


def clip_of(n: int) -> Clip:
    samples = quantise24(np.random.default_rng(n).uniform(-0.5, 0.5, N_FRAMES))
    return Clip(f"line {n}", "noise", 48_000, samples, content_hash(samples))


def work(folder: Path, seed: int, until_s: float, results: Queue[Counter[str]]) -> None:
    """Take, put and hold clips until the time is over; count what was done and what was wrong."""
    rng = random.Random(seed)
    clips = [clip_of(n) for n in range(N_CLIPS)]
    count: Counter[str] = Counter()
    while time.monotonic() < until_s:
        with ClipStore(folder, max_bytes=MAX_BYTES) as store:
            # A render: some lines are spoken, then each is read, twice.
            held = rng.sample(range(N_CLIPS), HELD)
            for n in held:
                key = recipe_key({"n": n})
                try:
                    found = store.get(key)
                    if found is None:
                        store.put(key, clips[n])
                        count["puts"] += 1
                    elif found.text != clips[n].text or found.sha256 != clips[n].sha256:
                        count["WRONG CLIP"] += 1
                    count["gets"] += 1
                except CuelaneError as error:
                    count[f"ERROR {str(error)[:90]}"] += 1
            for n in held * 2:
                found = store.by_hash(clips[n].sha256)
                count["reads while held"] += 1
                if found is None:
                    count["PRUNED WHILE HELD"] += 1
                elif not np.array_equal(found.samples, clips[n].samples):
                    count["WRONG SAMPLES"] += 1
        count["renders"] += 1
    results.put(count)


def jump_clocks(folder: Path, rng: random.Random) -> int:
    """Set the time of use of a tenth of all files years back or ahead."""
    n_jumps = 0
    for path in folder.glob("*/??/*"):
        if rng.random() < 0.1:
            when = time.time() + rng.choice([-1, 1]) * rng.uniform(0, 3e8)
            try:
                os.utime(path, (when, when))
                n_jumps += 1
            except OSError:
                continue
    return n_jumps


def size_of(path: Path) -> int:
    """Return a file's bytes; 0 of one that another process has pruned since it was listed."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def main() -> int:
    """Run and print a table; 1 if anything was wrong."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=8)
    chosen = parser.parse_args()
    rng = random.Random(chosen.seed)
    context = multiprocessing.get_context("spawn")
    results: Queue[Counter[str]] = context.Queue()
    total: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="cuelane-campaign-") as name:
        folder = Path(name)
        until_s = time.monotonic() + chosen.seconds

        def start(n: int) -> multiprocessing.process.BaseProcess:
            process = context.Process(target=work, args=(folder, chosen.seed * 10_000 + n, until_s, results))
            process.start()
            return process

        living = [start(n) for n in range(chosen.processes)]
        started, largest = len(living), 0
        while time.monotonic() < until_s - 3:
            time.sleep(rng.uniform(0.2, 0.8))
            total["times set"] += jump_clocks(folder, rng)
            largest = max(largest, sum(map(size_of, folder.glob("audio/??/*.wav"))))
            if rng.random() < 0.3:
                at = rng.randrange(len(living))
                living[at].kill()
                living[at].join()
                living[at] = start(started)
                started += 1
                total["processes killed"] += 1
        for _ in living:
            total.update(results.get(timeout=120))
        for process in living:
            process.join()
        with ClipStore(folder, max_bytes=MAX_BYTES) as store:
            store.put(recipe_key({"n": "last"}), clip_of(N_CLIPS))
        left = [path.name for path in folder.glob("leases/*.txt")] + [
            path.name for path in folder.glob("*/??/.*")
        ]
        total["LEASES OR TEMPORARY FILES LEFT"] += len(left)
        size = sum(path.stat().st_size for path in folder.glob("*/??/*"))
        total["STORE TOO LARGE AT THE END"] += size > MAX_BYTES
        total["bytes at most, while held"] = largest
    for what, n in sorted(total.items()):
        print(f"{n:>12,}  {what}")
    return int(any(n for what, n in total.items() if what.split()[0].isupper()))


if __name__ == "__main__":
    raise SystemExit(main())
