"""The onset rule, on signals whose onset is known by construction."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.audio.clip import audible_span, content_hash, pcm24_bytes, quantise24
from cuelane.base.errors import SignalError

RATE = 48_000
HALF_WINDOW = 120


def test_a_burst_is_heard_within_half_a_window() -> None:
    """A burst of constant level begins and ends where it does, to 2.5 ms."""
    track = np.zeros(RATE)
    track[10_000:20_000] = 0.5
    onset, end = audible_span(track, RATE)
    assert abs(onset - 10_000) <= HALF_WINDOW
    assert abs(end - 20_000) <= HALF_WINDOW


def test_a_click_is_one_window_wide() -> None:
    """A single sample is audible over the window centred on it."""
    track = np.zeros(RATE)
    track[5_000] = 1.0
    onset, end = audible_span(track, RATE)
    assert onset <= 5_000 < end
    assert end - onset == 2 * HALF_WINDOW


@pytest.mark.parametrize(("below_db", "heard"), [(34.0, True), (36.0, False)])
def test_the_range_is_35_db(below_db: float, heard: bool) -> None:
    """What is 34 dB under the loudest counts as audible, what is 36 dB under does not."""
    track = np.zeros(RATE)
    track[20_000:30_000] = 0.5
    track[10_000:15_000] = 0.5 * 10 ** (-below_db / 20)
    onset, _ = audible_span(track, RATE)
    assert (onset < 15_000) is heard


@given(gain=st.floats(1e-3, 1.0), shift=st.integers(0, 5_000))
def test_gain_and_delay_change_nothing_else(gain: float, shift: int) -> None:
    """The span does not depend on level, and moves with the signal."""
    burst = np.random.default_rng(7).standard_normal(4_000) * np.hanning(4_000)
    onset, end = audible_span(np.concatenate([np.zeros(1_000), burst, np.zeros(1_000)]), RATE)
    moved = audible_span(np.concatenate([np.zeros(1_000 + shift), gain * burst, np.zeros(1_000)]), RATE)
    assert moved == (onset + shift, end + shift)


def test_silence_has_no_span() -> None:
    """Silence, and nothing at all, have the empty span."""
    assert audible_span(np.zeros(100), RATE) == (0, 0)
    assert audible_span(np.zeros(0), RATE) == (0, 0)


@pytest.mark.parametrize("samples", [np.zeros((10, 1)), np.array([0.0, np.nan])])
def test_a_wrong_array_is_our_own_fault(samples: np.ndarray) -> None:
    """Two dimensions or NaN raise SignalError."""
    with pytest.raises(SignalError, match="audible_span wants"):
        audible_span(samples, RATE)


def test_pcm24_is_little_endian_and_clipped() -> None:
    """Known values: zero, one step, minus one, and over full scale."""
    samples = np.array([0.0, 2**-23, -1.0, 2.0], dtype=np.float32)
    assert pcm24_bytes(samples) == bytes.fromhex("000000 010000 000080 ffff7f")


@given(st.lists(st.floats(-1, 1, width=32), max_size=50))
def test_quantising_is_exact_and_settles(values: list[float]) -> None:
    """Quantised samples are within half a step, stay as they are, and hash alike."""
    samples = np.array(values, dtype=np.float32)
    once = quantise24(samples)
    assert np.all(np.abs(once - samples) <= 2**-23)
    assert np.array_equal(quantise24(once), once)
    assert content_hash(once) == content_hash(samples)
