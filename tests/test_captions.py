"""Captions: the schedule's words and times, within W3C's rules, whatever the words."""

from __future__ import annotations

import io
import re

import pytest
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

import pagesession
from cuelane.base.schedule import Event, Schedule
from cuelane.deliver.breaking import captions_of, split_words, two_lines
from cuelane.deliver.captions import captions, to_srt, to_vtt
from cuelane.web.page_parts import plain

RATE = 48_000
# A cue timing line as the W3C grammar has it: two or more hour digits, 00-59, three-digit milliseconds.
PIP_CAPTION = re.compile(r"\[(countdown pips|short pip|long pip|pip: change sides|tone|pip)\]")
# 42 characters and two lines: common practice for subtitles, no source.
LONGEST_LINE, MOST_LINES = 42, 2
TIMING = re.compile(r"(\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3}) --> (\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3})")


def _session(*cues: tuple[float, float, str], seconds: float = 60.0) -> Schedule:
    events = tuple(
        Event(f"e{i:04d}", "cue", "form", 0, round(start * RATE), round(end * RATE), text=text)
        for i, (start, end, text) in enumerate(cues)
    )
    return Schedule("t", "en", RATE, round(seconds * RATE), (), events)


def _blocks(vtt: str) -> list[tuple[int, int, list[str]]]:
    """Return (start_ms, end_ms, lines) of each cue by a reader of our own that knows only the grammar."""
    head, *parts = vtt.removesuffix("\n").split("\n\n")
    assert head == "WEBVTT"
    cues = []
    for part in parts:
        lines = part.split("\n")
        if "-->" not in lines[0]:
            lines.pop(0)
        found = TIMING.fullmatch(lines[0])
        assert found, lines[0]
        numbers = [int(group) for group in found.groups()]
        start, end = (
            ((hours * 60 + minutes) * 60 + seconds) * 1000 + millis
            for hours, minutes, seconds, millis in (numbers[:4], numbers[4:])
        )
        assert lines[1:]
        assert all(line for line in lines[1:])
        cues.append((start, end, lines[1:]))
    return cues


def _unescaped(line: str) -> str:
    return line.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")


SESSIONS = {
    "boathouse": pagesession.boathouse(),
    "hostile": pagesession.hostile(),
    "long day": pagesession.long_day(1, 700),
}


@pytest.mark.parametrize("pips", [False, True])
@pytest.mark.parametrize("name", SESSIONS)
def test_cues_say_what_the_schedule_says_when_it_says_it(name: str, pips: bool) -> None:
    """Joined, a cue's captions are its words; the first begins at its onset, to the millisecond."""
    schedule = SESSIONS[name]
    cues = _blocks(to_vtt(schedule, pips=pips))
    texts = [" ".join(_unescaped(line) for line in lines) for _, _, lines in cues]
    sounds = [text for text in texts if PIP_CAPTION.fullmatch(text)]
    said = "".join(text for text in texts if not PIP_CAPTION.fullmatch(text))
    spoken = [plain(event.text) for event in schedule.cues]
    starts = {start for start, _, _ in cues}

    assert re.sub(r"\s", "", said) == re.sub(r"\s", "", "".join(spoken))
    assert bool(sounds) == (pips and bool(schedule.pips))
    assert any(spoken)
    for event in schedule.cues:
        if plain(event.text):
            assert (event.onset_sample * 2000 + RATE) // (2 * RATE) in starts, event


@pytest.mark.parametrize("name", SESSIONS)
def test_the_form_is_w3cs(name: str) -> None:
    """Timings fit the grammar, cues have a length and an order and do not overlap, nothing is unescaped.

    Source: W3C WebVTT; the tricky cases are those of its web platform tests that concern a writer
    (arrows, blank lines, ids, line ends, timings; read there).
    """
    text = to_vtt(SESSIONS[name], pips=True)
    cues = _blocks(text)

    assert text.startswith("WEBVTT\n\n")
    assert "\r" not in text
    assert "\0" not in text
    for (start, end, lines), following in zip(cues, [*cues[1:], None], strict=True):
        assert start < end
        assert following is None or end <= following[0]
        assert len(lines) <= MOST_LINES
        for line in lines:
            assert len(_unescaped(line)) <= LONGEST_LINE
            assert "-->" not in line
            assert "<" not in line
            assert ">" not in line
            assert re.sub(r"&(amp|lt|gt);", "", line).count("&") == 0
    assert cues[-1][1] <= SESSIONS[name].n_frames * 1000 // RATE + 1


def test_webvtt_py_reads_the_same() -> None:
    """webvtt-py, which shares nothing with us, finds the same times and lines."""
    schedule = SESSIONS["boathouse"]
    read = webvtt.from_buffer(io.StringIO(to_vtt(schedule, pips=True)))
    wanted = captions(schedule, pips=True)

    assert [(cue.start, cue.end, cue.text) for cue in read] == [
        (_clock(caption.start_ms), _clock(caption.end_ms), caption.text) for caption in wanted
    ]
    from_srt = webvtt.from_buffer(io.StringIO(to_srt(schedule)), format="srt")
    assert [cue.text for cue in from_srt] == [caption.text for caption in captions(schedule)]
    assert [cue.start for cue in from_srt] == [_clock(caption.start_ms) for caption in captions(schedule)]


def _clock(time_ms: int) -> str:
    hours, minutes, seconds = time_ms // 3_600_000, time_ms // 60_000 % 60, time_ms // 1000 % 60
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}.{time_ms % 1000:03d}"


def test_captions_stay_for_reading_but_not_into_the_next() -> None:
    """A short cue stays at least 1.2 s and a long one 17 characters a second, if the next leaves room."""
    alone, pressed, last = (
        (1.0, 1.4, "Go."),
        (10.0, 10.5, "Knees over your toes, heels heavy."),
        (11.0, 11.3, "Up."),
    )
    made = captions(_session(alone, pressed, last, seconds=11.8))

    assert [(caption.start_ms, caption.end_ms) for caption in made] == [
        (1_000, 2_200), (10_000, 11_000), (11_000, 11_800),
    ]  # fmt: skip


def test_long_cues_break_at_sentences_first() -> None:
    """Three sentences that need two captions break after one of them; the second begins in proportion."""
    text = (
        "Stand tall, one foot behind you. Lower until both knees bend. "
        "Push up through the front heel, slowly."
    )
    made = captions(_session((2.0, 12.0, text)))

    assert [caption.text for caption in made] == [
        "Stand tall, one foot behind you.\nLower until both knees bend.",
        "Push up through the front heel, slowly.",
    ]
    assert made[0].end_ms <= made[1].start_ms
    share = len(made[0].text) / len(text)
    assert made[1].start_ms == pytest.approx(2_000 + 10_000 * share, abs=150)


def test_captions_follow_the_engines_word_times() -> None:
    """Where the voice told when each word begins, a later caption begins with its word."""
    text = "One two three four five six. " * 4 + "End."
    words = text.split()
    spans = tuple(
        (word, RATE + 10_000 * i + i * i, RATE + 10_000 * i + 9_000) for i, word in enumerate(words)
    )
    event = Event("e1", "cue", "form", 0, RATE, RATE + 400_000, text=text, words=spans)
    made = captions(Schedule("t", "en", RATE, 60 * RATE, (), (event,)))
    first_of_second = len(made[0].text.split())

    assert len(made) == 2
    assert made[1].start_ms == (spans[first_of_second][1] * 2000 + RATE) // (2 * RATE)


def test_pips_are_bracketed_and_a_countdown_is_one() -> None:
    """Off by default; asked for, three short and a long one make a single caption, a lone pip its own."""
    pips = [
        Event(f"p{i}", "pip", role, 0, round(at * RATE), round((at + 0.1) * RATE), frequency_hz=880.0)
        for i, (role, at) in enumerate(
            [("short", 7), ("short", 8), ("short", 9), ("long", 10), ("turn", 20), ("long", 30)]
        )
    ]
    schedule = Schedule("t", "en", RATE, 60 * RATE, (), tuple(pips))

    assert captions(schedule) == []
    assert to_vtt(schedule) == "WEBVTT\n"
    assert [(caption.start_ms, caption.text) for caption in captions(schedule, pips=True)] == [
        (7_000, "[countdown pips]"), (20_000, "[pip: change sides]"), (30_000, "[long pip]"),
    ]  # fmt: skip


def test_markup_in_a_cue_is_only_text() -> None:
    """Tags, arrows, entities and styling codes can break out of neither file."""
    text = "a --> b <v Bob>c</v> &lrm; {\\an8}d"
    vtt, srt = to_vtt(_session((1, 2, text))), to_srt(_session((1, 2, text)))

    assert "a --&gt; b &lt;v Bob&gt;c&lt;/v&gt; &amp;lrm;" in vtt.replace("\n", " ")
    assert srt.count("-->") == 1
    assert "<v" not in srt
    assert "{\\" not in srt
    assert srt.startswith("1\n00:00:01,000 --> ")


@given(st.text(st.characters(codec="utf-8"), max_size=400))
@settings(derandomize=True, deadline=None, max_examples=150)
def test_any_text_breaks_into_lines_that_fit(text: str) -> None:
    """Whatever the words: none is lost, no caption has more than two lines, no line over 42 characters."""
    words = split_words(plain(text))
    spans = captions_of(words)

    assert [first for first, _ in spans[1:]] == [end for _, end in spans[:-1]]
    assert "".join(words) == "".join(plain(text).split())
    for first, end in spans:
        lines = two_lines(words[first:end])
        assert lines is not None
        assert lines.count("\n") + 1 <= MOST_LINES
        assert max(map(len, lines.split("\n"))) <= LONGEST_LINE
    # A file made of it has as many cues as captions, whatever is in them.
    made = _blocks(to_vtt(_session((1, 9, text)))) if spans else to_vtt(_session((1, 9, text)))
    assert made == "WEBVTT\n" if not spans else len(made) == len(spans)
