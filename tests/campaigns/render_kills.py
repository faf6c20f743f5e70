"""Kill real renders, at every change of a name and at random moments: is the set whole after the next run?

    python tests/campaigns/render_kills.py [--random 30] [--seed 1]

A track with its companions stands in a folder, and a child process renders another plan into its name, in
m4a and WAV. It kills itself (SIGKILL) just before or just after its n-th rename, link, unlink or removal of
a folder, for every n, or is killed at a random moment. Then the next run's first step is taken (every tenth
time the whole next run): the folder must hold one render's files and no other, each with the digest that is
listed, and nothing hidden. POSIX only. Children are forked before any thread has been started, so that the
program is read in once.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

# Before numpy: its threads would be missing in a fork.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

from cuelane.audio.store import ClipStore
from cuelane.base.files import finish_interrupted
from cuelane.base.seals import digest_of, is_sealed, listed_files
from cuelane.deliver import chapters, cover, marks, publish  # noqa: F401 (read in before the forks)
from cuelane.render.run import RenderOptions, render

OPERATIONS = ("replace", "rename", "link", "unlink", "remove", "rmdir")
PLAN = """\
title: {title}
cautions: none
closing: false
session:
- block: {title}
  pattern: script
  intervals:
  - {{kind: work, length: {length}s, exercise: A, cues: [{{at: 2s, text: "{title}, and hold."}}]}}
  - {{kind: rest, length: 4s}}
exercises: {{A: {{}}}}
"""
WAYS = {
    "set onto set": (RenderOptions(), RenderOptions()),
    "captions more": (RenderOptions(), RenderOptions(subtitles=True)),
    "extras go": (RenderOptions(subtitles=True), RenderOptions(extras=False)),
    "first of all": (None, RenderOptions()),
}
EVERY_WHOLE_RUN = 10
MOST_OPERATIONS = 300


def dies_at(nth: int, after: bool) -> None:
    """Let this process kill itself just before, or just after, the operation `nth`, counted from 1."""
    count = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def operation(*arguments: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            mine = count == nth
            if mine and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            done = real(*arguments, **options)
            if mine:
                os.kill(os.getpid(), signal.SIGKILL)
            return done

        return operation

    for name in OPERATIONS:
        setattr(os, name, counted(getattr(os, name)))


def forked(work: Callable[[], None], kill_after_s: float | None = None) -> int:
    """Do `work` in a child, killed after some time if so asked; return how it ended."""
    assert threading.active_count() == 1
    child = os.fork()
    if child == 0:
        try:
            work()
            os._exit(0)
        except BaseException as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
            os._exit(1)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


class Trial:
    """A folder with two plans and, for each suffix and way, the set that stands there before."""

    def __init__(self, scratch: Path) -> None:
        self.scratch = scratch
        self.store = scratch / "store"
        self.outcomes: Counter[str] = Counter()
        self.faults = 0
        for title, length in (("Old", 9), ("New", 11)):
            text = PLAN.format(title=title, length=length)
            (scratch / f"{title}.yaml").write_text(text, encoding="utf-8")

    def render(self, folder: Path, suffix: str, title: str, options: RenderOptions) -> Callable[[], None]:
        def work() -> None:
            store = ClipStore(self.store)
            render(self.scratch / f"{title}.yaml", folder / f"track{suffix}", options, store=store)

        return work

    def before(self, suffix: str, way: str) -> Path:
        """Return the folder with the set that was there before, rendered once."""
        folder = self.scratch / f"before{suffix}-{way}"
        if not folder.exists():
            folder.mkdir()
            options = WAYS[way][0]
            if options is not None:
                assert forked(self.render(folder, suffix, "Old", options)) == 0
        return folder

    def kill(self, suffix: str, way: str, how: Callable[[Callable[[], None]], int], name: str) -> int:
        """Render onto a copy of the set before, killed by `how`; judge what stands there; return the end."""
        old = self.before(suffix, way)
        folder = self.scratch / "here"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(old, folder)
        number = self.outcomes.total()
        ended = how(self.render(folder, suffix, "New", WAYS[way][1]))
        if ended == 0:
            self.outcomes["not killed"] += 1
        elif ended == -signal.SIGKILL:
            finish_interrupted(folder)
            kept = contents(folder) == contents(old)
            self.outcomes["the old set" if kept else "the new set"] += 1
        else:
            self.outcomes["FAULT"] += 1
        fault = "" if ended in (0, -signal.SIGKILL) else f"ended with {ended}"
        fault = fault or fault_of(folder, suffix, empty=WAYS[way][0] is None)
        if not fault and number % EVERY_WHOLE_RUN == 0:
            again = forked(self.render(folder, suffix, "New", WAYS[way][1]))
            fault = f"the next run ended with {again}" if again else fault_of(folder, suffix, empty=False)
            self.outcomes["next run whole"] += 1
        if fault:
            self.faults += 1
            print(f"{suffix} {way}, {name}: {fault}", flush=True)
        return ended


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def fault_of(folder: Path, suffix: str, *, empty: bool) -> str:
    """Return what is wrong with the set in `folder`, or nothing."""
    found = {path.name for path in folder.iterdir()}
    if empty and not found:
        return ""
    listing = folder / "track.schedule.json"
    listed = listed_files(listing)
    if found != {*listed, listing.name} or f"track{suffix}" not in found:
        return f"files {sorted(found)}, listed {sorted(listed)}"
    if not is_sealed(listing):
        return "the list's seal does not fit"
    wrong = [name for name, digest in listed.items() if digest_of(folder / name) != digest]
    return f"not of this set: {wrong}" if wrong else ""


def main() -> int:
    """Run the campaign, print its table, and return the number of faults."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--random", type=int, default=30, help="kills at random moments for each format")
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    rng = random.Random(chosen.seed)
    with tempfile.TemporaryDirectory() as name:
        trial = Trial(Path(name))
        for suffix in (".m4a", ".wav"):
            for way in WAYS:
                for after in (False, True):
                    for nth in range(1, MOST_OPERATIONS):

                        def how(work: Callable[[], None], nth: int = nth, after: bool = after) -> int:
                            return forked(lambda: (dies_at(nth, after), work())[1])  # type: ignore[func-returns-value]

                        if trial.kill(suffix, way, how, f"{'after' if after else 'before'} {nth}") == 0:
                            break
                print(f"{suffix} {way}: {nth - 1} operations; {dict(trial.outcomes)}", flush=True)
            folder = trial.scratch / "usual"
            folder.mkdir(exist_ok=True)
            begun_s = time.monotonic()
            forked(trial.render(folder, suffix, "New", RenderOptions()))
            usual_s = time.monotonic() - begun_s
            for number in range(chosen.random):
                after_s = rng.uniform(0, 1.1) * usual_s
                trial.kill(
                    suffix,
                    rng.choice(list(WAYS)),
                    lambda work, after_s=after_s: forked(work, after_s),  # type: ignore[misc]
                    f"random {number}",
                )
            print(f"{suffix} at random: {chosen.random} kills; {dict(trial.outcomes)}", flush=True)
    print(f"seed {chosen.seed}: {dict(trial.outcomes)}, {trial.faults} faults")
    return trial.faults


if __name__ == "__main__":
    sys.exit(min(1, main()))
