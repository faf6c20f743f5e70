"""Every voice as models that judge speech hear it, and how fast it speaks; nobody listens here.

Run by hand:

    pip install ".[voices]" faster-whisper speechmos
    python tests/benchmarks/bench_voices.py RECOGNISER [--cues 200] [--voices linden,natural] [--to FOLDER]

RECOGNISER is a folder with a Whisper model in CTranslate2's form (the figures in ``voices/`` are from the
multilingual "base" model, int8). English voices say lines of the demos, spread evenly; the others those of
``cues/XX.txt``. Clips are judged as a track has them (levelled, trimmed), several to a window with 0.8 s
between: the recogniser hears at most 28 s at once, DNSMOS (ITU-T P.835 style, overall score) 9.01 s, its own
window. Printed for each voice: DNSMOS, the part of the words and of the characters that were understood,
words a minute, processor seconds for a second of speech the first time, and of the clips from the store, and
the cues that were misheard. ``--to`` keeps each voice's results as JSON, with every cue's length.
"""

from __future__ import annotations

import argparse
import difflib
import functools
import json
import re
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import onnxruntime
import soxr
from num2words import num2words

from cuelane.audio.store import ClipStore
from cuelane.render.run import prepare
from cuelane.speech.engines import engine_of
from cuelane.speech.speak import speak_all
from cuelane.speech.voices import find_voice, readable_voices

HERE = Path(__file__).parent
RATE = 16_000
WINDOW_S, GAP_S = 28.0, 0.8
DNSMOS_S = 9.01
# The published mapping of the model's raw overall score to P.835 (the DNSMOS repository, dnsmos_local.py).
TO_P835 = np.poly1d([-0.06766283, 1.11546468, 0.04602535])


@functools.cache
def cues_of(language: str) -> list[str]:
    """Return the cues that voices of a language say."""
    if language != "en":
        return (HERE / "cues" / f"{language}.txt").read_text(encoding="utf-8").splitlines()
    found: dict[str, None] = {}
    for path in sorted((HERE.parents[1] / "demo").glob("*.yaml")):
        offered = prepare(path, speak=False).voiced.arranged.offered
        found |= dict.fromkeys(candidate.text for candidate in offered)
    return list(found)


def spread(cues: list[str], n: int) -> list[str]:
    return [cues[i * len(cues) // n] for i in range(n)] if n < len(cues) else cues


def words_of(text: str, language: str) -> list[str]:
    def say(match: re.Match[str]) -> str:
        return f" {num2words(int(match[0]), lang={'pt': 'pt_BR'}.get(language, language))} "

    plain = re.sub(r"\d{1,9}", say, text.lower().replace("’", "'"))
    return re.findall(r"[^\W_]+(?:'[^\W_]+)*", plain.replace("-", " "))


def edits(one: str, two: str) -> int:
    """Return the least number of insertions, deletions and substitutions between two texts."""
    row = list(range(len(two) + 1))
    for i, a in enumerate(one, 1):
        before, row[0] = row[0], i
        for j, b in enumerate(two, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (a != b))
    return row[-1]


def windows(lengths: list[int], most: int, gap: int) -> list[list[int]]:
    """Return the indices of clips by window, in order, each window of at most `most` samples."""
    found: list[list[int]] = []
    total = 0
    for index, length in enumerate(lengths):
        if not found or total + length > most:
            found.append([])
            total = 0
        found[-1].append(index)
        total += length + gap
    return found


class Judges:
    def __init__(self, recogniser: Path) -> None:
        import speechmos
        from faster_whisper import WhisperModel

        self._whisper = WhisperModel(str(recogniser), device="cpu", compute_type="int8", cpu_threads=1)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        model = Path(speechmos.__file__).parent / "dnsmos_models" / "sig_bak_ovr.onnx"
        self._dnsmos = onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])

    def heard(self, samples: np.ndarray, language: str) -> str:
        """Return what is understood of `samples`, shape (n_frames,) at 16 kHz."""
        segments, _ = self._whisper.transcribe(
            samples,
            language=language,
            beam_size=3,
            temperature=0,
            condition_on_previous_text=False,
            without_timestamps=True,
        )
        return " ".join(segment.text for segment in segments)

    def dnsmos(self, samples: np.ndarray) -> float:
        n_frames = int(DNSMOS_S * RATE)
        samples = np.clip(samples / np.abs(samples).max() * 0.7, -1, 1).astype(np.float32)
        scores = []
        for start in range(0, max(1, len(samples) - n_frames + 1), n_frames):
            piece = np.resize(samples[start : start + n_frames], n_frames)
            scores.append(float(TO_P835(self._dnsmos.run(None, {"input_1": piece[None]})[0][0][2])))
        return float(np.mean(scores))


def judged(cues: list[str], clips: list[np.ndarray], language: str, judges: Judges) -> dict[str, object]:
    """Return the scores of clips, each of shape (n_frames,) at 16 kHz."""
    gap = round(GAP_S * RATE)
    silence = np.zeros(gap, np.float32)
    matched = n_words = n_edits = n_characters = 0
    weakest, scores = [], []
    for window in windows([len(clip) for clip in clips], round(WINDOW_S * RATE) - 2 * gap, gap):
        samples = np.concatenate([silence, *(part for i in window for part in (clips[i], silence))])
        scores.append((judges.dnsmos(samples), len(samples)))
        said = [(word, i) for i in window for word in words_of(cues[i], language)]
        heard = words_of(judges.heard(samples, language), language)
        blocks = difflib.SequenceMatcher(None, [word for word, _ in said], heard, autojunk=False)
        known = {at for a, _, size in blocks.get_matching_blocks() for at in range(a, a + size)}
        matched += len(known)
        n_words += len(said)
        weakest += [cues[i] for i in dict.fromkeys(i for at, (_, i) in enumerate(said) if at not in known)]
        wanted = "".join(word for word, _ in said)
        n_edits += min(len(wanted), edits(wanted, "".join(heard)))
        n_characters += len(wanted)
    return {
        "n_cues": len(cues),
        "n_words": n_words,
        "dnsmos": round(float(np.average([s for s, _ in scores], weights=[n for _, n in scores])), 3),
        "recall": round(matched / n_words, 4),
        "character_match": round(1 - n_edits / n_characters, 4),
        "weakest": weakest,
    }


def measured(name: str, n_cues: int, judges: Judges) -> dict[str, object]:
    voice = find_voice(name)
    language = voice.language[:2].lower()
    cues = spread(cues_of(language), n_cues)
    # The model is loaded before anything is counted.
    with tempfile.TemporaryDirectory() as folder:
        speak_all([cues[0]], voice, store=ClipStore(Path(folder)))
    with tempfile.TemporaryDirectory() as folder:
        store = ClipStore(Path(folder))
        begun = time.process_time()
        spoken = speak_all(cues, voice, store=store)
        first_s = time.process_time() - begun
        begun = time.process_time()
        speak_all(cues, voice, store=store)
        cached_s = time.process_time() - begun
    clips = [spoken.clips[cue] for cue in cues]
    lengths_s = [clip.n_frames / clip.sample_rate for clip in clips]
    heard_at = [soxr.resample(clip.samples, clip.sample_rate, RATE) for clip in clips]
    found = judged(cues, heard_at, language, judges)
    return {
        "voice": name,
        **found,
        "words_per_min": round(int(str(found["n_words"])) / sum(lengths_s) * 60),
        "cpu_s_per_s": round(first_s / sum(lengths_s), 3),
        "cached_cpu_s_per_s": round(cached_s / sum(lengths_s), 4),
        "doubts": spoken.doubts,
        "lengths_s": dict(zip(cues, (round(length, 3) for length in lengths_s), strict=True)),
    }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("recogniser", type=Path)
    parser.add_argument("--cues", type=int, default=200)
    parser.add_argument("--voices", default="")
    parser.add_argument("--to", type=Path)
    asked = parser.parse_args()
    names = [voice.name for voice in readable_voices()[0] if not engine_of(voice).missing()]
    judges = Judges(asked.recogniser)
    for name in asked.voices.split(",") if asked.voices else names:
        found = measured(name, asked.cues, judges)
        if asked.to:
            asked.to.mkdir(exist_ok=True)
            (asked.to / f"{name}.json").write_text(json.dumps(found, ensure_ascii=False, indent=1))
        shown = {key: value for key, value in found.items() if key not in ("lengths_s", "weakest", "doubts")}
        print(json.dumps(shown), flush=True)
        print(f"  misheard: {found['weakest']}\n  doubts: {found['doubts']}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
