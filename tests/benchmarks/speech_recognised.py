"""How well an independent recogniser understands the natural voice's clips, and what trimming takes off them.

Run by hand: ``python tests/benchmarks/speech_recognised.py``. pocketsphinx 5 with a grammar of the 50 lines
kept apart (each optional, best-path search off, wide beams), then with its general model.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import soxr
from pocketsphinx import Decoder

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))
from cuelane.audio.store import ClipStore
from cuelane.speech.finish import _disperse, _even, _level, finish
from cuelane.speech.natural import NaturalVoice
from cuelane.speech.speak import speak_all
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import spoken_words
from speech_lines import HELD_OUT

WEAK = [
    "Feet flat.",
    "Three more.",
    "Thighs parallel.",
    "Rest.",
    "Lunges.",
    "Half.",
    "Breathe.",
    "Hips.",
    "Fists.",
]
PRONUNCIATIONS = {"dumbbells": "D AH M B EH L Z", "vertebra": "V ER T AH B R AH"}


def words_of(text: str) -> list[str]:
    return "".join(char if char.isalpha() or char == "'" else " " for char in text.lower()).split()


def pcm16(samples: np.ndarray) -> bytes:
    padded = np.concatenate([np.zeros(14_400), samples.astype(np.float64), np.zeros(14_400)])
    return np.clip(soxr.resample(padded, 48_000, 16_000) * 32_767, -32_768, 32_767).astype("<i2").tobytes()


def hear(decoder: Decoder, samples: np.ndarray) -> list[str]:
    decoder.start_utt()
    decoder.process_raw(pcm16(samples), full_utt=True)
    decoder.end_utt()
    found = decoder.hyp()
    return found.hypstr.split() if found is not None else []


def recall(wanted: list[str], heard: list[str]) -> float:
    left = list(heard)
    hits = 0
    for word in wanted:
        if word in left:
            left.remove(word)
            hits += 1
    return hits / len(wanted)


def main() -> None:
    voice = find_voice("natural")
    with tempfile.TemporaryDirectory() as folder:
        clips = speak_all(HELD_OUT, voice, store=ClipStore(Path(folder))).clips
    wide = {"bestpath": False, "beam": 1e-64, "pbeam": 1e-64, "wbeam": 1e-64, "loglevel": "FATAL"}
    grammar = Decoder(lm=None, **wide)
    for word in sorted({word for text in HELD_OUT for word in words_of(spoken_words(text, voice))}):
        if grammar.lookup_word(word) is None:
            grammar.add_word(word, PRONUNCIATIONS[word], True)
    lines = {text: " ".join(words_of(spoken_words(text, voice))) for text in HELD_OUT}
    rule = " | ".join(f"({line})" for line in lines.values())
    grammar.add_jsgf_string("cues", f"#JSGF V1.0; grammar cues; public <cue> = [ {rule} ];")
    grammar.activate_search("cues")
    right = [text for text in HELD_OUT if " ".join(hear(grammar, clips[text].samples)) == lines[text]]
    print(f"grammar: {len(right)} of {len(HELD_OUT)}; wrong: {sorted(set(HELD_OUT) - set(right))}")
    general = Decoder(loglevel="FATAL")
    recalls = [recall(words_of(lines[text]), hear(general, clips[text].samples)) for text in HELD_OUT]
    print(f"general model: mean word recall {np.mean(recalls):.2f}")
    engine = NaturalVoice(voice)
    for text in WEAK:
        raw, rate, _ = engine.speak(text, 1.0)
        finished = finish(raw, rate, synthetic=True)
        whole = soxr.resample(np.asarray(raw, dtype=np.float64), rate, 48_000, "HQ")
        levelled, _ = _level(_even(_disperse(np.concatenate([whole, np.zeros(2_400)]))), -20.0)
        start = round(finished.start_s * 48_000)
        end = start + len(finished.samples)
        total = float(np.square(levelled).sum())
        before, after = levelled[:start], levelled[end:]
        print(
            f"{text:18s} before: {10 * np.log10(np.square(before).sum() / total + 1e-12):6.1f} dB of energy, "
            f"{np.count_nonzero(np.abs(before) > 1e-3) / 48:5.1f} ms over -60 dBFS; after: "
            f"{10 * np.log10(np.square(after).sum() / total + 1e-12):6.1f} dB, "
            f"{np.count_nonzero(np.abs(after) > 1e-3) / 48:5.1f} ms"
        )


if __name__ == "__main__":
    main()
