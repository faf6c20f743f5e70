"""Commands on a disk that takes no more, wherever in their files that happens: ``full_disks.py RUNS SEED``.

A folder holds a track in five formats with its companions, a report and a page on it, and mixes. Each is
made again from a changed plan where so many bytes can still be written, a number of chance: by every
library, every encoder and the store of clips. Half of the runs may write no file beyond it (RLIMIT_FSIZE:
"File too large", which ends an encoder by a signal), half are on a disk of their own that is full then,
which needs root and Linux's tmpfs. Every eighth run's disk is read only. Allowed are exit code 3 with the
system's cause and every file as it was, or 0 with a whole new set; nothing hidden may stay. POSIX only.
"""

from __future__ import annotations

import errno
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

import numpy as np
import soundfile

from children import run_command
from cuelane.base.files import finish_interrupted
from cuelane.base.seals import digest_of, listed_files

PLAN = """\
title: {title}
cautions: [Stop if anything hurts.]
session: [{{block: A, pattern: circuit, work: 20s, rest: 10s, exercises: [squat, lunge]}}]
exercises:
  squat: {{setup: Sit down between your heels.}}
  lunge: {{setup: "{title}: one foot goes back."}}
"""
RENDERED = [f"x{suffix}" for suffix in (".wav", ".flac", ".m4a", ".mp3", ".opus")]
COMMANDS = [
    *(["render", "plan.yaml", "--out", name, "--srt"] for name in RENDERED),
    ["check", "x.wav", "--page", "report.html", "--json", "report.json"],
    ["script", "plan.yaml", "--html", "script.html", "--json", "script.json"],
    ["under", "x.wav", "song.wav", "--out", "mix.m4a"],
    ["under", "x.wav", "song.wav", "--out", "mix.flac"],
    ["voices", "natural", "--say", "Ten seconds left.", "--out", "line.mp3"],
    ["new", "circuit", "--out", "new/plan.yaml"],
]
SMALLEST = 1_000
"""Bytes: so much is left to what a command prints, which goes into a file here."""


SHOWN_EVERY = 10
"""Runs; a command takes seconds to minutes, and whoever stops the campaign keeps what it has found."""

CAUSES = [os.strerror(code) for code in (errno.EFBIG, errno.ENOSPC, errno.EROFS)]
CAUSES.append(signal.strsignal(signal.SIGXFSZ) or "")


def limit_files(n_bytes: int) -> None:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))


class Disk:
    """A disk of its own with `folder` copied onto it and `free_bytes` left, where this system lets us."""

    def __init__(self, place: Path, folder: Path, free_bytes: int, read_only: bool) -> None:
        self.place = place
        place.mkdir()
        # Blocks are of 4 KiB, and each file and folder takes one more than its content.
        used = sum(-(-path.stat().st_size // 4096) * 4096 + 4096 for path in folder.rglob("*"))
        size = "mount", "-t", "tmpfs", "-o", f"size={used + free_bytes}", "tmpfs", str(place)
        self.mounted = subprocess.run(size, check=False, capture_output=True).returncode == 0
        shutil.copytree(folder, place, dirs_exist_ok=True)
        if self.mounted and read_only:
            subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)

    def remove(self) -> None:
        if self.mounted:
            subprocess.run(["umount", str(self.place)], check=True)
        shutil.rmtree(self.place)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def fault_of(folder: Path, before: dict[str, bytes], code: int | None, said: str) -> str:
    """Return what is wrong with a command's end, or an empty text."""
    finish_interrupted(folder)
    after = contents(folder)
    if [name for name in after if name.startswith(".")] or [p for p in folder.iterdir() if p.name[0] == "."]:
        return f"hidden: {sorted(set(after) - set(before))}"
    if "Traceback" in said or code not in (0, 1, 3):
        return f"exit code {code}"
    if code == 3:
        if after != before:
            return f"changed: {[name for name in before | after if before.get(name) != after.get(name)]}"
        return "" if any(cause in said for cause in CAUSES) else "no cause"
    for listing in folder.glob("*.schedule.json"):
        for name, digest in listed_files(listing).items():
            if digest_of(folder / name) != digest:
                return f"{name} is not as {listing.name} lists it"
    return ""


def begin(folder: Path) -> None:
    """Fill a folder with what all commands make, and then change the plan."""
    (folder / "new").mkdir(parents=True)
    (folder / "plan.yaml").write_text(PLAN.format(title="One"), encoding="utf-8")
    noise = np.random.default_rng(1).uniform(-0.2, 0.2, (48_000 * 30, 2))
    soundfile.write(folder / "song.wav", noise, 48_000)
    for command in COMMANDS[:-1]:
        done = run_command(*command, cwd=folder)
        assert done.returncode == 0, (command, done.stderr)
    (folder / "plan.yaml").write_text(PLAN.format(title="Two"), encoding="utf-8")


def main(runs: int, seed: int) -> int:
    rng = random.Random(seed)
    faults, answers = 0, Counter[str]()
    with tempfile.TemporaryDirectory() as scratch:
        # Every third run has a store that is empty, and speaks within the limit.
        os.environ["CUELANE_CACHE"] = str(Path(scratch) / "store")
        started = Path(scratch) / "started"
        begin(started)
        for number in range(runs):
            own_store = Path(scratch) / f"store-{number}"
            os.environ["CUELANE_CACHE"] = str(own_store if number % 3 == 2 else Path(scratch) / "store")
            command = rng.choice(COMMANDS)
            limit = round(SMALLEST * 10 ** rng.uniform(0, 4))
            small = number % 2 == 1
            disk = Disk(Path(scratch) / "run", started, limit if small else 1 << 30, number % 8 == 0)
            first = None if disk.mounted and (small or number % 8 == 0) else partial(limit_files, limit)
            before = contents(disk.place)
            done = run_command(*command, cwd=disk.place, first=first)
            how = "limit" if first else "full" if small else "read only"
            answers[f"{how} {command[0]} {done.returncode}"] += 1
            if fault := fault_of(disk.place, before, done.returncode, done.stdout + done.stderr):
                faults += 1
                print(
                    f"run {number}: {' '.join(command)}, {how}, {limit} bytes: {fault}: {done.stderr[-400:]}",
                    flush=True,
                )
            disk.remove()
            shutil.rmtree(own_store, ignore_errors=True)
            if (number + 1) % SHOWN_EVERY == 0:
                print(f"up to run {number}: {faults} faults, {dict(sorted(answers.items()))}", flush=True)
    print(f"seed {seed}: {runs} commands, {faults} faults, {dict(sorted(answers.items()))}")
    return faults


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    n_runs, first_seed = numbers + [200, 1][len(numbers) :]
    sys.exit(bool(main(n_runs, first_seed)))
