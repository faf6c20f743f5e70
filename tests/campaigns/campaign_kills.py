"""Kill renders at random moments and look at what they leave: ``campaign_kills.py [RUNS] [SECONDS] [SEED]``.

A child process renders a tiny plan, each time with another title, onto the set of the one before, and is
killed (SIGKILL) after a random time. Then the next run's first step is taken, and the set must be all of one
render: each file with the digest that the schedule lists, one title in schedule, page and description, and no
hidden folder left. A second part injects a full and a read-only disk, and one that is slow, at every write,
sync and rename of a delivery. POSIX only: children are forked, so that nothing is imported again.
"""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from cuelane.audio.store import ClipStore
from cuelane.base.errors import DeliveryError
from cuelane.base.files import all_or_nothing, finish_interrupted
from cuelane.base.seals import digest_of, is_sealed, listed_files, sealable_json
from cuelane.render.run import RenderOptions, render

PLAN = """\
title: {title}
cautions: none
lead_in: 1s
closing: false
pips: false
session: [{{pattern: script, block: A, intervals: [{{kind: work, length: 2s, exercise: A}}]}}]
exercises: {{A: {{}}}}
"""


def _render(folder: Path, title: str, suffix: str, store: ClipStore) -> None:
    plan = folder.parent / f"{os.getpid()}.yaml"
    plan.write_text(PLAN.format(title=title), encoding="utf-8")
    render(plan, folder / f"x{suffix}", RenderOptions(), store=store)


def _child(folder: Path, title: str, suffix: str, store: ClipStore) -> int:
    child = os.fork()
    if child == 0:
        try:
            _render(folder, title, suffix, store)
            os._exit(0)
        except BaseException as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
            os._exit(1)
    return child


def _fault_of(folder: Path) -> str:
    """Return what is wrong with the set in `folder`, or nothing."""
    schedule = folder / "x.schedule.json"
    listed = listed_files(schedule)
    found = {path.name for path in folder.iterdir()}
    if hidden := [name for name in found if name.startswith(".")]:
        return f"left behind: {hidden}"
    if found != {*listed, schedule.name}:
        return f"files {sorted(found)}, listed {sorted(listed)}"
    if not is_sealed(schedule):
        return "the schedule's seal does not fit"
    if wrong := [name for name, digest in listed.items() if digest_of(folder / name) != digest]:
        return f"not of this set: {wrong}"
    title = json.loads(schedule.read_text(encoding="utf-8"))["title"]
    if any(title not in (folder / f"x{end}").read_text(encoding="utf-8") for end in (".html", ".md")):
        return "another title in the page or the description"
    return ""


def kills(runs: int, seconds: float, seed: int) -> int:
    """Kill `runs` renders, or as many as fit in `seconds`; return how many sets were not whole."""
    rng, faults, done, killed, new = random.Random(seed), 0, 0, 0, 0
    with tempfile.TemporaryDirectory() as scratch:
        folder, store = Path(scratch) / "set", ClipStore(Path(scratch) / "store")
        folder.mkdir()
        _render(folder, "title-0", ".wav", store)
        begun = time.monotonic()
        _render(folder, "title-1", ".wav", store)
        usual_s = time.monotonic() - begun
        end_s = time.monotonic() + seconds
        while done < runs and time.monotonic() < end_s:
            done += 1
            before = (folder / "x.schedule.json").read_bytes()
            children = [
                _child(folder, f"title-{seed}-{done}-{n}", ".wav", store) for n in range(1 + done % 2)
            ]
            time.sleep(rng.uniform(0.3, 1.1) * usual_s * len(children))
            for child in children:
                os.kill(child, signal.SIGKILL)
            ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
            killed += ends.count(-signal.SIGKILL)
            if any(end not in (0, -signal.SIGKILL) for end in ends):
                faults += 1
                print(f"run {done}: a child ended with {ends}")
            finish_interrupted(folder)
            new += before != (folder / "x.schedule.json").read_bytes()
            if fault := _fault_of(folder):
                faults += 1
                print(f"run {done}: {fault}")
    print(f"seed {seed}: {done} runs, {killed} killed, {new} left a new set, {faults} faults")
    return faults


def disks() -> int:
    """Refuse or delay each operation in turn; return how many deliveries were not whole."""
    faults = tried = 0
    for code in (errno.ENOSPC, errno.EROFS, 0):
        at = 0
        while True:
            at += 1
            count = 0

            def counted(real: Any, at: int = at, code: int = code) -> Any:
                def operation(*arguments: Any, **options: Any) -> Any:
                    nonlocal count
                    count += 1
                    if not code:
                        time.sleep(0.002)
                    elif count >= at:
                        raise OSError(code, os.strerror(code))
                    return real(*arguments, **options)

                return operation

            with tempfile.TemporaryDirectory() as scratch:
                folder = Path(scratch)
                _set(folder, "old")
                places: list[tuple[Any, str]] = [(os, name) for name in ("replace", "link", "fsync", "mkdir")]
                places += [(Path, name) for name in ("write_bytes", "write_text")]
                real = [getattr(where, name) for where, name in places]
                for (where, name), function in zip(places, real, strict=True):
                    setattr(where, name, counted(function))
                try:
                    _set(folder, "new")
                except DeliveryError:
                    pass
                finally:
                    for (where, name), function in zip(places, real, strict=True):
                        setattr(where, name, function)
                finish_interrupted(folder)
                tried += 1
                texts = {path.read_text().split()[0] for path in folder.iterdir() if path.suffix == ".txt"}
                if len(texts) != 1 or any(path.name.startswith(".") for path in folder.iterdir()):
                    faults += 1
                    print(f"{errno.errorcode.get(code, 'slow')} at {at}: {texts}")
            if count < at or not code:
                break
    print(f"disks: {tried} deliveries, {faults} faults")
    return faults


def _set(folder: Path, content: str) -> None:
    listing = folder / "list.json"
    names = [folder / f"{n}.txt" for n in range(6)]
    with all_or_nothing(*names, listing, listing=listing) as staged:
        for name in names:
            staged.write_text(name, f"{content} {name.name}")
        staged.write_listing(lambda files: sealable_json(json.dumps({"files": files})), lambda *_: False)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    n_runs, n_seconds, first_seed = numbers + [500, 240, 1][len(numbers) :]
    sys.exit(bool(disks() + kills(n_runs, n_seconds, first_seed)))
