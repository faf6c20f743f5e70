"""Chapters of a session, by block and round, and the open JSON chapters format.

Source: JSON chapters 1.2 of the podcast namespace: ``version`` and ``chapters`` are required, of a chapter
only ``startTime``, in seconds.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from statistics import median

from cuelane.base.page_words import PageWords, page_words
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.base.units import to_ms
from cuelane.deliver.outline import Section, sections_of
from cuelane.media import Chapter
from cuelane.media.metadata import MAX_CHAPTERS
from cuelane.web.page_parts import plain

SHORTEST_ROUND_S = 30
_TITLE_CHARACTERS = 90
_NAMED_EXERCISES = 3


def chapters_of(schedule: Schedule) -> list[Chapter]:
    """Return the session's chapters: they follow one another from 0 to its end, at most 255.

    A block whose rounds mostly last half a minute or more has a chapter for each; otherwise it has one.
    If those are more than a file can hold, each block has one, and the last one covers what is left.
    """
    sections, words = sections_of(schedule), page_words(schedule.language)
    starts = [start for section in sections for start in _by_round(section, schedule.sample_rate, words)]
    if len(starts) > MAX_CHAPTERS:
        starts = [(section.start_sample, section.title) for section in sections]
    end_ms = to_ms(schedule.n_frames, schedule.sample_rate)
    times = [(to_ms(sample, schedule.sample_rate), title) for sample, title in starts]
    if not times:
        return []
    times[0] = (0, times[0][1])
    times = [
        row for row, following in zip(times, [*times[1:], (end_ms, "")], strict=True) if following[0] > row[0]
    ]
    times = times[:MAX_CHAPTERS]
    ends = [start for start, _ in times[1:]] + [end_ms]
    return [
        Chapter(start, end, _shortened(title) or words("chapter.part", n=str(number)))
        for number, ((start, title), end) in enumerate(zip(times, ends, strict=True), 1)
    ]


def _by_round(section: Section, sample_rate: int, words: PageWords) -> list[tuple[int, str]]:
    """Return (start_sample, title) of the chapters of one block."""
    rounds: list[list[ScheduledInterval]] = []
    for row in section.intervals:
        if row.round is not None and (not rounds or row.round != rounds[-1][0].round):
            rounds.append([row])
        elif rounds:
            rounds[-1].append(row)
    lengths = [run[-1].end_sample - run[0].start_sample for run in rounds]
    if len(rounds) < 2 or median(lengths) < SHORTEST_ROUND_S * sample_rate:
        return [(section.start_sample, section.title)]
    made = [(run[0].start_sample, _round_title(section.title, run, words)) for run in rounds]
    return [(section.start_sample, made[0][1]), *made[1:]]


def _round_title(block: str, run: Sequence[ScheduledInterval], words: PageWords) -> str:
    names = list(dict.fromkeys(plain(row.exercise) for row in run if row.exercise))
    title = words("chapter.block_round" if block else "chapter.round", block=block, n=str(run[0].round))
    full = words("chapter.named", title=title, names=", ".join(names))
    return full if 0 < len(names) <= _NAMED_EXERCISES and len(full) <= _TITLE_CHARACTERS else title


def _shortened(title: str) -> str:
    return title if len(title) <= _TITLE_CHARACTERS else title[: _TITLE_CHARACTERS - 1].rstrip() + "…"


def to_json_chapters(chapters: Sequence[Chapter], title: str = "") -> str:
    """Return the text of a JSON chapters file, version 1.2."""
    data = {
        "version": "1.2.0",
        **({"title": plain(title)} if title else {}),
        "chapters": [
            {
                "startTime": chapter.start_ms / 1000,
                "endTime": chapter.end_ms / 1000,
                "title": plain(chapter.title),
            }
            for chapter in chapters
        ],
    }
    return json.dumps(data, ensure_ascii=False, indent=1) + "\n"
