"""Damaged and hostile captions, schedules and media by the thousand, run by hand.

    python tests/campaigns/fuzz_inputs.py captions --runs 5000 --seed 1

Every input has ten seconds of processor time, its decoder's with it, and 4 GB of memory; two minutes by the clock
tell a program that waits for ever from a busy machine. Anything but a result or an error with a cause is a finding: it is
printed with its seed, kept beside as a file, and belongs into the ordinary tests once it is mended. Ends with 1 if
there was one. Needs a system with alarms (not Windows).
"""

# ruff: noqa: E501 (tables of hostile values)

from __future__ import annotations

import argparse
import json
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from cuelane import media
from cuelane.adapt.decisions import decisions_text, read_decisions
from cuelane.adapt.plan_file import fit_for_plan
from cuelane.adapt.words.caption_reader import read_captions
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.base.errors import CuelaneError
from cuelane.base.schedule import Event, Schedule, ScheduledInterval, from_json, load_schedule, to_json
from cuelane.deliver.marks import cue_marks, to_csv
from cuelane.media.attached_picture import cover_png
from cuelane.plan.source_text import is_hidden

PROCESSOR_S_EACH, CLOCK_S_EACH = 10, 120
SHOWN_EVERY = 500
MEMORY_BYTES = 4 << 30
NASTY = (
    "", "\x00", "\ufeff", "\u202e", "\u2028", "\ud7ff", "<", "<" * 9_999, "{\\", "{side}", "&#", "&#x110000;", "&lt;", "-->",
    "&#" + "9" * 5_000, "99:99:99.999 --> 00:00.000", "999:59:59,999", "1e999", "-0", "NaN", "Infinity", "\r", "\n\n",
    "WEBVTT", "9" * 5_000, "٣:٣٣", "\\ud800", "\\u0000", "null", "true", "[" * 9_999, "{}", "-1", "1.5", "=cmd()", "\U0001f3cb",
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**31, 2**53, 2**63, 10**18, 10**400, 1.5, 1e308, "", "x" * 20_000, "\x1b[2J", "=1+1",
    [], {}, [[]], [["w", 1, 2]], [["w", 1]], {"a": [None]}, "sha256:00", "en", "cue", "pip", 96_000, 192_000, 8_000,
)  # fmt: skip
Mutator = Callable[[random.Random], bytes]


class TooLongError(Exception):
    """The time of one input is over."""


def processor_s() -> float:
    """Return the processor time of this process and of the programs it has run, in seconds."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def mutated(seed: bytes, chance: random.Random) -> bytes:
    """Return `seed` with one to eight changes: bytes, runs, tokens, cuts and copies."""
    data = bytearray(seed)
    for _ in range(chance.randint(1, 8)):
        at = chance.randrange(len(data) + 1)
        match chance.randrange(7):
            case 0 if data:
                data[min(at, len(data) - 1)] = chance.randrange(256)
            case 1:
                data[at : at + chance.randint(1, 40)] = b""
            case 2:
                data[at:at] = chance.choice(NASTY).encode("utf-8", "replace")
            case 3:
                data[at : at + 4] = chance.choice((b"\xff" * 4, b"\0" * 4, b"\x7f\xff\xff\xff", b"\0\0\0\1"))
            case 4:
                data[at:at] = data[at : at + chance.randint(1, 200)] * chance.randint(1, 30)
            case 5:
                data = data[: max(1, at)] if chance.random() < 0.3 else data
            case _:
                other = chance.randrange(len(data) + 1)
                data[at : at + 16] = data[other : other + 16]
    return bytes(data)


def caption_bytes(chance: random.Random) -> bytes:
    """Return captions in one of three forms, changed."""
    rows = [
        (i * 3, chance.choice(("Heels heavy.", "Knees out.", "כפוף את הברך.")))
        for i in range(chance.randint(1, 40))
    ]
    form = chance.randrange(3)
    if form == 0:
        text = "WEBVTT\n\n" + "\n\n".join(
            f"00:{t // 60:02d}:{t % 60:02d}.000 --> 00:{t // 60:02d}:{t % 60:02d}.900 align:left\n<v A>{w}"
            for t, w in rows
        )
    elif form == 1:
        text = "\n\n".join(
            f"{n}\n00:{t // 60:02d}:{t % 60:02d},000 --> 00:{t // 60:02d}:{t % 60:02d},900\n{w}"
            for n, (t, w) in enumerate(rows)
        )
    else:
        text = "\n".join(f"{t // 60}:{t % 60:02d} {w}" for t, w in rows)
    return mutated(text.encode(), chance)


def try_captions(path: Path) -> None:
    captions = read_captions(path)
    assert captions == sorted(captions, key=lambda caption: caption.start_s)
    for caption in captions:
        fit_for_plan(caption.text, 600).encode()
        assert not any(is_hidden(c) for c in caption.text), caption.text
    cues = [FoundCue(c.start_s, c.end_s, c.text, "form", 0) for c in captions]
    again = path.with_suffix(".decisions")
    again.write_text(decisions_text(cues, [True] * len(cues), []), encoding="utf-8")
    assert len(read_decisions(again)) == len(cues)


SCHEDULE = json.loads(to_json(Schedule(
    "T", "en", 48_000, 480_000,
    tuple(ScheduledInterval(i, "B", "work", 1, "a", None, i * 96_000, (i + 1) * 96_000) for i in range(5)),
    tuple(Event(f"e{i}", "cue", "form", i, i * 96_000 + 9, i * 96_000 + 9_000, text="Go.", clip="sha256:00",
                words=(("Go.", i * 96_000 + 9, i * 96_000 + 99),)) for i in range(5)),
    (), {"loudness": {"integrated_lufs": -16.0}, "facts": {"x": [1, 2]}},
)))  # fmt: skip


def schedule_bytes(chance: random.Random) -> bytes:
    """Return a schedule with values changed in its tree, its bytes changed, or both."""
    data = json.loads(json.dumps(SCHEDULE))
    for _ in range(chance.randint(0, 4)):
        node: Any = data
        while True:
            keys = list(node) if isinstance(node, dict) else list(range(len(node)))
            if not keys:
                break
            key = chance.choice(keys)
            if isinstance(node[key], dict | list) and chance.random() < 0.8:
                node = node[key]
                continue
            match chance.randrange(3):
                case 0:
                    del node[key]
                case _:
                    node[key] = chance.choice(VALUES)
            break
    text = json.dumps(data, ensure_ascii=chance.random() < 0.5).encode("utf-8", "surrogatepass")
    return mutated(text, chance) if chance.random() < 0.4 else text


def try_schedule(path: Path) -> None:
    schedule = load_schedule(path)
    text = to_json(schedule)
    text.encode()
    assert from_json(text) == schedule
    to_csv(schedule).encode()
    cue_marks(schedule)


def media_seeds(folder: Path) -> list[bytes]:
    """Return half a second of sound in every format, with tags and chapters where they go."""
    sound = (0.1 * np.random.default_rng(1).standard_normal((24_000, 1))).astype(np.float32)
    told = media.Metadata(
        {"title": "T", "comment": "C"}, (media.Chapter(0, 200, "a"), media.Chapter(200, 500, "b"))
    )
    seeds = []
    for suffix in (".m4a", ".mp3", ".opus", ".flac", ".wav"):
        path = folder / f"seed{suffix}"
        media.encode(
            path, [sound], sample_rate=48_000, metadata=media.Metadata() if suffix == ".wav" else told
        )
        seeds.append(path.read_bytes())
    return seeds


def media_bytes(seeds: list[bytes]) -> Mutator:
    def make(chance: random.Random) -> bytes:
        seed = chance.choice(seeds)
        if chance.random() < 0.5:
            # What a reader decides by lies at the beginning, and in an MPEG-4 file that was cut at the end.
            head = chance.randint(16, 2_000)
            return mutated(seed[:head], chance) + seed[head:]
        return mutated(seed, chance) + (chance.choice(seeds) if chance.random() < 0.1 else b"")

    return make


def try_media(path: Path) -> None:
    for ask in (media.probe, cover_png):
        try:
            ask(path)
        except CuelaneError:
            continue
    n_frames = 0
    for block in media.decode(path, channels=None):
        assert np.isfinite(block).all()
        n_frames += len(block)
    assert n_frames


def run(kind: str, n_runs: int, first_seed: int, minutes: float) -> int:
    """Try the inputs and return the number of findings."""

    def ended(*_: object) -> None:
        raise TooLongError

    signal.signal(signal.SIGALRM, ended)
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_BYTES, MEMORY_BYTES))
    outcomes: Counter[str] = Counter()
    started = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="cuelane-fuzz-") as name:
        folder = Path(name)
        make: Mutator = caption_bytes
        attempt = try_captions
        if kind == "schedules":
            make, attempt = schedule_bytes, try_schedule
        elif kind == "media":
            make, attempt = media_bytes(media_seeds(folder)), try_media
        for seed in range(first_seed, first_seed + n_runs):
            if time.monotonic() - started > minutes * 60:
                break
            path = folder / "input"
            path.write_bytes(make(random.Random(seed)))
            signal.alarm(CLOCK_S_EACH)
            begun_s = processor_s()
            try:
                try:
                    attempt(path)
                    outcome = "read"
                finally:
                    if processor_s() - begun_s > PROCESSOR_S_EACH:
                        raise TooLongError
            except CuelaneError as error:
                str(error).encode()
                outcome = "refused with a cause"
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                outcome = f"FINDING {type(error).__name__}"
                kept = Path(tempfile.gettempdir()) / f"cuelane-{kind}-{seed}"
                kept.write_bytes(path.read_bytes())
                print(f"seed {seed}, kept as {kept}:\n{traceback.format_exc(limit=-6)}", flush=True)
            finally:
                signal.alarm(0)
            outcomes[outcome] += 1
            if sum(outcomes.values()) % SHOWN_EVERY == 0:
                print(f"{kind}: up to seed {seed}: {dict(outcomes)}", flush=True)
    total = sum(outcomes.values())
    print(
        f"{kind}: {total} inputs from seed {first_seed} in {time.monotonic() - started:.0f} s: {dict(outcomes)}"
    )
    return sum(n for outcome, n in outcomes.items() if outcome.startswith("FINDING"))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=("captions", "schedules", "media"))
    parser.add_argument("--runs", type=int, default=5_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0)
    given = parser.parse_args()
    sys.exit(run(given.kind, given.runs, given.seed, given.minutes) > 0)
