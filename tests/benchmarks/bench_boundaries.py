"""Boundaries of recorded classes with a human voice: a table by condition, on classes nothing was fitted on.

Run by hand: ``CUELANE_HUMAN_SOUNDS=FOLDER python tests/benchmarks/bench_boundaries.py A:B [hint] [list]``.

FOLDER holds ``voice/`` (recorded phrases as WAV: Debian's asterisk-core-sounds-en-wav unpacked) and
``music/`` (Ogg: Debian's wesnoth-music, hyperrogue-music, singularity-music and frozen-bubble-data unpacked).
Nothing of it is in this repository. Seeds under 5,000 are for fitting, those from 5,000 give figures.
``hint`` names one boundary as ``--beep-at`` does, ``lengths`` the work and rest where a class alternates,
``list`` prints every class. Classes are kept beside
the sounds, in ``made``.
"""

from __future__ import annotations

import resource
import sys
import warnings
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the maker lies beside this folder.
import heldclass
from cuelane.adapt.analysis import analysis_of
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN
from cuelane.adapt.beeps.search import Structure, find_structure
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.report import doubts
from cuelane.adapt.words.intervals import find_intervals
from cuelane.adapt.words.word_lists import word_lists
from cuelane.base.errors import UsageError
from cuelane.recording.decode import Recording

NEAR_S = 0.050


@dataclass
class Row:
    """What was found in one class. An interval counts if both its ends were found within 50 ms."""

    made: heldclass.HeldClass
    n_hit: int
    n_found: int
    n_right: int
    n_boundaries: int
    confidence: float
    described: str
    doubts: tuple[str, ...] = ()

    @property
    def n_intervals(self) -> int:
        return len(self.made.boundaries_s) - 1 if self.made.kind != heldclass.NO_SIGNAL else 0

    @property
    def is_whole(self) -> bool:
        missed = sum(self.made.audible) - self.n_boundaries
        return missed <= 0 and self.n_right == self.n_found

    @property
    def is_guess(self) -> bool:
        return self.confidence < SURE_COUNTDOWN

    @property
    def is_doubted(self) -> bool:
        """Whether the report says anything of it that a person should look at."""
        return self.is_guess or bool(self.doubts)


def kept(seed: int) -> heldclass.HeldClass:
    """Return the class of `seed`, made once."""
    import pickle

    path = heldclass.folder() / "made" / f"{seed}.pickle"
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(pickle.dumps(heldclass.make(seed)))
    return pickle.loads(path.read_bytes())


def recording(made: heldclass.HeldClass) -> Recording:
    """Return a recording of `made`; the search hears 16 kHz only, so that the other rate may be rough."""
    return Recording(Path("generated"), np.repeat(made.samples, 3), made.samples)


def lengths_of(made: heldclass.HeldClass) -> Lengths | None:
    """Return the work and rest of a class that alternates by its timer, None for one that does not."""
    gaps = np.diff(made.boundaries_s)
    pairs = [float(np.median(gaps[first::2])) for first in (0, 1)]
    off = np.abs(gaps - np.resize(pairs, len(gaps)))
    # Two intervals of an edited class were cut.
    return Lengths(*pairs) if (off < 0.1).sum() >= len(gaps) - 2 else None


def measure(made: heldclass.HeldClass, *, hint: bool = False, lengths: bool = False) -> Row:
    try:
        at_s = made.boundaries_s[len(made.boundaries_s) // 2] if hint else None
        found = find_structure(recording(made), beep_at_s=at_s, lengths=lengths_of(made) if lengths else None)
        at, confidence = np.array([b.at_s for b in found.boundaries]), found.confidence
        said = found.beep.describe() if found.beep else "no beep"
        told = _doubts(found, len(made.samples) / heldclass.RATE)
    except UsageError as error:
        at, confidence, said = np.zeros(0), 0.0, f"refused: {str(error)[:40]}"
        told = (said,)
    truth = np.array(made.boundaries_s)
    if made.kind == heldclass.NO_SIGNAL or not len(at):
        return Row(made, 0, len(at), 0, 0, confidence, said, told)
    apart = np.abs(truth[:, None] - at[None, :])
    hit = apart.min(axis=1) <= NEAR_S
    right = apart.min(axis=0) <= NEAR_S
    return Row(
        made,
        int((hit[1:] & hit[:-1]).sum()),
        len(at),
        int(right.sum()),
        int((hit & np.array(made.audible)).sum()),
        confidence,
        said,
        told,
    )


def _doubts(found: Structure, seconds: float) -> tuple[str, ...]:
    """Return what the report would say of boundaries and lengths, with no word heard."""
    intervals = find_intervals(found.boundaries, seconds, [], word_lists())
    return tuple(doubts(analysis_of(seconds, found, intervals, [], [], [], "")))


def line(name: str, rows: list[Row]) -> str:
    n_true, n_hit = sum(r.n_intervals for r in rows), sum(r.n_hit for r in rows)
    n_found, n_false = sum(r.n_found for r in rows), sum(r.n_found - r.n_right for r in rows)
    n_sure_hit = sum(r.n_hit for r in rows if not r.is_guess)
    n_sure = sum(r.n_found for r in rows if not r.is_guess)
    n_sure_false = sum(r.n_found - r.n_right for r in rows if not r.is_guess)
    wrong = [r for r in rows if not r.is_whole]
    doubted = sum(r.is_doubted for r in wrong)
    unsure = sum(r.is_doubted for r in rows if r.is_whole)
    share = f"{100 * n_hit / n_true:5.1f}" if n_true else "    -"
    return (
        f"{name:24} {len(rows):4} {n_hit:5}/{n_true:<5} {share} {n_false:5}/{n_found:<5} "
        f"{n_sure_hit:5} {n_sure_false:4}/{n_sure:<5} "
        f"{len(wrong):4} {doubted:5} {unsure:5}"
    )


def table(rows: list[Row]) -> None:
    print(
        f"{'':24} classes  intervals   %   false/found | of these as sure: intervals, false/found | "
        "not whole, said so; whole, doubted"
    )
    print(line("all", rows))
    with_signal = [r for r in rows if r.n_intervals]
    print(line("with a signal", with_signal))
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        made = row.made
        level = "no music" if made.music_db is None else f"music {made.music_db:+.0f} dB"
        for name in (
            f"1 {level}",
            f"2 {made.room}",
            f"3 edit: {made.edit}",
            f"4 {'talk over signals' if made.over_talk else 'talk keeps clear'}",
            f"5 {'missing, doubled' if made.is_spotty else 'all there'}",
            f"6 {made.kind}",
        ):
            groups[name].append(row)
    for name in sorted(groups):
        print(line(name[2:], groups[name]))


def main(wanted: list[str]) -> None:
    first, last = (int(w) for w in next((w for w in wanted if ":" in w), "5000:5105").split(":"))
    rows = []
    for seed in range(first, last):
        row = measure(kept(seed), hint="hint" in wanted, lengths="lengths" in wanted)
        rows.append(row)
        made = row.made
        if "list" in wanted:
            print(
                f"{seed} {made.kind:20} {made.room:12} {made.music_db} {made.edit:6} "
                f"{'talk' if made.over_talk else ''}{' spotty' if made.is_spotty else ''}: "
                f"{row.n_hit}/{row.n_intervals} hit, {row.n_right}/{row.n_found} right, "
                f"{row.confidence:.2f} {row.described}",
                flush=True,
            )
    table(rows)
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = sum(len(r.made.samples) for r in rows) / heldclass.RATE
    print(f"processor: {(used.ru_utime + used.ru_stime) / seconds:.4f} of the classes' length")


if __name__ == "__main__":
    main(sys.argv[1:])
