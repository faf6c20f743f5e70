"""How a schedule's time is filled: talk, time without talk, open time, and how fast the voice speaks."""

from __future__ import annotations

from dataclasses import dataclass

from cuelane.base.occupancy import occupancy
from cuelane.base.schedule import Schedule

USUAL_WORDS_PER_MINUTE = (100, 170)
"""Presentations 100 to 150, conversation 120 to 150, read aloud 150 to 160, all with the pauses between
sentences (values from a secondary source; no standard exists)."""

FOLLOWED_WORDS_PER_MINUTE = 250
"""Comprehension holds up to some 200 to 250 (value from a secondary source). Cues are counted without pauses
around them, so that an ordinary voice comes to about 200 here; only beyond the upper figure is it fast."""


@dataclass(frozen=True)
class TalkFacts:
    """How a schedule's time is filled. Talk is cues no more than a second apart; open time has no sound."""

    open_s: float
    open_share: float
    longest_talk_s: float
    longest_talk_at_s: float
    longest_without_talk_s: float
    longest_without_talk_at_s: float
    n_words: int
    spoken_s: float
    words_per_minute: float | None


def talk_facts(schedule: Schedule) -> TalkFacts:
    """Return how the time of `schedule` is filled; an empty one is all open."""
    rate, n_frames = schedule.sample_rate, schedule.n_frames
    used = occupancy(schedule)
    cues = sorted(schedule.cues, key=lambda cue: cue.onset_sample)
    silences, heard = [], 0
    for cue in cues:
        silences.append((cue.onset_sample - heard, heard))
        heard = max(heard, cue.end_sample)
    silences.append((n_frames - heard, heard))
    longest, longest_at = max(silences, key=lambda silence: silence[0])
    n_words = sum(count_words(cue.text or "") for cue in cues)
    spoken = sum(cue.end_sample - cue.onset_sample for cue in cues)
    return TalkFacts(
        open_s=used.open_share * n_frames / rate,
        open_share=used.open_share,
        longest_talk_s=used.longest_talk_s,
        longest_talk_at_s=used.longest_talk_at_s,
        longest_without_talk_s=longest / rate,
        longest_without_talk_at_s=longest_at / rate,
        n_words=n_words,
        spoken_s=spoken / rate,
        words_per_minute=n_words * 60 * rate / spoken if spoken else None,
    )


def count_words(text: str) -> int:
    """Return how many words `text` has: runs between spaces that hold a letter or a digit."""
    return sum(any(character.isalnum() for character in word) for word in text.split())
