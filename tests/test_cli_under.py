"""The command `under`: what it prints, in words and as JSON, and what it refuses."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

import roomkit
from cuelane.base import schedule as schedules
from cuelane.base.errors import UsageError
from cuelane.base.schedule import Event
from cuelane.cli.under import under
from cuelane.media import encode
from cuelane.under import Need, UnderReport, summary_lines, wanting_lines
from cuelane.under.gain_plan import MixPlan

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
    """Loudness, peak, how far music went down, how many are heard well, and which cue is the weakest."""
    out = tmp_path / "mixed.flac"

    result = CliRunner().invoke(APP, [str(track), str(music), "--out", str(out), "--level", "0"])

    assert result.exit_code == 0, result.output
    assert out.exists()
    assert (tmp_path / "mixed.schedule.json").exists()
    first, second, third, fourth = result.stdout.splitlines()
    assert first.startswith(f"{out}: -16.0 LUFS, true peak -")
    assert second.startswith("music 0 LU below speech, lowered by 0.0 to ")
    assert second.endswith("LU under 6 cues and pips")
    assert third == "over the music: all 2 cues good; all 4 pips good"
    weakest = re.fullmatch(r"weakest cue: '(.+)' at 0:0\d, good \(index (0\.\d\d); good from 0.75\)", fourth)
    assert weakest is not None, fourth
    assert weakest[1] in roomkit.TEXTS[:2]
    assert 0.75 <= float(weakest[2]) < 1
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
    assert {event["grade"] for event in report["events"]} == {"good"}
    assert all(event["wanted_depth_lu"] == event["depth_lu"] for event in report["events"])
    assert {event["target"] for event in report["events"] if event["kind"] == "cue"} == {0.75}


def test_it_says_how_far_the_whole_goes_down_for_a_peak_of_the_track(
    track: Path, music: Path, tmp_path: Path
) -> None:
    """A click that would come over -1 dBTP is named, in words and in the JSON report."""
    samples = roomkit.track(SESSION, SOUNDS)
    samples[SESSION.n_frames - 4_800] = 1.0
    encode(track, [samples], sample_rate=roomkit.RATE)
    arguments = [str(track), str(music), "--out", str(tmp_path / "mixed.flac"), "--force"]

    said = CliRunner().invoke(APP, arguments)
    report = json.loads(CliRunner().invoke(APP, [*arguments, "--json"]).stdout)

    named = re.search(r"note: the track has peaks .* lowered together, by (\d\.\d) dB at most", said.stderr)
    assert named is not None, said.stderr
    assert float(named[1]) == pytest.approx(report["deepest_peak_dip_db"], abs=0.051)
    assert 0.1 < report["deepest_peak_dip_db"] <= 3.01
    assert report["true_peak_dbtp"] <= -1.0


def test_a_cue_short_of_its_target_is_named_with_what_mends_it(
    track: Path, music: Path, tmp_path: Path
) -> None:
    """With no depth allowed and loud music each cue is told, with a level and a depth that prove enough."""
    wanting = [str(track), str(music), "--out", str(tmp_path / "mixed.flac"), "--level", "6", "--depth", "0"]

    result = CliRunner().invoke(APP, wanting)

    assert result.exit_code == 0, result.output
    for event in SESSION.cues:
        at = event.onset_sample // roomkit.RATE
        named = rf"note: cue {event.text!r} at 0:{at:02d} is (fair|poor): index 0\.\d\d of 0\.75, with"
        assert re.search(named, result.stderr), result.stderr
    assert re.search(r"over the music: 0 of 2 cues good, [12] (fair|poor)", result.stdout)
    advice = re.search(r"^to make them good: --level (\S+) or --depth (\S+)$", result.stdout, re.MULTILINE)
    assert advice is not None, result.stdout
    lowered = CliRunner().invoke(APP, [*wanting, "--level", advice[1]])
    assert "over the music: all 2 cues good; all 4 pips good" in lowered.stdout
    deeper = CliRunner().invoke(APP, [*wanting, "--depth", advice[2]])
    assert "over the music: all 2 cues good; all 4 pips good" in deeper.stdout


def test_many_that_are_short_are_told_in_few_lines(made_short: UnderReport) -> None:
    """The weakest texts come first, one line each, and the rest are counted."""
    lines = wanting_lines(made_short, most=3)

    assert len(lines) == 4
    assert lines[0].startswith("cue 'Hollow words' at 0:02 is poor: index 0.30 of 0.75, with the music 14.0")
    assert lines[3] == "and 4 more; --json lists every cue and pip"
    assert summary_lines(made_short)[-2:] == [
        "to make 6 of them good: --level -7.5 or --depth 18.5",
        "1 would not be good over any music: raise or brighten that voice (render --for-music)",
    ]


@pytest.fixture
def made_short(tmp_path: Path) -> UnderReport:
    """A report on seven cues that stay short: one beyond help, six by 0.5 to 4.3 LU."""
    needs = [
        Need(
            Event(f"c{i}", "cue", "form", 0, (2 + 60 * i) * 48_000, (4 + 60 * i) * 48_000, text=text),
            depth_lu=14.0,
            value=0.30 if i == 0 else 0.70 - 0.01 * i,
            target=0.75,
            wanted_lu=math.inf if i == 0 else 14.0 + (0.5, 4.3)[i % 2],
        )
        for i, text in enumerate(("Hollow words", "One", "Two", "Three", "Four", "Five", "Six"))
    ]
    flat = np.zeros(2)
    plan = MixPlan(flat, flat, tuple(needs), 0.0, -16.0, -1.0, limited_by_peak=False, deepest_peak_dip_db=0.0)
    return UnderReport(
        tmp_path / "a.m4a", tmp_path / "a.schedule.json", (), -20.0, -3.0, -16.0, -1.0, plan, 48_000, 0.0, ()
    )


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
