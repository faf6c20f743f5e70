"""The command `under`: what it prints, in words and as JSON, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

import roomkit
from cuelane import schedule as schedules
from cuelane.cli.under import under
from cuelane.errors import UsageError
from cuelane.media import encode

SOUNDS = roomkit.clips(roomkit.TEXTS[:2])
SESSION = roomkit.session(SOUNDS, gap_s=2.5)
APP = typer.Typer()
APP.command()(under)


@pytest.fixture
def track(tmp_path: Path) -> Path:
    path = tmp_path / "track.wav"
    encode(path, [roomkit.track(SESSION, SOUNDS, 4.0)], sample_rate=roomkit.RATE)
    (tmp_path / "track.schedule.json").write_text(schedules.to_json(SESSION), encoding="utf-8")
    return path


@pytest.fixture
def music(tmp_path: Path) -> Path:
    return roomkit.write_music(tmp_path / "music.wav", 8.0)


def test_it_says_what_it_made(track: Path, music: Path, tmp_path: Path) -> None:
    """Loudness, peak, and how far music went down, in two lines."""
    out = tmp_path / "mixed.flac"

    result = CliRunner().invoke(APP, [str(track), str(music), "--out", str(out), "--level", "0"])

    assert result.exit_code == 0, result.output
    assert out.exists()
    assert (tmp_path / "mixed.schedule.json").exists()
    first, second = result.stdout.splitlines()
    assert first.startswith(f"{out}: -16.0 LUFS, true peak at most -")
    assert second.startswith("music 0 LU below speech, lowered by 0.0 to ")
    assert second.endswith("LU under 6 cues and pips")
    assert result.stderr == ""


def test_json_holds_every_event(track: Path, music: Path, tmp_path: Path) -> None:
    """The report as JSON, alone on standard output."""
    arguments = [str(track), str(music), "--out", str(tmp_path / "mixed.flac"), "--end", "stop", "--json"]

    result = CliRunner().invoke(APP, arguments)

    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)
    assert [event["id"] for event in report["events"]] == [event.id for event in SESSION.events]
    assert report["loudness_lufs"] == pytest.approx(-16.0, abs=0.2)
    assert all(event["reached"] for event in report["events"])
    assert {event["target"] for event in report["events"] if event["kind"] == "cue"} == {0.75}


def test_a_cue_short_of_its_target_is_named(track: Path, music: Path, tmp_path: Path) -> None:
    """With no depth allowed and loud music, each cue is told on standard error with what to do."""
    arguments = [
        str(track),
        str(music),
        "--out",
        str(tmp_path / "mixed.flac"),
        "--level",
        "6",
        "--depth",
        "0",
    ]

    result = CliRunner().invoke(APP, arguments)

    assert result.exit_code == 0, result.output
    for event in SESSION.cues:
        assert f"note: cue {event.text!r} reaches 0." in result.stderr
    assert "lower --level, or allow more --depth" in result.stderr


def test_wrong_options_are_refused(track: Path, music: Path, tmp_path: Path) -> None:
    """An unknown ending is a usage error; a depth out of range is one of ours, for the frame to print."""
    ending = CliRunner().invoke(
        APP, [str(track), str(music), "--out", str(tmp_path / "x.wav"), "--end", "fade"]
    )
    depth = CliRunner().invoke(
        APP, [str(track), str(music), "--out", str(tmp_path / "x.wav"), "--depth", "99"]
    )

    assert ending.exit_code == 2
    assert "expected loop or stop, got 'fade'" in ending.output
    assert isinstance(depth.exception, UsageError)
    assert str(depth.exception) == "--depth must be between 0 and 27, got 99"
    assert not (tmp_path / "x.wav").exists()
