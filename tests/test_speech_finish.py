"""Every clip starts at its onset, ends at its end, at one loudness, under one peak."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from cuelane.audio.clip import audible_span, quantise24
from cuelane.base.errors import VoiceError
from cuelane.meter import clip_loudness_lufs, true_peak_dbtp
from cuelane.speech.finish import finish

RATES = (16_000, 22_050, 44_100, 48_000)


def voiced(seed: int, seconds: float, sample_rate: int) -> np.ndarray:
    """A pulse train through three formants, in syllables of uneven level, with silence round it."""
    rng = np.random.default_rng(seed)
    n_frames = int(seconds * sample_rate)
    pulses = np.zeros(n_frames)
    position = 0.0
    while position < n_frames:
        pulses[int(position)] = 1.0
        position += sample_rate / rng.uniform(90, 120)
    speech = pulses + 0.003 * rng.standard_normal(n_frames)
    for formant_hz in (600, 1400, 2600):
        radius = np.exp(-np.pi * 110 / sample_rate)
        speech = lfilter(
            [1], [1, -2 * radius * np.cos(2 * np.pi * formant_hz / sample_rate), radius**2], speech
        )
    knots = np.arange(0, seconds + 0.2, 0.2)
    level = np.interp(np.arange(n_frames) / sample_rate, knots, rng.uniform(0.15, 1.0, len(knots)))
    silence = np.zeros(sample_rate // 10)
    return np.concatenate([silence, 0.05 * speech * level, silence])


CASES = [(seed, seconds, rate) for seed, seconds in enumerate((0.25, 0.39, 0.41, 1.0, 2.7)) for rate in RATES]


@pytest.mark.parametrize(("seed", "seconds", "rate"), CASES)
@pytest.mark.parametrize("synthetic", [True, False])
def test_a_clip_meets_its_contract(seed, seconds, rate, synthetic):
    """Onset within 2 ms of sample 0, end within 8 ms, -20 LUFS, at most -7 dBTP, silent at both ends."""
    samples = finish(voiced(seed, seconds, rate), rate, synthetic=synthetic).samples
    onset, end = audible_span(samples, 48_000)

    assert onset <= 96
    assert len(samples) - end <= 384
    assert clip_loudness_lufs(samples, 48_000) == pytest.approx(-20.0, abs=0.1)
    assert true_peak_dbtp(samples[:, np.newaxis]) <= -7.0
    assert samples.dtype == np.float32
    assert np.array_equal(quantise24(samples), samples)
    assert abs(samples[0]) < 0.003
    assert abs(samples[-1]) < 0.003


def test_level_does_not_matter():
    """A recording 40 dB quieter gives the same clip to within a 16-bit step."""
    raw = voiced(3, 1.0, 48_000)
    loud = finish(raw, 48_000, synthetic=True).samples
    quiet = finish(raw * 0.01, 48_000, synthetic=True).samples

    assert len(loud) == len(quiet)
    assert np.abs(loud - quiet).max() < 1 / 32_768


def test_a_wanted_difference_is_kept():
    """gain_db moves the loudness by as much, under the same peak."""
    raw = voiced(4, 1.0, 48_000)
    softer = finish(raw, 48_000, synthetic=False, gain_db=-2.0).samples
    assert clip_loudness_lufs(softer, 48_000) == pytest.approx(-22.0, abs=0.1)


def test_where_sample_0_was_is_told():
    """start_s is the raw time of the clip's first sample, within 3 ms (the dispersion's delay)."""
    raw = np.concatenate([np.zeros(24_000), voiced(5, 1.0, 48_000)])
    onset, _ = audible_span(raw, 48_000)
    assert finish(raw, 48_000, synthetic=False).start_s == pytest.approx(onset / 48_000, abs=0.001)
    assert finish(raw, 48_000, synthetic=True).start_s == pytest.approx(onset / 48_000, abs=0.003)


def test_a_gentle_voice_is_only_scaled():
    """Speech with room under the peak is not touched but in level."""
    rng = np.random.default_rng(1)
    raw = 0.1 * np.sin(2 * np.pi * 300 * np.arange(48_000) / 48_000) + 0.001 * rng.standard_normal(48_000)
    finished = finish(raw, 48_000, synthetic=False)
    middle = slice(4_800, 40_000)
    start = round(finished.start_s * 48_000)
    ratio = finished.samples[middle] / raw[start + 4_800 : start + 40_000]

    assert finished.reduction_db == pytest.approx(0.0, abs=1e-9)
    loud = np.abs(raw[start + 4_800 : start + 40_000]) > 0.01
    assert ratio[loud].max() / ratio[loud].min() < 1.001


@pytest.mark.parametrize(("louder_db", "scaled_only"), [(3, True), (6, False)])
def test_a_persons_waveform_is_kept_unless_its_peaks_are_far_too_high(louder_db, scaled_only):
    """A loud word is held down by up to 6 dB; beyond that the pulses are spread, so that less must be cut."""
    raw = voiced(7, 1.0, 48_000)
    raw[26_000:29_000] *= 10 ** (louder_db / 20)
    finished = finish(raw, 48_000, synthetic=False)
    same = raw[round(finished.start_s * 48_000) :][: len(finished.samples)]
    alike = [
        np.corrcoef(finished.samples[at : at + 960], same[at : at + 960])[0, 1]
        for at in range(4_800, len(same) - 4_800, 2_400)
    ]

    assert (np.median(alike) > 0.999) == scaled_only
    assert (3 < finished.reduction_db <= 6) == scaled_only


def test_words_are_evened_and_the_rhythm_of_syllables_is_kept():
    """Two words 8 dB apart come nearer; a swing of 12 dB eight times a second stays within 1.5 dB.

    Syllables come some 3 to 8 times a second (value from memory).
    """

    def levels_db(samples):
        steps = samples[: len(samples) // 960 * 960].astype(np.float64).reshape(-1, 960)
        return 10 * np.log10((steps**2).mean(axis=1))

    time_s = np.arange(96_000) / 48_000
    tone = 0.1 * np.sin(2 * np.pi * 300 * time_s)
    words = finish(tone * np.where(time_s < 1, 1.0, 10 ** (-8 / 20)), 48_000, synthetic=True).samples
    swing = finish(tone * 10 ** (6 * np.sin(2 * np.pi * 8 * time_s) / 20), 48_000, synthetic=True).samples
    rhythm = levels_db(swing)[20:-20]

    apart_db = levels_db(words)[15:35].mean() - levels_db(words)[65:85].mean()
    assert 3 < apart_db < 7
    assert rhythm.max() - rhythm.min() > 12 - 1.5


@pytest.mark.parametrize(
    "raw", [np.zeros(0), np.zeros(4_800), np.full(4_800, np.nan), np.zeros((10, 2))], ids=str
)
def test_no_sound_is_refused(raw):
    """An empty result is never a clip."""
    with pytest.raises(VoiceError, match="the engine gave"):
        finish(raw, 48_000, synthetic=True)
