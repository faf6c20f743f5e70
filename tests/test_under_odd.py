"""``under`` with tracks that hold something odd: marks, chapters beyond number, next to no sound."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import roomkit
from cuelane.base import schedule as schedules
from cuelane.base.errors import AudioFileError, UsageError
from cuelane.base.units import to_ms
from cuelane.deliver.marks import CueMark, append_cue_marks
from cuelane.media import Chapter, MediaInfo, probe
from cuelane.under import under
from cuelane.under.carried_over import chapters_held
from roomkit import RATE

SOUNDS = roomkit.clips()
SESSION = roomkit.session(SOUNDS)


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return roomkit.write_music(tmp_path_factory.mktemp("songs") / "song.wav", 12.0)


def make_track(path: Path, samples: np.ndarray | None = None) -> Path:
    """A WAV of the session, or of other samples, with the session's schedule beside it."""
    sound = roomkit.track(SESSION, SOUNDS) if samples is None else samples
    soundfile.write(path, sound, RATE, subtype="PCM_24")
    path.with_suffix(".schedule.json").write_text(schedules.to_json(SESSION), encoding="utf-8")
    return path


@pytest.mark.parametrize("n_marks", [316])
def test_marks_in_a_wav_are_no_chapters(tmp_path: Path, song: Path, n_marks: int) -> None:
    """Two marks came out as chapters called "pip, short"; beyond 255 of them it ended in a traceback."""
    track = make_track(tmp_path / "track.wav")
    append_cue_marks(track, [CueMark(i * 1_000, "pip, short") for i in range(n_marks)])

    report = under(track, [song], tmp_path / "mixed.m4a")

    assert probe(track).chapters == ()
    assert probe(report.out).chapters == ()
    assert report.notes == ()


def test_chapters_that_no_file_holds_are_left_out_and_told() -> None:
    """Of 300 chapters 255 are kept; one that overlaps, is empty or begins after the end is left out."""
    end_ms = to_ms(SESSION.n_frames, RATE)
    many = [Chapter(i * 10, i * 10 + 10, str(i)) for i in range(300)]
    odd = [Chapter(0, 50, "a"), Chapter(40, 90, "b"), Chapter(60, 60, "c"), Chapter(70, end_ms + 9, "d")]
    odd.append(Chapter(end_ms + 9, end_ms + 99, "e"))
    info = MediaInfo(1, RATE, 1.0, "aac", "mov", tuple(many), {}, False, True)

    kept, left_out = chapters_held(info, SESSION)
    assert (len(kept), left_out) == (255, 45)
    kept, left_out = chapters_held(replace(info, chapters=tuple(odd)), SESSION)
    assert kept == [Chapter(0, 50, "a"), Chapter(70, end_ms, "d")]
    assert left_out == 3


@pytest.mark.parametrize("n_frames", [1, 2])
@pytest.mark.parametrize("as_music", [False, True])
def test_next_to_no_sound_is_an_error_with_a_cause(
    tmp_path: Path, song: Path, n_frames: int, as_music: bool
) -> None:
    """A track or a song of one or two samples ended in a traceback."""
    short = make_track(tmp_path / "short.wav", np.full((n_frames, 1), 0.5))
    track = make_track(tmp_path / "track.wav") if as_music else short
    wanted = "silent, or shorter than 400 ms" if as_music else "cues in .* are not where it says"
    with pytest.raises(AudioFileError, match=wanted):
        under(track, [short if as_music else song], tmp_path / "mixed.wav")
    assert not (tmp_path / "mixed.wav").exists()


def test_a_list_of_music_has_a_length(tmp_path: Path, song: Path) -> None:
    """More songs than anybody has in a session are refused before any is read."""
    track = make_track(tmp_path / "track.wav")
    with pytest.raises(UsageError, match="1001 files of music given; at most 1000 are read"):
        under(track, [song] * 1_001, tmp_path / "mixed.wav")
