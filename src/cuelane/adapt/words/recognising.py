"""A class without captions: words by recognition where an engine is there, else clips without words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from cuelane.adapt.words.align import PlacedWord
from cuelane.adapt.words.found_cues import UNSURE, FoundCue, untexted
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.islands import Hearing, Island
from cuelane.recording.recogniser import FreeListener, has_engine

Progress = Callable[[int, int], None]

NO_ENGINE = (
    "no captions, and no recogniser for this Python: the clips have no words, and what points at a picture "
    "could not be marked; listen to every clip, or give the captions with --captions on Python 3.13 or older"
)
_SURE_POSTERIOR = 0.5
"""The recogniser's own probability of a word, 0 to 1. Chosen: the word is then likelier right than wrong."""
# Chosen: shorter cuts more words in two, longer asks more of the recogniser at once.
_LONGEST_LISTEN_S = 20.0


def recognise(islands: Sequence[Island], hearing: Hearing, told: Progress) -> tuple[list[PlacedWord], str]:
    """Return the words heard in `islands`, none without an engine, and what to say about them.

    A word is sure if the engine's posterior for it is at least one half.
    """
    if not has_engine():
        return [], NO_ENGINE
    listener = FreeListener()
    words: list[PlacedWord] = []
    for number, island in enumerate(islands):
        start = max(0.0, island.start_s - 0.15)
        while start < island.end_s:
            stop = min(island.end_s + 0.15, start + _LONGEST_LISTEN_S)
            for heard in listener.hear(hearing.low(start, stop)):
                sure = heard.posterior >= _SURE_POSTERIOR
                words.append(PlacedWord(heard.text, start + heard.onset_s, start + heard.end_s, number, sure))
            start = stop
        told(number + 1, len(islands))
    unsure = sum(not word.sure for word in words)
    return words, (
        f"no captions: the words were recognised by machine, {unsure} of {len(words)} of them doubtful. The "
        "sound is the recording's own all the same; wrong words spoil captions, roles and what is marked, so "
        "read decisions.txt, or give captions with --captions"
    )


def doubts_named(cue: FoundCue) -> FoundCue:
    """Return `cue` with a note that names the words heard with little certainty, if there are any."""
    doubtful = [word.text for word in cue.words if not word.sure]
    notes = [note for note in cue.notes if note != UNSURE]
    if doubtful:
        notes.append(f"heard with little certainty: {', '.join(doubtful)}")
    return replace(cue, notes=tuple(notes))


def clips_without_words(islands: Sequence[Island], intervals: Sequence[FoundInterval]) -> list[FoundCue]:
    """Return every sound as a cue to keep, since there are no words by which to judge it."""
    return [replace(cue, reasons=()) for cue in untexted(islands, [], intervals)]
