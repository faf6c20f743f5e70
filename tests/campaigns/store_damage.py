"""Clip stores with one thing damaged: what comes back is the right clip, or nothing, and a put mends it.

python tests/campaigns/store_damage.py --runs 4000 --seed 1
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore, recipe_key

N_CLIPS = 3
SLOW_S = 2.0


def clip_of(n: int) -> Clip:
    samples = quantise24(np.random.default_rng(n).uniform(-0.5, 0.5, 400 + 100 * n))
    return Clip(f"line {n}", "noise", 48_000, samples, content_hash(samples), ((f"w{n}", 0, 300),))


CLIPS = [clip_of(n) for n in range(N_CLIPS)]
KEYS = [recipe_key({"n": n}) for n in range(N_CLIPS)]


def flip(path: Path, rng: random.Random, _: list[Path]) -> None:
    content = bytearray(path.read_bytes())
    for _n in range(rng.choice([1, 1, 1, 4, 40])):
        content[rng.randrange(min(len(content), rng.choice([64, len(content)])))] ^= 1 << rng.randrange(8)
    path.write_bytes(content)


def cut(path: Path, rng: random.Random, _: list[Path]) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: rng.randrange(len(content))])


def insert(path: Path, rng: random.Random, _: list[Path]) -> None:
    content = path.read_bytes()
    at = rng.randrange(len(content) + 1)
    path.write_bytes(content[:at] + rng.randbytes(rng.choice([1, 2, 4, 1000])) + content[at:])


def drop(path: Path, rng: random.Random, _: list[Path]) -> None:
    content = path.read_bytes()
    at = rng.randrange(len(content))
    path.write_bytes(content[:at] + content[at + rng.choice([1, 2, 8, 100]) :])


def copied_over(path: Path, rng: random.Random, others: list[Path]) -> None:
    shutil.copyfile(rng.choice(others), path)


def token(path: Path, rng: random.Random, _: list[Path]) -> None:
    content = path.read_bytes()
    words = [b"null", b"-1", b"1e999", b"NaN", b"[]", b"{}", b'""', b"9" * 5000, b"\\ud800", b"true", b"\x00"]
    parts = content.split(b": " if b": " in content else b"\x00")
    parts[rng.randrange(len(parts))] = rng.choice(words)
    path.write_bytes((b": " if b": " in content else b"\x00").join(parts))


def odd(path: Path, rng: random.Random, others: list[Path]) -> None:
    path.unlink()
    form = rng.randrange(8)
    if form == 0:
        path.mkdir()
        (path / "mine").write_text("kept")
    elif form == 1:
        os.mkfifo(path)
    elif form == 2:
        path.symlink_to(rng.choice([path, Path("/dev/zero"), Path("/dev/full"), path.parent, *others]))
    elif form == 3:
        path.write_text("[" * rng.choice([10, 990, 1_010, 100_000]))
    elif form == 4:
        with path.open("wb") as file:
            file.truncate(rng.choice([0, 1, 10**6, 3 * 10**9]))
    elif form == 5:
        shutil.rmtree(path.parent)
        path.parent.write_text("in the way")
    elif form == 6:
        shutil.rmtree(path.parent.parent)
    # 7: gone


DAMAGES: list[Callable[[Path, random.Random, list[Path]], None]] = [
    flip, flip, cut, insert, drop, copied_over, token, odd,
]  # fmt: skip


def wrong(folder: Path) -> str:
    """Return what is wrong with what the store gives, and whether a put mends it; nothing if all is right."""
    for key, clip in zip(KEYS, CLIPS, strict=True):
        with ClipStore(folder) as store:
            for found, whole in ((store.by_hash(clip.sha256), False), (store.get(key), True)):
                if found is None:
                    continue
                if not np.array_equal(found.samples, clip.samples) or found.sha256 != clip.sha256:
                    return "WRONG SAMPLES"
                if (found.text or whole) and (found.text, found.words) != (clip.text, clip.words):
                    return "WRONG WORDS"
                if found.text and found.sample_rate != clip.sample_rate:
                    return "WRONG RATE"
            store.put(key, clip)
            mended = store.get(key), store.by_hash(clip.sha256)
            if any(one is None or one.text != clip.text or one.sample_rate != 48_000 for one in mended):
                return "NOT MENDED"
    return ""


def main() -> int:
    """Run and print a table; 1 if anything was wrong."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=4_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=3_600, help="stop after so long")
    parser.add_argument("--first", type=int, default=0, help="the run to begin with, to see one again")
    chosen = parser.parse_args()
    count: Counter[str] = Counter()
    until_s = time.monotonic() + chosen.seconds
    with tempfile.TemporaryDirectory(prefix="cuelane-campaign-") as name:
        template = Path(name) / "template"
        with ClipStore(template) as store:
            for key, clip in zip(KEYS, CLIPS, strict=True):
                store.put(key, clip)
        for run in range(chosen.first, chosen.first + chosen.runs):
            if time.monotonic() > until_s:
                break
            seed = chosen.seed * 1_000_000 + run
            rng = random.Random(seed)
            folder = Path(name) / "store"
            shutil.copytree(template, folder)
            files = sorted(path for path in folder.glob("*/??/*"))
            path = rng.choice(files)
            damage = rng.choice(DAMAGES)
            damage(path, rng, [one for one in files if one != path])
            started_s = time.monotonic()
            try:
                finding = wrong(folder)
            except Exception:
                finding = "TRACEBACK " + traceback.format_exc(limit=-3)
            if time.monotonic() - started_s > SLOW_S:
                count["SLOW"] += 1
            count[damage.__name__] += 1
            if finding:
                count[finding.split()[0]] += 1
                print(f"seed {seed}: {damage.__name__} of {path.relative_to(folder)}: {finding}")
            shutil.rmtree(folder)
    for what, n in sorted(count.items()):
        print(f"{n:>8,}  {what}")
    return int(any(what.isupper() for what in count))


if __name__ == "__main__":
    raise SystemExit(main())
