"""Sounds under drums: to rise in the same bands each time is no likeness, and a signal among it is found."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import fractional_matrix_power

from cuelane.adapt.beeps import returning as module
from cuelane.adapt.beeps.boundary_sound import returning_sounds
from cuelane.adapt.beeps.fingerprint import HOP_S, N_BANDS, UsualBands

TIMES_S = np.cumsum([7.0, *[25.0, 14.0] * 4])
SIGNAL = [14, 15, 37, 38, 52]


def drums(rng: np.random.Generator, seconds: float) -> np.ndarray:
    """Return fingerprints, shape (n, 64), of three drums, struck at random in all bands, and of a room."""
    prints = rng.uniform(0, 0.3, (round(seconds / HOP_S), N_BANDS))
    falls = np.exp(-np.arange(40) / 12)[:, None]
    kinds = [rng.uniform(0, 1, N_BANDS) for _ in range(3)]
    for _ in range(round(seconds * 5)):
        at = int(rng.integers(len(prints) - 40))
        prints[at : at + 40] += rng.uniform(0.5, 2.0) * falls * kinds[int(rng.integers(3))]
    return prints.astype(np.float32)


def with_signal(rng: np.random.Generator, height: float) -> np.ndarray:
    """Return drums with the same signal, in five bands, at each of `TIMES_S`."""
    prints = drums(rng, 170.0)
    for time_s in TIMES_S:
        step = round(time_s / HOP_S)
        prints[step : step + 20, SIGNAL] += height * np.exp(-np.arange(20) / 12)[:, None]
    return prints.astype(np.float32)


def n_right(times_s: np.ndarray) -> int:
    return int((np.abs(times_s[:, None] - TIMES_S).min(axis=1) < 0.05).sum())


def test_whitening_is_the_inverse_root_of_how_bands_move_together():
    """ZCA whitening is the covariance to the power of -1/2 (Kessy, Lewin and Strimmer 2018; from memory).

    scipy takes that power in another way, by Schur and Padé. The covariance has 0.3 of its mean added.
    """
    prints = drums(np.random.default_rng(1), 60.0)
    usual = UsualBands.of(prints)
    apart = usual.apart(prints).astype(np.float64)
    power = apart.T @ apart / len(apart)
    power += 0.3 * np.trace(power) / N_BANDS * np.eye(N_BANDS)

    reference = fractional_matrix_power(power, -0.5)

    # Entries are at most 2, and each is rounded to 24 bits; the covariance of n products errs by more.
    assert np.abs(usual.whitening - reference).max() < 1e-4
    assert np.abs(usual.white(prints) - apart @ reference).max() < 1e-3


def test_a_template_tells_a_signal_as_well_as_theory_says():
    """In noise of covariance R a signal s is told from none by s' R^-1 s, squared distance over variance.

    Kay, Fundamentals of Statistical Signal Processing II, 1998, section 4.4; value from memory. Without
    whitening it is (s' s)^2 / s' R s, which is less.
    """
    rng = np.random.default_rng(2)
    together = np.eye(N_BANDS) + 8.0 * np.ones((N_BANDS, N_BANDS)) / N_BANDS * 4
    noise = rng.multivariate_normal(np.zeros(N_BANDS), together, 20_000).astype(np.float32)
    usual = UsualBands.of(noise)
    signal = np.zeros(N_BANDS)
    signal[:16] = 3.0
    told = []
    for course in (usual.apart, usual.white):
        quiet, loud = course(noise), course((noise + signal).astype(np.float32))
        template = (loud - quiet).mean(axis=0)
        without, by = quiet @ template, (loud - quiet) @ template
        told.append(float(by.mean() ** 2 / without.var()))
    scale = np.diag(1 / usual.spread)
    own, spread = scale @ signal, scale @ together @ scale
    plain = (own @ own) ** 2 / (own @ spread @ own)
    best = own @ np.linalg.solve(spread, own)
    lifted = spread + 0.3 * np.trace(spread) / N_BANDS * np.eye(N_BANDS)
    weights = np.linalg.solve(lifted, own)
    as_lifted = (weights @ own) ** 2 / (weights @ spread @ weights)

    # A variance of 20,000 values is known to 1 %, and 64 of them are in the covariance.
    assert told[0] == pytest.approx(plain, rel=0.05)
    assert told[1] == pytest.approx(as_lifted, rel=0.05)
    assert 2 * plain < as_lifted <= best


@pytest.mark.parametrize("seed", [0, 1])
def test_a_signal_is_found_under_drums_of_its_bands(seed):
    """Of nine returns at half the height of a usual stroke all are found, and nothing else."""
    best, *_ = returning_sounds(with_signal(np.random.default_rng(seed), 0.5))

    assert n_right(np.array(best.times_s)) == len(best.times_s) == len(TIMES_S)
    assert best.confidence > 0.8


def test_the_likest_together_know_better_what_they_have_in_common():
    """Each of twelve onsets is a signal in noise three times as strong; 300 others are noise alone."""
    rng = np.random.default_rng(4)
    rows = rng.standard_normal((312, 768)) / np.sqrt(768) * 3
    rows[:12] += (signal := rng.standard_normal(768)) / np.linalg.norm(signal)
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    alike = (rows @ rows.T).astype(np.float32)
    alone, joined = np.zeros(12), np.zeros(12)
    for own in range(12):
        for right, course in ((alone, alike[own]), (joined, module._joined(alike, alike[own], 6))):
            right[own] = (np.argsort(-course)[:12] < 12).sum()

    assert joined.mean() > alone.mean() + 2
    # What is joined is a mean of unit vectors, itself of norm 1.
    assert module._joined(alike, alike[0], 6).max() <= 1 + 1e-5
