"""Finds sound for lines that were not recognised: between the readings of the lines before and after them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from difflib import SequenceMatcher
from itertools import groupby

import numpy as np

from cuelane.recording.pronouncing import spoken_words
from cuelane.takes.matching import SURE_TAKE, HeardPiece, Take, likeness

SHORTEST, LONGEST = 0.4, 2.0
_NEARLY = 0.2


def fill_gaps(
    pieces: Sequence[HeardPiece],
    takes: Sequence[Take],
    lines: Sequence[str],
    said: Callable[[str], list[str]] = spoken_words,
) -> list[Take]:
    """Return doubtful takes for lines that were not recognised, by their place in the reading alone.

    A line qualifies if, between the readings of the lines before and after it, there is sound of about the
    length it needs that was not recognised with certainty as another line. Where there are several such lines
    and sounds, they are paired in order, by the letters that they share. The take's likeness is that of the
    words heard. `said` gives the words of a line.
    """
    sound = [take for take in takes if not take.astray and not take.doubt]
    read = {take.line for take in sound}
    rate = seconds_a_letter(takes, lines)

    def window(line: int) -> tuple[float, float]:
        before = max((take.end_s for take in sound if take.line < line), default=0.0)
        later = (take.start_s for take in sound if take.line > line and take.start_s > before)
        return before, min(later, default=float("inf"))

    found: list[Take] = []
    for (before, after), group in groupby((k for k in range(len(lines)) if k not in read), window):
        missing = list(group)
        free = [
            piece
            for piece in pieces
            if before <= piece.start_s
            and piece.end_s <= after
            and piece.words
            and not any(t.start_s <= piece.start_s < t.end_s for t in (*sound, *found))
        ]
        for line, piece in _in_order(missing, free, lines, rate, said):
            like = likeness(piece.text, said(lines[line]))
            heard, numbered = " ".join(piece.text), piece.number == line + 1
            found.append(
                Take(line, piece.start_s, piece.end_s, like, 0.0, None, numbered, heard, whole=False)
            )
    return found


def _in_order(
    missing: Sequence[int],
    free: Sequence[HeardPiece],
    lines: Sequence[str],
    rate: float,
    said: Callable[[str], list[str]],
) -> list[tuple[int, HeardPiece]]:
    """Return the pairs of a line and a sound, both in order, that have most in common, late ones first.

    A line without a sound is paired too, with a sound that is as similar to it, or nearly, as to its own
    line.
    """
    worth = np.full((len(missing), len(free)), -np.inf)
    heard = [" ".join(piece.text) for piece in free]
    for i, line in enumerate(missing):
        # It looks through its second text once, and compares any number of first ones with that.
        letters = SequenceMatcher(None, "", " ".join(said(lines[line])))
        for j, piece in enumerate(free):
            if SHORTEST < (piece.end_s - piece.start_s) / (rate * len(lines[line])) < LONGEST:
                letters.set_seq1(heard[j])
                worth[i, j] = 0.2 + letters.ratio() + 1e-3 * j
    best = np.zeros((len(missing) + 1, len(free) + 1))
    for i in range(1, len(missing) + 1):
        for j in range(1, len(free) + 1):
            best[i, j] = max(best[i - 1, j], best[i, j - 1], best[i - 1, j - 1] + worth[i - 1, j - 1])
    pairs: dict[int, int] = {}
    i, j = len(missing), len(free)
    while i and j:
        if best[i, j] == best[i - 1, j]:
            i -= 1
        elif best[i, j] == best[i, j - 1]:
            j -= 1
        else:
            i, j = i - 1, j - 1
            pairs[i] = j
    given = {j: float(worth[i, j]) for i, j in pairs.items()}
    for i in range(len(missing)):
        if i not in pairs:
            near = [(worth[i, j], j) for j in given if worth[i, j] >= given[j] - _NEARLY]
            if near:
                pairs[i] = max(near)[1]
    return [(missing[i], free[j]) for i, j in sorted(pairs.items())]


def seconds_a_letter(takes: Sequence[Take], lines: Sequence[str]) -> float:
    """Return how long this reader takes for a letter: the median over the lines found, or a usual pace."""
    rates = [
        (take.end_s - take.start_s) / len(lines[take.line]) for take in takes if take.likeness >= SURE_TAKE
    ]
    return float(np.median(rates)) if rates else 0.07
