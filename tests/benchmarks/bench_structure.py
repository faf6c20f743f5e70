"""Evidence for finding beeps and intervals in recorded classes, on generated ones with known truth.

Run by hand: ``python tests/benchmarks/bench_structure.py [music] [plan] [styles] [nothing] [long] [A:B]``.

``music``   clean, music 10 dB under speech, and as loud as speech (countdowns only); no plan given
``plan``    music 6 dB louder than speech, with the session's plan
``styles``  the same with other kinds of music, ten classes each
``nothing`` music and speech without a beep: what is taken for a countdown
``long``    time and memory of the whole of ``adapt`` on 15, 30 and 45 minutes of video
``A:B``     other seeds than 100:120, on which the search was developed
"""

from __future__ import annotations

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
from cuelane.recording.decode import Recording

_ADAPT = """
import sys, time
from pathlib import Path
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.run import adapt_recording
folder, seconds = Path(sys.argv[1]), float(sys.argv[2])
start, cpu = time.perf_counter(), time.process_time()
found = adapt_recording(folder / "class.mp4", folder / "out", AdaptOptions(folder / "class.vtt")).analysis
took, cpu = time.perf_counter() - start, time.process_time() - cpu
# The highest resident memory of this process; getrusage would count the one that started it.
status = Path("/proc/self/status").read_text().split()
peak = int(status[status.index("VmHWM:") + 1]) / 1024
print(f"{seconds / 60:.0f} min: {took / seconds:.3f} of the length by the clock, {cpu / seconds:.3f} by the "
      f"processor's, peak {peak:.0f} MB, {found.n_boundaries} boundaries, {len(found.cues)} sounds")
"""


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


def long() -> None:
    """Print what adapting costs at three lengths: real memory is that of a process of its own."""
    for n_sets in (19, 39, 59):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            made = gen.generate(300, n_sets=n_sets)
            gen.write_video(folder / "class.mp4", made.samples, folder / "class.wav")
            (folder / "class.vtt").write_text(cap.as_vtt(cap.captions(made, 1)))
            seconds = len(made.samples) / 48_000
            del made
            subprocess.run([sys.executable, "-c", _ADAPT, name, str(seconds)], check=True)


def main(wanted: list[str]) -> None:
    bounds = next((w.split(":") for w in wanted if ":" in w), ["100", "120"])
    seeds = range(int(bounds[0]), int(bounds[1]))
    modes = [w for w in wanted if ":" not in w] or ["music", "plan", "styles", "nothing", "long"]
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


if __name__ == "__main__":
    main(sys.argv[1:])
