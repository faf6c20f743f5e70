"""Evidence for adapting classes and cutting takes, on generated recordings with known truth.

Run by hand: ``python tests/benchmarks/bench_adapt.py [structure] [plan] [words] [heard] [speed]``.
Prints counts and ratios of one run; the classes are new for each seed and share nothing with the program.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
import warnings
from difflib import SequenceMatcher
from pathlib import Path
from unittest import mock

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the generator lies beside this folder.
import classgen as gen
import classgen_captions as cap
import classgen_speech as speech
import speech_lines
from cuelane.adapt.align import place_words
from cuelane.adapt.captions import Caption
from cuelane.adapt.countdown import Beep
from cuelane.adapt.cues import find_cues
from cuelane.adapt.hearing import Hearing
from cuelane.adapt.intervals import find_intervals
from cuelane.adapt.recording import Recording, open_recording
from cuelane.adapt.search import Structure, find_structure
from cuelane.adapt.structure import Boundary
from cuelane.adapt.wordlists import plain, word_lists

SEEDS = range(100, 120)


def recording(samples: gen.Array) -> Recording:
    import soxr

    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(samples), whole(soxr.resample(samples, 48_000, 16_000)))


def a_class(seed: int, *, countdown_only: bool = False) -> gen.GeneratedClass:
    rng = np.random.default_rng(seed)
    kinds = gen.KINDS if countdown_only else (*gen.KINDS, gen.SINGLE)
    return gen.generate(
        seed,
        kind=kinds[seed % len(kinds)],
        voice=gen.formant if seed % 3 == 0 else gen.natural,
        work_s=float(rng.choice([20, 30, 40])),
        rest_s=float(rng.choice([10, 15, 20])),
        n_sets=5,
        cut=seed % 4 == 1,
        screen=seed % 2 == 0,
    )


def found_within(structure: Structure, truth: list[float], tolerance_s: float) -> tuple[int, int]:
    """Return (boundaries found that are true, true boundaries found)."""
    found = [b.at_s for b in structure.boundaries]
    good = sum(any(abs(f - t) <= tolerance_s for t in truth) for f in found)
    return good, sum(any(abs(f - t) <= tolerance_s for f in found) for t in truth)


def structure(level_db: float | None, *, by_plan: bool = False, tolerance_s: float = 0.015) -> None:
    n_found = n_good = n_true = n_hit = n_unsure_wrong = n_wrong_classes = lengths_bad = n_lengths = 0
    for seed in SEEDS:
        made = a_class(seed, countdown_only=level_db is not None and level_db >= 0)
        sound = made.samples if level_db is None else gen.with_music(made, level_db, seed)
        truth = made.boundaries_s
        cut_s = np.cumsum([0.0, *(i.cut_s for i in made.intervals)])
        expected = [t + c - truth[0] + 7.0 for t, c in zip(truth, cut_s, strict=True)] if by_plan else []
        found = find_structure(recording(sound), expected_s=expected)
        good, hit = found_within(found, truth, tolerance_s)
        n_found += len(found.boundaries)
        n_good, n_true, n_hit = n_good + good, n_true + len(truth), n_hit + hit
        wrong = hit < len(truth) or good < len(found.boundaries)
        n_wrong_classes += wrong
        n_unsure_wrong += wrong and (found.confidence < 0.6 or any(not b.is_sure for b in found.boundaries))
        if not wrong:
            words = [
                w
                for p in made.phrases
                for w in place_words_of_truth(p)
            ]  # fmt: skip
            intervals = find_intervals(found.boundaries, len(sound) / 48_000, words, word_lists())
            for interval, true in zip(intervals[1:], made.intervals, strict=False):
                n_lengths += 1
                lengths_bad += abs(interval.true_s - (true.end_s - true.start_s + true.cut_s)) > 0.1
        if wrong:
            counts = f"{hit} of {len(truth)} hit, {good} of {len(found.boundaries)} right"
            print(f"    seed {seed}, {made.kind.name}: {counts}, {found.how}, {found.confidence:.2f}")
    name = "no music" if level_db is None else f"music {level_db:+.0f} dB"
    print(
        f"structure, {name}{', plan given' if by_plan else ''}: precision {n_good / max(1, n_found):.3f}, "
        f"recall {n_hit / n_true:.3f} within {tolerance_s * 1000:.0f} ms "
        f"of {n_true} boundaries in {len(SEEDS)} classes; "
        f"{n_wrong_classes} classes not whole, {n_unsure_wrong} of them said to be uncertain; "
        f"{lengths_bad} of {n_lengths} lengths off by over 0.1 s",
        flush=True,
    )


def place_words_of_truth(phrase: tuple[str, float, float]) -> list[object]:
    from cuelane.adapt.align import PlacedWord

    text, start, end = phrase
    return [PlacedWord(text, start, end, 0)]


def truth_words(made: gen.GeneratedClass) -> list[tuple[str, float, float]]:
    """The true words; of a pair that the voice runs together only the first has an onset."""
    rows = []
    for word in made.words:
        parts = word.text.split()
        rows.append((plain(parts[0]), word.onset_s, word.end_s))
        rows += [(plain(part), float("nan"), word.end_s) for part in parts[1:]]
    return rows


# Words and cuts were developed on the class's own lines with seeds 500 to 511 and on speech_lines.HELD_OUT,
# by the neural voice, four formant voices and flite's rms and slt. What is printed here is from other seeds,
# and under "other lines" from lines that were not used; flite's voices need that program.
VOICES = {
    "neural": speech.natural,
    "formant": speech.formant,
    "formant, British": speech.formant_voice("en-gb-x-rp"),
    "formant, low": speech.formant_voice("en-us+m7"),
    "recorded, awb": speech.flite_voice("awb"),
    "recorded, slt": speech.flite_voice("slt"),
}


def other_lines(voice: object) -> tuple[dict[str, str], tuple[str, ...]]:
    """Set-ups and form lines not developed on, as far as `voice` has word times for them."""
    kept = []
    for line in speech_lines.FIT:
        if not 2 <= len(line.split()) <= 14 or not re.fullmatch(r"[A-Za-z'.,:;?! ]+", line):
            continue
        try:
            voice(line)  # type: ignore[operator]
        except AssertionError:
            continue
        kept.append(line)
    long = [line for line in kept if len(line.split()) >= 6]
    short = [line for line in kept if len(line.split()) < 6]
    return {str(k): line for k, line in enumerate(long[::2])}, tuple((short + long[1::2])[:40])


def words_and_cuts(name: str, voice: object, *, room: bool, others: bool) -> None:
    errors: list[float] = []
    n_words = inside = n_edges = 0
    for seed in range(200, 205):
        lines = other_lines(voice) if others else (gen.SETUPS, gen.FORM)
        with mock.patch.multiple(gen, SETUPS=lines[0], FORM=lines[1]):
            made = gen.generate(seed, kind=gen.KINDS[seed % 5], voice=voice, n_sets=5)  # type: ignore[arg-type]
        heard = recording(gen.in_a_room(made.samples) if room else made.samples)
        # The countdown is given: finding it is measured above.
        kind = made.kind
        short = (kind.count, kind.frequency_hz, kind.short_s, kind.spacing_s)
        boundaries = [Boundary(at, 0.9) for at in made.boundaries_s]
        hearing = Hearing(heard, Beep(kind.long_frequency_hz, kind.long_s, *short), boundaries)
        captions = [Caption(c.start_s, c.end_s, c.text) for c in cap.captions(made, seed, late_s=2.0)]
        words, _ = place_words(captions, hearing)
        truth = truth_words(made)
        matcher = SequenceMatcher(None, [t[0] for t in truth], [plain(w.text) for w in words], autojunk=False)
        for a, b, n in matcher.get_matching_blocks():
            errors += [words[b + k].onset_s - truth[a + k][1] for k in range(n)]
        n_words += sum(not np.isnan(t[1]) for t in truth)
        intervals = find_intervals(boundaries, heard.seconds, words, word_lists())
        for cue in find_cues(words, intervals, hearing, word_lists()):
            n_edges += 2
            for edge in (cue.start_s, cue.end_s):
                inside += any(w.onset_s + 0.005 < edge < w.end_s - 0.005 for w in made.words)
    error = np.array([e for e in errors if not np.isnan(e)])
    print(
        f"words, {name}{', room' if room else ''}{', other lines' if others else ''}: "
        f"{np.mean(np.abs(error) <= 0.05):.3f} within 50 ms, "
        f"{np.mean(np.abs(error) <= 0.1):.3f} within 100 ms, median {np.median(error) * 1000:+.0f} ms, "
        f"{len(error)} of {n_words} compared; cut edges inside a word: {inside} of {n_edges}",
        flush=True,
    )


def heard_in_order(voice: object, seed: int) -> None:
    """From a video to a track: how many of the kept words does a recogniser hear, in order, there and before?

    The recogniser knows English at large, not the words; what it misses in the recording is its own weakness.
    The words are those that were spoken, from the generator, not from the captions.
    """
    from cuelane.adapt.hearing import Island
    from cuelane.adapt.listening import FreeListener
    from cuelane.adapt.run import adapt_recording
    from cuelane.render import render

    made = gen.generate(seed, voice=voice, n_sets=4, screen=True)  # type: ignore[arg-type]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        gen.write_video(folder / "class.mp4", made.samples, folder / "class.wav")
        (folder / "class.vtt").write_text(cap.as_vtt(cap.captions(made, seed)))
        adapted = adapt_recording(folder / "class.mp4", folder / "out", captions=folder / "class.vtt")
        track = folder / "track.flac"
        result = render(folder / "out" / "plan.yaml", track, extras=False)
        rate = result.prepared.schedule.sample_rate
        kept = [cue for cue, keep in zip(adapted.analysis.cues, adapted.kept, strict=True) if keep]
        # Without the title and the cautions, which the recording does not hold.
        own = {cue.text for cue in kept}
        events = [event for event in result.prepared.schedule.events if event.text in own]
        after = [Island(event.onset_sample / rate, event.end_sample / rate) for event in events]
        before = [Island(cue.start_s, cue.end_s) for cue in kept]
        spoken = [
            plain(part)
            for word in made.words
            if any(span.start_s < (word.onset_s + word.end_s) / 2 < span.end_s for span in before)
            for part in word.text.split()
        ]
        listener = FreeListener()
        for label, path, spans in (
            ("the recording", folder / "class.mp4", before),
            ("the track", track, after),
        ):
            with tempfile.TemporaryDirectory() as scratch:
                sound = open_recording(path, Path(scratch))
                heard = [
                    word.text
                    for span in spans
                    for word in listener.hear(sound.low(span.start_s - 0.15, span.end_s + 0.15))
                ]
            blocks = SequenceMatcher(None, spoken, heard, autojunk=False).get_matching_blocks()
            n_found = sum(block.size for block in blocks)
            print(
                f"heard, seed {seed}: in {label} {n_found} of {len(spoken)} kept words in order, "
                f"{len(heard) - n_found} others; {len(spans)} clips",
                flush=True,
            )


def speed() -> None:
    """A video made of one class over and over: what a minute of it costs."""
    from cuelane.adapt.run import adapt_recording

    made = gen.generate(300, n_sets=8)
    times = 2
    sound = np.tile(made.samples, times)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        gen.write_video(folder / "class.mp4", sound, folder / "class.wav")
        length = len(made.samples) / 48_000
        rows = [
            cap.Caption(c.start_s + k * length, c.end_s + k * length, c.text)
            for k in range(times)
            for c in cap.captions(made, 1)
        ]
        (folder / "class.vtt").write_text(cap.as_vtt(rows))
        for label in ("first run", "second run"):
            start, cpu = time.perf_counter(), time.process_time()
            adapt_recording(folder / "class.mp4", folder / "out", captions=folder / "class.vtt")
            took = time.perf_counter() - start
            share = took / (length * times)
            print(f"speed, {label}: {share:.3f} of the length ({length * times / 60:.0f} min), "
                  f"CPU {(time.process_time() - cpu) / (length * times):.3f}", flush=True)  # fmt: skip
    import resource

    print(f"memory, peak: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


def main(wanted: list[str]) -> None:
    if "structure" in wanted:
        for level in (None, -10.0, 0.0):
            structure(level)
    if "plan" in wanted:
        structure(6.0, by_plan=True, tolerance_s=0.030)
    if "words" in wanted:
        for others in (False, True):
            for name, voice in VOICES.items():
                for room in (False, True) if voice else ():
                    words_and_cuts(name, voice, room=room, others=others)
    if "heard" in wanted:
        for seed in (720, 721):
            heard_in_order(speech.natural, seed)
            heard_in_order(VOICES["recorded, slt"] or speech.formant, seed)
    if "speed" in wanted:
        speed()


if __name__ == "__main__":
    main(sys.argv[1:] or ["structure", "plan", "words", "heard", "speed"])
