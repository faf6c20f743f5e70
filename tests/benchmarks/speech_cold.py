"""Cold synthesis into the clip store against the bare model on the same texts, in one run.

Run by hand: ``python tests/benchmarks/speech_cold.py [VOICE] [LINES] [PASSES]``, for a natural or a styled
voice. Both sides use one session with one thread for an inference, and as many lines at once as there are
cores. They take turns every few lines, so that what else the machine does falls on both. Prints for each pass
the ratio of wall time and of processor time over all lines, and the medians.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "kit"))
from cuelane.audio.store import ClipStore
from cuelane.speech import styled
from cuelane.speech.engines import load_voice
from cuelane.speech.natural import NaturalVoice
from cuelane.speech.prepare import sentences
from cuelane.speech.speak import speak_all
from cuelane.speech.styled import StyledVoice
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import spoken_words
from speech_lines import HELD_OUT


def natural_inferences(engine: NaturalVoice, sentence: str) -> Callable[[], object]:
    model = engine._loaded()
    phonemes = [phoneme for clause in model.piper.phonemize(sentence) for phoneme in clause]
    ids = model.piper.phonemes_to_ids(phonemes)
    return lambda: model._infer(ids, 1.0)


def styled_inferences(engine: StyledVoice, sentence: str) -> Callable[[], object]:
    model = styled._model()
    ((symbols, _),) = engine._symbols(sentence, 1.0)
    return lambda: model.infer(symbols, engine._style, engine._speed(1.0))


def main() -> None:
    voice = find_voice(sys.argv[1] if len(sys.argv) > 1 else "natural")
    lines = HELD_OUT[: int(sys.argv[2])] if len(sys.argv) > 2 else HELD_OUT
    passes = int(sys.argv[3]) if len(sys.argv) > 3 else 3
    engine = load_voice(voice)
    prepare = styled_inferences if isinstance(engine, StyledVoice) else natural_inferences
    # The bare side is spared the reading of words.
    bare = {line: [prepare(engine, one) for one in sentences(spoken_words(line, voice))] for line in lines}
    order = sorted(lines, key=len, reverse=True)
    few = 2 * engine.workers
    groups = [order[at : at + few] for at in range(0, len(order), few)]
    ratios: list[tuple[float, float]] = []
    for turn in range(passes):
        spent = {True: np.zeros(2), False: np.zeros(2)}
        for number, group in enumerate(groups):
            for ours in ((turn + number) % 2 == 0, (turn + number) % 2 == 1):
                begun = np.array([time.perf_counter(), time.process_time()])
                if ours:
                    with tempfile.TemporaryDirectory() as folder:
                        speak_all(group, voice, store=ClipStore(Path(folder)))
                else:
                    with ThreadPoolExecutor(engine.workers) as pool:
                        list(pool.map(lambda line: [infer() for infer in bare[line]], group))
                spent[ours] += np.array([time.perf_counter(), time.process_time()]) - begun
        (bare_wall, bare_cpu), (our_wall, our_cpu) = spent[False], spent[True]
        ratios.append((our_wall / bare_wall, our_cpu / bare_cpu))
        print(
            f"bare {bare_wall:.1f} s ({bare_cpu:.1f} s cpu), ours {our_wall:.1f} s ({our_cpu:.1f} s cpu)",
            flush=True,
        )
    print(f"median ratio: wall {median(r for r, _ in ratios):.2f}, cpu {median(r for _, r in ratios):.2f}")


if __name__ == "__main__":
    main()
