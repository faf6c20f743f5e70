"""Sounds of any kind that return at a class's boundaries, found without a hint; and faults in that search."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soxr

import classgen as gen
import signal_kinds
from classgen_music import music
from cuelane.adapt.beeps.boundaries import SURE_BOUNDARY, clear_and_faint
from cuelane.adapt.beeps.boundary_sound import LEAST_SOUND, BoundarySound, returning_sounds
from cuelane.adapt.beeps.countdown import Beep
from cuelane.adapt.beeps.fingerprint import HOP_S, N_BANDS, UsualBands, fingerprints
from cuelane.adapt.beeps.mark import BoundaryMark
from cuelane.adapt.beeps.regularity import (
    SAME_GAP_S,
    evidence_of_ten,
    faint_between,
    firsts,
    in_turn,
    settled,
)
from cuelane.adapt.beeps.returning import onsets, patches, tones_returning
from cuelane.adapt.beeps.score_book import shifted
from cuelane.adapt.beeps.search import find_structure
from cuelane.adapt.beeps.sound_boundaries import faint_returns, likeness_over
from cuelane.adapt.beeps.sound_template import alike_around, begins_at, begins_softly, company_of, rises_at
from cuelane.adapt.beeps.sound_view import VIEWS
from cuelane.adapt.beeps.tone_tracks import ToneTrack
from cuelane.recording.decode import Recording

TIMES_S = np.cumsum([6.0, *[16.0, 9.0] * 4])


def recording(samples: gen.Array) -> Recording:
    whole = lambda x: np.clip(np.rint(x * 32_768), -32_768, 32_767).astype(np.int16)  # noqa: E731
    return Recording(Path("generated"), whole(samples), whole(soxr.resample(samples, 48_000, 16_000)))


@cache
def talk() -> gen.Array:
    """Some two minutes of speech with pauses, without a beep."""
    made = gen.generate(21, voice=gen.formant, work_s=20.0, rest_s=12.0, n_sets=4, doorbell=False).speech_only
    rng = np.random.default_rng(2)
    return (made + rng.standard_normal(len(made)) * 3e-4).astype(np.float32)


def with_signal(name: str, *, missing: int | None = None, doubled: int | None = None) -> gen.Array:
    """`talk`, silent where a sound of kind `name` stands at each of ``TIMES_S``."""
    rng = np.random.default_rng(5)
    signal = signal_kinds.KINDS[name](rng)
    out = talk().copy()
    for index, time_s in enumerate(TIMES_S):
        wave = soxr.resample(0.12 * signal.sound(rng), signal_kinds.RATE, 48_000)
        places = [time_s] if index != doubled else [time_s, time_s + len(wave) / 48_000 + 0.2]
        for at_s in places if index != missing else []:
            start = round(at_s * 48_000)
            out[start - 4_800 : start + len(wave) + 4_800] *= 0.05
            out[start : start + len(wave)] += wave
    return out


@cache
def sounds_in(name: str) -> list[BoundarySound]:
    return returning_sounds(fingerprints(recording(with_signal(name))))


@pytest.mark.parametrize("name", ["tone, short", "bell"])
def test_a_sound_that_returns_is_found_without_a_hint(name):
    """Whatever it is, each of its places is found within 30 ms, nothing else, and no other is sure."""
    best, *others = sounds_in(name)

    assert len(best.times_s) == len(TIMES_S)
    assert np.abs(np.array(best.times_s) - TIMES_S).max() < 0.03
    assert best.confidence > 0.6
    assert all(other.confidence < 0.6 for other in others)


def test_talk_alone_has_no_sound_that_returns():
    """Speech gives no boundary, says what was tried, and has no beep."""
    found = find_structure(recording(talk()))

    assert (found.beep, found.boundaries) == (None, ())
    assert found.confidence == 0.0
    assert "any sound that returns at a class's intervals" in found.tried


def test_music_that_repeats_is_not_sure():
    """Figures of music return as exactly as beeps, but with what surrounds them: none is taken as sure."""
    found = returning_sounds(fingerprints(recording(0.1 * music(48_000 * 100, 3, "hook"))))

    assert all(one.confidence < 0.6 for one in found)


def test_a_missing_sound_is_placed_by_the_others_and_a_doubled_one_counts_once():
    """One that is not there is where work and rest put it; one that sounds twice is where it first sounds."""
    found = find_structure(recording(with_signal("bell", missing=3, doubled=5)))

    assert found.beep is not None
    assert not found.beep.is_tone
    assert np.abs(np.array([b.at_s for b in found.boundaries]) - TIMES_S).max() < 0.03
    assert [b.is_sure for b in found.boundaries] == [k != 3 for k in range(len(TIMES_S))]
    assert [b.placed_by == "lengths" for b in found.boundaries] == [k == 3 for k in range(len(TIMES_S))]


def test_a_sound_held_against_a_plan_is_put_where_it_is_missing():
    """Where a sound is missing once, the plan has its place."""
    sound = recording(with_signal("bell", missing=3))
    mark = BoundaryMark.of_sound(sounds_in("bell")[0], 0.0)

    placed, fit = mark.by_plan(sound, mark.beep, [float(t) - 2.0 for t in TIMES_S])

    assert fit > 0.35
    assert [not b.is_heard for b in placed] == [k == 3 for k in range(len(TIMES_S))]
    assert np.abs(np.array([b.at_s for b in placed]) - TIMES_S).max() < 0.03


def test_a_sound_at_the_seam_of_two_blocks_is_as_like_as_elsewhere(monkeypatch):
    """A block begins with its running means settled: soon after its start a return is like as in one go."""
    sound, bell = recording(with_signal("bell")), sounds_in("bell")[0]
    whole = likeness_over(sound, bell)
    seam_s = float(TIMES_S[3]) - 0.1
    # To whole steps of 8 ms.
    monkeypatch.setattr("cuelane.adapt.beeps.sound_boundaries._BLOCK_S", round(seam_s / HOP_S) * HOP_S)

    parts = likeness_over(sound, bell)

    near = slice(round((seam_s - 0.5) / HOP_S), round((seam_s + 1.0) / HOP_S))
    assert len(parts) == len(whole)
    # After 3 s a mean with a time constant of 0.4 s has less than 0.001 of its start left.
    assert np.abs(parts[near] - whole[near]).max() < 0.01


def test_the_onsets_of_a_sound_in_few_bands_stand_out_of_music():
    """A whistle trembles after it has risen, and music rises in more bands: each of its onsets is there."""
    sound = 0.6 * with_signal("whistle, player") + 0.06 * music(len(talk()), 3, "hook")
    prints = fingerprints(recording(sound))

    found = onsets(UsualBands.of(prints).apart(prints))

    assert len(found) <= 4.0 * len(prints) * HOP_S
    assert all(np.abs(found * HOP_S - time_s).min() < 0.04 for time_s in TIMES_S)


def test_moments_of_music_are_alike_only_together_with_what_is_usual():
    """Any two moments of music fill the same bands; apart from what is usual in each they are not alike."""
    prints = fingerprints(recording(0.1 * music(48_000 * 60, 3, "hook")))
    steps = np.sort(np.random.default_rng(2).choice(len(prints) - 100, 40, replace=False)) + 20
    alike = []
    for each in (prints, UsualBands.of(prints).apart(prints)):
        rows = patches(each, steps, 8)
        alike.append(float((rows @ rows.T)[np.triu_indices(len(steps), 1)].mean()))

    assert alike[0] > 0.1
    assert alike[1] < 0.5 * alike[0]


def test_like_tones_that_stand_alone_propose_boundaries():
    """Among the notes of a tune, of which some have its length, a tone at each boundary is proposed first."""
    tune = [ToneTrack(0.5 * k + 0.1, 0.25, 500.0 * 2 ** (k * k % 11 / 12)) for k in range(220)]
    beeps = [ToneTrack(float(time_s), 0.45, 1391.0) for time_s in TIMES_S]

    best, *others = tones_returning(sorted([*tune, *beeps], key=lambda track: track.onset_s))

    assert np.abs(best.steps * HOP_S - TIMES_S).max() < HOP_S
    assert best.length * HOP_S <= 0.45
    assert all(other.evidence < best.evidence for other in others)


def by_pairs(gaps_s):
    """Return what `in_turn` returns, with every pair of usual lengths tried."""
    again = (np.abs(gaps_s[:, None] - gaps_s[None, :]) < SAME_GAP_S).sum(axis=1) > 1
    usual = np.unique(np.round(gaps_s[again] / SAME_GAP_S)) * SAME_GAP_S
    both = (usual[:, None] + usual[None, :]).ravel()
    return again | (
        np.abs(gaps_s[:, None] - both[None, :]).min(axis=1) < 2 * SAME_GAP_S if len(both) else again
    )


def test_the_work_for_gaps_grows_with_their_square_at_most(monkeypatch):
    """Looked up, not tried in pairs: 180 gaps of 90 lengths take 180 times 90 look-ups, and say the same."""
    rng = np.random.default_rng(8)
    gaps = np.repeat(rng.uniform(4, 60, 90), 2)
    asked = []
    search = np.searchsorted
    monkeypatch.setattr(np, "searchsorted", lambda *given: asked.append(np.size(given[1])) or search(*given))

    found = in_turn(gaps)
    some = [np.concatenate([g, g[:4] + g[4:8], rng.uniform(4, 90, 9)]) for g in rng.uniform(4, 60, (40, 20))]

    assert sum(asked) <= 180 * 90
    assert found.all()
    assert all((in_turn(each) == by_pairs(each)).all() for each in some)


def test_a_pointed_out_sound_is_found():
    """Of all onsets only those near the place pointed out propose sounds: the bell there is found."""
    near = round((float(TIMES_S[2]) + 0.7) / HOP_S), round(2.5 / HOP_S)
    found = returning_sounds(fingerprints(recording(with_signal("bell"))), near)

    assert np.abs(np.array(found[0].times_s) - TIMES_S).max() < 0.03


def test_a_steady_sound_rises_only_where_it_begins():
    """Energy that goes on weighs less and less: the onset of a tone stands out, at any level."""
    sound = np.zeros(16_000 * 6, np.float32)
    sound[32_000:64_000] = 0.2 * np.sin(2 * np.pi * 1000 * np.arange(32_000) / 16_000)
    loud, soft = (
        fingerprints(Recording(Path("x"), np.repeat(whole, 3), whole))
        for whole in ((gain * sound * 32_767).astype(np.int16) for gain in (1.0, 0.1))
    )

    assert loud.shape == (750, N_BANDS)
    band = int(loud[250:260].mean(axis=0).argmax())
    assert loud[250:260, band].mean() > 1.2 * loud[440:490, band].mean()
    assert soft[252:260, band].mean() == pytest.approx(loud[252:260, band].mean(), rel=0.35)


def risen(
    course: dict[int, float], in_two: dict[int, float] | None = None, talk: dict[int, float] | None = None
) -> int:
    """Return where a sound with `course`, height by step, is taken to rise: five returns, 300 steps apart.

    Two of the returns have the heights `in_two` as well; each has those of `talk` in bands of its own.
    """
    prints = np.full((2_700, N_BANDS), 0.05, np.float32)
    steps = np.arange(650, 2_150, 300)
    for number, step in enumerate(steps):
        rows = [(course, [20, 21, 22, 23]), (in_two or {} if number % 2 else {}, [20, 21, 22, 23])]
        rows += [(talk or {}, [20, 4 + 3 * number, 40 + 3 * number])]
        for heights, bands in rows:
            for lag, height in heights.items():
                prints[step + lag, bands] += height
    return rises_at(prints, steps, min(course), max(course) + 30, alike_around(prints, steps))


def test_an_echo_is_not_the_rise_and_talk_just_before_is_not_either():
    """Walls send a short beep back 80 ms later; talk may stop 70 ms before it. Each time it is at 0."""
    beep = {0: 1.2, 1: 1.3, 2: 0.9, 3: 0.5, 4: 0.25}

    assert risen(beep) == 0
    assert risen({**beep, 10: 0.5, 11: 0.55, 12: 0.4}) == 0
    assert risen(beep, talk={-9: 1.6, -8: 1.2, -7: 0.9}) == 0
    assert risen({lag: min(1.0, 0.09 * (lag + 1)) for lag in range(30)}) in range(5)


def test_the_first_of_two_strokes_is_the_rise_if_it_is_at_every_return():
    """In a hall one tone of a warble is louder than the other, 80 ms before it; talk is at some returns."""
    second = {10: 1.2, 11: 1.3, 12: 0.9, 13: 0.6, 14: 0.5}
    first = {0: 0.7, 1: 0.75, 2: 0.6, 3: 0.35, 4: 0.3}

    assert risen({**first, **second}) == 0
    assert risen({0: 0.0, **second}, in_two={lag: 2.5 * height for lag, height in first.items()}) == 10


def test_a_soft_beginning_that_is_the_same_each_time_is_the_rise():
    """A word begins with a hiss a fifth as high as its vowel, 100 ms before it: the word begins at 0."""
    hiss = dict.fromkeys(range(9), 0.22)

    assert risen({**hiss, 13: 0.9, 14: 1.1, 15: 1.0, 16: 0.8}) == 0


def test_loud_music_well_before_some_returns_is_not_the_rise():
    """Music is loud 160 ms before two of five returns, more than a beep is from the rise: it is at 0."""
    beep = {0: 1.0, 1: 1.1, 2: 0.9, 3: 0.6, 4: 0.4}

    assert risen({-20: 0.0, **beep}, in_two={-20: 2.0, -19: 2.2, -18: 1.5}) == 0


def test_a_sound_that_does_not_rise_out_of_music_before_it_begins_where_it_is_alike():
    """Music in time with the class is loud from 100 ms before each return on, each time another note."""
    beep = {0: 1.0, 1: 1.1, 2: 0.9, 3: 0.6, 4: 0.4}

    assert risen({-2: 0.0, **beep}, talk=dict.fromkeys(range(-13, 1), 1.0)) == -2


def test_a_sound_that_is_never_above_what_was_before_begins_where_it_is_alike():
    """In music that falls quiet one band after another rises alone: that was a traceback."""
    prints = np.zeros((900, N_BANDS), np.float32)
    steps = np.array([200, 500, 800])
    for lag in range(-24, 60):
        prints[steps + lag, 20] = 1.0 if lag < -12 else 1.05 if 0 <= lag < 5 else 0.0
        prints[steps + lag, 30] = 1.0 if lag < -12 else 1.05 if 6 <= lag < 11 else 0.0

    assert rises_at(prints, steps, 0, 30, np.ones(1001)) == 0


def test_a_room_that_is_quiet_before_each_return_is_no_part_of_the_sound():
    """Nobody talks from 0.6 s before each return on, and a room sounds the same whenever nobody does."""
    rng = np.random.default_rng(3)
    steps = np.arange(700, 5_000, 700)
    prints = rng.standard_normal((5_700, N_BANDS)).astype(np.float32)
    room = 0.3 * rng.standard_normal(N_BANDS).astype(np.float32)
    for step in steps:
        prints[step - 75 : step + 100] = room + 0.05 * rng.standard_normal((175, N_BANDS))
        prints[step : step + 40, 20:26] += np.linspace(4.0, 1.5, 40)[:, None]

    first, last, parts = begins_at(alike_around(prints, steps))

    assert -8 <= first <= 0
    assert 30 <= last <= 45
    assert parts == []


def test_a_soft_consonant_under_music_is_where_the_word_begins():
    """It is a tenth as high as the vowel 90 ms after it, and each return alone is as much music as word."""
    rng = np.random.default_rng(4)
    steps = np.arange(300, 6_000, 350)
    prints = rng.standard_normal((6_400, N_BANDS)).astype(np.float32)
    for step in steps:
        prints[step : step + 11, 30:50] += 1.2
        prints[step + 11 : step + 40, 8:30] += 6.0

    assert begins_softly(prints, steps + 11, 0) == -11
    assert begins_softly(prints, steps, 0) == 0
    # What is there for longer is no consonant.
    drone = prints.copy()
    drone[steps[:, None] + np.arange(-60, 11)] += 1.2
    assert begins_softly(drone, steps + 11, 0) == 0


def test_a_return_that_is_faint_in_all_bands_is_rare_in_those_of_the_sound():
    """Talk hides one of two returns in all bands but its own: it is the rarest place beside the clear one."""
    rng = np.random.default_rng(6)
    courses = (0.1 * rng.standard_normal((10_000, 2))).astype(np.float32)
    courses[2_000] = 0.9, 0.9
    courses[2_060] = 0.5, 0.5
    courses[7_000] = 0.3, 0.55

    places, scores = faint_returns(courses, np.array([2_000]))

    assert places[int(np.argmax(scores))] == 7_000
    assert not (np.abs(places - 2_000) * HOP_S < 4.0).any()
    assert 0.0 < min(scores) < max(scores) < SURE_BOUNDARY
    assert (np.diff(places) > 0).all()


def test_the_pips_of_a_countdown_are_no_company_of_its_end():
    """Pips a second apart lead up to a sound; what is between them and around is not alike, or is music."""
    alike = np.full(1001, 0.1)
    for at in (0, -125, -250, -375):
        alike[500 + at - 6 : 500 + at + 15] = 0.95
    first, last, parts = begins_at(alike)

    assert len(parts) == 4
    assert company_of(alike, parts) == pytest.approx(0.1)
    assert company_of(alike, [(first, last)]) > 0.15
    assert company_of(np.maximum(alike, 0.7), parts) > 0.6


def test_what_is_alike_for_a_moment_is_no_part_of_a_signal():
    """Under music few returns are alike by chance here and there for 30 ms: no stroke, no countdown."""
    alike = np.full(1001, 0.1)
    alike[496:518] = 0.75
    alike[[413, 414, 432, 433, 434, 435, 454, 455]] = 0.42
    alike[[662, 663]] = 0.4
    alike[[303, 304, 305]] = 0.42

    assert begins_at(alike) == (-4, 18, [])


def test_what_is_hardly_alike_is_no_tone_of_a_countdown():
    """A sweep is clearest after its onset; what is faintly alike 1.5 and 3 s later leads up to nothing."""
    alike = np.full(1001, 0.1)
    alike[494:516] = 0.37
    alike[525:638] = 0.96
    alike[[*range(690, 698), *range(872, 880)]] = 0.25

    first, last, parts = begins_at(alike)
    assert (first, last, parts) == (-6, 138, [])
    alike[[*range(690, 698), *range(872, 880)]] = 0.5
    assert len(begins_at(alike)[2]) == 3


def test_the_evidence_is_in_lengths_that_come_again():
    """Exact intervals are strong evidence, random ones speak against; a missing one costs little."""
    rng = np.random.default_rng(3)
    regular = np.cumsum([5.0, *[30, 15] * 6])
    random = np.cumsum([5.0, *rng.uniform(6, 40, 12)])

    assert evidence_of_ten(regular) > 15
    assert evidence_of_ten(random) < 0
    assert 10 < evidence_of_ten(np.delete(regular, 4)) < evidence_of_ten(regular)
    assert in_turn(np.array([30.0, 15, 30, 15, 45, 15, 22])).tolist() == [True] * 6 + [False]
    assert firsts(np.array([1.0, 1.3, 2.2, 9.0, 12.0, 20.0])).tolist() == [1.0, 9.0, 20.0]


def test_a_length_that_many_intervals_have_is_more_evidence_than_pairs_among_many():
    """Nine sets of 30 s and two cut ones outweigh thirty lengths by chance, of which half agree in pairs."""
    rng = np.random.default_rng(3)
    cut = np.cumsum([5.0, 27.2, 30, 30, 30, 28.4, *[30] * 6]) + rng.uniform(-0.006, 0.006, 12)
    in_pairs = np.cumsum(
        rng.permutation(np.concatenate([np.repeat(rng.uniform(5, 20, 10), 2), rng.uniform(5, 20, 15)]))
    )

    assert evidence_of_ten(cut) > 25 > 10 > evidence_of_ten(in_pairs)
    assert evidence_of_ten(cut[:4]) < 0.5 * evidence_of_ten(cut)


@pytest.mark.parametrize("speed", [1.0, 1.037, 0.96])
def test_whole_seconds_are_a_timers_though_no_length_comes_again(speed):
    """Sets of eight lengths, onsets to 15 ms, also played faster or slower; chance hardly ever comes near."""
    rng = np.random.default_rng(1)
    own = speed * np.cumsum([5.0, 37, 21, 44, 13, 29, 18, 48, 33]) + rng.uniform(-0.015, 0.015, 9)
    by_chance = [evidence_of_ten(np.cumsum(4 + rng.exponential(22.0, 9))) for _ in range(200)]

    assert evidence_of_ten(own) > 10
    assert np.quantile(by_chance, 0.98) < 2
    assert max(by_chance) < 8


@pytest.mark.parametrize("view", VIEWS)
def test_evidence_counts_again_where_the_surroundings_are_not_alike(view):
    """Of two sounds as regular and as clear, the one whose surroundings return with it is likely music."""
    alone, in_music = (
        view.confidence((2.0, 1.3, company, 3.4, 0.0, 2.0 * max(0.0, 1 - company), 1.2, 0.0))
        for company in (0.04, 1.4)
    )

    assert alone > LEAST_SOUND > 0.2 > in_music


def test_a_faint_return_counts_only_where_two_usual_lengths_meet():
    """Of what is faintly like the others, that which divides a double gap is taken, elsewhere nothing."""
    times = np.cumsum([5.0, 30, 15, 30, 45, 15, 30])
    faint = np.array([12.0, 91.0, 110.02, 118.0])

    assert faint_between(times, faint).tolist() == [110.02]
    assert faint_between(times, np.array([91.0])).tolist() == []


def test_a_return_heard_at_its_second_stroke_is_moved_to_its_first():
    """Where the interval before is too long and the next too short; not at a cut, nor for a stroke alone."""
    right = np.cumsum([5.0, 40, 40, 40, 40, 36.5, 40, 40, 40, 37.3, 40, 40])
    heard = right.copy()
    heard[[2, 7]] += 0.28

    assert settled(heard, np.sort([*right, *(right + 0.28)])).tolist() == pytest.approx(right.tolist())
    assert settled(right, right + 0.28).tolist() == right.tolist()


@pytest.mark.parametrize("by_s", [-9.0, -0.6, -0.3, 0.0, 0.3, 0.6, 9.0])
def test_scores_are_moved_by_any_time(by_s):
    """Beyond their own length of 0.4 s nothing is left of them: moved by 0.6 s, they were a traceback."""
    moved = shifted(np.ones(100, np.float32), by_s)
    assert moved.shape == (100,)
    assert moved.any() == (abs(by_s) < 0.4)


def test_a_recording_that_is_shorter_than_a_countdown_has_none():
    """Tones two seconds apart, as one that was pointed out had them, in a recording of seven seconds."""
    noise = np.random.default_rng(1).standard_normal(round(7.4 * 48_000)).astype(np.float32) * 1e-3
    beep = Beep(1200.0, 0.5, 3, 800.0, 0.12, 2.0)
    assert clear_and_faint(recording(noise), beep)[0] == []
