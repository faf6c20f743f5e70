"""Where the words of a recogniser begin: by forced alignment where that knows the language, then as measured.

A Whisper model places words by its attention, in steps of 20 ms, and a first word often at the piece's own
start. English words are therefore aligned again with the light engine, which places them to 10 ms, as it
does the words of captions; then each is moved to the onset that the sound shows.
"""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.onsets import onset_s
from cuelane.recording.pronouncing import token_words
from cuelane.recording.recogniser import Aligner, HeardWord

# Chosen: an alignment that moves a word by more has put it on another sound.
_MOST_MOVED_S = 0.5
# Chosen: sound around the words that may still be theirs.
_AROUND_S = 0.15


def timed(words: Sequence[HeardWord], hearing: Hearing, aligner: Aligner | None) -> list[HeardWord]:
    """Return `words`, in order and with times in the recording, with their onsets as the sound shows them.

    Parameters
    ----------
    words : of one piece.
    aligner : knows the language of `words`; None leaves the recogniser's own times to start from.
    """
    placed = _aligned(words, hearing, aligner) if aligner is not None and words else list(words)
    out: list[HeardWord] = []
    for word in placed:
        before_s = out[-1].end_s if out else max(0.0, word.onset_s - 1.0)
        begin = max(before_s, onset_s(word, before_s, hearing)) if out else onset_s(word, before_s, hearing)
        end = max(begin + 0.02, word.end_s)
        out.append(HeardWord(word.text, begin, end, word.paused, word.posterior))
    return out


def _aligned(words: Sequence[HeardWord], hearing: Hearing, aligner: Aligner) -> list[HeardWord]:
    """Return `words` with the aligner's times, or with their own where it does not agree."""
    start_s = max(0.0, words[0].onset_s - _AROUND_S)
    tokens = [token_words(word.text) for word in words]
    said = [part for parts in tokens for part in parts]
    found = aligner.align(said, hearing.low(start_s, words[-1].end_s + _AROUND_S))
    if found is None:
        return list(words)
    out = []
    at = 0
    for word, parts in zip(words, tokens, strict=True):
        mine = found[at : at + len(parts)]
        at += len(parts)
        if mine and abs(start_s + mine[0].onset_s - word.onset_s) <= _MOST_MOVED_S:
            begin, end = start_s + mine[0].onset_s, start_s + mine[-1].end_s
            out.append(HeardWord(word.text, begin, end, mine[0].paused, word.posterior))
        else:
            out.append(word)
    return out
