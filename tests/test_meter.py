"""The loudness meter against the cases its standards publish.

Cases: EBU Tech 3341 v4, table 1 (value from a secondary source), Tech 3342 v4, table 1 (primary text read).
Cases 7 and 8 are programme files of the EBU that may not be redistributed, and cannot be synthesised.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.base.errors import SignalError
from cuelane.meter import (
    Meter,
    clip_loudness_lufs,
    integrated_loudness_lufs,
    k_weight,
    k_weighting_sos,
)
from cuelane.meter.gating import loudness_range_lu

Array = npt.NDArray[np.float64]
RATE = 48_000
EBU_TOLERANCE_LU = 0.1


def steps(*parts: tuple[float, float], sample_rate: int = RATE, hertz: float = 1000.0) -> Array:
    """A phase-continuous stereo tone of (seconds, peak dBFS) parts; -inf is silence. Shape (n, 2)."""
    counts = [round(seconds * sample_rate) for seconds, _ in parts]
    amplitude = np.repeat([10 ** (level / 20) for _, level in parts], counts)
    tone = amplitude * np.sin(2 * np.pi * hertz * np.arange(sum(counts)) / sample_rate)
    return np.column_stack([tone, tone])


def measured(samples: Array, sample_rate: int = RATE, *, true_peak: bool = False) -> Meter:
    meter = Meter(sample_rate, samples.shape[1], true_peak=true_peak)
    meter.push(samples)
    return meter


def test_filters_at_48_khz_are_the_printed_tables() -> None:
    """K-weighting derived from the analogue sections equals the printed coefficients."""
    # BS.1770-5, Annex 1, tables 1 and 2 (value from a secondary source).
    printed = [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]

    assert np.abs(k_weighting_sos(48_000) - printed).max() < 1e-9


@pytest.mark.parametrize(
    ("hertz", "gain_db"), [(25, -10.393), (100, -1.1335), (997, 0.6910), (1000, 0.6977), (10_000, 4.042)]
)
def test_frequency_response_at_48_khz(hertz: float, gain_db: float) -> None:
    """The filter's gain is that computed from the printed coefficients."""
    from scipy.signal import sosfreqz

    _, response = sosfreqz(k_weighting_sos(48_000), worN=[hertz], fs=48_000)

    assert 20 * math.log10(abs(response[0])) == pytest.approx(gain_db, abs=5e-4)


@pytest.mark.parametrize(("sample_rate", "tolerance_lu"), [(22_050, 0.03), (44_100, 0.01), (96_000, 0.01)])
def test_other_rates_read_the_same_tone_alike(sample_rate: int, tolerance_lu: float) -> None:
    """A full-scale 997 Hz tone reads -3.01 LUFS at other rates too."""
    tone = np.sin(2 * np.pi * 997 * np.arange(5 * sample_rate) / sample_rate)

    assert integrated_loudness_lufs(tone, sample_rate) == pytest.approx(-3.01, abs=tolerance_lu)


def test_anchor_of_the_standard() -> None:
    """A full-scale 997 Hz tone in one front channel reads -3.01 LUFS."""
    # BS.1770-5, Annex 1 (value from a secondary source); 0.01 is our own, tighter than the cases' 0.1.
    tone = np.sin(2 * np.pi * 997 * np.arange(20 * RATE) / RATE)

    assert integrated_loudness_lufs(tone, RATE) == pytest.approx(-3.01, abs=0.01)


def test_partial_blocks_at_an_edge() -> None:
    """Five seconds of silence before the anchor tone cost exactly its part-filled blocks."""
    # Derived: 50 of the blocks hold some tone, 47 whole and three with 3/4, 2/4 and 1/4 of it (at -6 dB still
    # above the relative gate): 48.5 of 50.
    samples = steps((5, -math.inf), (5, 0.0), hertz=997)[:, :1]

    assert integrated_loudness_lufs(samples, RATE) == pytest.approx(
        -3.0103 + 10 * math.log10(48.5 / 50), abs=0.01
    )


CASES = {
    "1": ([(20, -23.0)], -23.0),
    "2": ([(20, -33.0)], -33.0),
    "3": ([(10, -36.0), (60, -23.0), (10, -36.0)], -23.0),
    "4": ([(10, -72.0), (10, -36.0), (60, -23.0), (10, -36.0), (10, -72.0)], -23.0),
    "5": ([(20, -26.0), (20.1, -20.0), (20, -26.0)], -23.0),
}


@pytest.mark.parametrize(("parts", "expected_lufs"), CASES.values(), ids=CASES.keys())
def test_integrated_loudness_reads_the_ebu_case(
    parts: list[tuple[float, float]], expected_lufs: float
) -> None:
    """Tech 3341 cases 1 to 5: integrated loudness, and momentary and short-term for the steady ones."""
    meter = measured(steps(*parts))

    assert meter.integrated_lufs == pytest.approx(expected_lufs, abs=EBU_TOLERANCE_LU)
    if len(parts) == 1:
        assert meter.momentary_lufs == pytest.approx(expected_lufs, abs=EBU_TOLERANCE_LU)
        assert meter.short_term_lufs == pytest.approx(expected_lufs, abs=EBU_TOLERANCE_LU)


@pytest.mark.parametrize(("soft_dbfs", "expected_lufs"), [(-32.5, -22.77), (-33.1, -20.0)])
def test_the_relative_gate_lies_10_lu_below_the_mean(soft_dbfs: float, expected_lufs: float) -> None:
    """A minute at -20 LUFS and a softer one have a mean near -22.8: what is softer than -32.8 is left out.

    By the definition of BS.1770 (value from a secondary source): the mean of -20 and -32.5 is
    -20 + 10 lg((1 + 10^-1.25) / 2) = -22.77, of which no part is 10 LU below; of -33.1 it is -22.80.
    """
    assert measured(steps((60, -20.0), (60, soft_dbfs))).integrated_lufs == pytest.approx(
        expected_lufs, abs=0.05
    )


def test_case_6_weighs_five_channels() -> None:
    """Tech 3341 case 6: L and R -28, C -24, Ls and Rs -30 dBFS read -23.0 LUFS."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(20 * RATE) / RATE)
    levels = np.array([-28.0, -28.0, -24.0, -30.0, -30.0])

    meter = measured(tone[:, np.newaxis] * 10 ** (levels / 20))

    assert meter.integrated_lufs == pytest.approx(-23.0, abs=EBU_TOLERANCE_LU)


@pytest.mark.parametrize(
    ("parts", "settled_s", "reading"),
    [
        ([(1.34, -20.0), (1.66, -30.0)] * 5, 3.0, "short_term"),
        ([(0.18, -20.0), (0.22, -30.0)] * 25, 1.0, "M"),
    ],
    ids=["9", "12"],
)
def test_alternating_levels_read_constant(
    parts: list[tuple[float, float]], settled_s: float, reading: str
) -> None:
    """Tech 3341 cases 9 and 12: short-term after 3 s and momentary after 1 s stay at -23.0 LUFS."""
    samples = steps(*parts)
    meter = Meter(RATE, 2)
    readings = []
    for start in range(0, len(samples), RATE // 100):
        meter.push(samples[start : start + RATE // 100])
        if start >= settled_s * RATE:
            readings.append(meter.short_term_lufs if reading == "short_term" else meter.momentary_lufs)

    assert len(readings) > 800
    assert min(readings) >= -23.0 - EBU_TOLERANCE_LU
    assert max(readings) <= -23.0 + EBU_TOLERANCE_LU


@pytest.mark.parametrize("i", range(20))
def test_short_burst_cases_10_and_11(i: int) -> None:
    """Tech 3341 cases 10 and 11: the maximum short-term loudness of a 3 s burst wherever it begins."""
    lead = (i * 0.15, -math.inf)
    file_case = measured(steps(lead, (3, -23.0), (1, -math.inf)))
    live_case = measured(steps(lead, (3, -38.0 + i), (3 - i * 0.15, -math.inf)))

    assert file_case.max_short_term_lufs == pytest.approx(-23.0, abs=EBU_TOLERANCE_LU)
    assert live_case.max_short_term_lufs == pytest.approx(-38.0 + i, abs=EBU_TOLERANCE_LU)


@pytest.mark.parametrize("i", range(20))
def test_short_burst_cases_13_and_14(i: int) -> None:
    """Tech 3341 cases 13 and 14: the maximum momentary loudness of a 400 ms burst wherever it begins."""
    lead = (i * 0.02, -math.inf)
    file_case = measured(steps(lead, (0.4, -23.0), (1, -math.inf)))
    live_case = measured(steps(lead, (0.4, -38.0 + i), (0.4 - i * 0.02, -math.inf)))

    assert file_case.max_momentary_lufs == pytest.approx(-23.0, abs=EBU_TOLERANCE_LU)
    assert live_case.max_momentary_lufs == pytest.approx(-38.0 + i, abs=EBU_TOLERANCE_LU)


RANGE_CASES = {
    "1": ([-20.0, -30.0], 10.0),
    "2": ([-20.0, -15.0], 5.0),
    "3": ([-40.0, -20.0], 20.0),
    "4": ([-50.0, -35.0, -20.0, -35.0, -50.0], 15.0),
}


@pytest.mark.parametrize(("levels", "expected_lu"), RANGE_CASES.values(), ids=RANGE_CASES.keys())
def test_range_reads_the_ebu_case(levels: list[float], expected_lu: float) -> None:
    """Tech 3342 cases 1 to 4: the loudness range, +-1 LU, and the same when the signal repeats."""
    parts = [(20.0, level) for level in levels]

    assert measured(steps(*parts)).range_lu == pytest.approx(expected_lu, abs=1.0)
    assert measured(steps(*parts, *parts)).range_lu == pytest.approx(expected_lu, abs=1.0)


def test_silence_reads_minus_infinity_and_never_nan() -> None:
    """Silence, or too little sound, reads -inf (range 0.0)."""
    for samples in (np.zeros((RATE, 2)), np.zeros((0, 2)), steps((0.39, -20.0))):
        meter = measured(samples)
        assert meter.integrated_lufs == -math.inf
        assert meter.max_momentary_lufs == -math.inf
        assert meter.max_short_term_lufs == -math.inf
        assert meter.range_lu == 0.0
    assert clip_loudness_lufs(np.zeros(RATE), RATE) == -math.inf
    assert clip_loudness_lufs(np.zeros(0), RATE) == -math.inf


def test_one_channel_reads_3_lu_below_its_stereo_copy() -> None:
    """BS.1770 sums channels: a mono file reads 3.01 LU below the same in two channels."""
    stereo = steps((5, -20.0))

    difference = measured(stereo).integrated_lufs - measured(stereo[:, :1]).integrated_lufs

    assert difference == pytest.approx(10 * math.log10(2), abs=1e-9)


@pytest.mark.parametrize("kind", ["f2", "<f4", ">f4", ">f8", "g"])
@pytest.mark.parametrize("n_channels", [1, 2])
def test_every_kind_of_float_reads_the_same(kind: str, n_channels: int) -> None:
    """Half, double and long double precision and foreign byte order are read for what they hold."""
    noise = (0.1 * np.random.default_rng(3).standard_normal((RATE, n_channels))).astype(kind)
    assert integrated_loudness_lufs(noise, RATE) == pytest.approx(
        integrated_loudness_lufs(noise.astype(np.float64), RATE), abs=1e-9
    )


@pytest.mark.parametrize("seconds", [0.05, 0.2, 0.399, 0.4, 0.401, 1.0, 2.345])
def test_clip_loudness_of_a_steady_tone_holds_at_every_length(seconds: float) -> None:
    """A steady tone reads one loudness whether shorter or longer than a block."""
    tone = steps((seconds, -20.0), hertz=997)[:, 0]

    # The filter starts from rest; its first milliseconds matter in a very short clip.
    assert clip_loudness_lufs(tone, RATE) == pytest.approx(-23.01, abs=0.1 if seconds < 0.1 else 0.03)


def test_clip_loudness_agrees_with_the_standard_on_long_clips() -> None:
    """On ten seconds of noise the clip reading and the integrated one differ by under 0.1 LU."""
    noise = np.random.default_rng(11).standard_normal(10 * RATE) * 0.05

    assert clip_loudness_lufs(noise, RATE) == pytest.approx(integrated_loudness_lufs(noise, RATE), abs=0.1)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(cuts=st.lists(st.integers(0, 3 * 22_050), max_size=12), sample_rate=st.sampled_from([22_050, 24_000]))
def test_any_blocks_read_as_one(cuts: list[int], sample_rate: int) -> None:
    """Pushing a stream in pieces of any size gives the readings of pushing it whole."""
    noise = (
        np.random.default_rng(3).standard_normal((3 * 22_050, 1))
        * np.linspace(0.01, 0.2, 3 * 22_050)[:, None]
    )
    whole, pieces = measured(noise, sample_rate, true_peak=True), Meter(sample_rate, 1)
    edges = [0, *sorted(cuts), len(noise)]
    for start, end in itertools.pairwise(edges):
        pieces.push(noise[start:end])

    for name in ("integrated_lufs", "max_momentary_lufs", "momentary_lufs", "range_lu", "true_peak_dbtp"):
        assert getattr(pieces, name) == pytest.approx(getattr(whole, name), abs=1e-9), name


def test_wrong_arrays_are_refused() -> None:
    """A wrong shape or a NaN is a fault of the caller, named as such."""
    with pytest.raises(SignalError, match=r"wants shape \(n_frames, 2\), got \(5, 1\)"):
        Meter(RATE, 2).push(np.zeros((5, 1)))
    with pytest.raises(SignalError, match="finite"):
        Meter(RATE, 1).push(np.full((5, 1), np.nan))
    with pytest.raises(SignalError, match="1, 2, 3, 5 or 6 channels, got 7"):
        Meter(RATE, 7)
    with pytest.raises(SignalError, match="from 8000 to 384000 Hz, got 4000"):
        k_weight(np.zeros(10), 4000)


def test_pyloudnorm_reads_the_same() -> None:
    """pyloudnorm agrees on speech-like noise within the 0.06 LU its own filter is off."""
    pyloudnorm = pytest.importorskip("pyloudnorm", reason="pyloudnorm is a test dependency")
    rng = np.random.default_rng(5)
    samples = rng.standard_normal((12 * RATE, 2)) * 0.1 * (1.2 + np.sin(np.arange(12 * RATE) / 9000))[:, None]

    assert measured(samples).integrated_lufs == pytest.approx(
        pyloudnorm.Meter(RATE).integrated_loudness(samples), abs=0.06
    )


def test_libebur128_reads_the_same() -> None:
    """libebur128 agrees on loudness to 0.02 LU, on range to 0.1 LU."""
    pyebur128 = pytest.importorskip("pyebur128", reason="pyebur128 has no wheel after Python 3.12")
    rng = np.random.default_rng(6)
    level = np.repeat([0.02, 0.2, 0.05, 0.1], 5 * RATE)[:, np.newaxis]
    samples = rng.standard_normal((20 * RATE, 2)) * level
    mode = pyebur128.MeasurementMode
    peer = pyebur128.R128State(2, RATE, mode.MODE_I | mode.MODE_LRA)
    peer.add_frames(samples.ravel(), len(samples))

    meter = measured(samples)

    assert meter.integrated_lufs == pytest.approx(pyebur128.get_loudness_global(peer), abs=0.02)
    assert meter.range_lu == pytest.approx(pyebur128.get_loudness_range(peer), abs=0.1)


@pytest.mark.parametrize(
    ("n", "low", "high"),
    # By hand, 1-based: round((n - 1) * 10 / 100 + 1) and round((n - 1) * 95 / 100 + 1).
    [(1, 1, 1), (3, 1, 3), (5, 1, 5), (6, 2, 6), (11, 2, 11), (16, 3, 15), (26, 4, 25)],
)
def test_the_range_takes_the_percentiles_that_the_standards_program_takes(
    n: int, low: int, high: int
) -> None:
    """EBU Tech 3342 v4, its program: the nearest of the sorted values, halves up, nothing in between.

    With 6, 16 and 26 values the tenth percentile lies half way between two: the upper one is taken.
    """
    powers = 1e-3 * (1 + np.arange(n) / n)
    expected = 10 * math.log10(powers[high - 1] / powers[low - 1])
    mixed = np.random.default_rng(n).permutation(powers)
    assert loudness_range_lu(mixed) == pytest.approx(expected, abs=1e-9)
