"""Kill deliveries at random moments and look at what they leave: ``campaign_kills.py RUNS SECONDS SEED``.

One or two child processes write a set of seven files onto the one before, and are killed by SIGKILL after a
random time. Then the next run's first step is taken, and the set must be all of one delivery: each
file with the digest that its list has, and no hidden folder left. Another part injects a full and a read-only
disk, and one that is slow, at every write, sync and rename. POSIX only: children are forked. What is written
is text: a render is not tried, since forked children cannot use what has started threads.
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

from cuelane.base.errors import DeliveryError
from cuelane.base.files import all_or_nothing, finish_interrupted
from cuelane.base.seals import digest_of, is_sealed, listed_files, sealable_json


def _child(folder: Path, content: str) -> int:
    child = os.fork()
    if child == 0:
        try:
            _set(folder, content)
            os._exit(0)
        except BaseException as error:
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
            os._exit(1)
    return child


def _fault_of(folder: Path) -> str:
    """Return what is wrong with the set in `folder`, or nothing."""
    listed = listed_files(folder / "list.json")
    found = {path.name for path in folder.iterdir()}
    if found != {*listed, "list.json"}:
        return f"files {sorted(found)}, listed {sorted(listed)}"
    if not is_sealed(folder / "list.json"):
        return "the list's seal does not fit"
    wrong = [name for name, digest in listed.items() if digest_of(folder / name) != digest]
    return f"not of this set: {wrong}" if wrong else ""


def kills(runs: int, seconds: float, seed: int) -> int:
    """Kill `runs` rounds, or as many as fit in `seconds`; return how many sets were not whole."""
    rng, faults, done, killed, new = random.Random(seed), 0, 0, 0, 0
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        _set(folder, "old")
        begun = time.monotonic()
        os.waitpid(_child(folder, "first"), 0)
        usual_s = time.monotonic() - begun
        end_s = time.monotonic() + seconds
        while done < runs and time.monotonic() < end_s:
            done += 1
            before = (folder / "list.json").read_bytes()
            children = [_child(folder, f"{done}-{n}") for n in range(1 + done % 2)]
            time.sleep(rng.uniform(0.1, 1.5) * usual_s * len(children))
            for child in children:
                os.kill(child, signal.SIGKILL)
            ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
            killed += ends.count(-signal.SIGKILL)
            finish_interrupted(folder)
            new += before != (folder / "list.json").read_bytes()
            fault = _fault_of(folder)
            if fault or any(end not in (0, -signal.SIGKILL) for end in ends):
                faults += 1
                print(f"run {done}: {fault} {ends}")
    print(f"seed {seed}: {done} rounds, {killed} killed, {new} left a new set, {faults} faults")
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
