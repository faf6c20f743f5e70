"""Lines of a script that sound nearly alike, and by how much a piece of a recording sounds like one of them.

"Fifteen seconds left" and "fifty seconds left" differ by a soft consonant, and a recogniser may take one for
the other with full confidence. So a piece heard as a line that has such rivals is aligned with each of them,
and the engine's acoustic scores are compared: the line counts as certain only if its score is the highest by
a margin.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from difflib import SequenceMatcher

from cuelane.recording.pronouncing import spoken_words
from cuelane.recording.recogniser import FRAME_S, LISTEN_RATE, Aligner, Audio
from cuelane.takes.gaps import seconds_a_letter
from cuelane.takes.matching import SURE_TAKE, Take

# In the engine's log units. On a person's single words over a telephone the right word scored above its
# nearest rival by 16 ("thirty") to 961 ("nine"), and once below it by 1207 ("fifty" heard as "thirty"). So
# this lead is required besides the order of reading, not instead of it.
CLEAR_LEAD = 150
# Chosen: nearest lines compared; more takes longer and finds rarer mistakes.
_MOST_RIVALS = 12
_SHORT_WORDS = 2
# Chosen: sound heard around a take; less may cut its edges, more takes in other sounds.
_PAD_S = 0.12
# A take that was heard with other words in it is confirmed if enough of it was heard, if it lasts as long as
# this reader needs for the line, and if its own words score, for each 10 ms, at most so much less than the
# words that were heard. With one word changed on purpose the score of a formant voice's line fell by more in
# 53 of 58 cases.
_CONFIRM_WORDS, _CONFIRM_LIKENESS, _CONFIRM_LOSS = 4, 0.6, 1.5
_CONFIRM_SHORTEST, _CONFIRM_LONGEST = 0.8, 1.3


def rivals(lines: Sequence[str], said: Callable[[str], list[str]] = spoken_words) -> list[list[int]]:
    """Return, for each line, the lines that differ from it in one word only, nearest first, 12 at most."""
    words = [said(line) for line in lines]
    found: list[list[int]] = []
    for index, mine in enumerate(words):
        near = []
        for other, theirs in enumerate(words):
            if other == index or len(mine) != len(theirs):
                continue
            apart = [(a, b) for a, b in zip(mine, theirs, strict=True) if a != b]
            if len(apart) == 1:
                near.append((-SequenceMatcher(None, *apart[0], autojunk=False).ratio(), other))
        found.append([other for _, other in sorted(near)[:_MOST_RIVALS]])
    return found


def lead(aligner: Aligner, samples: Audio, line: str, others: Sequence[str]) -> tuple[float, int | None]:
    """Return by how much `line` fits `samples` better than the best of `others`, and which that is.

    `samples` are 16 kHz mono, shape (n,). The lead is negative if another fits better, and infinite if no
    other can be fitted at all.
    """
    own = aligner.score(spoken_words(line), samples)
    scores = [(aligner.score(spoken_words(other), samples), index) for index, other in enumerate(others)]
    fitted = [(score, index) for score, index in scores if score is not None]
    if not fitted:
        return float("inf"), None
    best, index = max(fitted)
    return (float("-inf") if own is None else float(own - best)), index


def doubted(
    takes: Sequence[Take], lines: Sequence[str], sound: Callable[[float, float], Audio], aligner: Aligner
) -> list[Take]:
    """Return `takes` with a doubt noted on each that sounds nearly as much like a rival of its line.

    Parameters
    ----------
    sound : returns 16 kHz samples between two times in s, shape (n,).
    """
    of_line = rivals(lines)
    out = []
    for take in takes:
        others = of_line[take.line]
        if others and not take.numbered and take.confidence > 0:
            heard = sound(take.start_s - _PAD_S, take.end_s + _PAD_S)
            ahead, next_best = lead(aligner, heard, lines[take.line], [lines[other] for other in others])
            if ahead < CLEAR_LEAD and next_best is not None:
                other = others[next_best]
                doubt = f"sounds nearly as much like line {other + 1}: {lines[other]!r}"
                take = replace(take, doubt=doubt)
        out.append(take)
    return out


def confirmed(
    takes: Sequence[Take], lines: Sequence[str], sound: Callable[[float, float], Audio], aligner: Aligner
) -> list[Take]:
    """Return `takes` with those confirmed whose own words fit the sound as well as what was heard in it.

    `sound` gives 16 kHz samples between two times in s, shape (n,). Only the last reading of a line, in its
    order, of the length it needs: a false start is none of these.
    """
    rate = seconds_a_letter(takes, lines)
    last = {take.line: take.start_s for take in sorted(takes, key=lambda take: take.start_s)}
    out = []
    for take in takes:
        words = spoken_words(lines[take.line])
        lasts = (take.end_s - take.start_s) / (rate * len(lines[take.line]))
        if (
            take.confidence < SURE_TAKE
            and not take.doubt
            and not take.astray
            and len(words) >= _CONFIRM_WORDS
            and take.likeness >= _CONFIRM_LIKENESS
            and last[take.line] == take.start_s
            and _CONFIRM_SHORTEST < lasts < _CONFIRM_LONGEST
        ):
            heard = sound(take.start_s - _PAD_S, take.end_s + _PAD_S)
            own, other = aligner.score(words, heard), aligner.score(take.heard.split(), heard)
            n_frames = len(heard) / (FRAME_S * LISTEN_RATE)
            if own is not None and other is not None and own - other > -_CONFIRM_LOSS * n_frames:
                take = replace(take, confirmed=True)
        out.append(take)
    return out


def repeats_doubted(
    takes: Sequence[Take], lines: Sequence[str], said: Callable[[str], list[str]] = spoken_words
) -> list[Take]:
    """Return `takes` with a doubt on the second reading of a short line, if the next line was never heard.

    It may be that next line. So it is also offered as a take of the next line, and a person listens to both.
    `said` gives the words of a line.
    """
    out = list(takes)
    read = {take.line for take in takes}
    for before, (index, take) in zip(takes, list(enumerate(takes))[1:], strict=False):
        missing = take.line + 1
        short = len(said(lines[take.line])) <= _SHORT_WORDS and not take.numbered
        if take.line == before.line and short and missing < len(lines) and missing not in read:
            doubt = f"may be line {missing + 1}: {lines[missing]!r}"
            out[index] = replace(take, doubt=take.doubt or doubt)
            out.append(replace(take, line=missing, likeness=0.0, rival=0.0, whole=False, numbered=False))
    return out
