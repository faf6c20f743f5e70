"""Fit the four figures by which a voice's lines are estimated, to lines that it has spoken.

Run by hand: ``python tests/benchmarks/fit_estimate.py VOICE (LINES.txt | RESULT.json) …``. A text file
lines to speak now; a JSON file is what ``bench_voices.py --to`` kept. Two lines of three are fitted (least
squares, no figure below 0), the third judges them; prints the table for the voice's definition.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import nnls

from cuelane.audio.store import ClipStore
from cuelane.speech.line_length import counts
from cuelane.speech.speak import speak_all
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import spoken_words

NAMES = ("letter_s", "vowel_s", "comma_s", "sentence_s")


def lengths_of(name: str, path: Path) -> dict[str, float]:
    if path.suffix == ".json":
        return dict(json.loads(path.read_text(encoding="utf-8"))["lengths_s"])
    lines = [line.split(" → ")[0] for line in path.read_text(encoding="utf-8").splitlines()]
    clips = speak_all(lines, find_voice(name), store=ClipStore()).clips
    return {text: clip.n_frames / clip.sample_rate for text, clip in clips.items()}


def main() -> None:
    name, *paths = sys.argv[1:]
    voice = find_voice(name)
    lengths: dict[str, float] = {}
    for path in paths:
        lengths |= lengths_of(name, Path(path))
    texts = [text for text in lengths if re.search(r"\w", text)]
    known = np.array([counts(spoken_words(text, voice)) for text in texts], dtype=float)
    seconds = np.array([lengths[text] for text in texts])
    judged = np.arange(len(texts)) % 3 == 2
    figures, _ = nnls(known[~judged], seconds[~judged])
    ratio = known[judged] @ figures / seconds[judged]
    total = (known[judged] @ figures).sum() / seconds[judged].sum()
    n_judged = np.count_nonzero(judged)
    print(f"# Fitted to {len(texts) - n_judged} lines: seconds at pace 1. On {n_judged} others")
    print(f"# the total was {abs(total - 1):.1%} off, and the worst line {np.abs(ratio - 1).max():.0%}.")
    print("[estimate]")
    for key, figure in zip(NAMES, figures, strict=True):
        print(f"{key} = {figure:.4f}")


if __name__ == "__main__":
    main()
