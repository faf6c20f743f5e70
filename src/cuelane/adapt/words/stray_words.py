"""First and last words of captions that lie far from their caption's others: left there, or put back.

The aligner may put a word on a bell or a cough. But programs that write captions cut sentences anywhere, so a
caption's last word is often the first of the next sentence, a pause later, and a sentence may be one word.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.recording.pronouncing import token_words
from cuelane.recording.recogniser import Aligner

# Chosen: longer than a pause inside a sentence; less asks again about words that were really said late.
_STRAY_S = 1.2
# Chosen: words of one sentence follow each other closer than this.
_RUNS_ON_S = 0.45
# Chosen: sound around a caption's words that may still be the word's that strayed.
_AROUND_S = 0.5
# Fitted on 30 words of three made classes and of single sentences: with a word that is not in the sound the
# score is lower by an eighth and more, with one that is it is higher, or lower by a twentieth at most.
_LESS = 0.05


def gathered(
    words: Sequence[PlacedWord],
    captions: Sequence[ReadCaption],
    aligner: Aligner,
    hearing: Hearing,
    slack_s: float,
) -> list[PlacedWord]:
    """Return `words`, a caption's first or last word beside the others where it does not belong elsewhere.

    It stays where it runs on in the words of the caption before or after it; else it goes back if it is
    farther than `slack_s` from its caption's time, or if the sound of the others holds it.
    """
    by_caption: dict[int, list[PlacedWord]] = {}
    for word in words:
        by_caption.setdefault(word.caption, []).append(word)
    for index, group in by_caption.items():
        for first in (True, False):
            if len(group) < 3 or not _is_stray(group, first=first):
                continue
            is_near = _is_near(group[0 if first else -1], captions[index], slack_s)
            if is_near and _runs_on(group, index, by_caption, first=first):
                continue
            if not is_near or _holds(group, aligner, hearing, first=first):
                by_caption[index] = group = _put_back(group, first=first)
    return [word for group in by_caption.values() for word in group]


def _is_stray(group: Sequence[PlacedWord], *, first: bool) -> bool:
    one, two = (group[0], group[1]) if first else (group[-2], group[-1])
    return two.onset_s - one.end_s > _STRAY_S


def _is_near(word: PlacedWord, caption: ReadCaption, slack_s: float) -> bool:
    return caption.start_s - slack_s <= word.onset_s and word.end_s <= caption.end_s + slack_s


def _runs_on(
    group: Sequence[PlacedWord], index: int, by_caption: Mapping[int, Sequence[PlacedWord]], *, first: bool
) -> bool:
    """Return whether the group's first (or last) word is said together with the neighbouring caption's."""
    beside = by_caption.get(index - 1 if first else index + 1)
    if beside is None:
        return False
    one, two = (beside[-1], group[0]) if first else (group[-1], beside[0])
    return two.onset_s - one.end_s < _RUNS_ON_S


def _holds(group: Sequence[PlacedWord], aligner: Aligner, hearing: Hearing, *, first: bool) -> bool:
    """Return whether the sound of the others is explained as well with the first (or last) word as without.

    Scores are logarithms, below 0.
    """
    others = group[1:] if first else group[:-1]
    samples = hearing.low(others[0].onset_s - _AROUND_S, others[-1].end_s + _AROUND_S)
    apart, together = (
        aligner.score([part for word in words for part in token_words(word.text)], samples)
        for words in (others, group)
    )
    return apart is None or (together is not None and together > apart * (1 + _LESS))


def _put_back(group: Sequence[PlacedWord], *, first: bool) -> list[PlacedWord]:
    """Return `group` with its first (or last) word beside the others, and marked as unsure."""
    if first:
        one, second = group[0], group[1]
        length_s = min(one.end_s - one.onset_s, 0.06 * len(one.text) + 0.06)
        moved = PlacedWord(one.text, second.onset_s - length_s, second.onset_s, one.caption, sure=False)
        return [moved, *group[1:]]
    one, before = group[-1], group[-2]
    length_s = min(one.end_s - one.onset_s, 0.06 * len(one.text) + 0.1)
    moved = PlacedWord(one.text, before.end_s, before.end_s + length_s, one.caption, sure=False)
    return [*group[:-1], moved]
