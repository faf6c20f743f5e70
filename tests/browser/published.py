"""Pages written to a folder with their sound, as a render would."""

from __future__ import annotations

import subprocess
from pathlib import Path

import imageio_ffmpeg

import pagesession
from cuelane.base.schedule import Schedule
from cuelane.deliver.captions import to_vtt
from cuelane.deliver.chapters import chapters_of
from cuelane.deliver.page import FileLink, PageExtras, write_page
from cuelane.deliver.waveform import envelope_of
from cuelane.hearing.safe_listening import advice


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
        hearing=advice(),
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
