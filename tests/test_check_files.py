"""Files that are broken, and the command: a message or a verdict, never a traceback."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import synth
from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.schedule import from_json
from cuelane.check.check_options import CheckOptions
from cuelane.check.page import page
from cuelane.check.picture import error_svg, wave_svg
from cuelane.check.run import check
from cuelane.check.text import report_text


@pytest.fixture(scope="module")
def track() -> synth.Track:
    return synth.session(40, seed=31)


@pytest.fixture
def audio(tmp_path: Path, track: synth.Track) -> Path:
    (tmp_path / "a.schedule.json").write_text(track.schedule(), encoding="utf-8")
    return synth.write(tmp_path / "a.wav", track.samples())


@pytest.mark.parametrize(
    "content", [b"", b"not audio at all" * 100, b"RIFF\x00\x00\x00\x00WAVE", b"\xff\xfb\x90\x00" * 3, b"fLaC"]
)
def test_a_file_that_is_no_audio_gives_a_message(tmp_path: Path, track: synth.Track, content: bytes) -> None:
    """Empty and non-audio files are an AudioFileError that names the file."""
    bad = tmp_path / "bad.mp3"
    bad.write_bytes(content)

    with pytest.raises(AudioFileError, match=r"bad\.mp3"):
        check(bad, from_json(track.schedule()), store=track.store())


def test_a_truncated_file_is_told_as_such(tmp_path: Path, track: synth.Track, audio: Path) -> None:
    """A WAV cut in half on disk is noted as damaged, and its end is a fault with what it lost."""
    half = tmp_path / "half.wav"
    half.write_bytes(audio.read_bytes()[: audio.stat().st_size // 2])

    report = check(half, from_json(track.schedule()), store=track.store())

    assert [fault.kind for fault in report.faults] == ["ends early"]
    assert len(report.faults[0].others) > 5
    assert "damaged" in report.notes[0]


def test_a_corrupted_mp3_gives_a_verdict(tmp_path: Path, track: synth.Track) -> None:
    """Bytes overwritten in the middle of an MP3 give a verdict of some kind, and no traceback."""
    mp3 = synth.write(tmp_path / "a.mp3", track.samples())
    raw = bytearray(mp3.read_bytes())
    middle = len(raw) // 2
    raw[middle : middle + 3000] = np.random.default_rng(7).bytes(3000)
    mp3.write_bytes(raw)

    report = check(mp3, from_json(track.schedule()), store=track.store())

    assert report.summary.matched >= 0.6 * report.summary.events
    assert report.verdict


def test_silence_is_told_as_such(tmp_path: Path, track: synth.Track) -> None:
    """A silent file is one fault, its loudness none, and its JSON holds no infinity."""
    audio = synth.write(tmp_path / "a.wav", np.zeros(40 * 48_000, np.float32))

    report = check(audio, from_json(track.schedule()), store=track.store())

    assert [fault.kind for fault in report.faults] == ["another session"]
    assert report.verdict == "The file is silent: none of the session is in it."
    json.dumps(report.to_dict(), allow_nan=False)
    assert report.to_dict()["summary"]["loudness_lufs"] is None


@pytest.mark.parametrize("form", ["wav", "opus"])
def test_channels_that_cancel_each_other_are_not_called_silence(
    tmp_path: Path, track: synth.Track, form: str
) -> None:
    """Each is loud, and together they are nothing: what is wrong, and what to do, is told.

    A codec that codes them one by one leaves a little, which is none of another session.
    """
    sound = track.samples()
    audio = synth.write(tmp_path / f"a.{form}", np.stack([sound, -sound], axis=1))
    report = check(audio, from_json(track.schedule()), store=track.store())
    assert [fault.kind for fault in report.faults] == ["another session"]
    assert report.verdict.startswith("Its two channels are each other's opposite")
    assert report.summary.loudness_lufs > -30


def test_what_has_one_channel_has_no_opposite(tmp_path: Path, track: synth.Track) -> None:
    """Three clipped samples at the end of silence, too few to be drawn, were called two channels."""
    sound = np.zeros(48_000 * 3 + 3, np.float32)
    sound[-3:] = 0.5
    report = check(synth.write(tmp_path / "a.wav", sound), from_json(track.schedule()), store=track.store())
    assert report.verdict == "The file is silent: none of the session is in it."


def test_no_label_under_the_axis_reaches_over_the_edge(audio: Path, track: synth.Track) -> None:
    """The last is at the file's very end, and would be cut there if it stood in the middle of its stroke."""
    report = check(audio, from_json(track.schedule()), store=track.store())
    pattern = r'x="([\d.]+)" y="[\d.]+" text-anchor="(\w+)">([\d:]+)<'
    for svg in (wave_svg(report), error_svg(report)):
        labels = re.findall(pattern, svg)
        assert labels[-1][2] == "0:40"
        # The type is 12 units high, and no digit is wider than 0.7 of that.
        reach = [
            float(x) + (0.7 * 12 * len(text) / 2 if anchor == "middle" else 0) for x, anchor, text in labels
        ]
        assert max(reach) <= 1000


@pytest.mark.parametrize("tolerance", [0.0, -5.0, float("nan"), float("inf")])
def test_an_impossible_tolerance_is_refused(audio: Path, track: synth.Track, tolerance: float) -> None:
    """A tolerance must be above 0 and finite."""
    with pytest.raises(UsageError, match="tolerance"):
        check(audio, from_json(track.schedule()), CheckOptions(tolerance_ms=tolerance))


def test_the_report_tells_only_what_is_wrong(tmp_path: Path, track: synth.Track) -> None:
    """Verdict first, then the summary, then one line for the one cue that is late."""
    late = [
        synth.Placed(**{**vars(i), "onset": i.onset + 4800}) if k == 1 else i
        for k, i in enumerate(track.placed)
    ]
    moved = synth.Track(track.n_frames, late, track.planned, track.intervals)
    report = check(
        synth.write(tmp_path / "a.wav", moved.samples()), from_json(track.schedule()), store=track.store()
    )

    lines = report_text(report).splitlines()

    assert lines[0].startswith("Not right: 1 fault")
    assert lines[lines.index("What is wrong:") + 1].endswith("is 100 ms late.")
    assert sum("late" in line for line in lines) == 1


def test_the_page_escapes_and_asks_the_network_nothing(
    tmp_path: Path, track: synth.Track, audio: Path
) -> None:
    """A hostile title and cue text stay text, and the page refers to nothing outside itself."""
    evil = "</title><script>alert(1)</script>"
    planned = from_json(
        track.schedule().replace('"Test"', json.dumps(evil)).replace("Rest.", '<img src=x onerror=\\"1\\">')
    )
    report = check(audio, planned, store=track.store())

    (tmp_path / "page.html").write_text(page(report, planned), encoding="utf-8")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")

    assert text == page(report, planned)
    assert "<script" not in text
    assert "<img" not in text
    assert "http:" not in text
    assert "https:" not in text
    assert not re.search(r"<[^>]*\bsrc=", text)
    assert wave_svg(report).count('class="planned"') == report.summary.events
    assert error_svg(report).count("<title>") == report.summary.matched


def run(*arguments: object) -> tuple[int, str]:
    import typer

    from cuelane.cli.check import check as command

    app = typer.Typer()
    app.command()(command)
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout


def test_the_command_ends_with_0_1_or_an_error(
    tmp_path: Path, audio: Path, track: synth.Track, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 0 for a good file, 1 for a wrong one; JSON on output is the whole report and nothing else."""
    monkeypatch.setenv("CUELANE_CACHE", str(tmp_path / "cache"))
    shifted = synth.write(
        tmp_path / "late.wav", np.concatenate([np.zeros(9600, np.float32), track.samples()])
    )

    good, text = run(audio)
    wrong, as_json = run(shifted, "--schedule", tmp_path / "a.schedule.json", "--json", "-")

    assert (good, wrong) == (0, 1)
    assert text.startswith("Good: all")
    data = json.loads(as_json)
    assert data["schema"] == "cuelane.check/1"
    assert [fault["kind"] for fault in data["faults"]] == ["offset"]
    assert data["summary"]["offset_ms"] == pytest.approx(200, abs=0.1)


def test_the_command_asks_for_a_schedule_it_cannot_find(tmp_path: Path, audio: Path) -> None:
    """Without a schedule beside the file the message says where one was looked for."""
    other = tmp_path / "other.wav"
    other.write_bytes(audio.read_bytes())

    with pytest.raises(UsageError, match=r"other\.schedule\.json.*--schedule"):
        run(other)


def test_the_page_may_not_overwrite_the_audio(audio: Path) -> None:
    """--page onto the file under check is refused before anything is written."""
    before = audio.read_bytes()

    with pytest.raises(UsageError, match="would be overwritten"):
        run(audio, "--page", audio)

    assert audio.read_bytes() == before
