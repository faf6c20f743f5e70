"""Evidence for the words and cuts of adapted classes, on generated recordings with known truth.

Run by hand: ``python tests/benchmarks/bench_adapt.py [words] [heard]``. Beeps and intervals, time and memory
are measured by bench_structure.py, takes by bench_takes.py.
Prints counts and ratios of one run; the classes are new for each seed and share nothing with the program.
"""

from __future__ import annotations

import re
import sys
import tempfile
import warnings
from difflib import SequenceMatcher
from pathlib import Path
from unittest import mock

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))
warnings.simplefilter("ignore")

# ruff: noqa: E402 - the generator lies beside this folder.
import classgen as gen
import classgen_captions as cap
import classgen_speech as speech
import speech_lines
from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.words.align import place_words
from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.found_cues import find_cues
from cuelane.adapt.words.intervals import find_intervals
from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.role_judge import role_judge
from cuelane.adapt.words.word_lists import plain, word_lists
from cuelane.recording.decode import Recording, open_recording


def recording(samples: gen.Array) -> Recording:
    import soxr

    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(samples), whole(soxr.resample(samples, 48_000, 16_000)))


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
        captions = [ReadCaption(c.start_s, c.end_s, c.text) for c in cap.captions(made, seed, late_s=2.0)]
        words, _ = place_words(captions, hearing)
        truth = truth_words(made)
        matcher = SequenceMatcher(None, [t[0] for t in truth], [plain(w.text) for w in words], autojunk=False)
        for a, b, n in matcher.get_matching_blocks():
            errors += [words[b + k].onset_s - truth[a + k][1] for k in range(n)]
        n_words += sum(not np.isnan(t[1]) for t in truth)
        intervals = find_intervals(boundaries, heard.seconds, words, word_lists())
        for cue in find_cues(words, intervals, hearing, word_lists(), role_judge()):
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
    from cuelane.adapt.adapt_options import AdaptOptions
    from cuelane.adapt.run import adapt_recording
    from cuelane.adapt.words.islands import Island
    from cuelane.recording.recogniser import FreeListener
    from cuelane.render.run import RenderOptions, render

    made = gen.generate(seed, voice=voice, n_sets=4, screen=True)  # type: ignore[arg-type]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        gen.write_video(folder / "class.mp4", made.samples, folder / "class.wav")
        (folder / "class.vtt").write_text(cap.as_vtt(cap.captions(made, seed)))
        adapted = adapt_recording(folder / "class.mp4", folder / "out", AdaptOptions(folder / "class.vtt"))
        track = folder / "track.flac"
        result = render(folder / "out" / "plan.yaml", track, RenderOptions(extras=False))
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


def main(wanted: list[str]) -> None:
    if "words" in wanted:
        for others in (False, True):
            for name, voice in VOICES.items():
                for room in (False, True) if voice else ():
                    words_and_cuts(name, voice, room=room, others=others)
    if "heard" in wanted:
        for seed in (720, 721):
            heard_in_order(speech.natural, seed)
            heard_in_order(VOICES["recorded, slt"] or speech.formant, seed)


if __name__ == "__main__":
    main(sys.argv[1:] or ["words", "heard"])
