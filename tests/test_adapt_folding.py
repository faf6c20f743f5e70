"""Sets and rests found by folding a recording at their period, where no sound is clear by itself."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from cuelane.adapt.beeps import search
from cuelane.adapt.beeps import steady_sounds as steady
from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.boundary_sound import LEAST_SOUND, returning_sounds
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.fingerprint import HOP_S, N_BANDS, UsualBands
from cuelane.adapt.beeps.folding import folded, folded_at_speeds, folded_in_parts
from cuelane.adapt.beeps.mark import BoundaryMark
from cuelane.adapt.beeps.sound_beginning import SoundBeginnings
from cuelane.adapt.beeps.steady_sounds import steady_sounds, with_steady
from cuelane.recording.decode import Recording

PER_S = round(1 / HOP_S)
WORK_S, REST_S = 25, 10
N_TURNS = 9
FIRST_S = 6.4
STARTS_S = FIRST_S + (WORK_S + REST_S) * np.arange(N_TURNS)
TIMES_S = np.sort(np.concatenate([STARTS_S, STARTS_S + WORK_S]))
SECONDS = float(TIMES_S[-1] + 12.0)


def noise(seed: int, seconds: float = SECONDS) -> np.ndarray:
    """Return fingerprints, shape (n, 64), of what keeps no time: bursts in bands of their own."""
    rng = np.random.default_rng(seed)
    prints = rng.uniform(0, 0.3, (round(seconds / HOP_S), N_BANDS))
    falls = np.exp(-np.arange(40) / 12)[:, None]
    for _ in range(round(seconds * 6)):
        at, low = int(rng.integers(len(prints) - 40)), int(rng.integers(N_BANDS - 12))
        prints[at : at + 40, low : low + 12] += rng.uniform(0.3, 1.2) * falls
    return prints.astype(np.float32)


def with_signal(prints: np.ndarray, times_s: np.ndarray, height: float) -> np.ndarray:
    """Return `prints` with a signal of many bands, each a little higher, for 160 ms from each time on."""
    bands = np.random.default_rng(5).permutation(N_BANDS)[:20]
    made = prints.copy()
    for time_s in times_s:
        step = round(time_s / HOP_S)
        made[step : step + 20, bands] += height
    return made


def most_near(times_s: np.ndarray, truth_s: np.ndarray) -> tuple[int, int]:
    """Return how many of `truth_s` are found within 50 ms, and how many times are none of them."""
    near = np.abs(times_s[:, None] - truth_s[None, :]) < 0.05
    return int(near.any(axis=0).sum()), int((~near.any(axis=1)).sum())


def test_a_work_and_a_rest_are_found_where_no_sound_is_sure():
    times_s = TIMES_S[:12]
    prints = with_signal(noise(2, float(times_s[-1] + 12.0)), times_s, 0.2)

    assert all(one.confidence <= LEAST_SOUND for one in returning_sounds(prints))
    (sound,) = steady_sounds(prints)

    assert sound.confidence > LEAST_SOUND
    assert sound.lengths_s == (WORK_S, REST_S)
    assert most_near(np.array(sound.times_s), times_s) == (len(times_s), 0)


@pytest.mark.parametrize(("height", "most_late_s"), [(0.25, 0.01), (0.15, 0.04)])
def test_a_word_under_noise_begins_with_its_soft_consonant(height, most_late_s):
    """It is half as high as the vowel or less, and 80 ms long; by itself the vowel is found.

    Where it is low it may take a whole window of 32 ms to tell it, and a step is 8 ms.
    """
    prints = with_signal(noise(12), TIMES_S + 0.08, 0.5)
    bands = np.random.default_rng(6).permutation(N_BANDS)[:20]
    for time_s in TIMES_S:
        step = round(time_s / HOP_S)
        prints[step : step + 10, bands] += height

    (sound,) = steady_sounds(prints)

    assert len(sound.times_s) == len(TIMES_S)
    late_s = np.array(sound.times_s) - TIMES_S
    # Where each return is, is told by itself: a short template fits two of these five steps too soon. The
    # beginning is told for all of them.
    assert -0.01 < np.median(late_s) < most_late_s
    assert np.abs(late_s).max() < 0.05
    vowels = np.round((TIMES_S + 0.08) / HOP_S).astype(np.int64)
    begins_s = 0.08 + HOP_S * SoundBeginnings.of(UsualBands.of(prints).white(prints)).later(vowels)
    assert -0.01 < begins_s < most_late_s


@pytest.mark.parametrize("off", [-12, -5, -1, 0, 4, 9, 18])
def test_a_sound_found_too_soon_or_too_late_is_moved_to_where_it_begins(off):
    """By up to 96 ms later, where music was taken for a part of it, and 0.25 s sooner, where it is soft."""
    prints = with_signal(noise(13), TIMES_S, 0.6)
    places = np.round(TIMES_S / HOP_S).astype(np.int64)

    later = SoundBeginnings.of(UsualBands.of(prints).white(prints)).later(places + off)

    assert abs(off + later) <= 1


def with_before(prints: np.ndarray, first: int, last: int, height: float) -> np.ndarray:
    """Return `prints` with what is `height` higher in other bands, from some steps to some before TIMES_S."""
    bands = np.random.default_rng(6).permutation(N_BANDS)[:20]
    made = prints.copy()
    for time_s in TIMES_S:
        step = round(time_s / HOP_S)
        made[step - first : step - last, bands] += height
    return made


def test_a_consonant_before_a_silence_begins_its_word():
    """80 ms of it, and its stop of 72 ms; a longer silence is between two sounds."""
    prints = with_before(with_signal(noise(15), TIMES_S, 0.6), 19, 9, 0.25)
    places = np.round(TIMES_S / HOP_S).astype(np.int64)
    beginnings = SoundBeginnings.of(UsualBands.of(prints).white(prints))

    assert beginnings.later(places) == pytest.approx(-19, abs=1)
    before = with_before(with_signal(noise(15), TIMES_S, 0.6), 29, 19, 0.25)
    assert abs(SoundBeginnings.of(UsualBands.of(before).white(before)).later(places)) <= 1


def test_what_rings_until_the_next_stroke_is_not_its_beginning():
    """It is alike all the time before, and low beside the stroke; or it is high, and has no beginning."""
    places = np.round(TIMES_S / HOP_S).astype(np.int64)
    for height in (0.1, 0.4):
        prints = with_before(with_signal(noise(15), TIMES_S, 0.6), 60, 0, height)
        assert abs(SoundBeginnings.of(UsualBands.of(prints).white(prints)).later(places)) <= 1


def test_what_is_not_alike_is_not_moved():
    prints = noise(14)
    beginnings = SoundBeginnings.of(UsualBands.of(prints).white(prints))

    assert beginnings.later(np.round(TIMES_S / HOP_S).astype(np.int64)) == 0
    assert beginnings.later(np.array([900, 2_000, 3_000])) == 0
    assert SoundBeginnings.of(prints[:500]).later(np.arange(100, 400, 40)) == 0


def test_a_sound_in_a_recording_that_was_cut_is_found_by_a_part_of_it():
    """Before and after each cut the class comes round at other times; all of its returns are found."""
    times_s = TIMES_S - np.select([TIMES_S > 230, TIMES_S > 110], [12.7, 4.4], 0.0)
    prints = with_signal(noise(16), times_s, 0.24)
    seen = UsualBands.of(prints).white(prints)

    (sound,) = steady_sounds(prints)
    best = folded_in_parts(seen)[0]

    assert (best.period_s, best.part_s) == (WORK_S + REST_S, REST_S)
    assert best.clear > folded(seen)[0].clear
    assert sound.confidence > LEAST_SOUND
    assert sound.lengths_s == (WORK_S, REST_S)
    found, others = most_near(np.array(sound.times_s), times_s)
    assert (found >= len(times_s) - 1, others) == (True, 0)


def test_parts_of_a_recording_are_of_lengths_and_places_of_their_own():
    """The same work and rest is there again in the next part, and is told once."""
    prints = with_signal(noise(9), TIMES_S, 0.5)
    found = folded_in_parts(UsualBands.of(prints).white(prints))

    assert all(one.clear >= other.clear for one, other in itertools.pairwise(found))
    assert not any(one.repeats(other) for one, other in itertools.combinations(found, 2))
    of_class = [one for one in found if (one.period_s, one.part_s) == (WORK_S + REST_S, REST_S)]
    assert most_near(of_class[0].steps * HOP_S, TIMES_S)[1] == 0
    assert folded_in_parts(prints[: round(80 / HOP_S)]) == []


@pytest.mark.parametrize("speed", [0.964, 1.043])
def test_a_recording_played_faster_or_slower_is_found(speed):
    """At the speed of the timer it is not there; the times are those of the recording."""
    n_turns = 6
    times_s = speed * TIMES_S[: 2 * n_turns]
    prints = with_signal(noise(8, float(times_s[-1] + 12.0)), times_s, 0.4)
    seen = UsualBands.of(prints).white(prints)

    best = folded_at_speeds(seen)[0]
    (sound,) = steady_sounds(prints)

    assert folded(seen)[0].clear < 0.5 * best.clear
    assert (best.period_s, best.part_s) == (WORK_S + REST_S, REST_S)
    # The last step of the search moves the ends of the recording by 20 ms.
    assert best.speed == pytest.approx(speed, abs=0.02 / times_s[-1])
    assert sound.lengths_s == pytest.approx((speed * WORK_S, speed * REST_S), abs=0.01)
    assert sound.confidence > LEAST_SOUND
    assert most_near(np.array(sound.times_s), times_s) == (len(times_s), 0)


def test_where_it_is_cut_the_sound_is_found_on_both_sides():
    cut_s, away_s = 150.0, 3.7
    whole = with_signal(noise(4), TIMES_S, 0.6)
    prints = np.concatenate([whole[: round(cut_s / HOP_S)], whole[round((cut_s + away_s) / HOP_S) :]])
    truth = np.concatenate([TIMES_S[cut_s > TIMES_S], TIMES_S[cut_s + away_s < TIMES_S] - away_s])

    (sound,) = steady_sounds(prints)

    found, wrong = most_near(np.array(sound.times_s), truth)
    assert found >= 0.9 * len(truth)
    assert wrong == 0


@pytest.mark.parametrize("seed", range(2))
def test_what_keeps_no_time_has_no_work_and_rest(seed):
    assert all(one.confidence <= LEAST_SOUND for one in steady_sounds(noise(10 + seed, 160.0)))


def test_music_that_is_alike_at_every_beat_of_a_period_is_not_clear():
    """Of a loop of 35 s every moment returns, not two of them: what is elsewhere is as alike."""
    loop = noise(20, 35.0)
    rng = np.random.default_rng(21)
    prints = np.tile(loop, (6, 1)) + rng.uniform(0, 0.2, (6 * len(loop), N_BANDS)).astype(np.float32)

    own = [one for one in folded(UsualBands.of(prints).white(prints)) if one.period_s == 35]

    assert own
    assert own[0].height > 30
    assert own[0].clear < 0.5 * own[0].height
    assert all(one.confidence <= LEAST_SOUND for one in steady_sounds(prints))


def test_the_height_is_the_likeness_of_all_pairs_of_returns():
    """Held against every pair, one by one, of windows of 96 ms, each step divided by the norm around it."""
    frames = UsualBands.of(noise(6)).white(with_signal(noise(6), TIMES_S, 0.8))
    best = folded(frames)[0]
    padded = np.concatenate([np.zeros((6, N_BANDS)), frames, np.zeros((6, N_BANDS))])
    norms = np.array([np.linalg.norm(padded[at : at + 12]) for at in range(len(frames))])
    one_height = frames / norms[:, None]
    inside = [int(at) for at in best.steps if at + 12 <= len(frames)]

    alike = [
        float((one_height[one : one + 12] * one_height[other : other + 12]).sum())
        for one, other in itertools.combinations(inside, 2)
    ]
    by_chance = [
        float((one_height[at : at + 12] * one_height[at + lag : at + lag + 12]).sum())
        for lag in (1009, 2503, 4999)
        for at in range(len(frames) - lag - 12)
    ]

    # The deviation is the mean of those of three lags, here that of all together, and the number of turns is
    # that of the period, of which the last may be cut off: each is a few hundredths.
    assert (best.period_s, best.part_s) == (WORK_S + REST_S, REST_S)
    expected = sum(alike) / np.sqrt(len(alike)) / np.std(by_chance)
    assert best.height == pytest.approx(expected, rel=0.1)


def test_twice_the_turns_are_twice_as_high():
    """Folding adds signals of n returns n (n - 1) / 2 times and chance by the root of it (derived)."""
    heights = []
    for n_turns in (5, 10):
        starts = FIRST_S + (WORK_S + REST_S) * np.arange(n_turns)
        times = np.concatenate([starts, starts + WORK_S])
        frames = [
            UsualBands.of(prints).white(prints)
            for prints in (with_signal(noise(seed, times.max() + 12), times, 0.6) for seed in (31, 32))
        ]
        heights.append(np.mean([folded(one)[0].height for one in frames]))

    n, twice = 10, 20
    expected = np.sqrt(twice * (twice - 1) / (n * (n - 1)))
    # Each mean of two has an error of a few tenths in some 20.
    assert heights[1] / heights[0] == pytest.approx(expected, rel=0.2)


@pytest.mark.parametrize("seconds", [1.0, 20.0, 41.0])
def test_a_recording_of_less_than_three_turns_has_none(seconds):
    assert folded(noise(7, seconds)) == []
    assert steady_sounds(noise(7, seconds)) == []


def test_a_sound_of_which_music_hides_some_gives_way_to_the_steady_one():
    """Of eighteen returns five are missing and three are wrong; both are one sound, which is told once."""
    prints = with_signal(noise(1), TIMES_S, 0.3)
    (sound,) = steady_sounds(prints)
    times = np.sort([*np.delete(TIMES_S, [3, 4, 8, 11, 15]), TIMES_S[4] + 3.9, TIMES_S[8] - 4.6, 241.3])
    spoilt = replace(sound, times_s=tuple(times.tolist()), steady=0.9)
    other = replace(sound, times_s=tuple((TIMES_S[:7] + 5.0).tolist()), steady=0.6)

    first, *rest = with_steady([spoilt, other], prints)

    assert most_near(np.array(first.times_s), TIMES_S) == (len(TIMES_S), 0)
    assert first.confidence >= 0.9
    assert rest == [other]


def test_a_sure_sound_with_the_same_boundaries_a_little_apart_is_kept():
    """A cut of 0.15 s more than a turn moves all that is after it, which its work and rest do not tell."""
    prints = with_signal(noise(1), TIMES_S, 0.3)
    (sound,) = steady_sounds(prints)
    cut_s = TIMES_S + 0.15 * (np.arange(len(TIMES_S)) > 10)
    told = replace(sound, times_s=tuple(cut_s.tolist()), steady=0.9)

    assert with_steady([told], prints) == [told]


def test_a_sure_sound_whose_lengths_all_come_again_is_not_asked_about(monkeypatch):
    prints = with_signal(noise(1), TIMES_S, 0.3)
    (sound,) = steady_sounds(prints)
    monkeypatch.setattr(steady, "steady_sounds", lambda _prints: pytest.fail("nothing was in doubt"))

    assert with_steady([sound], prints) == [sound]


def test_lengths_by_which_a_sound_was_found_put_in_what_is_not_heard(monkeypatch):
    """Four of eighteen are heard, too few to tell lengths of their own."""
    heard = [Boundary(float(at_s), 0.8) for at_s in TIMES_S[[2, 5, 9, 12]]]
    (sound,) = steady_sounds(with_signal(noise(1), TIMES_S, 0.3))
    mark = BoundaryMark(Beep(900, 0.2, is_tone=False), 0.7, tuple(b.at_s for b in heard), sound)
    monkeypatch.setattr(search, "find_marks", lambda *_: [mark])
    monkeypatch.setattr(BoundaryMark, "boundaries", lambda *_: (heard, []))
    empty = Recording.__new__(Recording)

    found = search.find_structure(empty)

    assert found.how == search.STEADY
    assert [round(b.at_s, 3) for b in found.boundaries] == [round(float(t), 3) for t in TIMES_S[2:13]]
