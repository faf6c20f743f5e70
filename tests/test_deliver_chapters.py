"""Chapters: by block and round, seamless, in the open JSON form."""

from __future__ import annotations

import json

import pytest

import pagesession
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.deliver.chapters import chapters_of, to_json_chapters
from cuelane.media import Chapter

RATE = 48_000


def _session(rows: list[tuple[str, str, int | None, str | None, float]]) -> Schedule:
    intervals = []
    at = 0
    for index, (block, kind, number, exercise, seconds) in enumerate(rows):
        end = at + round(seconds * RATE)
        intervals.append(ScheduledInterval(index, block, kind, number, exercise, None, at, end))  # type: ignore[arg-type]
        at = end
    return Schedule("t", "en", RATE, at, tuple(intervals), ())


def test_a_chapter_for_each_block_and_long_round() -> None:
    """Rounds of half a minute or more get their own chapter and name their exercises; breaths do not."""
    made = chapters_of(pagesession.boathouse())

    assert [(chapter.start_ms, chapter.title) for chapter in made] == [
        (0, "Opening"),
        (18_000, "Warm-up"),
        (138_000, "Legs, round 1: goblet squat"),
        (203_000, "Legs, round 2: goblet squat, reverse lunge"),
        (313_000, "Legs, round 3: goblet squat, reverse lunge, hip hinge"),
        (468_000, "Legs, round 4"),
        (643_000, "Breathing"),
        (739_000, "Close"),
    ]


@pytest.mark.parametrize(
    "schedule", [pagesession.boathouse(), pagesession.hostile(), pagesession.long_day()], ids=["a", "b", "c"]
)
def test_chapters_cover_the_session_without_gap(schedule: Schedule) -> None:
    """The first begins at 0, each ends where the next begins, the last ends with the session."""
    made = chapters_of(schedule)

    assert made[0].start_ms == 0
    assert made[-1].end_ms == (schedule.n_frames * 2000 + RATE) // (2 * RATE)
    assert all(chapter.start_ms < chapter.end_ms for chapter in made)
    assert [chapter.end_ms for chapter in made[:-1]] == [chapter.start_ms for chapter in made[1:]]
    assert all(chapter.title and len(chapter.title) <= 90 and "\n" not in chapter.title for chapter in made)


@pytest.mark.parametrize(("seconds", "n_chapters"), [(30.0, 3), (29.0, 1)])
def test_rounds_of_half_a_minute_have_chapters(seconds: float, n_chapters: int) -> None:
    """Three rounds of 30 s make three chapters, three of 29 s one."""
    rounds = [("Legs", "work", number, "squat", seconds) for number in (1, 2, 3)]

    assert len(chapters_of(_session(rounds))) == n_chapters


def test_more_than_files_hold_become_blocks() -> None:
    """Four hundred rounds make one chapter of their block, three hundred blocks the most there can be."""
    rounds = [("Long", "work", number, "row", 40.0) for number in range(1, 401)]
    blocks = [(f"Block {number}", "work", None, "row", 3.0) for number in range(300)]

    assert [chapter.title for chapter in chapters_of(_session(rounds))] == ["Long"]
    made = chapters_of(_session(blocks))
    # ID3v2 Chapter Frame Addendum 1.0: the table of contents counts in one byte (value from memory).
    assert len(made) == 255
    assert made[-1].end_ms == 900_000


def test_no_chapters_without_intervals() -> None:
    """A schedule of nothing has no chapters, and says so without an error."""
    assert chapters_of(Schedule("t", "en", RATE, RATE, (), ())) == []


def test_json_chapters_have_the_formats_fields() -> None:
    """version, and chapters with startTime in seconds, ascending; title and endTime beside it.

    Source: JSON chapters 1.2 (podcast namespace documentation, read there).
    """
    chapters = [Chapter(0, 1_500, "A </script>"), Chapter(1_500, 60_001, 'B "quoted"')]
    data = json.loads(to_json_chapters(chapters, "Boathouse\nlegs"))

    assert data["version"] == "1.2.0"
    assert data["title"] == "Boathouse legs"
    assert data["chapters"] == [
        {"startTime": 0.0, "endTime": 1.5, "title": "A </script>"},
        {"startTime": 1.5, "endTime": 60.001, "title": 'B "quoted"'},
    ]
