"""Captions of a session: WebVTT by W3C's rules, and SubRip.

Times are whole milliseconds from the schedule's samples, each rounded once. A caption begins with its words
and stays after them for as long as reading it takes (17 characters a second, at least 1.2 s: common practice,
no standard), but never into the next one nor past the end.

Source: W3C WebVTT (hours of two digits or more, three-digit milliseconds, ``&``, ``<`` and ``>`` escaped, no
blank line in a cue). SubRip has no standard; its players read ``<b>`` and ``{\\an8}`` as styling, so those
are changed to similar signs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cuelane.base.page_words import page_words
from cuelane.base.schedule import Event, Schedule
from cuelane.base.units import to_ms
from cuelane.deliver.breaking import captions_of, split_words, two_lines
from cuelane.web.page_parts import plain

READING_CHARACTERS_PER_S = 17
SHORTEST_MS = 1_200

_ID = re.compile(r"[A-Za-z0-9_.]{1,40}")
_ONE_COUNTDOWN_S = 2.5


@dataclass(frozen=True)
class Caption:
    """A text of one or two lines, shown from `start_ms` until before `end_ms`."""

    id: str
    start_ms: int
    end_ms: int
    text: str


def captions(schedule: Schedule, *, pips: bool = False) -> list[Caption]:
    """Return the session's captions in order of time, none overlapping the next.

    `pips` adds sounds in brackets; a countdown's pips make one caption.
    """
    rows = sorted(_rows(schedule, pips), key=lambda row: (row[1], row[0]))
    last_ms = to_ms(schedule.n_frames, schedule.sample_rate)
    made = []
    for index, (name, start_ms, spoken_end_ms, text) in enumerate(rows):
        following_ms = rows[index + 1][1] if index + 1 < len(rows) else last_ms
        read_ms = max(SHORTEST_MS, -(-1000 * len(text) // READING_CHARACTERS_PER_S))
        end_ms = min(max(spoken_end_ms, start_ms + read_ms), following_ms, last_ms)
        made.append(Caption(name, start_ms, max(end_ms, start_ms + 1), text))
    return made


def to_vtt(schedule: Schedule, *, pips: bool = False) -> str:
    """Return the captions as a WebVTT file."""
    parts = ["WEBVTT\n"]
    for caption in captions(schedule, pips=pips):
        text = caption.text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        name = f"{caption.id}\n" if caption.id else ""
        parts.append(f"{name}{_clock(caption.start_ms, '.')} --> {_clock(caption.end_ms, '.')}\n{text}\n")
    return "\n".join(parts)


def to_srt(schedule: Schedule, *, pips: bool = False) -> str:
    """Return the captions as a SubRip file."""
    parts = []
    for number, caption in enumerate(captions(schedule, pips=pips), 1):
        text = re.sub(r"<(?=/?[A-Za-z])", "‹", caption.text).replace("{\\", "{ \\").replace("-->", "→")
        span = f"{_clock(caption.start_ms, ',')} --> {_clock(caption.end_ms, ',')}"
        parts.append(f"{number}\n{span}\n{text}\n")
    return "\n".join(parts)


def _clock(time_ms: int, mark: str) -> str:
    seconds, millis = divmod(time_ms, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{mark}{millis:03d}"


def _rows(schedule: Schedule, pips: bool) -> Iterator[tuple[str, int, int, str]]:
    """Yield (id, start_ms, end_ms of the sound, text)."""
    rate = schedule.sample_rate
    for event in schedule.cues:
        words = split_words(plain(event.text or ""))
        if not words:
            continue
        name = event.id if _ID.fullmatch(event.id) else ""
        spans = captions_of(words)
        starts = [to_ms(sample, rate) for sample in _starts(event, words, [first for first, _ in spans])]
        ends = [*starts[1:], to_ms(event.end_sample, rate)]
        for part, ((first, end), start_ms, end_ms) in enumerate(zip(spans, starts, ends, strict=True)):
            text = two_lines(words[first:end])
            assert text is not None
            label = f"{name}-{part + 1}" if name and len(spans) > 1 else name
            yield label, start_ms, max(end_ms, start_ms + 1), text
    if pips:
        sounds = page_words(schedule.language)
        for run in _countdowns(schedule):
            kinds = {event.role for event in run}
            key = "countdown" if len(run) > 1 else kinds.pop()
            told = sounds("sound.other") if sounds.find("sound", key) is None else sounds(f"sound.{key}")
            name = run[0].id if _ID.fullmatch(run[0].id) else ""
            yield name, to_ms(run[0].onset_sample, rate), to_ms(run[-1].end_sample, rate), told


def _starts(event: Event, words: Sequence[str], firsts: Sequence[int]) -> list[int]:
    """Return the sample at which each of the words numbered `firsts` begins.

    Those that the engine gave, if it gave one for every word; else in proportion to the characters before it.
    """
    if len(event.words) == len(words):
        return [event.onset_sample, *(event.words[first][1] for first in firsts[1:])]
    total = sum(len(word) + 1 for word in words)
    length = event.end_sample - event.onset_sample
    return [
        event.onset_sample + length * sum(len(word) + 1 for word in words[:first]) // total
        for first in firsts
    ]


def _countdowns(schedule: Schedule) -> Iterator[list[Event]]:
    """Yield the pips in runs: a countdown's together, each other pip alone."""
    run: list[Event] = []
    reach = int(_ONE_COUNTDOWN_S * schedule.sample_rate)
    for event in sorted(schedule.pips, key=lambda event: event.onset_sample):
        joins = bool(run) and run[-1].role == "short" and event.onset_sample - run[-1].onset_sample <= reach
        if run and not joins:
            yield run
            run = []
        run.append(event)
    if run:
        yield run
