"""Which pieces of a recording are which lines of the script: recognition, and the order of reading.

The model: a reading is a walk through the script, mostly to the next line, now and then to the same line
again (a retake), back, or past a line left out. Between lines there is sound that is no line (a cough, a
false start, a word to somebody in the room). Each line is heard in one to five pieces in a row. The walk
with the highest sum of likeness and plausible steps is found exactly, by dynamic programming over pieces
and lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

import numpy as np
import numpy.typing as npt

from cuelane.adapt.listening import HeardWord
from cuelane.adapt.pronouncing import spoken_words

Scores = npt.NDArray[np.float64]

MAX_PIECES = 5
LONGEST_PAUSE_S = 2.5
SURE = 0.82
LIKELY = 0.55

_NEUTRAL = 0.5
_NEXT, _SAME, _SKIP, _BACK = 0.25, 0.05, -0.12, -0.8
_JOINT = 0.1
_NUMBER_SAYS_SO, _NUMBER_SAYS_OTHER = 0.8, -0.8


@dataclass(frozen=True)
class HeardPiece:
    """A piece of the recording: the words heard in it, and the line number spoken just before it, if any."""

    start_s: float
    end_s: float
    words: tuple[HeardWord, ...]
    number: int | None = None

    @property
    def text(self) -> list[str]:
        return [word.text for word in self.words]


@dataclass(frozen=True)
class Take:
    """One reading of line `line` (an index), with its likeness to the text and to the nearest other line."""

    line: int
    start_s: float
    end_s: float
    likeness: float
    rival: float
    rival_line: int | None
    numbered: bool
    heard: str
    whole: bool = True
    """Whether it begins and ends with the line's own first and last word."""
    astray: bool = False
    """Whether it goes back for one line only, in the middle of a reading that then goes on."""

    @property
    def confidence(self) -> float:
        """From 0 to 1: how like the line it is.

        Less if another line is nearly as like and no number was read; below `SURE` if the first or last word
        is not the line's own, since that is how a false start or a lost word shows, and if it goes back for
        one line in the middle of a reading, since that is how a word mistaken for another shows.
        """
        value = self.likeness
        if not self.numbered and self.likeness < 1.0:
            value = min(value, self.likeness - self.rival + 0.7)
        sound = self.whole and (self.numbered or not self.astray)
        return value if sound else min(value, SURE - 0.01)


def likeness(heard: Sequence[str], expected: Sequence[str]) -> float:
    """Return the share of words in common, in order, of both texts together: 0 to 1."""
    if not heard or not expected:
        return 0.0
    return SequenceMatcher(None, heard, expected, autojunk=False).ratio()


def match_takes(pieces: Sequence[HeardPiece], lines: Sequence[str]) -> list[Take]:
    """Return every reading found, in order of time.

    Parameters
    ----------
    pieces : in order of time, what was spoken as a line number already taken out.
    lines : the script, in reading order, no two alike.
    """
    expected = [spoken_words(line) for line in lines]
    n_pieces, n_lines = len(pieces), len(lines)
    if not n_pieces or not n_lines:
        return []
    steps = _steps(n_lines)
    # best[i, k]: the first i pieces are explained and the last line read is k - 1 (0: none yet).
    best = np.full((n_pieces + 1, n_lines + 1), -np.inf)
    best[0, 0] = 0.0
    came: dict[tuple[int, int], tuple[int, int, bool]] = {}
    scores: dict[tuple[int, int], Scores] = {}
    for i in range(n_pieces):
        # Sound that is no line costs little if it is short, more the more words it has.
        skip = 0.05 + 0.06 * min(len(pieces[i].words), 6)
        for k in np.flatnonzero(best[i] - skip > best[i + 1]):
            best[i + 1, k] = best[i, k] - skip
            came[i + 1, int(k)] = (i, int(k), False)
        for j in range(i + 1, min(n_pieces, i + MAX_PIECES) + 1):
            if j > i + 1 and (
                pieces[j - 1].start_s - pieces[j - 2].end_s > LONGEST_PAUSE_S
                or pieces[j - 1].number is not None
                or not pieces[j - 1].words
            ):
                break
            # Sound without a word in it, such as a cough, is never a part of a line.
            if not pieces[i].words:
                break
            heard = [word for piece in pieces[i:j] for word in piece.text]
            like = np.array([likeness(heard, words) for words in expected])
            scores[i, j] = like
            weight = np.sqrt([max(1, len(words)) for words in expected])
            # Only what is more like the line than unlike it can be a reading of it.
            gain = np.where(like > _NEUTRAL, (like - _NEUTRAL) * 2 * weight, -np.inf) - _JOINT * (j - i - 1)
            number = pieces[i].number
            if number is not None:
                says = np.full(n_lines, _NUMBER_SAYS_OTHER)
                if 1 <= number <= n_lines:
                    says[number - 1] = _NUMBER_SAYS_SO
                gain = gain + says
            walked = best[i][:, None] + steps + gain[None, :]
            source = walked.argmax(axis=0)
            value = walked.max(axis=0)
            for k in np.flatnonzero(value > best[j, 1:]):
                best[j, k + 1] = value[k]
                came[j, int(k) + 1] = (i, int(source[k]), True)
    return _walk_back(pieces, expected, best, came, scores)


def _steps(n_lines: int) -> Scores:
    """Return the worth of going from line k - 1 (0: the start) to line m; shape (n_lines + 1, n_lines)."""
    ahead = np.arange(n_lines)[None, :] - (np.arange(n_lines + 1)[:, None] - 1)
    steps = np.where(ahead == 1, _NEXT, np.where(ahead == 0, _SAME, _BACK))
    return np.where(ahead > 1, np.maximum(_SKIP * (ahead - 1), -0.6), steps)


def fill_gaps(pieces: Sequence[HeardPiece], takes: Sequence[Take], lines: Sequence[str]) -> list[Take]:
    """Return doubtful takes for lines that were not recognised, by their place in the reading alone.

    A line qualifies if, between the readings of the lines before and after it, there is sound of about the
    length it needs that is no other line; the last such sound is taken. Its likeness is what was heard.
    """
    expected = [spoken_words(line) for line in lines]
    found: list[Take] = []
    read = {take.line for take in takes}
    rate = _seconds_a_letter(takes, lines)
    for line in (index for index in range(len(lines)) if index not in read):
        before = max((take.end_s for take in takes if take.line < line), default=0.0)
        later = (take.start_s for take in takes if take.line > line and take.start_s > before)
        after = min(later, default=float("inf"))
        wanted_s = rate * len(lines[line])
        for piece in reversed(pieces):
            inside = before <= piece.start_s and piece.end_s <= after
            taken = any(t.start_s <= piece.start_s < t.end_s for t in (*takes, *found))
            if inside and not taken and piece.words and 0.5 < (piece.end_s - piece.start_s) / wanted_s < 1.7:
                like = likeness(piece.text, expected[line])
                heard = " ".join(piece.text)
                numbered = piece.number == line + 1
                found.append(
                    Take(line, piece.start_s, piece.end_s, like, 0.0, None, numbered, heard, whole=False)
                )
                break
    return found


def _seconds_a_letter(takes: Sequence[Take], lines: Sequence[str]) -> float:
    """Return how long this reader takes for a letter: the median over the lines found, or a usual pace."""
    rates = [(take.end_s - take.start_s) / len(lines[take.line]) for take in takes if take.likeness >= SURE]
    return float(np.median(rates)) if rates else 0.07


def _walk_back(
    pieces: Sequence[HeardPiece],
    expected: Sequence[Sequence[str]],
    best: Scores,
    came: dict[tuple[int, int], tuple[int, int, bool]],
    scores: dict[tuple[int, int], Scores],
) -> list[Take]:
    takes: list[Take] = []
    i, k = len(pieces), int(best[-1].argmax())
    while i > 0:
        before, source, read = came[i, k]
        if read:
            like = scores[before, i]
            others = np.delete(like, k - 1)
            rival = int(others.argmax()) if others.size else -1
            heard = [word for piece in pieces[before:i] for word in piece.text]
            takes.append(
                Take(
                    line=k - 1,
                    start_s=pieces[before].start_s,
                    end_s=pieces[i - 1].end_s,
                    likeness=float(like[k - 1]),
                    rival=float(others[rival]) if rival >= 0 else 0.0,
                    rival_line=(rival if rival < k - 1 else rival + 1) if rival >= 0 else None,
                    numbered=pieces[before].number == k,
                    heard=" ".join(heard),
                    whole=heard[:1] == list(expected[k - 1][:1]) and heard[-1:] == list(expected[k - 1][-1:]),
                )
            )
        i, k = before, source
    return _astray_marked(takes[::-1])


def _astray_marked(takes: Sequence[Take]) -> list[Take]:
    out = list(takes)
    for index in range(1, len(takes) - 1):
        before, take, after = (one.line for one in takes[index - 1 : index + 2])
        out[index] = replace(takes[index], astray=take < before <= after)
    return out
