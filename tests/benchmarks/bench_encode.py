"""How long a render in pieces takes beside one encoder alone, and a render again after one changed line.

Run by hand: ``python tests/benchmarks/bench_encode.py [--minutes 45] [--cues 200] [--rounds 3]``. Clips are
warm (in memory); pieces go through a clip store in a folder of their own. Every figure is a ratio within this
run; times are the least of the rounds, taken in turn, so that a busy machine is busy for all. Printed too is
how what players make of the joined pieces differs from what they make of one encode of the whole.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from bench_render import RATE, by_program, by_pyav, least, session

import soundkit
from cuelane import media
from cuelane.audio.store import ClipStore
from cuelane.base.schedule import Schedule
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import LossyCoding, format_of
from cuelane.media.lossy import write_lossy
from cuelane.media.piecework import Piecework
from cuelane.render import mix
from cuelane.render.landing import landed

TARGET_LUFS = -16.0


class CountingStore(ClipStore):
    """A clip store that counts the pieces it was given to keep: those that were encoded."""

    n_encoded = 0

    def keep_piece(self, key: str, content: bytes) -> None:
        self.n_encoded += 1
        super().keep_piece(key, content)


def render(schedule: Schedule, clips: dict[str, np.ndarray], path: Path, work: Piecework) -> None:
    levels, load = landed(schedule, clips.__getitem__, TARGET_LUFS, format_of(path).speech_headroom_db)
    blocks = mix.blocks(schedule, load, gain_db=levels.gain_db)
    media.encode(path, blocks, sample_rate=RATE, n_frames=schedule.n_frames, work=work)


def told_difference(schedule: Schedule, clips: dict[str, np.ndarray], made: Path) -> None:
    """Encode the session in one go; print how the sound of `made`, which was joined, differs from that."""
    form = format_of(made)
    assert isinstance(form.coding, LossyCoding)
    whole = made.with_stem("whole")
    levels, load = landed(schedule, clips.__getitem__, TARGET_LUFS, form.speech_headroom_db)
    blocks = CountedBlocks(mix.blocks(schedule, load, gain_db=levels.gain_db), 1)
    write_lossy(whole, blocks, form.coding, RATE, form.coding.bitrate_kbps)
    n_alike, n_all, energy, highest = 0, 0, 0.0, 0.0
    for one, other in zip(media.decode(made), media.decode(whole), strict=True):
        off = one.astype(np.float64) - other
        n_alike, n_all = n_alike + int((off == 0).sum()), n_all + off.size
        energy, highest = energy + float(np.square(off).sum()), max(highest, float(np.abs(off).max()))
    assert n_all == schedule.n_frames
    levels_dbfs = 10 * np.log10([energy / n_all, highest**2]) if highest else [-np.inf] * 2
    print(f"  samples as of one encode of the whole: {n_alike / n_all:.4f}; difference: ", end="")
    print(f"{levels_dbfs[0]:.1f} dBFS, at most {levels_dbfs[1]:.1f}", flush=True)


def with_another_line(schedule: Schedule, clips: dict[str, np.ndarray], number: int) -> Schedule:
    """Return the session with one line said in other words; its clip is put among `clips`."""
    cues = [i for i, event in enumerate(schedule.events) if event.clip]
    # Far from one another, so that each round changes another piece.
    at = cues[(37 * (number + 1)) % len(cues)]
    key = f"sha256:changed{number}"
    clips[key] = soundkit.spoken(f"slowly down and tall again {number}")
    event = schedule.events[at]
    changed = replace(event, clip=key, end_sample=event.onset_sample + len(clips[key]))
    return replace(schedule, events=(*schedule.events[:at], changed, *schedule.events[at + 1 :]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=45)
    parser.add_argument("--cues", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        schedule, clips = session(chosen.minutes, chosen.cues)
        print(f"{chosen.minutes:g} min, {len(schedule.cues)} cues, {len(schedule.pips)} pips, {RATE} Hz mono")
        raw = folder / "samples.f32"
        levels, load = landed(schedule, clips.__getitem__, TARGET_LUFS, 1.0)
        with raw.open("wb") as file:
            for block in mix.blocks(schedule, load, gain_db=levels.gain_db):
                file.write(block.tobytes())
        for suffix in (".m4a", ".mp3"):
            compare(suffix, chosen.rounds, schedule, clips, raw)


def compare(suffix: str, rounds: int, schedule: Schedule, clips: dict[str, np.ndarray], raw: Path) -> None:
    folder = raw.parent
    store = CountingStore(folder / f"store{suffix}")
    render(schedule, clips, folder / f"first{suffix}", Piecework(store))
    n_pieces, lines, encoded = store.n_encoded, itertools.count(), []

    def again() -> None:
        before = store.n_encoded
        other = with_another_line(schedule, clips, next(lines))
        render(other, clips, folder / f"again{suffix}", Piecework(store))
        encoded.append(store.n_encoded - before)

    ways: dict[str, Callable[[], None]] = {
        "ffmpeg program alone": lambda: by_program(raw, folder / f"b{suffix}"),
        "PyAV alone": lambda: by_pyav(raw, folder / f"c{suffix}"),
        "render, nothing kept": lambda: render(schedule, clips, folder / f"a{suffix}", Piecework()),
        "render, one encoder": lambda: render(
            schedule, clips, folder / f"d{suffix}", Piecework(n_encoders=1)
        ),
        "render, one line changed": again,
    }
    if suffix == ".mp3":
        # Three times as slow as the program, see bench_render.py.
        del ways["PyAV alone"]
    times = least(rounds, ways)
    clock, work = (min(times[way][i] for way in times if way.endswith(" alone")) for i in (0, 1))
    print(f"\n{suffix}: over the fastest encode alone, on the clock and of processor time")
    for way, (elapsed, used) in times.items():
        print(
            f"  {way:25} {elapsed / clock:5.2f} {used / work:5.2f}   ({elapsed:.2f} s, {used:.2f} s)",
            flush=True,
        )
    told_difference(schedule, clips, folder / f"a{suffix}")
    print(
        f"  aims: render <= 0.75, after a changed line <= 0.20; encoded again {encoded} of {n_pieces} pieces"
    )


if __name__ == "__main__":
    main()
