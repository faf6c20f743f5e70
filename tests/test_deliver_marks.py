"""Marks for other programs: CSV, and cue points in a WAV."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

import pagesession
from cuelane import media
from cuelane.base.errors import SignalError
from cuelane.base.schedule import Event, Schedule
from cuelane.base.schedule_limits import MAX_EVENTS
from cuelane.deliver.marks import LABEL_BYTES, CueMark, add_cue_chunk, append_cue_marks, cue_chunks, to_csv
from cuelane.media import pcm

RATE = 48_000
MARKS = [CueMark(0, "Go."), CueMark(48_000, "Knees"), CueMark(72_001, "Fünf")]


def _wav(path: Path, n_frames: int, **tags: str) -> Path:
    media.encode(
        path,
        [np.full((n_frames, 1), 0.25, np.float32)],
        sample_rate=RATE,
        n_frames=n_frames,
        metadata=media.Metadata(tags),
    )
    return path


def _marks_in(path: Path) -> list[tuple[int, str]]:
    """Return (sample, label) of a WAV's marks as PyAV reads them, which takes them for chapters."""
    with av.open(str(path)) as container:
        return [(int(row["start"] * row["time_base"] * RATE), row["metadata"]["title"])
                for row in container.chapters()]  # fmt: skip


def test_chunks_are_the_published_bytes() -> None:
    """cue: count, then 24 bytes a point; LIST adtl: a labl each, text NUL-ended, padded to even.

    Source: RIFF, as transcribed (value from a secondary source).
    """
    expected = (
        b"cue \x34\0\0\0" b"\x02\0\0\0"
        b"\x01\0\0\0" b"\x05\0\0\0" b"data" b"\0\0\0\0" b"\0\0\0\0" b"\x05\0\0\0"
        b"\x02\0\0\0" b"\x80\xbb\0\0" b"data" b"\0\0\0\0" b"\0\0\0\0" b"\x80\xbb\0\0"
        b"LIST\x22\0\0\0" b"adtl"
        b"labl\x07\0\0\0" b"\x01\0\0\0" b"ab\0" b"\0"
        b"labl\x06\0\0\0" b"\x02\0\0\0" b"c\0"
    )  # fmt: skip

    assert cue_chunks([CueMark(5, "ab"), CueMark(48_000, "c")]) == expected


@pytest.mark.parametrize("n_frames", [96_000, 96_001])
def test_marks_are_read_by_others_and_the_sound_is_whole(tmp_path: Path, n_frames: int) -> None:
    """libsndfile and ffmpeg find the marks at their samples, odd or even, and every sample is still there."""
    path = _wav(tmp_path / "m.wav", n_frames, title="T", comment="C")
    before, _ = soundfile.read(path, dtype="int32")
    append_cue_marks(path, MARKS)
    after, _ = soundfile.read(path, dtype="int32")
    data = path.read_bytes()

    assert np.array_equal(before, after)
    assert int.from_bytes(data[4:8], "little") == len(data) - 8
    assert len(data) % 2 == 0
    with soundfile.SoundFile(path) as file:
        said = file.extra_info
        assert file.title == "T"
    for number, mark in enumerate(MARKS, 1):
        assert f"Cue ID : {number:2d}  Pos : {mark.sample:5d}" in said
        assert f"labl : {number} : {mark.label}" in said
    assert _marks_in(path) == [(mark.sample, mark.label) for mark in MARKS]
    assert media.probe(path).damage is None


def test_an_rf64_keeps_its_64_bit_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In an RF64 the size in ds64 is set, and ffmpeg reads the marks; libsndfile knows none in RF64."""
    monkeypatch.setattr(pcm, "MAX_RIFF_BYTES", 1_000)
    path = _wav(tmp_path / "m.wav", 5_001)
    append_cue_marks(path, [CueMark(7, "a")])
    data = path.read_bytes()

    assert data[:8] == b"RF64\xff\xff\xff\xff"
    assert int.from_bytes(data[20:28], "little") == len(data) - 8
    assert len(soundfile.read(path)[0]) == 5_001
    with av.open(str(path)) as container:
        assert [int(row["start"] * row["time_base"] * RATE) for row in container.chapters()] == [7]


def test_the_marks_of_the_longest_session_fit_beside_the_samples() -> None:
    """A RIFF file counts to 32 bits: what samples may take of it leaves room for all events that are read."""
    most = CueMark(0, "x" * LABEL_BYTES)
    one, two = len(cue_chunks([most])), len(cue_chunks([most, most]))
    assert pcm.MAX_RIFF_BYTES + one + MAX_EVENTS * (two - one) < 1 << 32


def test_every_event_is_marked(tmp_path: Path) -> None:
    """A schedule's cues are labelled with their words, pips with their role, at the onset."""
    path = _wav(tmp_path / "s.wav", 3 * RATE)
    events = (
        Event("a", "cue", "form", 0, 1_000, 2_000, text="Heels\nheavy " + "é" * 100),
        Event("b", "pip", "long", 0, 48_000, 50_000, frequency_hz=880.0),
    )
    add_cue_chunk(path, Schedule("t", "en", RATE, 3 * RATE, (), events))

    assert _marks_in(path) == [(1_000, "Heels heavy " + "é" * 54), (48_000, "pip, long")]
    assert media.probe(path).chapters == (), "marks are no chapters"


def test_what_cannot_be_marked_is_a_fault(tmp_path: Path) -> None:
    """Another kind of file, marks twice, or a sample past 32 bits; the file stays as it was."""
    path = _wav(tmp_path / "m.wav", 100)
    append_cue_marks(path, MARKS[:1])
    before = path.read_bytes()
    with pytest.raises(SignalError, match="marks already"):
        append_cue_marks(path, MARKS[:1])
    with pytest.raises(SignalError, match="below 2"):
        append_cue_marks(path, [CueMark(1 << 32, "far")])
    assert path.read_bytes() == before
    (tmp_path / "x.flac").write_bytes(b"fLaC" + bytes(60))
    with pytest.raises(SignalError, match="WAV or RF64"):
        append_cue_marks(tmp_path / "x.flac", MARKS)


@pytest.mark.parametrize(
    "schedule", [pagesession.boathouse(), pagesession.hostile()], ids=["plain", "hostile"]
)
def test_the_table_holds_every_event_in_its_place(schedule: Schedule) -> None:
    """Read back by the csv module: one row an event, positions exact, no cell a formula or two lines."""
    rows = list(csv.DictReader(io.StringIO(to_csv(schedule))))

    assert len(rows) == len(schedule.events)
    for row, event in zip(rows, schedule.events, strict=True):
        assert (int(row["onset_sample"]), int(row["end_sample"])) == (event.onset_sample, event.end_sample)
        assert float(row["start_s"]) == pytest.approx(event.onset_sample / RATE, abs=1e-6)
        assert row["kind"] == event.kind
        for value in row.values():
            assert "\n" not in value
            assert not value.startswith(("=", "+", "-", "@"))


def test_a_text_that_looks_like_a_formula_stays_a_text() -> None:
    """A cue that begins with = + - or @ is quoted for spreadsheets."""
    event = Event("e", "cue", "form", 0, 1, 2, text='=HYPERLINK("x")')

    assert "\"'=HYPERLINK(" in to_csv(Schedule("t", "en", RATE, 10, (), (event,)))
