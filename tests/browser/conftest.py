"""A Chromium for the tests of this folder, and pages with real sound."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import imageio_ffmpeg
import pytest

# The session's sketches lie one folder up, with the tests that need no browser.
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from devtools import Browser, find_chromium

import pagesession
from cuelane.deliver.captions import to_vtt
from cuelane.deliver.chapters import chapters_of
from cuelane.deliver.envelope import envelope_of
from cuelane.deliver.page import FileLink, PageExtras, write_page
from cuelane.hearing import ADVICE
from cuelane.schedule import Schedule


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A running Chromium, one for all tests."""
    program = find_chromium()
    if program is None:
        pytest.skip("no Chromium on this machine: put one on the path, or name it in CUELANE_CHROMIUM")
    with Browser(program, tmp_path_factory.mktemp("profile")) as running:
        yield running


def encode(schedule: Schedule, path: Path) -> None:
    """Write the sketch's sound with the ffmpeg program that comes with imageio-ffmpeg."""
    command = [
        imageio_ffmpeg.get_ffmpeg_exe(),
        "-v",
        "error",
        "-f",
        "f32le",
        "-ar",
        str(schedule.sample_rate),
    ]
    command += ["-ac", "1", "-i", "-", "-b:a", "64k", "-y", str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as running:
        assert running.stdin is not None
        for block in pagesession.sound_of(schedule):
            running.stdin.write(block.tobytes())
    assert running.returncode == 0


def publish(
    schedule: Schedule, folder: Path, audio_name: str, *, sound: bool = True, embed: bool = False
) -> Path:
    """Write a page, and the sound beside it (or inside it); return the page's path."""
    audio = folder / audio_name
    if sound:
        encode(schedule, audio)
    extras = PageExtras(
        files=(FileLink(audio_name, "the track"),),
        vtt=to_vtt(schedule),
        chapters=chapters_of(schedule),
        hearing=ADVICE,
        embed=audio.read_bytes() if embed else None,
    )
    envelope = envelope_of(pagesession.sound_of(schedule), schedule.n_frames) if sound else None
    page = folder / f"{audio.stem}.html"
    page.write_text(
        write_page(schedule, audio_name=audio_name, envelope=envelope, extras=extras), encoding="utf-8"
    )
    if embed:
        audio.unlink()
    return page


@pytest.fixture(scope="session")
def boathouse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the quarter-hour session, its m4a beside it."""
    return publish(pagesession.boathouse(), tmp_path_factory.mktemp("m4a"), "boathouse.m4a")


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the session whose texts try to get out, its mp3 beside it."""
    return publish(pagesession.hostile(), tmp_path_factory.mktemp("mp3"), "hostile.mp3")
