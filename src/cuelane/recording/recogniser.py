"""Speech recognition of words that are expected: over a script's own words, and forced alignment.

The engine is pocketsphinx, whose English model comes in its wheel; it hears 16 kHz mono.
"""

from __future__ import annotations

import importlib.util
import math
import tempfile
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import VoiceError
from cuelane.recording.pronouncing import phones, spoken_words

LISTEN_RATE = 16_000
FRAME_S = 0.010

# Without bestpath off the last word of a phrase is dropped in noise: see cmusphinx/pocketsphinx, PR 354.
# Measured: with beams of 1e-64 words that are there were not found in 53 of 60 stretches of one sound that
# differ by 5 ms, with 1e-100 and less in all; it takes a fifth longer.
_ALIGN_SETTINGS = {"bestpath": False, "beam": 1e-200, "pbeam": 1e-200, "wbeam": 1e-200}

# Each piece is heard for itself ("batch"): with a running mean, a cough spoils the line after it.
_SCRIPT_SETTINGS = {"cmn": "batch", "lw": 9.0, "beam": 1e-64, "pbeam": 1e-64, "wbeam": 1e-64}

_DISCOUNT = 0.3

Audio = npt.NDArray[np.float32]


@dataclass(frozen=True)
class HeardWord:
    """A word with the seconds, from the start of the audio given, at which it begins and ends.

    ``paused`` says whether the engine heard a pause, or nothing, right before it. ``posterior`` is the chance
    that it is this word, where the engine recognised freely.
    """

    text: str
    onset_s: float
    end_s: float
    paused: bool = False
    posterior: float = 1.0


def _pcm(samples: Audio) -> bytes:
    return bytes(np.clip(np.rint(samples * 32_767.0), -32_768, 32_767).astype("<i2").tobytes())


def has_engine() -> bool:
    """Return whether the recogniser is installed; it has no wheel for Python 3.14 yet."""
    return importlib.util.find_spec("pocketsphinx") is not None


def _decoder(**settings: Any) -> Any:
    try:
        from pocketsphinx import Decoder
    except ImportError as error:
        raise VoiceError(
            f"the recogniser is missing ({error}); it comes with cuelane on Python 3.13 and older, "
            "or install it with: pip install pocketsphinx"
        ) from error

    return Decoder(loglevel="FATAL", samprate=float(LISTEN_RATE), **settings)


def _learn(decoder: Any, words: Iterable[str]) -> None:
    """Give `decoder` a pronunciation for each of `words` that its dictionary lacks."""
    missing = [word for word in dict.fromkeys(words) if decoder.lookup_word(word) is None]
    for word in missing:
        decoder.add_word(word, phones(word), word == missing[-1])


def _decode(decoder: Any, samples: Audio) -> list[HeardWord]:
    decoder.start_utt()
    decoder.process_raw(_pcm(samples), full_utt=True)
    decoder.end_utt()
    found = []
    paused = True
    for segment in decoder.seg() or ():
        word = segment.word.split("(")[0]
        filler = word.startswith(("<", "[", "+"))
        if not filler:
            onset_s, end_s = segment.start_frame * FRAME_S, (segment.end_frame + 1) * FRAME_S
            found.append(HeardWord(word, onset_s, end_s, paused, float(segment.prob)))
        paused = filler
    return found


class ScriptListener:
    """Recognises freely, but over the words of a script: it can hear a line cut short, not just whole lines.

    A bigram model with back-off is made from the lines (absolute discounting), so that the script makes its
    own lines likelier, but the sound decides.
    """

    def __init__(self, lines: Sequence[str]) -> None:
        sentences = [spoken_words(line) for line in lines]
        self._decoder = _decoder(lm=None, **_SCRIPT_SETTINGS)
        _learn(self._decoder, (word for sentence in sentences for word in sentence))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "script.arpa"
            path.write_text(_arpa(sentences), encoding="ascii")
            self._decoder.add_lm_file("script", str(path))
        self._decoder.activate_search("script")

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words heard in `samples`, shape (n,), 16 kHz mono; none if there is nothing like
        speech."""
        if len(samples) < LISTEN_RATE // 10:
            return []
        return _decode(self._decoder, samples)


def _arpa(sentences: Sequence[Sequence[str]]) -> str:
    """Return a bigram language model of `sentences` in the ARPA text format."""
    unigrams: Counter[str] = Counter()
    bigrams: Counter[tuple[str, str]] = Counter()
    for sentence in sentences:
        chain = ["<s>", *sentence, "</s>"]
        unigrams.update(chain[1:])
        bigrams.update(pairwise(chain))
    total = sum(unigrams.values())
    base = {word: count / total for word, count in unigrams.items()}
    history: Counter[str] = Counter()
    followers: dict[str, set[str]] = {}
    for (first, second), count in bigrams.items():
        history[first] += count
        followers.setdefault(first, set()).add(second)
    rows = []
    for word in ["<s>", *sorted(base)]:
        seen = followers.get(word, set())
        left = _DISCOUNT * len(seen) / history[word] if seen else 1.0
        unseen = 1.0 - sum(base[follower] for follower in seen)
        back_off = math.log10(left / unseen) if seen and unseen > 1e-9 else 0.0
        chance = math.log10(base[word]) if word in base else -99.0
        rows.append(f"{chance:.4f} {word} {back_off:.4f}")
    pairs = [
        f"{math.log10((count - _DISCOUNT) / history[first]):.4f} {first} {second}"
        for (first, second), count in sorted(bigrams.items())
    ]
    head = f"\\data\\\nngram 1={len(rows)}\nngram 2={len(pairs)}\n"
    return "\n".join([head, "\\1-grams:", *rows, "", "\\2-grams:", *pairs, "", "\\end\\", ""])


class Aligner:
    """Places known words on audio."""

    def __init__(self) -> None:
        self._decoder = _decoder(lm=None, **_ALIGN_SETTINGS)

    def align(self, words: Sequence[str], samples: Audio) -> list[HeardWord] | None:
        """Return each of `words` with its place in `samples`, or None if they do not fit.

        `samples` are 16 kHz mono, shape (n,), full scale 1.0.

        Parameters
        ----------
        words : as :func:`cuelane.recording.pronouncing.spoken_words` gives them.
        """
        if not words or len(samples) < LISTEN_RATE * 0.05 * len(words):
            return None
        _learn(self._decoder, words)
        self._decoder.set_align_text(" ".join(words))
        found = _decode(self._decoder, samples)
        return found if [word.text for word in found] == list(words) else None

    def score(self, words: Sequence[str], samples: Audio) -> int | None:
        """Return how well `words` fit all of `samples`, in the engine's log units, or None if they do not.

        `samples` are 16 kHz mono, shape (n,). Only scores of the same samples can be compared.
        """
        if self.align(words, samples) is None:
            return None
        # The first pass keeps no scores; the second aligns phones, and does.
        self._decoder.set_alignment()
        _decode(self._decoder, samples)
        return sum(int(entry.score) for entry in self._decoder.get_alignment())


class FreeListener:
    """Recognises English with the engine's general model: rough, and always to be checked by ear."""

    # Chosen: shorter cuts more words in two, longer asks more of the recogniser at once.
    longest_s = 20.0
    join_s = 0.0

    def __init__(self) -> None:
        self._decoder = _decoder()

    def hear(self, samples: Audio) -> list[HeardWord]:
        """Return the words heard in `samples`, shape (n,), 16 kHz mono, full scale 1.0."""
        return _decode(self._decoder, samples)
