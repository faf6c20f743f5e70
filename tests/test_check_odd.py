"""``check`` with files that are next to nothing, at rates that nobody uses, or not there."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

import roomkit
from cuelane.base.errors import AudioFileError
from cuelane.base.schedule import Event
from cuelane.check.check_options import CheckOptions
from cuelane.check.run import check

SESSION = roomkit.session(roomkit.clips())


@pytest.mark.parametrize(("n_frames", "rate"), [(1, 48_000), (2, 48_000), (1, 4_000), (40, 768_000)])
def test_next_to_no_sound_is_not_the_session(tmp_path: Path, n_frames: int, rate: int) -> None:
    """A file of one or two samples is judged, at the lowest and the highest rate too."""
    soundfile.write(tmp_path / "a.wav", np.full(n_frames, 0.5), rate)
    report = check(tmp_path / "a.wav", SESSION)
    assert not report.ok
    assert [fault.kind for fault in report.faults] == ["another session"]


@pytest.mark.parametrize("rate", [1, 3_000, 800_000])
def test_rates_that_no_sound_has_are_refused(tmp_path: Path, rate: int) -> None:
    """1 Hz and 3 kHz ended in a traceback."""
    soundfile.write(tmp_path / "a.wav", np.full(9_000, 0.5), rate)
    with pytest.raises(AudioFileError, match=f"has a sample rate of {rate} Hz; expected 4000 to 768000 Hz"):
        check(tmp_path / "a.wav", SESSION)


def test_an_original_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A wrong name was passed over wherever no clip had to be taken from it."""
    soundfile.write(tmp_path / "a.wav", np.zeros(48_000), 48_000)
    pips = roomkit.session({})
    assert not pips.cues
    with pytest.raises(AudioFileError, match=r"missing\.wav: no such file"):
        check(tmp_path / "a.wav", pips, against=tmp_path / "missing.wav")


@pytest.mark.parametrize("rate", [11_025, 22_050, 44_100])
def test_where_there_is_sound_is_told_at_any_rate(tmp_path: Path, rate: int) -> None:
    """Without pips and clips the session is found by its outline, whose steps are whole samples.

    At 22,050 Hz there are 100.2 of them in a second, not 100: five minutes were called 330 ms late.
    """
    rng, length_s, at_s = np.random.default_rng(1), 300, 2.0
    sound, cues = np.zeros(length_s * rate, np.float32), list[Event]()
    while at_s < length_s - 8:
        end_s = at_s + float(rng.uniform(1.2, 3.0))
        sound[round(at_s * rate) : round(end_s * rate)] = 0.1
        span = (round(at_s * 48_000), round(end_s * 48_000))
        cues.append(Event(f"e{len(cues)}", "cue", "say", 0, *span, text=f"line {len(cues)}"))
        at_s = end_s + float(rng.uniform(2.0, 9.0))
    sound *= rng.standard_normal(len(sound)).astype(np.float32)
    soundfile.write(tmp_path / "a.wav", sound, rate)
    spoken = replace(SESSION, n_frames=length_s * 48_000, events=tuple(cues), intervals=(), dropped=())
    report = check(tmp_path / "a.wav", spoken)
    assert report.ok, [fault.message for fault in report.faults]
    assert report.summary.matched == len(cues) > 30


@pytest.mark.parametrize("text", ["", "3, 2, 1."])
def test_where_no_word_can_be_named_none_is_checked(tmp_path: Path, text: str) -> None:
    """A session of pips, and one whose only cue is figures: the grammar of no words ended in a traceback."""
    cue = Event("c1", "cue", "say", 0, 48_000, 96_000, text=text)
    sound = np.zeros(3 * 48_000, np.float32)
    sound[48_000:96_000] = 0.1 * np.random.default_rng(2).standard_normal(48_000)
    soundfile.write(tmp_path / "a.wav", sound, 48_000)
    spoken = replace(SESSION, n_frames=len(sound), events=(cue,), intervals=(), dropped=())
    report = check(tmp_path / "a.wav", spoken, CheckOptions(words=True))
    assert report.events[0].heard_words is None
    assert any("words" in note for note in report.notes)
