"""A second opinion on what is said: a recogniser, over a grammar of the session's own cues.

Independent of clips and correlation, so it can contradict both. It is only asked which of the session's
cues it hears, or none: the whole alternative is optional and the best-path search is off, which keeps it from
hearing a cue where there is none. With music as loud as speech it proves nothing, and a difference is a note
that asks a person to listen, not a fault, unless the measurement agrees. A recogniser that writes freely can
be given instead; it is then asked which cue its words are most like.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

import numpy as np

from cuelane.check.correlate import Signal
from cuelane.check.intake import ANALYSIS_RATE, CheckedSound

LIGHT = "the light recogniser, pocketsphinx"
# Chosen: a word's first and last sounds need some quiet; more hears the neighbour.
AROUND_S = 0.3
# Measured, with the best-path search off: with the recogniser's defaults for both, 388 of 660 words were
# lost where music was as loud as speech.
BEAM = 1e-64
# Chosen: letters in common, of both texts; less takes the neighbour's words for the cue's, more loses cues of
# which a word was written otherwise.
LEAST_ALIKE = 0.6
# Chosen: nearer than this, in letters in common, two cues are both what was heard.
UNDECIDED = 0.05
# Chosen: words so like a cue are that cue's; in a long one a side that is exchanged is hardly a difference.
CERTAIN = 0.95
# Chosen: shorter parts are endings and chance, not words of a compound.
LEAST_PART = 3
_WORD = re.compile(r"[a-z']+")

_SOUNDS = {
    "tion": "SH AH N", "igh": "AY", "sh": "SH", "ch": "CH", "th": "TH", "ph": "F", "ck": "K", "ng": "NG",
    "qu": "K W", "wh": "W", "ee": "IY", "ea": "IY", "oo": "UW", "ou": "AW", "ow": "OW", "ai": "EY",
    "ay": "EY", "oa": "OW", "oi": "OY", "oy": "OY", "au": "AO", "aw": "AO", "ar": "AA R", "or": "AO R",
    "er": "ER",
    "ir": "ER", "ur": "ER", "a": "AE", "b": "B", "c": "K", "d": "D", "e": "EH", "f": "F", "g": "G", "h": "HH",
    "i": "IH", "j": "JH", "k": "K", "l": "L", "m": "M", "n": "N", "o": "AA", "p": "P", "r": "R", "s": "S",
    "t": "T", "u": "AH", "v": "V", "w": "W", "x": "K S", "y": "IY", "z": "Z",
}  # fmt: skip
"""Letters to the recogniser's phones, for words its dictionary lacks: rough, but a wrong vowel still fits
better than any other cue does. Common practice, no source."""


def spoken_words(text: str) -> list[str]:
    """Return a cue's words as the recogniser's dictionary writes them: lower case, no punctuation."""
    return [word.strip("'") for word in _WORD.findall(text.lower().replace("’", "'")) if word.strip("'")]


def rough_phones(word: str) -> str:
    """Return a rough pronunciation of an English word that no dictionary has."""
    phones: list[str] = []
    at = 0
    while at < len(word):
        for size in (4, 3, 2, 1):
            part = word[at : at + size]
            if len(part) == size and part in _SOUNDS:
                silent = part == "e" and at == len(word) - 1 and len(phones) > 1
                phones += [] if silent else _SOUNDS[part].split()
                at += size
                break
        else:
            at += 1
    return " ".join(phones)


def compound_phones(word: str, phones_of: Callable[[str], str | None]) -> str:
    """Return the pronunciation of a word that no dictionary has: of two that it has, else a rough one.

    "quayside" is "quay" and "side", which no rule of letters would say. Of several ways to part it, the one
    with the longest shorter half is taken: "kettle" and "bell", not "ket" and "tlebell".
    """
    for at in sorted(range(LEAST_PART, len(word) - LEAST_PART + 1), key=lambda n: abs(2 * n - len(word))):
        first, second = phones_of(word[:at]), phones_of(word[at:])
        if first and second:
            return f"{first} {second}"
    return rough_phones(word)


class WordCheck:
    """Names which of `texts` is heard in a stretch of a recording."""

    def __init__(self, texts: Sequence[str]) -> None:
        from pocketsphinx import Decoder

        self._by_words = {" ".join(spoken_words(text)): text for text in texts if spoken_words(text)}
        self._decoder = Decoder(samprate=ANALYSIS_RATE, bestpath=False, beam=BEAM, pbeam=BEAM, wbeam=BEAM,
                                lm=None, loglevel="FATAL")  # fmt: skip
        for word in sorted({word for line in self._by_words for word in line.split()}):
            if self._decoder.lookup_word(word) is None:
                self._decoder.add_word(word, compound_phones(word, self._decoder.lookup_word), True)
        lines = " | ".join(sorted(self._by_words))
        self._decoder.add_jsgf_string("cues", f"#JSGF V1.0;\ngrammar cues;\npublic <cue> = [ {lines} ];\n")
        self._decoder.activate_search("cues")

    def heard(self, recording: CheckedSound, onset_s: float, length_s: float, _: str = "") -> str | None:
        """Return the cue heard from `onset_s` on, or None where none of them is."""
        first = round((onset_s - AROUND_S) * ANALYSIS_RATE)
        sound = recording.read(first, round((length_s + 2 * AROUND_S) * ANALYSIS_RATE))
        peak = float(np.abs(sound).max(initial=0.0))
        if peak <= 0:
            return None
        pcm = np.asarray(sound * (0.5 * 32767 / peak), dtype="<i2")
        self._decoder.start_utt()
        self._decoder.process_raw(pcm.tobytes(), no_search=False, full_utt=True)
        self._decoder.end_utt()
        answer = self._decoder.hyp()
        return self._by_words.get(answer.hypstr.strip()) if answer is not None else None


@dataclass(frozen=True)
class FreeHearing:
    """A recogniser that writes what it hears, of any language: what it is called, and what makes it.

    What is made gives the text heard in samples, shape (n,), 16 kHz mono, full scale 1.0.
    """

    name: str
    make: Callable[[], Callable[[Signal], str]]


class FreeCheck:
    """Names which of `texts` is heard in a stretch of a recording, by what a free recogniser writes."""

    def __init__(self, texts: Sequence[str], hearing: FreeHearing) -> None:
        self._texts = {text: _letters(text) for text in dict.fromkeys(texts)}
        self._hear = hearing.make()

    def heard(self, recording: CheckedSound, onset_s: float, length_s: float, planned: str) -> str | None:
        """Return the cue heard from `onset_s` on, or None where none of them is.

        Nor is it told where the words that were heard are about as much like those `planned` there as like
        another cue's: "by stretch" is as near to "thigh stretch" as to "calf stretch".
        """
        first = round((onset_s - AROUND_S) * ANALYSIS_RATE)
        sound = recording.read(first, round((length_s + 2 * AROUND_S) * ANALYSIS_RATE))
        words = _letters(self._hear(np.asarray(sound, np.float32)))
        alike = [
            (SequenceMatcher(None, words, own, autojunk=False).ratio(), text)
            for text, own in self._texts.items()
        ]
        best = max(alike, default=(0.0, ""))
        if not words or best[0] < LEAST_ALIKE:
            return None
        own = next((ratio for ratio, text in alike if text == planned), 0.0)
        is_another = _letters(best[1]) != _letters(planned)
        return None if is_another and best[0] < min(CERTAIN, own + UNDECIDED) else best[1]


def _letters(text: str) -> str:
    return "".join(char for char in text.lower() if char.isalnum())


def hear_all(
    recording: CheckedSound,
    rows: Sequence[tuple[str, float, float]],
    told: Callable[[int, int], None] | None = None,
    by: FreeHearing | None = None,
) -> list[str | None]:
    """Return what is heard at each (text, onset_s, length_s), by a free recogniser or over a grammar."""
    texts = [text for text, _, _ in rows]
    if by is None and not any(map(spoken_words, texts)):
        # Figures alone, or no cue at all: a grammar of no words is none.
        return [None] * len(rows)
    listener = WordCheck(texts) if by is None else FreeCheck(texts, by)
    heard: list[str | None] = []
    for i, (text, onset_s, length_s) in enumerate(rows):
        found = listener.heard(recording, onset_s, length_s, text)
        # Cues that differ in punctuation only are one to the ear.
        heard.append(text if found is not None and _letters(found) == _letters(text) else found)
        if told is not None:
            told(i + 1, len(rows))
    return heard
