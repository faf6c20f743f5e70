"""True peak against EBU Tech 3341 cases 15 to 23 and the filter that ITU-R BS.1770-5 prints (values from a
secondary source), and against Kaiser's formula for how long a filter must be."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import lfilter

from cuelane.base.errors import SignalError
from cuelane.meter import TruePeak, true_peak_dbtp
from cuelane.meter.products import product
from cuelane.meter.true_peak import HALF_LENGTH, REACH, interpolation_taps, step_share

Array = npt.NDArray[np.float64]
RATE = 48_000
UPPER_DB, LOWER_DB = 0.2, 0.4


def faded_tone(fraction: float, amplitude: float, phase_deg: float) -> Array:
    """A second of a sine at `fraction` of the rate with 10 ms raised-cosine ends, shape (n, 1)."""
    tone = amplitude * np.sin(2 * np.pi * fraction * np.arange(RATE) + math.radians(phase_deg))
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(480) / 480)
    tone[:480] *= ramp
    tone[-480:] *= ramp[::-1]
    return tone[:, np.newaxis]


# fraction of the rate, amplitude (full scale), phase, expected dBTP; +0.2/-0.4 dB.
TONES = {
    "15": (1 / 4, 0.50, 0.0, -6.0),
    "16": (1 / 4, 0.50, 45.0, -6.0),
    "17": (1 / 6, 0.50, 60.0, -6.0),
    "18": (1 / 8, 0.50, 67.5, -6.0),
    "19": (1 / 4, 1.41, 45.0, 3.0),
}


@pytest.mark.parametrize(("fraction", "amplitude", "phase_deg", "expected"), TONES.values(), ids=TONES.keys())
def test_tone_reads_the_ebu_case(
    fraction: float, amplitude: float, phase_deg: float, expected: float
) -> None:
    """Cases 15 to 19: the meter is inside the EBU's band."""
    reading = true_peak_dbtp(faded_tone(fraction, amplitude, phase_deg))

    assert expected - LOWER_DB <= reading <= expected + UPPER_DB


@pytest.mark.parametrize("offset", [0, 1, 2, 3], ids=["20", "21", "22", "23"])
def test_burst_between_the_samples_reads_the_ebu_case(offset: int) -> None:
    """Cases 20 to 23: one louder period, made at four times the rate and decimated at each offset."""
    from scipy.signal import fftconvolve, firwin

    # fs/6 at 0.50, holding one period of fs/4 at 1.00, phase-continuous; time in samples at 4 fs.
    before = 0.50 * np.sin(2 * np.pi * np.arange(24 * 400) / 24)
    period = 1.00 * np.sin(2 * np.pi * np.arange(16) / 16)
    made = np.concatenate([before, period, before])
    lowpass = firwin(511, 0.45 / 2, window=("kaiser", 8.0))
    made = fftconvolve(made, lowpass, mode="same")
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(1920) / 1920)
    made[:1920] *= ramp
    made[-1920:] *= ramp[::-1]

    reading = true_peak_dbtp(made[offset::4, np.newaxis])

    assert -LOWER_DB <= reading <= UPPER_DB


def response_db(taps: Array, frequency_hz: float) -> Array:
    """What each filter, shape (n, n_taps), does to a tone at 48 kHz, in dB, shape (n,)."""
    turns = np.exp(-2j * np.pi * frequency_hz / RATE * np.arange(taps.shape[1]))
    return np.asarray(20 * np.log10(np.abs(taps @ turns)))


@pytest.mark.parametrize("frequency_hz", [100, 1_000, 5_000, 10_000, 15_000, 18_000, 20_000])
def test_every_point_between_samples_is_flat_up_to_20_khz(frequency_hz: float) -> None:
    """Up to the highest pitch that people hear, within the ripple of a Kaiser window of beta 6.

    Kaiser's formula (J. F. Kaiser, 1974; value from memory): beta = 0.1102 (A - 8.7), so A = 63.1 dB and a
    ripple of 10 ** (-63.1 / 20), or 0.006 dB; half as much again for the scaling to a sum of one.
    """
    ripple = 10 ** (-(6.0 / 0.1102 + 8.7) / 20)
    assert np.abs(response_db(interpolation_taps(4), frequency_hz)).max() <= 1.5 * 20 * math.log10(1 + ripple)


def test_the_filter_is_as_long_as_its_task_asks() -> None:
    """Kaiser's formula, by SciPy: flat to 20 kHz, and away from 28 kHz, where the image of 20 kHz lies."""
    from scipy.signal import kaiserord

    # The width is in parts of half the rate. A window from one sample to another that covers n + 1 samples
    # covers n where it begins between two.
    n_taps, beta = kaiserord(6.0 / 0.1102 + 8.7, (28_000 - 20_000) / (RATE / 2))
    assert beta == pytest.approx(6.0)
    assert interpolation_taps(4).shape == (3, n_taps - 1)


# ITU-R BS.1770-5, Annex 2: two of the four phases of its 48 coefficients; the others are these reversed.
PRINTED = np.array([
    [0.0017089843750, 0.0109863281250, -0.0196533203125, 0.0332031250000, -0.0594482421875, 0.1373291015625,
     0.9721679687500, -0.1022949218750, 0.0476074218750, -0.0266113281250, 0.0148925781250, -0.0083007812500],
    [-0.0291748046875, 0.0292968750000, -0.0517578125000, 0.0891113281250, -0.1665039062500, 0.4650878906250,
     0.7797851562500, -0.2003173828125, 0.1015625000000, -0.0582275390625, 0.0330810546875, -0.0189208984375],
])  # fmt: skip


@pytest.mark.parametrize("frequency_hz", [100, 1_000, 4_000, 8_000, 12_000, 16_000, 18_000, 20_000])
def test_the_printed_filter_reads_the_same_peak(frequency_hz: float) -> None:
    """Of a tone up to 20 kHz, as near as the printed filter's own response is to 0 dB there."""
    phases = np.concatenate([PRINTED, PRINTED[::-1, ::-1]])
    tone = faded_tone(frequency_hz / RATE, 0.5, 20.0)
    points = np.abs([np.convolve(tone[:, 0], taps) for taps in phases])
    printed_dbtp = 20 * math.log10(points.max())

    off_db = float(np.abs(response_db(phases, frequency_hz)).max())
    assert off_db < 0.25, "the printed table was copied wrongly"
    # Besides, each takes the highest of points at places of its own, up to an eighth of a sample off a crest.
    between_db = -20 * math.log10(math.cos(math.pi * frequency_hz / RATE / 4))
    assert true_peak_dbtp(tone) == pytest.approx(printed_dbtp, abs=off_db + min(between_db, 0.1) + 0.01)


def test_peak_of_pieces_is_the_peak_of_the_whole() -> None:
    """Interpolating only where the peak could rise, and in pieces, loses nothing."""
    from scipy.signal import resample_poly

    rng = np.random.default_rng(8)
    noise = rng.standard_normal((20_000, 2)) * np.linspace(0.2, 0.6, 20_000)[:, np.newaxis]
    follower = TruePeak(2)
    for start in range(0, len(noise), 777):
        follower.push(noise[start : start + 777])

    assert 20 * math.log10(follower.peak) == pytest.approx(true_peak_dbtp(noise), abs=1e-12)
    # SciPy's own interpolator is another filter: noise differs between any two by some tenths.
    other = 20 * math.log10(np.abs(resample_poly(noise, 4, 1, axis=0)).max())
    assert true_peak_dbtp(noise) == pytest.approx(other, abs=0.5)


@pytest.mark.parametrize("smoothing", [0.0, 0.5, 0.9, 0.99])
def test_pruning_changes_no_reading(smoothing: float) -> None:
    """The peak equals that of every interpolated point, the long way; with much treble or little."""
    rng = np.random.default_rng(9)
    noise = lfilter([1 - smoothing], [1, -smoothing], rng.standard_normal(5_000))
    noise *= np.abs(np.sin(np.arange(5_000) / 300))
    padded = np.concatenate([np.zeros(REACH - 1), noise, np.zeros(REACH - 1)])
    everything = [np.abs(np.correlate(padded, taps, mode="valid")).max() for taps in interpolation_taps(4)]
    expected = 20 * math.log10(max(*everything, np.abs(noise).max()))

    assert true_peak_dbtp(noise[:, np.newaxis]) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("oversampling", [2, 4, 8])
def test_no_point_lies_further_outside_its_neighbours_than_the_steps_allow(oversampling: int) -> None:
    """On random sounds; and one sound, made of steps against each tap, lies as far outside as that."""
    share, windows = step_share(oversampling), np.random.default_rng(3).standard_normal((500, REACH))
    outside = []
    for point, taps in enumerate(interpolation_taps(oversampling), 1):
        fraction = point / oversampling
        line = np.zeros(REACH)
        line[HALF_LENGTH - 1 : HALF_LENGTH + 1] = 1 - fraction, fraction
        steps = -np.sign(np.cumsum(taps - line)[:-1])
        worst = np.concatenate([[0.0], np.cumsum(steps)])
        outside.append(abs(worst @ taps - worst @ line))
        for near in (windows, np.cumsum(windows, axis=1)):
            neighbours = np.abs(near[:, HALF_LENGTH - 1 : HALF_LENGTH + 1]).max(axis=1)
            step = np.abs(np.diff(near)).max(axis=1)
            assert (np.abs(near @ taps) <= neighbours + share * step * (1 + 1e-12)).all()
    assert max(outside) == pytest.approx(share, rel=1e-12)


@pytest.mark.parametrize("n_rows", [0, 1, 33, 34, 35, 340, 341])
def test_a_product_in_parts_is_the_product(n_rows: int) -> None:
    """Whatever the number of rows; each value to the rounding of a sum of 63 terms in double precision."""
    rng = np.random.default_rng(n_rows)
    rows, matrix = rng.standard_normal((n_rows, 63)), rng.standard_normal((63, 120))
    bound = 63 * np.finfo(np.float64).eps * (np.abs(rows) @ np.abs(matrix))

    made = product(rows, matrix)

    assert made.shape == (n_rows, 120)
    assert (np.abs(made - np.einsum("nk,km->nm", rows, matrix)) <= bound).all()


def test_libebur128_reads_the_same_peak() -> None:
    """libebur128 agrees on a tone to 0.1 dB and on noise to 0.5 dB."""
    pyebur128 = pytest.importorskip("pyebur128", reason="pyebur128 has no wheel after Python 3.12")
    noise = np.random.default_rng(2).standard_normal((RATE, 1)) * 0.1
    for samples, tolerance_db in ((faded_tone(1 / 8, 0.5, 67.5), 0.1), (noise, 0.5)):
        peer = pyebur128.R128State(1, RATE, pyebur128.MeasurementMode.MODE_TRUE_PEAK)
        peer.add_frames(samples.ravel(), len(samples))
        expected = 20 * math.log10(pyebur128.get_true_peak(peer, 0))
        assert true_peak_dbtp(samples) == pytest.approx(expected, abs=tolerance_db)


def test_silence_and_wrong_arrays() -> None:
    """Silence reads -inf; a wrong shape or NaN is refused."""
    assert true_peak_dbtp(np.zeros((100, 1))) == -math.inf
    assert true_peak_dbtp(np.zeros((0, 2))) == -math.inf
    with pytest.raises(SignalError, match=r"got \(4,\)"):
        true_peak_dbtp(np.zeros(4))
    with pytest.raises(SignalError, match="finite"):
        true_peak_dbtp(np.full((4, 1), np.inf))
