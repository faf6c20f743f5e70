"""A class without captions: words by recognition where an engine is there, else clips without words."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from cuelane.adapt.words.found_cues import UNSURE, FoundCue, untexted
from cuelane.adapt.words.heard_words import timed
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.islands import Hearing, Island
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.plan.values import MAX_TEXT
from cuelane.recording.heard_pieces import HeardPieces
from cuelane.recording.recogniser import Aligner, HeardWord, has_engine
from cuelane.recording.word_engines import WordEngine

Progress = Callable[[int, int], None]

NO_ENGINE = (
    "no captions, and no recogniser for this Python: the clips have no words, and what points at a picture "
    "could not be marked; listen to every clip, or give the captions with --captions on Python 3.13 or older"
)
_SURE_POSTERIOR = 0.5
"""The recogniser's own probability of a word, 0 to 1. Chosen: the word is then likelier right than wrong."""
# Measured of the strong one: it doubted 4 to 8 words in 100 of three English classes, 38 of a Spanish one.
_MANY_UNSURE = 0.2
_FOREIGN = "That is much: the class is hard to hear, or perhaps not in English, which alone is understood. "
# Chosen: sound around an island that may still be its words'.
_AROUND_S = 0.15
# Chosen: a piece that is too long is cut in its last part, in the quietest place.
_CUT_FROM = 0.75
_FIRST_WORD = re.compile(r"\w+")
# The strong recogniser gives "step-ups" and "2.5" as two words, the second with the mark and no blank.
_PARTED = re.compile(r"(?<=\w) (?=[-.,:]\w)")
# Measured: the light recogniser takes .2 s for a second of speech, and a process a second to start.
_LONG_S = 60.0


def recognise(
    islands: Sequence[Island], hearing: Hearing, told: Progress, engine: WordEngine | None
) -> tuple[list[PlacedWord], str]:
    """Return the words heard in `islands`, none without an engine, and what to say about them.

    A word is sure if the engine's posterior for it is at least one half. `told` counts seconds of sound.
    """
    if engine is None:
        return [], NO_ENGINE
    listener = HeardPieces(engine.make(), engine)
    aligner = Aligner() if engine.language == "en" and has_engine() else None
    pieces = heard_together(islands, hearing, listener.join_s, listener.longest_s)
    seconds = [end - start for start, end in pieces]
    words: list[PlacedWord] = []
    by_piece = listener.hear_each(
        lambda number: hearing.low(*pieces[number]), len(pieces), is_long=sum(seconds) > _LONG_S
    )
    for number, ((start, _), found) in enumerate(zip(pieces, by_piece, strict=True)):
        heard = [replace(word, onset_s=start + word.onset_s, end_s=start + word.end_s) for word in found]
        words += [_placed(word, number) for word in timed(heard, hearing, aligner)]
        told(round(sum(seconds[: number + 1])), max(1, round(sum(seconds))))
    unsure = sum(not word.sure for word in words)
    foreign = engine.name == "strong" and engine.language == "en" and unsure > _MANY_UNSURE * len(words)
    return words, (
        f"no captions: the words were recognised by machine, {unsure} of {len(words)} of them doubtful, by "
        f"{engine.said}{engine.hint}. {_FOREIGN if foreign else ''}The sound is the recording's own "
        "all the same; wrong words spoil captions, roles and what is marked, so read decisions.txt, or give "
        "captions with --captions"
    )


def _placed(word: HeardWord, number: int) -> PlacedWord:
    return PlacedWord(word.text, word.onset_s, word.end_s, number, word.posterior >= _SURE_POSTERIOR)


def heard_together(
    islands: Sequence[Island], hearing: Hearing, join_s: float, longest_s: float
) -> list[tuple[float, float]]:
    """Return the pieces to listen to, (start, end) in s: `islands`, those close together as one.

    Parameters
    ----------
    join_s : islands with no longer pause between them are one piece: a word's neighbours tell what it is.
    longest_s : of a piece; a longer one is cut in the quietest place of its last quarter.
    """
    joined: list[tuple[float, float]] = []
    for island in islands:
        start, end = max(0.0, island.start_s - _AROUND_S), island.end_s + _AROUND_S
        pause_s = island.start_s - (joined[-1][1] - _AROUND_S) if joined else 0.0
        if joined and pause_s <= join_s and end - joined[-1][0] <= longest_s:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((max(start, joined[-1][1]) if joined else start, end))
    pieces: list[tuple[float, float]] = []
    for start, end in joined:
        while end - start > longest_s:
            cut = hearing.quietest(start + _CUT_FROM * longest_s, start + longest_s)
            pieces.append((start, cut))
            start = cut
        pieces.append((start, end))
    return pieces


def heard_cue(cue: FoundCue) -> FoundCue:
    """Return `cue` as a sentence, with a note that names the words heard with little certainty, if any."""
    doubtful = [word.text for word in cue.words if not word.sure]
    notes = [note for note in cue.notes if note != UNSURE]
    if doubtful:
        notes.append(f"heard with little certainty: {', '.join(doubtful)}")
    return replace(cue, text=_as_sentence(cue.text), notes=tuple(notes))


def _as_sentence(text: str) -> str:
    """Return `text` with a capital to begin with and a mark at its end; it is a caption of its own.

    A recogniser begins and ends where it was given sound, often amid what it takes for a sentence.
    """
    text = _PARTED.sub("", text)
    first = _FIRST_WORD.search(text)
    if first is None:
        return text
    # "iPhone" has its capital.
    word = first[0] if any(map(str.isupper, first[0])) else first[0][0].upper() + first[0][1:]
    written = f"{text[: first.start()]}{word}{text[first.end() :]}".rstrip(" ,;:-\u2013\u2014")
    return written if written.endswith((".", "!", "?", "\u2026")) else f"{written}."[:MAX_TEXT]


def clips_without_words(islands: Sequence[Island], intervals: Sequence[FoundInterval]) -> list[FoundCue]:
    """Return every sound as a cue to keep, since there are no words by which to judge it."""
    return [replace(cue, reasons=()) for cue in untexted(islands, [], intervals)]
