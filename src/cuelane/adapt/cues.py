"""Words to cues: split at pauses and boundaries, given a role, and marked if a listener cannot use them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuelane.adapt.align import PlacedWord
from cuelane.adapt.hearing import Hearing, Island
from cuelane.adapt.intervals import FoundInterval
from cuelane.adapt.wordlists import WordLists
from cuelane.plan.model import Role
from cuelane.plan.values import MAX_TEXT

PAUSE_S = 0.45
LEAD_S, TAIL_S = 0.12, 0.30
LONGEST_S = 30.0
ROOM_SOUND = "sound from the room, or words that no caption has"
DEAD_AIR = "dead air"
OVER_BEEP = "spoken over a beep"
UNSURE = "the words may be placed wrongly"


@dataclass(frozen=True)
class FoundCue:
    """One cue of the recording: where its clip is cut, what it says, and what speaks against keeping it.

    ``keep`` is what is proposed; a person's decisions come after. ``notes`` are doubts that do not drop it.
    """

    start_s: float
    end_s: float
    text: str
    role: Role
    interval: int
    reasons: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    words: tuple[PlacedWord, ...] = ()

    @property
    def keep(self) -> bool:
        return not self.reasons


def find_cues(
    words: Sequence[PlacedWord], intervals: Sequence[FoundInterval], hearing: Hearing, lists: WordLists
) -> list[FoundCue]:
    """Return the cues that `words` make, in order of time."""
    groups = _split(words, intervals)
    found: list[FoundCue] = []
    seen: set[int] = set()
    for number, group in enumerate(groups):
        before_s = groups[number - 1][-1].end_s if number else 0.0
        after_s = groups[number + 1][0].onset_s if number + 1 < len(groups) else hearing.seconds
        start, end = _edges(group, before_s, after_s, hearing)
        text = " ".join(word.text for word in group)[:MAX_TEXT]
        index = _interval_at(intervals, group[0].onset_s)
        role = lists.role(text, in_rest=intervals[index].kind == "rest", first=index not in seen)
        seen.add(index)
        notes = []
        if not all(word.sure for word in group):
            notes.append(UNSURE)
        if any(a < group[-1].end_s and b > group[0].onset_s for a, b in hearing.beeps):
            notes.append(OVER_BEEP)
        found.append(FoundCue(start, end, text, role, index, lists.reasons(text), tuple(notes), tuple(group)))
    return found


def untexted(
    islands: Sequence[Island],
    cues: Sequence[FoundCue],
    intervals: Sequence[FoundInterval],
    *,
    reason: str = ROOM_SOUND,
) -> list[FoundCue]:
    """Return the sounds that belong to no cue, as cues without words, each for the `reason` given."""
    found = []
    for island in islands:
        overlap = any(cue.start_s < island.end_s and island.start_s < cue.end_s for cue in cues)
        if not overlap and island.end_s - island.start_s >= 0.25:
            minutes, seconds = divmod(island.start_s, 60)
            text = f"(sound at {int(minutes)}:{seconds:04.1f})"
            index = _interval_at(intervals, island.start_s)
            found.append(FoundCue(island.start_s, island.end_s, text, "say", index, (reason,)))
    return found


def _split(words: Sequence[PlacedWord], intervals: Sequence[FoundInterval]) -> list[list[PlacedWord]]:
    ends = [interval.end_s for interval in intervals[:-1]]
    groups: list[list[PlacedWord]] = []
    for word in words:
        if groups:
            last = groups[-1][-1]
            crosses = any(last.onset_s < end <= word.onset_s + 0.05 for end in ends)
            long = word.end_s - groups[-1][0].onset_s > LONGEST_S
            if word.onset_s - last.end_s < PAUSE_S and not crosses and not long:
                groups[-1].append(word)
                continue
        groups.append([word])
    return groups


def _edges(
    group: Sequence[PlacedWord], before_s: float, after_s: float, hearing: Hearing
) -> tuple[float, float]:
    """Return where to cut: in the quiet before the first word and after the last, never inside a word.

    A placed word may be some 50 ms off, so the cut is sought from well before its onset to just after it
    would be too late: outwards only.
    """
    first, last = group[0].onset_s, group[-1].end_s
    low = max(before_s + 0.25 * (first - before_s), first - LEAD_S - 0.10, 0.0)
    high = min(after_s - 0.25 * max(0.0, after_s - last), last + TAIL_S + 0.25, hearing.seconds)
    start = hearing.quietest(low, max(low, first - 0.05))
    end = hearing.quietest(min(high, last + 0.08), max(high, last + 0.09))
    return max(0.0, start), max(end, start + 0.1)


def _interval_at(intervals: Sequence[FoundInterval], at_s: float) -> int:
    for index, interval in enumerate(intervals):
        if at_s < interval.end_s - 0.05:
            return index
    return len(intervals) - 1
