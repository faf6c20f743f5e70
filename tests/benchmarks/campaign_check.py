"""False alarms on clean tracks, and random faults alone and several at once, by hand.

Run: ``python tests/benchmarks/campaign_check.py [clean|faults] [how many] [first seed]``. Prints each track
on which the report differs from what was put in, and the counts.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))

import faultkit
import synth
from cuelane.base.schedule import from_json
from cuelane.check.run import check

CONDITIONS: list[tuple[str, float | None]] = [
    (".wav", None), (".mp3", None), (".opus", None), (".flac", None),
    (".wav", -10.0), (".mp3", -10.0), (".wav", 0.0), (".opus", 0.0), (".wav", 6.0), (".mp3", 6.0),
]  # fmt: skip
QUIET = 6
"""The first so many conditions serve for faults: under music as loud as speech a level cannot be judged."""
SECONDS = 48


def told(folder: Path, case: faultkit.Broken, suffix: str, music_db: float | None, seed: int) -> list[str]:
    """Return what the report misses or invents."""
    if music_db is not None:
        changes, case.after = case.after, []
        mixed = synth.with_music(faultkit.sound_of(case), music_db, seed)
        for change in changes:
            mixed = change(mixed)
        case.after = changes
    else:
        mixed = faultkit.sound_of(case)
    audio = synth.write(folder / f"track{suffix}", mixed)
    report = check(audio, from_json(case.track.schedule()), store=case.track.store())
    return faultkit.wrongly_told([(f.kind, f.event, f.error_ms) for f in report.faults], case.expected)


def campaign(what: str, n: int, first: int) -> None:
    """Run `n` tracks and print what went wrong."""
    sounds = {text: synth.speak(text) for text in synth.CUES}
    every = [*faultkit.EVENT_FAULTS, *faultkit.FILE_FAULTS]
    right, put_in, began = 0, 0, time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + n):
            rng = np.random.default_rng(10_000 + seed)
            case = faultkit.broken(synth.session(SECONDS, seed=5000 + seed, sounds=sounds))
            names = []
            if what == "faults":
                names = [every[seed % len(every)]]
                if seed % 2:
                    rest = [f for f in faultkit.EVENT_FAULTS if f is not names[0]]
                    names = [
                        rest[k] for k in rng.choice(len(rest), int(rng.integers(1, 3)), replace=False)
                    ] + names
            try:
                for fault in names:
                    fault(case, rng)
            except (AssertionError, ValueError, IndexError) as error:
                print(f"{seed}: no place for {[f.__name__ for f in names]}: {error}")
                continue
            conditions = CONDITIONS[:QUIET] if what == "faults" else CONDITIONS
            suffix, music_db = conditions[(seed // 2) % len(conditions)]
            put_in += 1
            problems = told(Path(folder), case, suffix, music_db, seed)
            right += not problems
            if problems:
                print(
                    f"{seed} {suffix} music {music_db} {[f.__name__ for f in names]}: {problems}", flush=True
                )
    print(f"{what}: {right} of {put_in} tracks told exactly right, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    kind = sys.argv[1] if len(sys.argv) > 1 else "both"
    how_many = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    start = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    for one in ("clean", "faults") if kind == "both" else (kind,):
        campaign(one, how_many, start)
