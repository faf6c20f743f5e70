"""Silence under check: hardly any work is done on it, and what is found elsewhere stays the same."""

from __future__ import annotations

import numpy as np
import pytest
import soxr

from cuelane.check.analysis_stream import AnalysisStream
from cuelane.check.intake import ANALYSIS_RATE
from cuelane.check.pips import tone_search
from cuelane.check.pips.tone_search import PipKind, ToneSearch
from cuelane.check.speech import phrase_search
from cuelane.check.speech.phrase_search import PhraseHit, PhraseSearch
from cuelane.check.templates import Template

MINUTES = 12


def phrase() -> np.ndarray:
    """Return 1.5 s of noise whose level changes 20 times, as speech does; shape (24000,), 16 kHz."""
    rng = np.random.default_rng(11)
    levels = np.repeat(rng.uniform(0.02, 0.3, 20), 1200)
    return np.asarray(rng.standard_normal(24_000) * levels, dtype=np.float32)


def hits(sound: np.ndarray) -> list[PhraseHit]:
    """Return what a search for the phrase finds in `sound`, pushed five seconds at a time."""
    search = PhraseSearch([Template("k", "Rest.", "clip", phrase(), ANALYSIS_RATE)])
    for first in range(0, len(sound), 5 * ANALYSIS_RATE):
        search.push(sound[first : first + 5 * ANALYSIS_RATE])
    search.finish()
    return search.candidates


def test_cues_are_not_sought_in_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """A silent file makes no features at all, however long it is."""
    lengths: list[int] = []
    made = phrase_search.features
    monkeypatch.setattr(phrase_search, "features", lambda x: (lengths.append(len(x)), made(x))[1])

    assert hits(np.zeros(MINUTES * 60 * ANALYSIS_RATE, np.float32)) == []
    assert lengths == []


def test_silence_left_out_changes_nothing_that_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """One phrase amid silence: far fewer stretches are searched, and every hit is the same bit for bit."""
    sound = np.zeros(MINUTES * 60 * ANALYSIS_RATE, np.float32)
    at = 400 * ANALYSIS_RATE + 37
    sound[at : at + 24_000] = phrase()
    calls: list[int] = []
    made = phrase_search.features
    monkeypatch.setattr(phrase_search, "features", lambda x: (calls.append(len(x)), made(x))[1])

    short = hits(sound)
    n_short = len(calls)
    calls.clear()
    monkeypatch.setattr(phrase_search, "_is_silent", lambda _sound: False)
    whole = hits(sound)

    assert short == whole
    assert max(short, key=lambda hit: hit.score).time_s == pytest.approx(at / ANALYSIS_RATE, abs=0.01)
    # The template, and at most the two stretches that share the phrase.
    assert n_short <= 3
    assert len(calls) > 2 * n_short


def test_pips_are_not_sought_in_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """No band is cut out of a silent file."""
    calls: list[float] = []
    made = tone_search.band_of
    monkeypatch.setattr(
        tone_search, "band_of", lambda s, n, hz, n_out: (calls.append(hz), made(s, n, hz, n_out))[1]
    )
    search = ToneSearch([PipKind(880.0, 0.1)])
    for _ in range(MINUTES):
        search.push(np.zeros(60 * ANALYSIS_RATE, np.float32))
    search.finish()

    assert search.tones == []
    assert calls == []


@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100, 48_000, 96_000, 384_000])
def test_silence_passed_over_moves_nothing(rate: int) -> None:
    """Bursts amid silences of chance, in blocks of chance: what the library alone gives, sample for sample.

    The library then filters by transforms that begin elsewhere, in single precision: each of some 20 stages
    rounds by up to 6e-8 of the largest value, forth and back, which leaves 1e-5 of the loudest sample.
    """
    rng = np.random.default_rng(rate)
    parts = []
    for seconds in (2.3, 0.4, 5.1, 1.2):
        silence = np.zeros(int(rate * seconds) + int(rng.integers(1_000)), np.float32)
        parts += [silence, rng.uniform(-0.5, 0.5, int(rng.integers(10, rate // 4))).astype(np.float32)]
    sound = np.concatenate([*parts, np.zeros(2 * rate + 17, np.float32)])
    alone = soxr.ResampleStream(rate, ANALYSIS_RATE, 1, dtype="float32", quality="HQ")
    ours, made, whole = AnalysisStream(rate, ANALYSIS_RATE), [], []
    filtered = []
    start = 0
    while start < len(sound):
        block = sound[start : start + int(rng.integers(1, rate))]
        start += len(block)
        last = start >= len(sound)
        before = ours.n_filtered
        made.append(ours.push(block, last=last))
        whole.append(np.asarray(alone.resample_chunk(block, last=last)))
        filtered.append(ours.n_filtered - before)
    assert np.concatenate(made).shape == np.concatenate(whole).shape
    assert np.abs(np.concatenate(made) - np.concatenate(whole)).max() < 1e-5 * np.abs(sound).max()
    assert sum(filtered) < 0.9 * len(sound)
