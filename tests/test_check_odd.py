"""``check`` with files that are next to nothing, at rates that nobody uses, or not there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

import roomkit
from cuelane.base.errors import AudioFileError
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
