"""Finds which pieces of a recording are which lines of the script, by recognition and the order of reading.

The model: a reading is a walk through the script, mostly to the next line, now and then to the same line
again (a retake), back, or past a line left out. Between lines there is sound that is no line (a cough, a
false start, a word to somebody in the room). Each line is heard in one to five pieces in a row. The walk
with the highest sum of likeness and plausible steps is found exactly, by dynamic programming over pieces
and lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

import numpy as np
import numpy.typing as npt

from cuelane.recording.pronouncing import spoken_words
from cuelane.recording.recogniser import HeardWord

Scores = npt.NDArray[np.float64]
Keys = Callable[[Sequence[str]], list[str]]

# Chosen: more allows more pauses inside a line, and takes longer.
MAX_PIECES = 5
# Chosen: a longer pause ends a line; higher joins separate readings.
LONGEST_PAUSE_S = 2.5
SURE_TAKE = 0.82
"""Confidence from which a take is placed without a person listening to it. Chosen: a higher value asks a
person about more good takes, a lower one places more wrong ones."""
LIKELY = 0.55
"""Confidence below which the notes say that little was recognised. Chosen: it changes a note, no result."""

# Chosen: a likeness of 0.5 is evidence neither for a line nor against it.
_NEUTRAL = 0.5
# Chosen: what each step through the script is worth; larger trusts the order more than the words.
_NEXT, _SAME, _SKIP, _BACK = 0.25, 0.05, -0.12, -0.8
# Chosen: the cost of each further piece; higher prefers lines read without a pause.
_JOINT = 0.1
# Chosen: so many lines out of order are a passage read again; fewer would pass mistakes.
_PASSAGE = 3
# Chosen: what a spoken line number weighs; more trusts it against the words.
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
    """Whether it is out of order for one line or two, while the reading before and after it is in order."""
    doubt: str = ""
    """Why it is not sure although it was heard as the line, if so."""
    confirmed: bool = False
    """Whether the line's own words, aligned with the sound, fit it as well as the words that were heard."""

    @property
    def confidence(self) -> float:
        """From 0 to 1: how similar to the line it is.

        It is less if another line is nearly as similar and no line number was read. It is below `SURE_TAKE`
        - if the first or last word is not the line's own, as after a false start or with a lost word;
        - if it is out of order for a line or two, as when one word was taken for another;
        - if there is another doubt.
        It is `SURE_TAKE` if the take was confirmed.
        """
        if self.confirmed:
            return SURE_TAKE
        value = self.likeness
        if not self.numbered and self.likeness < 1.0:
            value = min(value, self.likeness - self.rival + 0.7)
        sound = self.whole and not self.doubt and (self.numbered or not self.astray)
        return value if sound else min(value, SURE_TAKE - 0.01)


def likeness(heard: Sequence[str], expected: Sequence[str]) -> float:
    """Return the share of words in common, in order, of both texts together: 0 to 1."""
    if not heard or not expected:
        return 0.0
    return SequenceMatcher(None, heard, expected, autojunk=False).ratio()


def match_takes(
    pieces: Sequence[HeardPiece], lines: Sequence[Sequence[str]] | Sequence[str], keys: Keys = list
) -> list[Take]:
    """Return every reading found, in order of time.

    Parameters
    ----------
    pieces : in order of time, what was spoken as a line number already taken out.
    lines : the script, in reading order, no two alike; each as a text, or as the words that are said.
    keys : makes the words of a line, and those heard for it, comparable.
    """
    expected = [keys(spoken_words(line) if isinstance(line, str) else line) for line in lines]
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
        # Leaving sound out as no line costs little if it is short, and the more the more words it has.
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
            heard = keys([word for piece in pieces[i:j] for word in piece.text])
            like = np.array([likeness(heard, words) for words in expected])
            scores[i, j] = like
            weight = np.sqrt([max(1, len(words)) for words in expected])
            # Only a piece with a likeness above one half can be a reading of the line.
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
    return _walk_back(pieces, expected, best, came, scores, keys)


def _steps(n_lines: int) -> Scores:
    """Return the worth of going from line k - 1 (0: the start) to line m; shape (n_lines + 1, n_lines)."""
    ahead = np.arange(n_lines)[None, :] - (np.arange(n_lines + 1)[:, None] - 1)
    steps = np.where(ahead == 1, _NEXT, np.where(ahead == 0, _SAME, _BACK))
    return np.where(ahead > 1, np.maximum(_SKIP * (ahead - 1), -0.6), steps)


def _walk_back(
    pieces: Sequence[HeardPiece],
    expected: Sequence[Sequence[str]],
    best: Scores,
    came: dict[tuple[int, int], tuple[int, int, bool]],
    scores: dict[tuple[int, int], Scores],
    keys: Keys,
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
            ends = keys(heard)
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
                    whole=ends[:1] == list(expected[k - 1][:1]) and ends[-1:] == list(expected[k - 1][-1:]),
                )
            )
        i, k = before, source
    return _astray_marked(takes[::-1], len(expected))


def _astray_marked(takes: Sequence[Take], n_lines: int) -> list[Take]:
    """Return `takes` with those marked that are out of order, one or two lines at a time.

    The order is the longest run of takes in which lines never go back. Three or more lines in a row that are
    out of it are a passage that was read again, and not a mistake, unless lines that should have been read
    just there were never heard.
    """
    order = _in_order([take.line for take in takes])
    read = {take.line for take in takes}
    out = list(takes)
    index = 0
    while index < len(takes):
        end = index + 1
        if index not in order:
            while end < len(takes) and end not in order and 0 <= takes[end].line - takes[end - 1].line <= 1:
                end += 1
            before = max((takes[k].line for k in order if k < index), default=-1)
            later = (takes[k].line for k in order if k >= end and takes[k].line > before)
            after = min(later, default=n_lines)
            unread = any(line not in read for line in range(before + 1, after))
            if unread or len({take.line for take in takes[index:end]}) < _PASSAGE:
                out[index:end] = [replace(take, astray=True) for take in takes[index:end]]
        index = end
    return out


def _in_order(lines: Sequence[int]) -> set[int]:
    """Return the indices of the longest rising subsequence of `lines`, the earliest of several.

    A line several times in a row counts as one.
    """
    runs: list[list[int]] = []
    for index, line in enumerate(lines):
        if runs and lines[runs[-1][-1]] == line:
            runs[-1].append(index)
        else:
            runs.append([index])
    best: list[tuple[int, int]] = []
    for number, run in enumerate(runs):
        before = [(best[k][0], -k) for k in range(number) if lines[runs[k][0]] < lines[run[0]]]
        length, source = max(before, default=(0, 1))
        best.append((length + 1, -source))
    number = max(range(len(best)), key=lambda k: best[k][0], default=-1)
    found: set[int] = set()
    while number >= 0:
        found.update(runs[number])
        number = best[number][1]
    return found
