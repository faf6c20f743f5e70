"""How a script's lines are heard: over the script's own words by the light recogniser, freely by the strong.

Both give words for a piece of sound, and judge afterwards which readings are certain.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from cuelane.recording.recogniser import Aligner, Audio, HeardWord, ScriptListener
from cuelane.recording.strong_words import StrongListener
from cuelane.recording.word_engines import WordEngine
from cuelane.takes.gaps import fill_gaps
from cuelane.takes.line_scores import weighed
from cuelane.takes.line_words import LineKeys, words_of
from cuelane.takes.matching import HeardPiece, Take, match_takes
from cuelane.takes.rivals import confirmed, doubted, repeats_doubted

Sound = Callable[[float, float], Audio]
"""Gives 16 kHz samples between two times in s, shape (n,)."""


@dataclass(frozen=True)
class LineHearing:
    """``hear`` gives the words of a piece as they are said; ``find`` the readings of lines in pieces.

    ``longest_s`` is how much ``hear`` takes at once.
    """

    hear: Callable[[Audio], list[HeardWord]]
    find: Callable[[Sequence[HeardPiece], Sound], list[Take]]
    longest_s: float = math.inf


def line_hearing(engine: WordEngine | None, lines: Sequence[str], numbers: Sequence[str]) -> LineHearing:
    """Return how `lines`, and spoken line `numbers`, are heard with `engine`; None is the light one.

    Raises
    ------
    VoiceError : the recogniser is not there, or its model is not the known one.
    """
    listener = None if engine is None else engine.make()
    if isinstance(listener, StrongListener):
        assert engine is not None
        return _strong(listener, engine.language, lines)
    script, aligner = ScriptListener([*lines, *numbers]), Aligner()
    return LineHearing(script.hear, partial(_light_find, lines=lines, aligner=aligner))


def _light_find(
    pieces: Sequence[HeardPiece], sound: Sound, *, lines: Sequence[str], aligner: Aligner
) -> list[Take]:
    found = doubted(match_takes(pieces, lines), lines, sound, aligner)
    found += fill_gaps(pieces, found, lines)
    return repeats_doubted(confirmed(found, lines, sound, aligner), lines)


def _strong(listener: StrongListener, language: str, lines: Sequence[str]) -> LineHearing:
    said = partial(words_of, language=language)
    expected, keys = [said(line) for line in lines], LineKeys(lines, language)

    def hear(samples: Audio) -> list[HeardWord]:
        return [part for word in listener.hear(samples) for part in _parted(word, said(word.text))]

    def find(pieces: Sequence[HeardPiece], sound: Sound) -> list[Take]:
        found = match_takes(pieces, expected, keys)
        found += fill_gaps(pieces, found, lines, said)
        return repeats_doubted(weighed(found, lines, sound, listener, said), lines, said)

    return LineHearing(hear, find, listener.longest_s)


def _parted(word: HeardWord, parts: Sequence[str]) -> list[HeardWord]:
    """Return `word` as the words that are said for it, each with its share of the time."""
    step_s = (word.end_s - word.onset_s) / max(1, len(parts))
    return [
        replace(word, text=part, onset_s=word.onset_s + k * step_s, end_s=word.onset_s + (k + 1) * step_s)
        for k, part in enumerate(parts)
    ]
