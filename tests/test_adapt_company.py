"""Signals under music that is played over again: what returns with its surroundings is music."""

from __future__ import annotations

import numpy as np
import pytest

from cuelane.adapt.beeps.boundary_sound import LEAST_SOUND, BoundarySound, fullest, returning_sounds
from cuelane.adapt.beeps.company import surroundings, with_company
from cuelane.adapt.beeps.fingerprint import HOP_S, N_BANDS, UsualBands
from cuelane.adapt.beeps.returning import Onsets, returning
from cuelane.adapt.beeps.sound_template import SoundTemplate
from cuelane.adapt.beeps.sound_view import AS_IT_IS

LOOP_S = 20.48
TIMES_S = np.cumsum([7.0, *[25.0, 14.0] * 4])


def struck(rng: np.random.Generator, prints: np.ndarray, times_s: np.ndarray, sound: np.ndarray) -> None:
    """Add `sound`, shape (n, 64), to `prints`, shape (m, 64), at each of `times_s`, 0.8 to 1.2 times."""
    for step in np.round(times_s / HOP_S).astype(int):
        here = prints[step : step + len(sound)]
        here += sound[: len(here)] * rng.uniform(0.8, 1.2)


def notes(rng: np.random.Generator, seconds: float, per_s: float) -> np.ndarray:
    """Return music, shape (n, 64): notes of a few bands that fall off, at random times."""
    prints = np.zeros((round(seconds / HOP_S), N_BANDS), np.float32)
    for _ in range(round(seconds * per_s)):
        at, band = int(rng.integers(len(prints) - 40)), int(rng.integers(N_BANDS - 4))
        prints[at : at + 40, band : band + 4] += rng.uniform(0.5, 1.5) * np.exp(-np.arange(40) / 15)[:, None]
    return prints


def under_a_loop(seed: int) -> np.ndarray:
    """Return eight turns of one loop, apart from what is usual, with the same signal at `TIMES_S`."""
    rng = np.random.default_rng(seed)
    prints = np.tile(notes(rng, LOOP_S, 6.0), (8, 1))
    prints += rng.uniform(0, 0.1, prints.shape).astype(np.float32)
    signal = np.zeros((20, N_BANDS), np.float32)
    signal[:, [14, 15, 37, 38, 52]] = 2.5 * np.exp(-np.arange(20) / 12)[:, None]
    struck(rng, prints, TIMES_S, signal)
    return UsualBands.of(prints).apart(prints)


def n_right(times_s: np.ndarray) -> int:
    return int((np.abs(times_s[:, None] - TIMES_S[None, :]).min(axis=1) < 0.05).sum())


def test_what_is_played_over_again_has_company_and_a_signal_has_none():
    """Moments a turn of the loop apart have it, signals have not; nothing is its own company."""
    prints = under_a_loop(1)
    turn = round(LOOP_S / HOP_S)
    steps = np.sort(np.concatenate([1000 + turn * np.arange(5), np.round(TIMES_S / HOP_S).astype(int)]))
    is_loop = np.isin(steps, 1000 + turn * np.arange(5))

    company = with_company(surroundings(prints, steps), np.arange(len(steps)))

    assert company[np.ix_(is_loop, is_loop)].sum() == 5 * 4
    assert not company[np.ix_(~is_loop, ~is_loop)].any()
    assert not company.diagonal().any()


def test_pips_before_a_signal_and_its_tail_are_no_company():
    """Three pips lead up to each return of a gong that rings for two seconds, in talk that is never alike."""
    rng = np.random.default_rng(2)
    prints = notes(rng, 8 * LOOP_S, 6.0)
    gong = np.zeros((250, N_BANDS), np.float32)
    gong[:, 8:24] = 2.0 * np.exp(-np.arange(250) / 120)[:, None]
    pip = np.zeros((12, N_BANDS), np.float32)
    pip[:, 30:33] = 2.0
    struck(rng, prints, TIMES_S, gong)
    for before_s in (1.0, 2.0, 3.0):
        struck(rng, prints, TIMES_S - before_s, pip)
    steps = np.round(TIMES_S / HOP_S).astype(int)

    assert with_company(surroundings(prints, steps), np.arange(len(steps))).mean() < 0.1


def test_quiet_is_no_company():
    """What a codec leaves of a quiet room falls off the same way before and after each signal."""
    rng = np.random.default_rng(5)
    prints = np.zeros((8_000, N_BANDS), np.float32)
    steps = np.arange(1_000, 7_000, 1_200)
    left = notes(rng, 8.0, 6.0)
    for step in steps:
        prints[step - 500 : step + 500] += left
    prints = UsualBands.of(prints).apart(prints)

    assert with_company(surroundings(prints, steps), np.arange(len(steps))).sum() == 5 * 4
    assert not with_company(surroundings(0.1 * prints, steps), np.arange(len(steps))).any()


@pytest.mark.parametrize("seed", [1, 3])
def test_a_signal_is_found_under_a_loop_whose_every_note_returns_in_time(seed):
    """All notes of the loop return every 20.48 s; the sets that they propose were all that was looked at."""
    prints = under_a_loop(seed)
    sets = returning(Onsets.of(prints), prints, AS_IT_IS)

    assert max(n_right(one.steps * HOP_S) / len(one.steps) for one in sets) == 1.0
    best = returning_sounds(prints)[0]
    assert n_right(np.array(best.times_s)) == len(best.times_s) >= len(TIMES_S) - 1


def heard(times_s: np.ndarray, sign: float, *, is_countdown: bool = False) -> BoundarySound:
    """Return a sound heard at `times_s`, the surer the higher `sign`: how far its returns exceed others."""
    prints = np.zeros((10, N_BANDS), np.float32)
    features = (1.5, sign, 0.2, 3.5, 0.0, 1.2, 1.2, 0.0)
    times = tuple(times_s.tolist())
    like = (0.9,) * len(times)
    template = SoundTemplate(prints, prints)
    return BoundarySound(
        template,
        UsualBands.of(prints),
        AS_IT_IS,
        0.0,
        0.2,
        900.0,
        times,
        like,
        0.8,
        0.5,
        features,
        is_countdown,
        None,
        0.0,
    )


def test_of_two_templates_of_one_sound_the_one_with_more_returns_is_taken():
    """A shorter template hears two returns more, hardly less surely; another sound, or an unsure one, not."""
    one, more = heard(TIMES_S[:7], 3.5), heard(TIMES_S, 3.2)
    other, unsure = heard(np.append(TIMES_S + 4.0, 170.0), 3.4), heard(np.append(TIMES_S, 170.0), 0.5)

    assert one.confidence > more.confidence > LEAST_SOUND > unsure.confidence
    assert fullest(one, [one, other, more, unsure]) is more
    assert fullest(unsure, [one, unsure]) is unsure
    assert fullest(more, [one, other, more]) is more


def test_a_pip_of_a_countdown_is_not_its_end_however_sure_it_is():
    """The pip 2.4 s before the end is the surest sound; what comes 2.4 s before now and then is another."""
    pip, end = heard(TIMES_S - 2.4, 3.5), heard(TIMES_S, 3.0, is_countdown=True)
    now_and_then = heard(np.sort(np.append(TIMES_S[:5] - 2.4, TIMES_S[5:] - 6.0)), 3.5)
    hidden_now_and_then = heard(TIMES_S - 2.4 + np.where(np.arange(len(TIMES_S)) % 3 == 1, 0.8, 0.0), 3.5)

    assert pip.leads_up_to(end)
    assert hidden_now_and_then.leads_up_to(end)
    assert not heard(TIMES_S + 1.0, 3.5).leads_up_to(end)
    assert not end.leads_up_to(pip)
    assert not now_and_then.leads_up_to(end)
    assert not pip.leads_up_to(heard(TIMES_S, 3.0))
    assert not pip.leads_up_to(heard(TIMES_S, 0.5, is_countdown=True))
    seems_an_end = heard(TIMES_S - 1.0, 3.5, is_countdown=True)
    assert seems_an_end.leads_up_to(end)
    assert not end.leads_up_to(seems_an_end)
    much_surer, hardly_sure = heard(TIMES_S - 2.4, 4.0), heard(TIMES_S, 1.6, is_countdown=True)
    assert hardly_sure.confidence > LEAST_SOUND
    assert not much_surer.leads_up_to(hardly_sure)


def test_what_always_comes_after_a_surer_sound_is_a_part_of_it():
    """A bell's tail or a background that comes back 1.5 s after it; what is surer may be the boundary."""
    bell, tail = heard(TIMES_S, 3.5), heard(TIMES_S + 1.5, 2.0)

    assert bell.confidence > tail.confidence > LEAST_SOUND
    assert tail.trails(bell)
    assert not bell.trails(tail)
    assert not heard(TIMES_S + 1.5, 3.6).trails(bell)
    assert not heard(TIMES_S + np.arange(len(TIMES_S)) * 0.3 + 0.5, 2.0).trails(bell)
    assert not heard(TIMES_S - 1.5, 2.0).trails(bell)
