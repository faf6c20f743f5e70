"""Work and rest as a grid: from the boundaries that were heard, from a hint, and from what is said."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from children import run_command
from cuelane.adapt.analysis import analysis_of
from cuelane.adapt.beeps import search
from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.completing import completed
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN, Beep
from cuelane.adapt.beeps.mark import BoundaryMark
from cuelane.adapt.beeps.other_rounds import in_other_rounds_s
from cuelane.adapt.beeps.search import Structure, find_structure
from cuelane.adapt.beeps.timing_grid import SURE_GRID, Lengths, chain_by_hint, own_chain
from cuelane.adapt.report import doubts
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.said_times import SaidTime, SaidTimes, said_times
from cuelane.adapt.words.spoken_grid import by_words, grid_by_words
from test_adapt_sounds import TIMES_S, recording, talk, with_signal

# Sixteen boundaries of 40 s work and 20 s rest, the first at 12 s.
GRID_S = np.cumsum([12.0, *[40.0, 20.0] * 7, 40.0])


def heard(times_s) -> list[Boundary]:
    return [Boundary(float(t), 0.9) for t in times_s]


def places(found) -> list[float]:
    return [round(b.at_s, 2) for b in found.boundaries]


def test_what_was_not_heard_is_put_where_the_lengths_have_it():
    """Two in a row at most, each marked as not heard; the sum of a work and a rest alone does not tell."""
    left = np.delete(GRID_S, [3, 8, 9])

    found = completed(heard(left), [])

    assert places(found) == GRID_S.tolist()
    assert [b.at_s for b in found.boundaries if b.placed_by == "lengths"] == pytest.approx(GRID_S[[3, 8, 9]])
    assert places(completed(heard(GRID_S[::2]), [])) == GRID_S[::2].tolist()


def test_a_faint_return_is_taken_where_the_lengths_have_a_boundary():
    """Between two, before the first and after the last; never where the lengths have none."""
    left = np.delete(GRID_S, [0, 5, 15])
    faint = [Boundary(float(t), 0.4) for t in (*(GRID_S[[0, 5, 15]] + 0.02), 100.0, GRID_S[-1] + 33.0)]

    found = completed(heard(left), faint)

    assert np.abs(np.array(places(found)) - GRID_S).max() < 0.021
    assert all(b.placed_by == "sound" for b in found.boundaries)


def with_chance_returns(seed: int, rows: list[Boundary]) -> list[Boundary]:
    """Return `rows` and faint returns anywhere, one in two seconds, each of any score."""
    rng = np.random.default_rng(seed)
    at_s = rng.uniform(0, GRID_S[-1] + 60.0, 435)
    scores = rng.uniform(0, 0.6, 435)
    by_chance = [Boundary(float(t), float(score)) for t, score in zip(at_s, scores, strict=True)]
    return sorted([*rows, *by_chance], key=lambda boundary: boundary.at_s)


def test_a_hidden_boundary_is_put_in_where_a_clear_one_comes_beyond_it():
    """Talk hides the second boundary, not the first: both speak together, and chance hardly ever does."""
    found = []
    for seed in range(20):
        hidden = [Boundary(float(GRID_S[1]) + 0.01, 0.33), Boundary(float(GRID_S[0]) - 0.005, 0.595)]
        found.append(completed(heard(GRID_S[2:]), with_chance_returns(seed, hidden)))
    of_chance = [completed(heard(GRID_S[4:]), with_chance_returns(seed, [])) for seed in range(100)]

    n_whole = sum(np.abs(np.array(places(each))[:2] - GRID_S[:2]).max() < 0.02 for each in found)
    assert n_whole >= 18
    # Derived: 1 in 100 at each of two ends at most, 2 in 100, and three spreads of so rare a count.
    assert sum(len(each.boundaries) > len(GRID_S) - 4 for each in of_chance) <= 2 + 3 * 2**0.5


def test_faint_returns_tell_whether_a_long_interval_is_one():
    """Before the end of 30 and 15 comes a third 45: no boundary parts it unless something faint is there."""
    times = np.cumsum([12.0, *[30.0, 15.0] * 8])
    left = np.delete(times, [10, 12, 14])
    parting = [Boundary(float(t) + 0.01, 0.4) for t in times[[10, 12, 14]]]
    beside = [Boundary(float(t) + 0.01, 0.1) for t in np.arange(20.0, 370.0, 3.7)]

    found = completed(heard(left), sorted([*parting, *beside], key=lambda b: b.at_s))

    assert np.abs(np.array(places(found)) - times).max() < 0.03
    assert places(completed(heard(left), beside)) == np.delete(times, 14).tolist()


def test_what_is_faint_and_a_little_off_says_that_a_boundary_is_there():
    """Under talk a return seems up to 80 ms off: the boundary is there, and when, the lengths tell better."""
    faint = [Boundary(float(GRID_S[-1]) + off, 0.4) for off in (-0.06, 11.0)]
    farther = [Boundary(float(GRID_S[-1]) + 0.11, 0.4)]

    found = completed(heard(GRID_S[:-1]), faint)

    assert places(found) == GRID_S.tolist()
    assert (found.boundaries[-1].placed_by, found.boundaries[-1].score) == ("sound", 0.4)
    assert places(completed(heard(GRID_S[:-1]), farther)) == GRID_S[:-1].tolist()


def test_what_is_faint_and_everywhere_is_no_return():
    """Where something as faint comes every two seconds, one of them beside a place on the grid is chance."""
    left = np.delete(GRID_S, [0, 5, 15])
    faint = [Boundary(float(t), 0.4) for t in np.arange(0.02, 500.0, 2.0)]

    found = completed(heard(left), faint)

    assert places(found) == GRID_S[1:-1].tolist()
    assert [b.placed_by for b in found.boundaries if not b.is_heard] == ["lengths"]


def test_a_return_between_two_boundaries_is_left_out_and_told():
    """A sound that was shown once more inside a set ends no set."""
    found = completed(heard(np.sort([*GRID_S, 300.0])), [])

    assert places(found) == GRID_S.tolist()
    assert found.astray_s == (300.0,)


def test_faint_ones_do_not_hide_the_lengths_that_the_sure_ones_keep():
    """Seven that are faint and off the lengths are left out and told; a faint one that is on them stays."""
    off = [Boundary(float(t), 0.4) for t in GRID_S[:7] + np.array([9.1, 11.3, 14.1, 6.7, 17.9, 8.2, 12.6])]
    on = [Boundary(b.at_s, 0.4 if k == 5 else 0.9) for k, b in enumerate(heard(GRID_S))]

    found = completed(sorted([*on, *off], key=lambda b: b.at_s), [])

    assert places(found) == GRID_S.tolist()
    assert found.astray_s == tuple(b.at_s for b in off)


def test_where_only_rests_are_of_one_length_one_that_is_missing_is_put_between_sets():
    """Of 35 s and 25 s in a row the first holds a rest of 15 s, since sets of 20 s come, of 10 s not."""
    times = np.cumsum([6.0, 20, 15, 25, 15, 30, 15, 35, 15, 20, 15, 25, 15])
    cut = np.concatenate([times[:6], times[6:] - 4.0])

    found = completed(heard(np.delete(times, 9)), [])

    assert places(found) == times.tolist()
    assert [b.at_s for b in found.boundaries if b.placed_by == "lengths"] == [times[9]]
    assert places(completed(heard(cut), [])) == cut.tolist()
    assert places(completed(heard(np.delete(times, 4)), [])) == np.delete(times, 4).tolist()


def test_a_rest_that_is_missing_between_two_sets_is_where_something_faint_is_or_told():
    """Of two ends that were not heard, three rests are left: one is faint, of the other nothing is known."""
    times = np.cumsum([6.0, 20, 10, 25, 10, 30, 10, 35, 10, 20, 10])
    heard_of_it = heard(np.delete(times, [2, 8]))
    faint = [Boundary(float(times[2]), 0.4), Boundary(150.0, 0.4)]

    with_faint, without = completed(heard_of_it, faint), completed(heard_of_it, [])

    assert places(with_faint) == np.delete(times, 8).tolist()
    assert with_faint.no_rest_s == (times[7],)
    assert (places(without), without.no_rest_s) == (np.delete(times, [2, 8]).tolist(), (times[1], times[7]))
    assert completed(heard(times), []).no_rest_s == ()
    of_their_own = np.cumsum([6.0, 34, 34, 14, 32, 21, 17, 21, 30, 14, 34, 36])
    assert completed(heard(of_their_own), []).no_rest_s == ()


def test_a_boundary_at_a_cut_is_heard_though_its_interval_keeps_no_length():
    """Of a set of 40 s that was cut to 36.4 s the end is faint: the rest after it tells where."""
    times = GRID_S - np.where(np.arange(len(GRID_S)) > 0, 3.6, 0.0)
    beside = [Boundary(float(times[1]) + 0.01, 0.5), Boundary(float(times[6]) + 9.0, 0.4)]

    found = completed(heard(np.delete(times, 1)), beside)

    assert np.abs(np.array(places(found)) - times).max() < 0.011
    assert places(completed(heard(np.delete(times, 1)), beside[1:])) == np.delete(times, 1).tolist()


def test_faint_places_divide_no_intervals_that_have_lengths_of_their_own():
    """Of 60 classes whose sets each have a length of its own, with 150 faint places, 3 at most change."""
    rng = np.random.default_rng(12)
    changed = 0
    for _ in range(60):
        times = np.cumsum([8.0, *rng.integers(10, 50, 12)])
        ranked = rng.permutation(150)
        at_s = np.sort(rng.uniform(0, times[-1] + 10, 150))
        faint = [Boundary(float(t), 0.6 * (1 - k / 151)) for t, k in zip(at_s, ranked, strict=True)]
        faint = [b for b in faint if np.abs(times - b.at_s).min() >= 4.0]
        changed += len(completed(heard(times), faint).boundaries) != len(times)

    assert changed <= 3


LADDER_S = np.cumsum([12.0, *[20, 10, 25, 10, 30, 10, 35, 10] * 2])


@pytest.mark.parametrize("silent", [[10], [4, 11], [2, 7, 13]])
def test_what_was_not_heard_in_one_round_is_where_another_one_has_it(silent):
    """A ladder of sets is done twice: no two lengths explain it, the other round does."""
    found = completed(heard(np.delete(LADDER_S, silent)), [])

    assert places(found) == LADDER_S.tolist()
    assert [b.at_s for b in found.boundaries if b.placed_by == "lengths"] == LADDER_S[silent].tolist()


def test_a_long_set_is_not_divided_because_two_others_are_as_long_together():
    """In a pyramid 40 s is a set, though 30 s and a rest of 10 s are as long; and rounds must come again."""
    pyramid = np.cumsum([6.0, 20, 10, 30, 10, 40, 10, 30, 10, 20, 10, 20, 10, 30, 10, 40, 10, 30, 10, 20])
    own = np.cumsum([6.0, 31, 17, 44, 29, 12, 36, 48, 23, 17, 27, 41, 19])

    for times in (LADDER_S, pyramid, own):
        assert in_other_rounds_s(times) == []
        assert places(completed(heard(times), [])) == times.tolist()
    assert in_other_rounds_s(np.zeros(0)) == in_other_rounds_s(LADDER_S[:2]) == []


@pytest.mark.parametrize("sets_s", [[20, 30, 40, 30, 20], [30, 45, 60, 45, 30]])
def test_a_pyramid_is_not_taken_for_work_and_rest_in_turn(sets_s):
    """Its sets are sums of its shortest set and its rests; what was not heard is where the other round is."""
    times = np.cumsum([12.0, *[length for set_s in sets_s for length in (set_s, 10)] * 2])

    assert places(completed(heard(times), [])) == times.tolist()
    assert places(completed(heard(np.delete(times, 15)), [])) == times.tolist()


def test_a_longer_rest_between_rounds_is_no_set_that_was_not_heard():
    """Rounds of four sets of 30 s, rests of 15 s and 60 s between rounds, as long as two rests and a set."""
    times = np.cumsum([12.0, *([30, 15] * 3 + [30, 60]) * 4])[:-1]

    assert places(completed(heard(times), [])) == times.tolist()
    assert places(completed(heard(np.delete(times, 12)), [])) == times.tolist()
    twice = np.cumsum([12.0, *([40, 20] * 4 + [40, 60]) * 3])
    assert places(completed(heard(twice), [])) == twice.tolist()


@pytest.mark.parametrize("warm_up", [[30] * 4 + [45], [60] * 3 + [30], [30, 10] * 4 + [45], [30] * 5])
def test_a_warm_up_of_other_lengths_is_left_as_it_was_heard(warm_up):
    """Sums of its sets are as long as sums of the main part's 40 s and 20 s; before it and after it."""
    main = [40, 20] * 12
    before = np.cumsum([28.0, *warm_up, *main])
    after = np.cumsum([28.0, *main, *reversed(warm_up)])

    assert places(completed(heard(before), [])) == before.tolist()
    assert places(completed(heard(after), [])) == after.tolist()
    missing = np.delete(before, len(warm_up) + 9)
    assert places(completed(heard(missing), [])) == before.tolist()


def test_where_each_second_rest_is_missing_no_set_is_certain_and_none_is_guessed():
    """Two sets follow each other everywhere: there is none to measure them by, and each place is told."""
    times = np.cumsum([6.0, *[length for k in range(5) for length in (31.0 + 3 * k, 44.0 - 2 * k, 12.0)]])

    found = completed(heard(times), [])

    assert places(found) == times.tolist()
    assert len(found.no_rest_s) == 5


def test_unsure_boundaries_among_sure_ones_are_weighed_once():
    """Of 250 classes with unsure boundaries, some of them a set or a rest after another, each has an end."""
    for seed in range(250):
        rng = np.random.default_rng(seed)
        work, rest = int(rng.choice([20, 30, 40, 45])), int(rng.choice([10, 15, 20]))
        times = np.cumsum([12.0, *[work, rest] * int(rng.integers(5, 9))])
        times = np.delete(times, rng.choice(np.arange(1, len(times) - 1), int(rng.integers(0, 4)), False))
        anywhere = rng.uniform(times[0], times[-1], int(rng.integers(2, 8)))
        later = (
            times[rng.integers(0, len(times), 2)] + rng.choice([work, rest], 2) + rng.uniform(-0.03, 0.03, 2)
        )
        unsure = np.concatenate([anywhere, later])
        unsure = unsure[np.abs(unsure[:, None] - times[None]).min(axis=1) > 4]
        rows = [*heard(times), *(Boundary(float(t), float(rng.uniform(0.2, 0.55))) for t in unsure)]
        faint = [
            Boundary(float(t), float(rng.uniform(0, 0.2))) for t in np.sort(rng.uniform(0, times[-1], 40))
        ]

        found = completed(sorted(rows, key=lambda boundary: boundary.at_s), faint)

        assert places(found) == sorted(places(found))
        assert len(set(places(found)) & set(np.round(times, 2))) >= len(times) // 2


def test_a_report_says_where_no_rest_was_found_between_two_sets():
    """Of ends that were not heard the lengths around may all be usual ones, so that nothing else shows it."""
    times = np.cumsum([6.0, 20, 10, 25, 10, 30, 10, 35, 10, 20, 10])
    found = completed(heard(np.delete(times, [2, 8])), [])
    structure = Structure(Beep(900.0, 0.3), 0.9, found.boundaries, "", no_rest_s=found.no_rest_s)

    told = doubts(analysis_of(220.0, structure, [], [], [], [], ""))

    assert any("none was found beside 0:26.0, 2:26.0" in doubt for doubt in told)


def test_what_is_faint_and_off_the_lengths_at_an_end_is_left_out_and_told():
    """Before the first and after the last that keep the lengths a clear sound stays: a class may be cut."""
    after = float(GRID_S[-1]) + 8.0
    faint, clear = (completed([*heard(GRID_S), Boundary(after, score)], []) for score in (0.53, 0.9))

    assert (places(faint), faint.astray_s) == (GRID_S.tolist(), (after,))
    assert (places(clear), clear.astray_s) == ([*GRID_S.tolist(), after], ())


def test_a_cut_and_lengths_of_their_own_are_left_as_they_were_heard():
    """After a cut the grid begins anew; intervals that each have their own length have no grid."""
    cut = np.where(GRID_S > 200, GRID_S - 3.3, GRID_S)
    own = np.cumsum([12.0, *np.random.default_rng(5).uniform(12, 50, 14)])

    for times in (cut, own):
        found = completed(heard(times), [])
        assert places(found) == np.round(times, 2).tolist()
        assert all(b.is_heard for b in found.boundaries)


def test_chance_has_no_lengths():
    """Of 80 sets of 15 random times none keeps two lengths, and work and rest as a hint at most one."""
    rng = np.random.default_rng(9)
    sets = [np.cumsum(4 + rng.exponential(22.0, 15)) for _ in range(80)]

    assert sum(own_chain(times) is not None for times in sets) == 0
    assert sum(chain_by_hint(times, Lengths(40.0, 20.0)).evidence >= SURE_GRID for times in sets) <= 1


@pytest.mark.parametrize("speed", [1.0, 0.96, 1.05])
def test_a_hint_makes_the_whole_of_a_few_boundaries(speed):
    """Five of sixteen are enough if the lengths are known, also where it is played faster or slower."""
    left = GRID_S[[0, 1, 6, 11, 15]] * speed

    found = completed(heard(left), [], Lengths(40.0, 20.0))

    assert np.abs(np.array(places(found)) - GRID_S * speed).max() < 0.03
    assert completed(heard(left), []).boundaries == tuple(heard(left))


def test_a_hint_picks_the_sound_that_keeps_it(monkeypatch):
    """Four bells of nine are too few to be found alone; with work and rest the whole class is there."""
    sound = with_signal("bell")
    for number, time_s in enumerate(TIMES_S[[1, 2, 4, 5, 7]]):
        # Talk of elsewhere, each time from sooner on: silences that end at one distance would return too.
        start, n = round((float(time_s) - 0.2 - 0.15 * number) * 48_000), 96_000 + 9_600 * number
        sound[start : start + n] = talk()[start + 240_000 : start + 240_000 + n]
    made = recording(sound)
    marks = search.find_marks(made)
    monkeypatch.setattr(search, "find_marks", lambda *_: list(marks))
    alone, hinted = find_structure(made), find_structure(made, lengths=Lengths(16.0, 9.0))

    assert alone.confidence < SURE_COUNTDOWN
    assert hinted.confidence >= SURE_COUNTDOWN
    assert hinted.how == "because it returns at the work and rest that were given"
    assert np.abs(np.array([b.at_s for b in hinted.boundaries]) - TIMES_S).max() < 0.03
    assert sum(b.is_sure for b in hinted.boundaries) >= 4


class Heard(BoundaryMark):
    """A mark whose boundaries are where it says, whatever the recording holds."""

    def measured(self, _recording):
        return self.beep

    def boundaries(self, _recording, _beep):
        return heard(self.times_s), []


def test_what_a_hint_displaced_is_told_among_the_alternatives(monkeypatch):
    """The sound that was likelier without work and rest, with a place of its own; not the one chosen."""
    likelier = Heard(Beep(880.0, 0.3), 0.9, tuple(np.cumsum([9.0, *[31.0, 17.0] * 8]).tolist()))
    keeps = Heard(Beep(1320.0, 0.5), 0.5, tuple(GRID_S.tolist()))
    monkeypatch.setattr(search, "find_marks", lambda *_: [likelier, keeps])

    found = find_structure(recording(np.zeros(48_000, np.float32)), lengths=Lengths(40.0, 20.0))

    assert found.beep == keeps.beep
    assert [one.description for one in found.alternatives] == [likelier.beep.describe()]
    assert found.alternatives[0].beep_at_s in np.round(likelier.times_s, 1)
    assert np.abs(GRID_S - found.alternatives[0].beep_at_s).min() > 1.0


def test_a_wrong_hint_is_said_and_what_was_heard_is_kept():
    """Work and rest of another class change nothing but what the report says."""
    found = find_structure(recording(with_signal("bell")), lengths=Lengths(50.0, 25.0))

    assert found.lengths_left_aside
    assert np.abs(np.array([b.at_s for b in found.boundaries]) - TIMES_S).max() < 0.03
    assert (found.lengths.work_s, found.lengths.rest_s) == pytest.approx((16.0, 9.0), abs=0.02)


def spoken(rows: list[tuple[float, str]]) -> list[PlacedWord]:
    """Return the words of (time, text), three a second."""
    return [
        PlacedWord(word, at_s + k / 3, at_s + k / 3 + 0.3, 0)
        for at_s, text in rows
        for k, word in enumerate(text.split())
    ]


def called(seed: int = 3) -> list[tuple[float, str]]:
    """Return what is said in a class of 40 s and 20 s without a sound: up to a second early or late."""
    rng = np.random.default_rng(seed)
    rows = [(2.0, "Welcome to the class.")]
    for number, start in enumerate(GRID_S[:-1:2].tolist()):
        late = rng.uniform(-0.5, 0.9, 4)
        rows += [(start + late[0], "And go."), (start + 14.0, "Keep your back long.")]
        if number % 2:
            rows.append((start + 30.0 + late[1], "Ten seconds left."))
        rows += [(start + 40.4 + late[2], "And rest."), (start + 46.0, "Next we do the rest of the squats.")]
    return sorted(rows)


def test_what_is_said_about_time_is_read():
    """Calls of work, rest and what is left; not what only holds the same words."""
    said = said_times(
        spoken(
            [
                (10.0, "And go."),
                (40.0, "Ten seconds left."),
                (50.0, "Thirty seconds rest."),
                (60.0, "After this rest we go on."),
                (64.0, "Do all the rest of it and let it go"),
                (70.0, "Ten seconds."),
                (90.0, "We work for forty seconds."),
                (99.0, "Don't stop."),
                (104.0, "Now in for four seconds."),
            ]
        )
    )

    assert [(round(one.at_s), one.begins) for one in said.times] == [
        (10, "work"), (50, "either"), (50, "rest"), (80, "either"),
    ]  # fmt: skip
    assert (said.work_s, said.rest_s) == ({40}, {30})


def test_half_of_a_set_and_the_last_one_are_read():
    """Half of the time, not half way down; the set that is the last one, not the last ten seconds or rep."""
    rows = [
        (10.0, "That's halfway."),
        (30.0, "Go halfway down and hold."),
        (50.0, "Half way there, swap feet."),
        (70.0, "Okay, last one."),
        (90.0, "Last ten seconds."),
        (110.0, "This is the final exercise."),
        (130.0, "The last one was harder."),
        (150.0, "Give me one last push."),
    ]
    said = said_times(spoken(rows))

    assert [round(one.at_s) for one in said.times if one.begins == "half"] == [10, 50]
    assert [round(at_s) for at_s in said.last_s] == [70, 110]


def test_half_of_each_set_makes_no_boundary_and_weighs_for_those_that_are_said():
    """Eight calls of half alone give nothing; beside some of the others they make the same grid surer."""
    halves = [(float(start) + 20.5, "You're halfway.") for start in GRID_S[:-1:2]]
    few = called()[:12]
    lengths = Lengths(40.0, 20.0)

    alone = grid_by_words(said_times(spoken(halves)), 600.0, lengths)
    without = grid_by_words(said_times(spoken(few)), 600.0, lengths)
    beside = grid_by_words(said_times(spoken(sorted([*few, *halves]))), 600.0, lengths)

    assert alone is None
    assert without is not None
    assert beside is not None
    # No set beyond those that are called, though the halves go on to the end of the class.
    assert places(beside) == places(without)
    assert beside.n_on_time == without.n_on_time + len(halves)
    assert beside.confidence > without.confidence


def test_a_set_that_is_called_the_last_one_has_an_end():
    """Where nothing is said after "and go" the last set is one if it was announced as the last."""
    rows = [row for row in called() if row[0] < GRID_S[-2] + 2]
    told_last = sorted([*rows, (float(GRID_S[-2]) - 5.0, "Right, last one.")])
    early = sorted([*rows, (float(GRID_S[4]) - 5.0, "Right, last one.")])
    lengths = Lengths(40.0, 20.0)

    plain, last, other = (
        grid_by_words(said_times(spoken(one)), 600.0, lengths) for one in (rows, told_last, early)
    )

    assert plain is not None
    assert last is not None
    assert other is not None
    assert (len(plain.boundaries), len(last.boundaries)) == (len(GRID_S) - 1, len(GRID_S))
    # The last one of a round, and of a round only.
    assert len(other.boundaries) == len(plain.boundaries)


def test_words_and_a_hint_fix_a_class_without_a_sound():
    """Every boundary within a second, none beyond the class, and sure enough to be used."""
    made = grid_by_words(said_times(spoken(called())), 600.0, Lengths(40.0, 20.0))

    assert made is not None
    assert len(made.boundaries) == len(GRID_S)
    assert np.abs(np.array([b.at_s for b in made.boundaries]) - GRID_S).max() < 1.0
    assert made.confidence >= SURE_COUNTDOWN
    assert {b.placed_by for b in made.boundaries} == {"words"}


def test_without_rests_the_set_before_the_first_call_belongs_to_the_class():
    """Of sets of 30 s without rests only what is left is said: the first set begins before its first call."""
    starts = np.arange(12.0, 12.0 + 30.0 * 9, 30.0)
    said = said_times(spoken([(float(start) + 20.0, "Ten seconds left.") for start in starts[:-1]]))

    made = grid_by_words(said, 400.0, Lengths(30.0, 0.0))

    assert made is not None
    assert [b.at_s for b in made.boundaries] == pytest.approx(starts, abs=1.0)


def test_words_alone_give_a_guess_with_its_lengths():
    """Without a hint the lengths are found too, and called a guess."""
    made = grid_by_words(said_times(spoken(called())), 600.0)

    assert made is not None
    assert made.lengths == Lengths(40.0, 20.0)
    assert np.abs(np.array([b.at_s for b in made.boundaries]) - GRID_S).max() < 1.0
    assert made.confidence < SURE_COUNTDOWN


def test_a_hint_that_words_do_not_keep_gives_nothing():
    """Work and rest of another class have no phase at which most calls are on time; nor has chance."""
    said = said_times(spoken(called()))
    rng = np.random.default_rng(4)
    kinds = ("work", "rest")
    random = [
        SaidTimes(
            tuple(
                SaidTime(t, 1.3, kinds[k % 2])
                for k, t in enumerate(np.sort(rng.uniform(0, 600, 16)).tolist())
            ),
            frozenset(),
            frozenset(),
        )
        for _ in range(60)
    ]

    assert grid_by_words(said, 600.0, Lengths(45.0, 30.0)) is None
    assert sum(grid_by_words(one, 600.0, Lengths(40.0, 20.0)) is not None for one in random) <= 1
    assert sum(grid_by_words(one, 600.0) is not None for one in random[:20]) == 0


def heard_once(times_s) -> Structure:
    """Return what is known of a class of 40 s and 20 s from one sound a minute and the lengths alone."""
    found = completed(heard(times_s), [], Lengths(40.0, 20.0))
    return Structure(
        None,
        0.9,
        found.boundaries,
        "",
        lengths=Lengths(40.0, 20.0),
        astray_s=found.astray_s,
        tells_apart=found.chain.tells_apart,
    )


def told(once: Structure) -> Structure:
    assert not once.tells_apart
    return by_words(once, said_times(spoken(called())), 600.0, Lengths(40.0, 20.0))


@pytest.mark.parametrize("first", [0, 1])
def test_words_tell_whether_a_lone_sound_begins_work_or_rest(first):
    """One sound a minute: with 40 s and 20 s the others are where they are called, the first and last too."""
    once = heard_once(GRID_S[first::2])
    untold = by_words(once, said_times([]), 600.0, Lengths(40.0, 20.0))
    cut_off = by_words(once, said_times(spoken(called())), float(GRID_S[-2]) + 20.0, Lengths(40.0, 20.0))

    assert places(told(once)) == GRID_S.tolist()
    assert untold == once
    assert places(cut_off) == (GRID_S[:-1] if first == 0 else GRID_S).tolist()


def test_a_lone_sound_that_ends_the_class_begins_no_set():
    """Nine sounds, eight works called: after the last sound there is talk for minutes, but no work.

    Where hardly any work is called, the last sound may as well begin one.
    """
    sounds = [*GRID_S[::2], GRID_S[-1] + 20.0]
    some = [row for row in called() if not 70.0 < row[0] < 370.0]

    ended = told(heard_once(sounds))
    open_ended = by_words(heard_once(sounds), said_times(spoken(some)), 600.0, Lengths(40.0, 20.0))

    assert places(ended) == [*GRID_S, GRID_S[-1] + 20.0]
    assert places(open_ended) == [*GRID_S, GRID_S[-1] + 20.0, GRID_S[-1] + 60.0]


@pytest.mark.parametrize("first", [0, 1])
def test_a_lone_sound_that_is_missed_loses_no_set(first):
    """Two in a row and one alone were not heard: each of their works and rests is there, and told."""
    found = told(heard_once(np.delete(GRID_S[first::2], [2, 3, 5])))

    assert places(found) == GRID_S.tolist()
    assert sum(b.is_heard for b in found.boundaries) == 5


def test_a_lone_sound_off_the_grid_is_left_out_and_told():
    """Before the class, within a set and after it: none of them is a boundary, also as the first of all."""
    found = told(heard_once(np.sort([5.0, *GRID_S[::2], 219.0, 590.0])))

    assert places(found) == GRID_S.tolist()
    assert found.astray_s == (5.0, 219.0, 590.0)


def test_a_lone_sound_after_a_cut_stays_in_doubt():
    """Where the grid begins anew, what was said before does not tell what the sound begins there."""
    times = GRID_S[::2].copy()
    times[4:] -= 13.0
    once = heard_once(times)

    assert told(once) == once


def test_an_option_that_has_no_use_is_said_to_have_none(tmp_path):
    """With captions nobody hears words, nor does `check` without --words."""
    captions = tmp_path / "class.vtt"
    adapt = ["adapt", "none.wav", "--out", str(tmp_path / "out"), "--captions", str(captions)]

    first = run_command(*adapt, "--recogniser", "light")
    second = run_command("check", str(tmp_path / "none.wav"), "--recogniser", "light")

    assert "--recogniser: not used, since the words come from --captions" in first.stderr
    assert "--recogniser: not used, since no words are heard; add --words" in second.stderr
    assert "--recogniser" not in run_command(*adapt).stderr


@pytest.mark.parametrize(
    ("given", "status", "said"),
    [
        (["--work", "50s", "--rest", "25s"], 1, "that were given (--work, --rest) are not used"),
        (["--work", "50s"], 2, "--work: expected --rest beside it"),
        (["--work", "2s", "--rest", "0"], 2, "expected lengths of 4 s to 30 min, got 2 s and 0 s"),
        (["--work", "soon", "--rest", "0"], 2, "--work: expected a duration"),
    ],
)
def test_the_command_takes_work_and_rest(tmp_path, given, status, said):
    """Lengths of another class are said, and end with 1; what is no length is refused."""
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(48_000 * 112).astype(np.float32) * 3e-4
    for time_s in TIMES_S:
        start = round(float(time_s) * 48_000)
        sound[start : start + 12_000] += 0.2 * np.sin(2 * np.pi * 1_300 * np.arange(12_000) / 48_000)
    soundfile.write(tmp_path / "class.wav", sound, 48_000)
    (tmp_path / "class.txt").write_text("0:24 Rest now.\n", encoding="utf-8")
    command = ["adapt", str(tmp_path / "class.wav"), "--out", str(tmp_path / "out")]

    ran = run_command(*command, "--captions", str(tmp_path / "class.txt"), *given)

    assert ran.returncode == status
    assert said in ran.stdout + ran.stderr
