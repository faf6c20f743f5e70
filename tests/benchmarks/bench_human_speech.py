"""How well lines and words of a person's speech are found, by each recogniser.

Run by hand: ``CUELANE_HUMAN_SPEECH=FOLDER python tests/benchmarks/bench_human_speech.py [takes] [words]``.
FOLDER holds a person's sentences as WAV under ``sounds``, and beside it text files with a line ``name: text``
for each, as they are published with. None is shipped; those used so far: prompts of Debian's packages
asterisk-core-sounds-en-wav and -en, which has their texts (8 kHz, one speaker; those of two words and more
that last at most 7 s, every second in one list and the others in another; 40 served for fitting), and three
other speakers at 16 kHz of Debian's pocketsphinx-testdata (five sentences of a book read aloud, five of
playing cards, one command), on which nothing was fitted.

``takes``: a reading of every text in order, with pauses of 0.7 to 2 s, one in ten read twice and one in
fifteen begun and broken off; what was placed, listed as doubtful or placed wrongly. ``words``: recall of
words, and onsets: a prompt's first word against the prompt's first audible sample; where a recording has
noise (pocketsphinx-testdata's, at -30 to -45 dB) that sample is not the word's, so neither its onsets nor
"cut wrongly" mean anything there. Processor seconds, of this
process and of those it starts (not on Windows), for each second of the reading.
"""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np
import soundfile
import soxr

from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.recognising import recognise
from cuelane.audio.clip import audible_span
from cuelane.recording.decode import open_recording
from cuelane.recording.pronouncing import spoken_words
from cuelane.recording.word_engines import choose_engine
from cuelane.takes.run import find_takes

RATE = 48_000


@dataclass
class Reading:
    """A reading: its sound, where each line was last read whole, and where lines were begun or read twice."""

    lines: list[str]
    samples: np.ndarray
    last: list[tuple[float, float]] = field(default_factory=list)
    earlier: list[tuple[float, float]] = field(default_factory=list)


def prompts(folder: Path, name: str) -> list[tuple[str, np.ndarray]]:
    """Return (text, sound) of a set, texts that differ in nothing said left out; sound trimmed, 48 kHz."""
    found, seen = [], set()
    for row in (folder / name).read_text(encoding="utf-8").splitlines():
        stem, text = row.split(": ", 1)
        key = " ".join(spoken_words(text))
        if key in seen:
            continue
        seen.add(key)
        found.append((text.strip(" ."), sound(folder / "sounds" / f"{stem}.wav")))
    return found


def sound(path: Path) -> np.ndarray:
    samples, rate = soundfile.read(path, dtype="float32")
    whole = soxr.resample(samples, rate, RATE).astype(np.float32)
    start, end = audible_span(whole, RATE)
    return whole[start:end]


def read_aloud(rows: list[tuple[str, np.ndarray]], seed: int) -> Reading:
    rng = np.random.default_rng(seed)
    made = Reading([text for text, _ in rows], np.zeros(0, np.float32))
    parts = [np.zeros(RATE, np.float32)]

    def put(wave: np.ndarray, pause_s: float) -> tuple[float, float]:
        start = sum(map(len, parts)) / RATE
        parts.extend((wave, np.zeros(round(pause_s * RATE), np.float32)))
        return start, start + len(wave) / RATE

    for text, wave in rows:
        chance = rng.random()
        if chance < 0.1:
            made.earlier.append(put(wave, float(rng.uniform(0.7, 1.5))))
        elif chance < 0.1 + 1 / 15 and len(spoken_words(text)) > 3:
            cut = round(len(wave) * float(rng.uniform(0.3, 0.6)))
            broken = wave[:cut] * np.minimum(1, np.arange(cut, 0, -1) / 960).astype(np.float32)
            made.earlier.append(put(broken, float(rng.uniform(0.7, 1.5))))
        made.last.append(put(wave, float(rng.uniform(0.7, 2.0))))
    joined = np.concatenate(parts)
    made.samples = joined + rng.normal(0, 10 ** (-65 / 20), len(joined)).astype(np.float32)
    return made


def takes(made: Reading, recogniser: str, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "reading.wav"
        soundfile.write(path, made.samples, RATE)
        before = sum(os.times()[:4])
        result = find_takes([path], made.lines, recogniser=recogniser)
        spent = sum(os.times()[:4]) - before
    count = {
        state: sum(line.state == state for line in result.lines)
        for state in ("placed", "uncertain", "missing")
    }
    wrong, cut = [], []
    for line, (start, end) in zip(result.lines, made.last, strict=True):
        if line.state == "placed":
            if line.end_s < start or line.start_s > end:
                wrong.append((line.text, line.heard))
            elif abs(line.start_s - start) > 0.3 or abs(line.end_s - end) > 0.4:
                cut.append((line.text, line.heard))
    print(
        f"takes, {name}, {recogniser}: of {len(made.lines)} lines {count['placed']} placed "
        f"({len(wrong)} wrongly, {len(cut)} cut wrongly), {count['uncertain']} doubtful, {count['missing']} "
        f"missing; {spent / (len(made.samples) / RATE):.2f} s of processor per second",
        flush=True,
    )
    print("    wrong:", wrong, "cut:", cut)
    for line in result.lines:
        if line.state != "placed":
            print("   ", line.state, repr(line.text), "heard", repr(line.heard), line.confidence, line.notes)


def words(folder: Path, rows: list[tuple[str, np.ndarray]], recogniser: str, name: str) -> None:
    made = read_aloud(rows, 7)
    spans = made.last
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "reading.wav"
        soundfile.write(path, made.samples, RATE)
        recording = open_recording(path, Path(scratch))
        hearing = Hearing(recording, None, [])
        islands = hearing.islands()
        before = sum(os.times()[:4])
        heard, _ = recognise(islands, hearing, lambda done, total: None, choose_engine(recogniser, "en"))
        spent = sum(os.times()[:4]) - before
    right = n_said = n_heard = 0
    firsts = []
    for (text, _), (start, end) in zip(rows, spans, strict=True):
        said = spoken_words(text)
        mine = [word for word in heard if start - 0.15 < (word.onset_s + word.end_s) / 2 < end + 0.15]
        got = [part for word in mine for part in spoken_words(word.text)]
        blocks = SequenceMatcher(None, said, got, autojunk=False).get_matching_blocks()
        right, n_said, n_heard = right + sum(b.size for b in blocks), n_said + len(said), n_heard + len(got)
        if mine and spoken_words(mine[0].text)[:1] == said[:1]:
            firsts.append(mine[0].onset_s - start)
    late = np.array(firsts) * 1000
    print(
        f"words, {name}, {recogniser}: {right} of {n_said} ({right / n_said:.3f}), {n_heard - right} others; "
        f"first words' onsets ({len(late)}): median {np.median(late):+.0f} ms, off by "
        f"{np.percentile(abs(late), 50):.0f} ms in the median, {np.percentile(abs(late), 90):.0f} ms p90; "
        f"{(abs(late) <= 50).mean():.2f} within "
        f"50 ms; {spent / (len(made.samples) / RATE):.2f} s of processor per second",
        flush=True,
    )


def main(wanted: list[str]) -> None:
    folder = Path(os.environ["CUELANE_HUMAN_SPEECH"])
    names = [path.name for path in sorted(folder.glob("*.txt"))]
    for name in [part for part in names if part in wanted] or names:
        rows = prompts(folder, name)
        for recogniser in [part for part in ("strong", "light") if part in wanted] or ("strong", "light"):
            if "takes" in wanted:
                takes(read_aloud(rows, 3), recogniser, name)
            if "words" in wanted:
                words(folder, rows, recogniser, name)


if __name__ == "__main__":
    main(sys.argv[1:] or ["takes", "words"])
