"""How exactly the pitch of a tone is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soxr
from scipy.signal import firwin, lfilter

import classgen as gen
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.tone_tracks import tone_tracks
from cuelane.recording.decode import Recording

RATE = 16_000


def recording(samples: gen.Array) -> Recording:
    """Return `samples`, shape (n,) at 16 kHz, full scale 1.0, as a recording."""
    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(soxr.resample(samples, RATE, 48_000)), whole(samples))


def tone(frequency_hz: float, length_s: float, level: float = 0.1) -> gen.Array:
    """Return a sine with edges of 5 ms."""
    t = np.arange(round(length_s * RATE)) / RATE
    edge = np.clip(np.minimum(t, length_s - t) / 0.005, 0, 1)
    return level * edge * np.sin(2 * np.pi * frequency_hz * t)


def put(out: gen.Array, at_s: float, wave: gen.Array) -> None:
    start = round(at_s * RATE)
    out[start : start + len(wave)] += wave


def test_a_tone_whose_remains_are_beside_it_has_its_own_pitch():
    """A codec leaves some of a tone after it, a little lower: its pitch is not that of the bin above it."""
    sound = np.zeros(3 * RATE)
    put(sound, 1.0, tone(2590.0, 0.5))
    put(sound, 1.52, tone(2578.0, 0.12, 0.001))

    found = [track for track in tone_tracks(recording(sound)) if track.length_s > 0.4]

    assert [track.frequency_hz for track in found] == [pytest.approx(2590.0, abs=0.2)]


def test_the_pitch_of_a_tone_is_known_where_music_is_beside_it():
    """Noise 20 to 80 Hz above a tone leans its bins to that side by half a hertz; its phase turns as before.

    A tone of half a second that is searched half a hertz off, a quarter of a turn, scores a fifth less.
    """
    beside = np.random.default_rng(5).standard_normal(3 * RATE)
    beside = lfilter(firwin(801, [823.4, 883.4], fs=RATE, pass_zero=False), 1, beside)
    sound = 1e-4 * np.random.default_rng(3).standard_normal(3 * RATE) + 0.2 * beside
    put(sound, 1.0, tone(803.4, 0.5, 0.05))

    found = [track for track in tone_tracks(recording(sound)) if track.length_s > 0.4]

    assert [track.frequency_hz for track in found] == [pytest.approx(803.4, abs=0.2)]


@pytest.mark.parametrize("frequency_hz", [2590.0, 2591.1, 2588.0, 2593.9])
def test_a_long_tone_scores_at_whatever_pitch_it_has(frequency_hz):
    """The pitches at which scores are kept are close enough for the length: none falls between two."""
    sound = 1e-4 * np.random.default_rng(3).standard_normal(3 * RATE)
    put(sound, 1.0, tone(frequency_hz, 0.5))

    assert ScoreBook(recording(sound)).pooled(frequency_hz, 0.5).max() > 0.9
