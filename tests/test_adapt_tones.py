"""How exactly tones are known, and countdowns of which talk or a codec hides a part."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soxr
from scipy.signal import firwin, lfilter

import classgen as gen
import signal_kinds
from cuelane.adapt.beeps.boundary_sound import returning_sounds
from cuelane.adapt.beeps.fingerprint import HOP_S, fingerprints
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.search import find_structure
from cuelane.adapt.beeps.tone_tracks import tone_tracks
from cuelane.adapt.beeps.tones_in_a_row import TonesInARow
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


def likeness(rows: list[list[float]], apart: int = 100) -> tuple[gen.Array, np.ndarray]:
    """Return (likeness, place of the third tone of each row) for tones `apart` steps from one another."""
    like = np.full(1_000 * (len(rows) + 1), 0.1, np.float32)
    thirds = 1_000 * np.arange(1, len(rows) + 1)
    for third, row in zip(thirds, rows, strict=True):
        for number, value in enumerate(row):
            like[third + (number - 2) * apart] = value
    return like, thirds


def test_the_last_tone_of_a_row_is_found_from_any_of_them():
    """Talk hides the first, the second or the last of three; each row was found by what was left."""
    rows = [[0.9, 0.8, 0.9], [0.2, 0.9, 0.9], [0.9, 0.2, 0.8], [0.9, 0.9, 0.9]]
    like, thirds = likeness(rows)
    found = thirds + np.array([-200, -100, -200, 0])

    row = TonesInARow.of(like, found, 0.7)

    assert row == TonesInARow(3, 100)
    assert row.last(like, found).tolist() == thirds.tolist()


def test_two_tones_are_no_row():
    """A signal and what is always said after it are not a countdown."""
    like, thirds = likeness([[0.1, 0.9, 0.9]] * 4)

    assert TonesInARow.of(like, thirds, 0.7) is None


def test_the_next_tone_but_one_may_be_more_alike_than_the_next():
    """Talk hides every other tone a little: those two places apart are likelier, the row is all of them."""
    like, thirds = likeness([[0.95, 0.7, 0.95, 0.7], [0.95, 0.7, 0.95, 0.7], [0.95, 0.7, 0.95, 0.7]])

    assert TonesInARow.of(like, thirds, 0.8) == TonesInARow(4, 100)


def test_a_long_tone_is_no_row_of_tones():
    """What is alike all through a tone of 1.2 s is there 0.4 s and 0.8 s after its beginning too."""
    like = np.full(10_000, 0.1, np.float32)
    begins = np.arange(1_000, 9_000, 1_000)
    for step in begins:
        like[step : step + 150] = 0.6
        like[[step, step + 100]] = 0.9

    assert TonesInARow.of(like, begins, 0.6) is None


def test_a_row_that_the_recording_cuts_off_keeps_its_places():
    """A countdown at either end of a recording, or one of which only a tone is there, stays within it."""
    like = np.full(500, 0.1, np.float32)
    like[[40, 140, 460]] = 0.9
    row = TonesInARow(3, 100)

    assert row.last(like, np.array([40, 140, 460])).tolist() == [140, 140, 460]


def test_a_tone_amid_many_stays_where_it_is():
    """Of a metronome, which has no last tone near, every tone would be as good an end."""
    like = np.full(6_000, 0.1, np.float32)
    like[100:5_900:100] = 0.9
    places = np.array([2_000, 3_000, 3_500])

    assert TonesInARow(9, 100).last(like, places).tolist() == places.tolist()


TIMES_S = np.cumsum([8.0, *[14.0, 9.0, 17.0] * 3])


def counted(hidden: dict[int, int]) -> gen.Array:
    """Return a class of countdowns in speech, three tones and a longer one; `hidden` is a tone by its row."""
    rng = np.random.default_rng(11)
    n = round((TIMES_S[-1] + 8.0) * RATE)
    speech = gen.generate(21, voice=gen.formant, work_s=20.0, rest_s=12.0, n_sets=4, doorbell=False)
    out = 2e-3 * rng.standard_normal(n) + np.resize(soxr.resample(speech.speech_only, 48_000, RATE), n)
    for index, time_s in enumerate(TIMES_S):
        for number in range(3):
            if hidden.get(index) != number:
                put(out, time_s - 0.8 * (3 - number), tone(824.0, 0.12, 0.07))
        put(out, time_s, tone(824.0, 0.5, 0.03))
    return out


def test_a_countdown_of_which_talk_hides_tones_ends_where_it_does():
    """Of ten countdowns four are heard from their second tone on: with one pointed out, all end rightly."""
    prints = fingerprints(recording(counted({0: 0, 3: 0, 4: 0, 8: 0, 6: 1, 5: 2})))

    best, *_ = returning_sounds(prints, (round((TIMES_S[2] - 0.8) / HOP_S), 6))

    apart = np.abs(np.array(best.times_s)[:, None] - TIMES_S[None, :])
    assert best.is_countdown
    assert len(best.times_s) >= 9
    assert apart.min(axis=1).max() < 0.03


def test_tones_that_lead_up_to_a_whistle_end_in_it():
    """Three like tones a second apart are a countdown by themselves, and would end a second early."""
    rng = np.random.default_rng(11)
    times_s = np.cumsum([8.0, *[20.0, 10.0] * 8])
    sound = 1e-3 * rng.standard_normal(round((times_s[-1] + 8.0) * RATE))
    whistle = signal_kinds.KINDS["whistle, live"](rng)
    for time_s in times_s:
        put(sound, time_s + rng.uniform(2.0, 4.0), 0.1 * rng.standard_normal(RATE))
        for number in range(3):
            put(sound, time_s - (3 - number), tone(824.0, 0.12, 0.07))
        put(sound, float(time_s), 0.1 * whistle.sound(rng))

    found = find_structure(recording(sound))

    assert len(found.boundaries) == len(times_s)
    assert np.abs(np.array([b.at_s for b in found.boundaries]) - times_s).max() < 0.03


def test_the_end_of_a_long_tone_is_no_other_sound():
    """It stops as clearly as it began, and what is between is the same each time: it begins the boundary."""
    sound = 3e-4 * np.random.default_rng(2).standard_normal(round((TIMES_S[-1] + 8.0) * RATE))
    for time_s in TIMES_S:
        put(sound, float(time_s), tone(800.0, 0.8, 0.05))
    best, *_ = returning_sounds(fingerprints(recording(sound)))
    later = tuple(t + 0.79 for t in best.times_s)
    end = replace(best, times_s=later, since_s=0.8)

    assert np.abs(np.array(best.times_s) - TIMES_S).max() < 0.03
    assert end.confidence == best.confidence
    assert end.trails(best)
    assert not best.trails(end)
    assert not replace(end, since_s=0.1).trails(best)
