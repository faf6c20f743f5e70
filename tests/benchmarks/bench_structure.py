"""Evidence for finding beeps and intervals in recorded classes, on generated ones with known truth.

Run by hand: ``python tests/benchmarks/bench_structure.py [MODE ...] [A:B]``; all modes if none is named.

``music``   clean, music 10 dB under speech, and as loud as speech (countdowns only); no plan given
``plan``    music 6 dB louder than speech, with the session's plan
``styles``  the same with other kinds of music, ten classes each
``nothing`` music and speech without a beep: what is taken for a countdown
``long``    time and memory of the whole of ``adapt`` on 15, 30 and 45 minutes of video
``heard``   the same without captions, with each recogniser that is installed; half of it is speech
``A:B``     other seeds than 100:120, on which the search was developed
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the generator lies beside this folder.
import classgen as gen
import classgen_captions as cap
import classgen_speech as speech
from classgen_music import STYLES, with_music
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN
from cuelane.adapt.beeps.search import find_structure
from cuelane.adapt.words.intervals import find_intervals
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.word_lists import word_lists
from cuelane.base.errors import UsageError
from cuelane.recording.decode import Recording
from cuelane.recording.word_engines import choose_engine

_ADAPT = """
import os, sys, time
from pathlib import Path
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.run import adapt_recording
folder, seconds, recogniser = Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3]
captions = None if recogniser else folder / "class.vtt"
options = AdaptOptions(captions, recogniser=recogniser or None)
# Processor seconds are those of this process and, but on Windows, of those it starts.
start, cpu = time.perf_counter(), sum(os.times()[:4])
found = adapt_recording(folder / "class.mp4", folder / f"out{recogniser}", options).analysis
took, cpu = time.perf_counter() - start, sum(os.times()[:4]) - cpu
# The highest resident memory of this process; getrusage would count the one that started it.
status = Path("/proc/self/status").read_text().split()
peak = int(status[status.index("VmHWM:") + 1]) / 1024
print(f"{seconds / 60:.0f} min, {recogniser or 'captions'}: {took / seconds:.3f} of the length by the clock, "
      f"{cpu / seconds:.3f} by processors', peak {peak:.0f} MB, {found.n_boundaries} boundaries, "
      f"{len(found.cues)} sounds", flush=True)
"""
# Said in a class that is talked through; common practice, no source.
SPEECH_SHARE = 0.5


def recording(samples: gen.Array) -> Recording:
    import soxr

    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(samples), whole(soxr.resample(samples, 48_000, 16_000)))


def a_class(seed: int, *, countdown_only: bool) -> gen.GeneratedClass:
    rng = np.random.default_rng(seed)
    kinds = gen.KINDS if countdown_only else (*gen.KINDS, gen.SINGLE)
    return gen.generate(
        seed,
        kind=kinds[seed % len(kinds)],
        voice=gen.formant if seed % 3 == 0 else speech.natural,
        work_s=float(rng.choice([20, 30, 40])),
        rest_s=float(rng.choice([10, 15, 20])),
        n_sets=5,
        cut=seed % 4 == 1,
        screen=seed % 2 == 0,
    )


def structure(seeds: range, level_db: float | None, style: str = "plucked", *, by_plan: bool = False) -> None:
    """Print how many boundaries of `seeds`' classes are found, and whether what is wrong is doubted."""
    tolerance_s = 0.030 if by_plan else 0.015
    n_found = n_right = n_true = n_hit = n_wrong = n_wrong_sure = n_right_unsure = n_lengths = n_off = 0
    for seed in seeds:
        made = a_class(seed, countdown_only=level_db is not None and level_db >= 0)
        sound = made.samples if level_db is None else with_music(made, level_db, seed, style)
        truth = np.array(made.boundaries_s)
        cut_s = np.cumsum([0.0, *(i.cut_s for i in made.intervals)])
        found = find_structure(
            recording(sound), expected_s=list(truth + cut_s - truth[0] + 7) if by_plan else []
        )
        at = np.array([b.at_s for b in found.boundaries])
        apart = np.abs(truth[:, None] - at[None, :]) if len(at) else np.full((len(truth), 1), np.inf)
        hit = int((apart.min(axis=1) <= tolerance_s).sum())
        right = int((apart.min(axis=0) <= tolerance_s).sum()) if len(at) else 0
        n_found, n_right, n_true, n_hit = n_found + len(at), n_right + right, n_true + len(truth), n_hit + hit
        wrong, sure = hit < len(truth) or right < len(at), found.confidence >= SURE_COUNTDOWN
        n_wrong, n_wrong_sure, n_right_unsure = (
            n_wrong + wrong,
            n_wrong_sure + (wrong and sure),
            n_right_unsure + (not wrong and not sure),
        )
        if wrong:
            print(
                f"    seed {seed}, {made.kind.name}: {hit} of {len(truth)} hit, {right} of {len(at)} right, "
                f"confidence {found.confidence:.2f}, {found.how}: "
                f"{found.beep.describe() if found.beep else 'no beep'}"
            )
            continue
        words = [PlacedWord(text, start, end, 0) for text, start, end in made.phrases]
        intervals = find_intervals(found.boundaries, len(sound) / 48_000, words, word_lists())
        for interval, true in zip(intervals[1:], made.intervals, strict=False):
            n_lengths += 1
            n_off += abs(interval.true_s - (true.end_s - true.start_s + true.cut_s)) > 0.1
    name = "no music" if level_db is None else f"{style} music {level_db:+.0f} dB"
    print(
        f"{name}{', plan given' if by_plan else ''}: precision {n_right / max(1, n_found):.3f}, "
        f"recall {n_hit / n_true:.3f} within {tolerance_s * 1000:.0f} ms, {len(seeds)} classes; "
        f"{n_wrong} not whole, {n_wrong_sure} of them without a doubt said; "
        f"{n_right_unsure} whole but said to be unsure; {n_off} of {n_lengths} lengths off by over 0.1 s",
        flush=True,
    )


def nothing(seeds: range, style: str) -> None:
    """Print what is taken for a countdown in speech and music that have none."""
    sure = unsure = 0
    for seed in seeds:
        made = a_class(seed, countdown_only=True)
        made.samples = made.speech_only
        confidence = find_structure(recording(with_music(made, 0.0, seed, style))).confidence
        sure, unsure = sure + (confidence >= SURE_COUNTDOWN), unsure + (0 < confidence < SURE_COUNTDOWN)
    print(f"no beeps, {style} music: {sure} taken for sure, {unsure} with doubt, of {len(seeds)}", flush=True)


def talked_through(made: gen.GeneratedClass) -> gen.Array:
    """Return the sound of a class with its own lines laid into its pauses too, until half of it is speech.

    A line stands a second from others and from beeps, as far as there is room.
    """
    sound, seconds = made.samples.copy(), len(made.samples) / 48_000
    taken = sorted([(a, b) for _, a, b in made.phrases] + [(a, a + length) for a, length, _ in made.beeps])
    wanted_s = SPEECH_SHARE * seconds - sum(b - a for _, a, b in made.phrases)
    ends = [0.0, *(b for _, b in taken)]
    gaps = list(zip(ends, [*(a for a, _ in taken), seconds], strict=True))
    lines, k = [(a, b) for _, a, b in made.phrases], 0
    for gap_start, gap_end in gaps:
        at = gap_start + 1.0
        while wanted_s > 0:
            a, b = lines[k % len(lines)]
            if at + (b - a) + 1.0 > gap_end:
                break
            first, last, to = round(a * 48_000), round(b * 48_000), round(at * 48_000)
            sound[to : to + last - first] += made.speech_only[first:last]
            at, wanted_s, k = at + (b - a) + 0.5, wanted_s - (b - a), k + 1
    return sound


def whole_adapt(n_sets: int, recognisers: list[str], *, is_talked_through: bool) -> None:
    """Print what adapting a class costs: memory is that of a process of its own."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = gen.generate(300, n_sets=n_sets)
        sound = talked_through(made) if is_talked_through else made.samples
        gen.write_video(folder / "class.mp4", sound, folder / "class.wav")
        (folder / "class.vtt").write_text(cap.as_vtt(cap.captions(made, 1)))
        seconds = len(sound) / 48_000
        del made, sound
        # Nothing is known of these pieces yet, nor is anything left for the next run.
        env = {**os.environ, "CUELANE_CACHE": str(folder / "cache")}
        for recogniser in recognisers:
            command = [sys.executable, "-c", _ADAPT, name, str(seconds), recogniser]
            subprocess.run(command, check=True, env=env)


def long() -> None:
    """Print what adapting costs at three lengths."""
    for n_sets in (19, 39, 59):
        whole_adapt(n_sets, [""], is_talked_through=False)


def heard() -> None:
    """Print what adapting 15 and 45 minutes without captions costs."""
    names = [name for name in ("light", "strong") if is_installed(name)]
    for n_sets in (19, 59):
        whole_adapt(n_sets, names, is_talked_through=True)


def is_installed(recogniser: str) -> bool:
    try:
        return choose_engine(recogniser, "en") is not None
    except UsageError:
        return False


def main(wanted: list[str]) -> None:
    bounds = next((w.split(":") for w in wanted if ":" in w), ["100", "120"])
    seeds = range(int(bounds[0]), int(bounds[1]))
    modes = [w for w in wanted if ":" not in w] or ["music", "plan", "styles", "nothing", "long", "heard"]
    if "music" in modes:
        for level_db in (None, -10.0, 0.0):
            structure(seeds, level_db)
    if "plan" in modes:
        structure(seeds, 6.0, by_plan=True)
    others = [style for style in STYLES if style != "plucked"]
    if "styles" in modes:
        for level_db in (-10.0, 0.0, 6.0):
            for style in others:
                structure(seeds[:10], level_db, style, by_plan=level_db > 0)
    if "nothing" in modes:
        for style in STYLES:
            nothing(seeds[:10], style)
    if "long" in modes:
        long()
    if "heard" in modes:
        heard()


if __name__ == "__main__":
    main(sys.argv[1:])
