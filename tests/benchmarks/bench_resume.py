"""How much of the work on a class without captions is saved where `adapt` was interrupted and started again.

Run by hand: ``python tests/benchmarks/bench_resume.py [light] [strong]``; light if none is named.
A class of 15 minutes, half of it speech, is adapted whole; then with nothing kept and killed as soon as half
of its pieces have been heard; then started again. With all of them heard it takes what nothing can save.
Prints processor seconds, of each process and of those it starts, against those of the whole run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the generator lies beside this folder.
from bench_structure import talked_through

import classgen as gen

_ADAPT = """
import os, sys
from pathlib import Path
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.run import adapt_recording
folder = Path(sys.argv[1])
adapt_recording(folder / "class.mp4", folder / sys.argv[3], AdaptOptions(None, recogniser=sys.argv[2]))
print(sum(os.times()[:4]))
"""
_N_SETS, _KILLED_AT = 19, 0.5


def begin(folder: Path, recogniser: str, out: str, cache: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", _ADAPT, str(folder), recogniser, out]
    env = {**os.environ, "CUELANE_CACHE": str(folder / cache)}
    return subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)


def spent_s(process: subprocess.Popen[str]) -> float:
    """Return the processor seconds of a run that ends by itself."""
    told, _ = process.communicate()
    assert process.returncode == 0, "adapt failed"
    return float(told.split()[-1])


def n_heard(folder: Path, cache: str) -> int:
    return sum(1 for _ in (folder / cache / "heard").glob("??/*.json"))


def resumed(folder: Path, recogniser: str) -> None:
    whole_s = spent_s(begin(folder, recogniser, "whole", "whole-cache"))
    n_pieces = n_heard(folder, "whole-cache")
    killed = begin(folder, recogniser, "again", "cache")
    while n_heard(folder, "cache") < _KILLED_AT * n_pieces:
        assert killed.poll() is None, "ended before it was killed"
        time.sleep(0.05)
    killed.kill()
    killed.wait()
    kept = n_heard(folder, "cache")
    again_s = spent_s(begin(folder, recogniser, "again", "cache"))
    least_s = spent_s(begin(folder, recogniser, "least", "cache"))
    print(
        f"{recogniser}: killed with {kept} of {n_pieces} pieces heard; started again it took "
        f"{again_s / whole_s:.2f} of a whole run's processor time, with all heard {least_s / whole_s:.2f} "
        f"({whole_s:.0f} s whole)",
        flush=True,
    )


def main(recognisers: list[str]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = gen.generate(300, n_sets=_N_SETS)
        gen.write_video(folder / "class.mp4", talked_through(made), folder / "class.wav")
        del made
        for number, recogniser in enumerate(recognisers):
            own = folder / str(number)
            own.mkdir()
            (own / "class.mp4").hardlink_to(folder / "class.mp4")
            resumed(own, recogniser)


if __name__ == "__main__":
    main(sys.argv[1:] or ["light"])
