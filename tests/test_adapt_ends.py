"""Where clips of a recorded class begin and end: no click, the room's tone far below the words."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from classgen_scripts import SHORT, speak_script
from classgen_speech import SAMPLE_RATE, formant
from cuelane.adapt.class_cues import CutCue, clicking, ends_told
from cuelane.adapt.piece_ends import piece_ends
from cuelane.audio.clip import AUDIBLE_RANGE_DB
from cuelane.recording.cutting import cut_with_onset
from cuelane.recording.decode import open_recording


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> list[npt.NDArray[np.float32]]:
    """Return the phrases of a spoken class as clips, cut where a quiet room is heard between them."""
    folder = tmp_path_factory.mktemp("ends")
    made = speak_script(SHORT, formant, work_s=16.0, rest_s=9.0)
    soundfile.write(folder / "class.wav", made.samples, SAMPLE_RATE, subtype="PCM_16")
    recording = open_recording(folder / "class.wav", folder)
    edges = [(onset - 0.12, end + 0.3) for _, onset, end in made.phrases]
    return [cut_with_onset(recording, a, b, earliest_s=a, latest_s=b)[0] for a, b in edges]


def test_no_clip_clicks_and_the_rooms_tone_is_not_heard(clips):
    """The largest step at an end, and the tone that fades in, are below what counts as audible speech.

    Clips of one recording have its one tone; they differ by no more than their levels do.
    """
    ends = [piece_ends(clip) for clip in clips]

    assert len(ends) == sum(map(len, (*SHORT.sets, *SHORT.rests))) + 2
    assert max(end.step_db for end in ends) < -AUDIBLE_RANGE_DB - 10
    assert max(end.tone_db for end in ends) < -AUDIBLE_RANGE_DB
    assert not any(end.clicks for end in ends)


@pytest.mark.parametrize("where", [0, 100, -100, -1])
def test_a_click_at_an_end_is_found_and_named(clips, where):
    """One sample at 5 in 100 of full scale, at the very end or 2 ms from it; the report says which clip."""
    clean, dirty = clips[0], clips[0].copy()
    dirty[where] += 0.05

    assert not piece_ends(clean).clicks
    assert piece_ends(dirty).clicks
    cues = [
        CutCue(0, 900, "Heels.", "form", 1, f"{n}.wav", ends=piece_ends(c))
        for n, c in enumerate((clean, dirty))
    ]
    assert [cue.clip for cue in clicking(cues)] == ["1.wav"]
    assert f"{piece_ends(dirty).step_db:.0f} dB against" in ends_told(cues)


def test_an_end_cut_hard_is_a_click(clips):
    """A clip that begins in the middle of a sound has a step from silence at its first sample."""
    middle = clips[0][int(np.argmax(np.abs(clips[0]))) :]

    assert piece_ends(middle).clicks


def test_silence_has_no_ends_to_hear():
    """Nothing but zeros is no click, whatever it is compared with."""
    assert not piece_ends(np.zeros(9600, np.float32)).clicks
