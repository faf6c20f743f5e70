"""Doubts and confirmations by the strong recogniser: how likely its model holds a line's words in a sound.

The model gives a probability to any text for a sound. Where a recording was heard as something else than the
line, or the line has a rival that differs in one word, the line's words are held against those that were
heard and against those of other lines; the order of reading says which line is asked about.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Protocol

from cuelane.recording.recogniser import Audio
from cuelane.takes.gaps import seconds_a_letter
from cuelane.takes.matching import SURE_TAKE, Take
from cuelane.takes.rivals import rivals

# Chosen: sound heard around a take; less may cut its edges, more takes in other sounds.
_PAD_S = 0.12
# In natural logarithms over a whole line. Fitted on 40 telephone prompts of one speaker (the first set of
# tests/benchmarks/bench_human_speech.py): a line heard with a sound or two wrong scored at most 4 below what
# was heard, and a line of which one word was another 8 below or more; other lines scored 9 below or more.
CLEAR_LEAD, CONFIRM_LEAD, MOST_LOST = 2.0, 5.0, 5.0
# A token's mean: a reading whose beginning was missing had -3.2, right ones -1.4 and more.
LEAST_LIKELY = -2.0
# Chosen: as long as this reader takes for the line, within what a pause in it and a hurry change.
_SHORTEST, _LONGEST = 0.6, 1.7
# Chosen: nearest other lines compared, besides those that differ in one word; more takes longer.
_MOST_OTHERS = 8


class TextScorer(Protocol):
    """Says how likely texts are for a sound."""

    def score(self, samples: Audio, texts: Sequence[str]) -> list[float]:
        """Return the mean log probability of each text's tokens in `samples`, shape (n,), 16 kHz."""


@dataclass(frozen=True)
class LineEvidence:
    """Mean log probabilities a token: of the line, of what was heard, and of the best other line."""

    own: float
    heard: float
    other: float
    other_line: int | None


def evidence(
    take: Take, lines: Sequence[str], rivals_of: Sequence[int], samples: Audio, scorer: TextScorer
) -> LineEvidence:
    """Return how likely `take` is its line; it is held against `rivals_of` and the nearest other lines.

    A line that is a part of the take's own is as likely as it, and says nothing. `samples` has shape (n,), at
    16 kHz.
    """
    letters = lines[take.line].lower()
    near = sorted(
        (k for k in range(len(lines)) if k != take.line and _plain(lines[k]) not in _plain(lines[take.line])),
        key=lambda k: (
            -max(
                SequenceMatcher(None, take.heard.lower(), lines[k].lower()).ratio(),
                SequenceMatcher(None, letters, lines[k].lower()).ratio(),
            )
        ),
    )
    others = list(dict.fromkeys([*rivals_of, *near[:_MOST_OTHERS]]))
    own, heard, *rest = scorer.score(
        samples, [lines[take.line], take.heard or "…", *(lines[k] for k in others)]
    )
    best = max(zip(rest, others, strict=True), default=(float("-inf"), None))
    return LineEvidence(own, heard, best[0], best[1])


def weighed(
    takes: Sequence[Take],
    lines: Sequence[str],
    sound: Callable[[float, float], Audio],
    scorer: TextScorer,
    said: Callable[[str], list[str]],
) -> list[Take]:
    """Return `takes` with doubts noted and readings confirmed by how likely the line's words are.

    Parameters
    ----------
    sound : returns 16 kHz samples between two times in s, shape (n,).
    said : gives the words of a line.
    """
    of_line = rivals(lines, said)
    rate = seconds_a_letter(takes, lines)
    last = {take.line: take.start_s for take in sorted(takes, key=lambda take: take.start_s)}
    out = []
    for take in takes:
        sure = take.confidence >= SURE_TAKE
        if (take.numbered and sure) or (sure and not of_line[take.line]):
            out.append(take)
            continue
        heard = sound(take.start_s - _PAD_S, take.end_s + _PAD_S)
        found = evidence(take, lines, of_line[take.line], heard, scorer)
        # Sums and not means: one wrong word weighs the same in a long line.
        n_tokens = len(said(lines[take.line])) + 1
        lead = (found.own - found.other) * n_tokens
        lasts = (take.end_s - take.start_s) / (rate * len(lines[take.line]))
        if sure:
            if lead < CLEAR_LEAD and found.other_line in of_line[take.line]:
                other = found.other_line
                doubt = f"sounds nearly as much like line {other + 1}: {lines[other]!r}"
                take = replace(take, doubt=doubt)
        elif (
            not take.astray
            and last[take.line] == take.start_s
            and _SHORTEST < lasts < _LONGEST
            and found.own >= LEAST_LIKELY
            and (found.heard - found.own) * n_tokens <= MOST_LOST
            and lead >= CONFIRM_LEAD
        ):
            take = replace(take, confirmed=True)
        out.append(take)
    return out


def _plain(text: str) -> str:
    return " ".join("".join(char if char.isalnum() else " " for char in text.lower()).split())
