"""What is written beside a track: every file once, and each agreeing with the others."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

import pagesession
from cuelane.deliver.chapters import chapters_of
from cuelane.deliver.publish import companions


@pytest.fixture(scope="module")
def beside() -> dict[str, str]:
    schedule = pagesession.boathouse()
    blocks = (block[:, np.newaxis] for block in pagesession.sound_of(schedule))
    return companions(schedule, "boathouse.m4a", chapters_of(schedule), blocks)


def test_each_file_is_there(beside: dict[str, str]) -> None:
    """Page, captions, chapters, table of cues and description; SRT only when asked for."""
    schedule = pagesession.boathouse()
    assert set(beside) == {".html", ".vtt", ".chapters.json", ".cues.csv", ".md"}
    assert ".srt" in companions(schedule, "x.mp3", [], [], subtitles=True)


def test_the_page_links_what_is_written(beside: dict[str, str]) -> None:
    """Every download link of the page is the track, the schedule or one of these files."""
    links = re.findall(r'<a href="\./([^"]+)" download>', beside[".html"])
    written = {f"boathouse{ending}" for ending in beside if ending != ".html"}

    assert set(links) == written | {"boathouse.m4a", "boathouse.schedule.json"}


def test_chapters_agree_everywhere(beside: dict[str, str]) -> None:
    """The chapters of the page, of the JSON file and of the description start at the same seconds."""
    starts = [chapter["startTime"] for chapter in json.loads(beside[".chapters.json"])["chapters"]]
    in_page = [
        int(at) / pagesession.RATE
        for at in re.findall(r'data-at="(\d+)"><time>[\d:]+</time> <', beside[".html"])
    ]
    stamps = re.findall(r"^(\d+):(\d\d) ", beside[".md"], re.MULTILINE)

    assert in_page == pytest.approx(starts, abs=0.001)
    assert [int(m) * 60 + int(s) for m, s in stamps] == [int(start) for start in starts]


def test_the_pages_picture_is_the_tracks(beside: dict[str, str]) -> None:
    """The waveform in the page is the sound's: as many bursts as there are stretches of sound to draw."""
    wave = re.search(r'class="o-wave" d="([^"]*)"', beside[".html"])
    schedule = pagesession.boathouse()
    points = 2400
    heard = {
        n
        for event in schedule.events
        for n in range(
            event.onset_sample * points // schedule.n_frames,
            (event.end_sample - 1) * points // schedule.n_frames + 1,
        )
    }
    runs = sum(n - 1 not in heard for n in heard)

    assert wave is not None
    assert wave[1].count("M") == runs
