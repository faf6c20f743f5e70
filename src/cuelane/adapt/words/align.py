"""Places the words of captions on the audio: forced alignment inside coarse windows.

Captions are off by seconds, so a window must be wider than its caption's words, and then it holds words of
the neighbouring captions too. So captions are aligned in groups of about half a minute, each group with the
captions before and after it as context, and only the group's own words are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.islands import Hearing, Loudness
from cuelane.adapt.words.onsets import onset_s
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.stray_words import gathered
from cuelane.recording.pronouncing import token_words
from cuelane.recording.recogniser import Aligner, HeardWord

Progress = Callable[[int, int], None]

# Chosen: captions made by people are up to 2 s off (common practice, no source); more takes in neighbours.
CAPTION_SLACK_S = 2.2
# Chosen: longer costs time and memory with its square, shorter has less context to keep words in place.
GROUP_S = 25.0
# Derived from the slack of both: of so much sound beside a caption the words must be known.
_CONTEXT_S = 2 * CAPTION_SLACK_S


@dataclass(frozen=True)
class _Token:
    text: str
    words: tuple[str, ...]
    caption: int


def place_words(
    captions: Sequence[ReadCaption],
    hearing: Hearing,
    *,
    slack_s: float = CAPTION_SLACK_S,
    progress: Progress | None = None,
) -> tuple[list[PlacedWord], list[int]]:
    """Return the words of `captions` in order of time, and the indices of captions that fit nowhere."""
    aligner = Aligner()
    loudness = hearing.loudness()
    placed: list[list[PlacedWord]] = []
    lost: list[int] = []
    groups = _groups(captions)
    for number, (first, last) in enumerate(groups):
        found = _align(aligner, captions, hearing, first, last, slack_s)
        if found is None:
            # If the group cannot be aligned, its captions are tried one by one: one of them may be wrong.
            found = []
            for index in range(first, last):
                alone = _align(aligner, captions, hearing, index, index + 1, slack_s)
                if alone is None:
                    lost.append(index)
                else:
                    found.extend(alone)
        elif number and _are_crossed(placed[-1], found):
            # "Up first are rows", and then "rows": what both say was put where the other said it.
            together = _align(aligner, captions, hearing, groups[number - 1][0], last, slack_s)
            if together is not None:
                # What fitted nowhere alone has a place among them.
                lost = [index for index in lost if index < groups[number - 1][0]]
                placed[-1] = [word for word in together if word.caption < first]
                found = [word for word in together if word.caption >= first]
        placed.append(found)
        if progress:
            progress(number + 1, len(groups))
    words = gathered([word for group in placed for word in group], captions, aligner, hearing, slack_s)
    words.sort(key=lambda word: word.onset_s)
    return [_judged(word, hearing, loudness) for word in words], lost


def _are_crossed(before: Sequence[PlacedWord], after: Sequence[PlacedWord]) -> bool:
    """Return whether words of one group are placed amid those of the group before it."""
    ends = max((word.onset_s for word in before), default=0.0)
    return any(word.onset_s < ends for word in after)


def _groups(captions: Sequence[ReadCaption]) -> list[tuple[int, int]]:
    """Return (first, end) of groups of up to `GROUP_S`, ended at the widest gap of their second half."""
    groups: list[tuple[int, int]] = []
    first = 0
    while first < len(captions):
        end = first + 1
        while end < len(captions) and captions[end].end_s - captions[first].start_s < GROUP_S:
            end += 1
        if end < len(captions) and end - first > 2:
            half = first + (end - first + 1) // 2
            gaps = [(captions[k].start_s - captions[k - 1].end_s, k) for k in range(half, end + 1)]
            end = max(gaps)[1]
        groups.append((first, end))
        first = end
    return groups


def _align(
    aligner: Aligner, captions: Sequence[ReadCaption], hearing: Hearing, first: int, last: int, slack_s: float
) -> list[PlacedWord] | None:
    low, high = _with_context(captions, first, last, slack_s)
    tokens = [
        _Token(text, tuple(token_words(text)), index)
        for index in range(low, high)
        for text in captions[index].text.split()
    ]
    tokens = [token for token in tokens if token.words]
    words = [word for token in tokens for word in token.words]
    start_s = max(0.0, captions[low].start_s - slack_s)
    end_s = min(hearing.seconds, captions[high - 1].end_s + slack_s)
    heard = aligner.align(words, hearing.low(start_s, end_s))
    if heard is None:
        return None
    heard = [
        HeardWord(word.text, start_s + word.onset_s, start_s + word.end_s, word.paused) for word in heard
    ]
    out: list[PlacedWord] = []
    at = 0
    for token in tokens:
        begin, end = heard[at], heard[at + len(token.words) - 1]
        before_s = heard[at - 1].end_s if at else start_s
        at += len(token.words)
        if first <= token.caption < last:
            onset = onset_s(begin, before_s, hearing)
            out.append(PlacedWord(token.text, onset, max(onset + 0.02, end.end_s), token.caption))
    return out


def _with_context(captions: Sequence[ReadCaption], first: int, last: int, slack_s: float) -> tuple[int, int]:
    """Return `first` and `last` moved out over the captions whose words can be inside the window.

    Sound at its ends whose words are not known pushes those beside it out of place: so there is context for
    both slacks, however short the captions are.
    """
    low, high = first, last
    while (
        low
        and captions[low].start_s - captions[low - 1].end_s < 2 * slack_s
        and captions[first].start_s - captions[low].start_s < _CONTEXT_S
    ):
        low -= 1
    while (
        high < len(captions)
        and captions[high].start_s - captions[high - 1].end_s < 2 * slack_s
        and captions[high - 1].end_s - captions[last - 1].end_s < _CONTEXT_S
    ):
        high += 1
    return low, high


def _judged(word: PlacedWord, hearing: Hearing, loudness: Loudness) -> PlacedWord:
    """Return `word`, marked unsure if it lies in silence or lasts longer than a word can."""
    level = hearing.level_db[round(word.onset_s * 100) : round(word.end_s * 100) + 1]
    audible = len(level) and float((level > loudness.gate_dbfs).mean()) > 0.3
    length = word.end_s - word.onset_s
    sure = word.sure and bool(audible) and length < 0.6 + 0.12 * len(word.text) and not loudness.is_noisy
    return PlacedWord(word.text, word.onset_s, word.end_s, word.caption, sure)
