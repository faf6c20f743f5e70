"""Cold synthesis into the clip store against the bare engine on the same texts, in one run.

Run by hand: ``python tests/benchmarks/speech_cold.py``. Both use the same session settings and as many
threads; three passes each, in turn. Prints ratios of wall time and of processor time.
"""

from __future__ import annotations

import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))
from cuelane.audio.store import ClipStore
from cuelane.speech.natural import NaturalVoice
from cuelane.speech.prepare import sentences
from cuelane.speech.speak import speak_all, spoken_words
from cuelane.speech.voices import find_voice
from speech_lines import HELD_OUT


def speak_bare(engine: NaturalVoice) -> None:
    piper = engine._loaded()

    def one(text: str) -> None:
        for sentence in sentences(spoken_words(text, find_voice("natural"))):
            phonemes = [phoneme for clause in piper.phonemize(sentence) for phoneme in clause]
            engine._infer(piper.phonemes_to_ids(phonemes), 1.0)

    with ThreadPoolExecutor(engine.workers) as pool:
        list(pool.map(one, sorted(HELD_OUT, key=len, reverse=True)))


def main() -> None:
    voice = find_voice("natural")
    ratios: list[tuple[float, float]] = []
    for _ in range(3):
        times = []
        for ours in (False, True):
            wall, cpu = time.perf_counter(), time.process_time()
            if ours:
                with tempfile.TemporaryDirectory() as folder:
                    speak_all(HELD_OUT, voice, store=ClipStore(Path(folder)))
            else:
                speak_bare(NaturalVoice(voice))
            times.append((time.perf_counter() - wall, time.process_time() - cpu))
        (bare_wall, bare_cpu), (our_wall, our_cpu) = times
        ratios.append((our_wall / bare_wall, our_cpu / bare_cpu))
        print(f"bare {bare_wall:.1f} s ({bare_cpu:.1f} s cpu), ours {our_wall:.1f} s ({our_cpu:.1f} s cpu)")
    print(f"median ratio: wall {median(r for r, _ in ratios):.2f}, cpu {median(r for _, r in ratios):.2f}")


if __name__ == "__main__":
    main()
