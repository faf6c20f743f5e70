"""Pips: their pattern, pitch, level and edges."""

from __future__ import annotations

import math

import numpy as np
import pyloudnorm
import pytest

import soundkit
from cuelane.audio.pip_specs import PipSpec, pip_for, shortened
from cuelane.audio.tones import k_weighting_db, render_pip
from cuelane.base.errors import SignalError
from cuelane.base.schedule import Event, Schedule
from cuelane.meter import true_peak_dbtp
from cuelane.render import mix

KINDS = ("work", "rest", "change", "talk", "in", "hold", "out", "hold_out", "end")
RATES = (48_000, 44_100, 22_050, 16_000)
EVERY = [
    (kind, role)
    for kind in ("work", "rest", "in", "hold", "out", "hold_out")
    for role in ("short", "long", "turn")
]


def _rendered(spec: PipSpec, rate: int = 48_000) -> np.ndarray:
    return render_pip(spec.role, spec.frequency_hz, spec.n_frames, rate)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize(("kind", "role"), EVERY)
def test_first_and_last_sample_are_heard_at_24_bits(kind: str, role: str, rate: int) -> None:
    """A pip's onset is its sample 0 and its end one past its last, also when played 6 dB softer."""
    spec = pip_for(kind, role, rate)

    whole = np.rint(_rendered(spec, rate).astype(np.float64) * 10 ** (-6 / 20) * 2**23)

    assert len(whole) == spec.n_frames
    assert whole[0] != 0
    assert whole[-1] != 0


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("kind", ["work", "rest"])
def test_a_shortened_pip_is_the_longest_of_whole_periods_that_fits(kind: str, rate: int) -> None:
    """It ends a whole number of periods after it began, to the sample, and is heard there."""
    spec = pip_for(kind, "long", rate)
    period = rate / spec.frequency_hz
    assert shortened(spec, spec.n_frames, rate) == spec
    for most_frames in (*range(math.ceil(period) + 2, rate // 50), rate // 10, spec.n_frames - 1):
        short = shortened(spec, most_frames, rate)
        n_periods = round((short.n_frames - 1) / period)
        assert abs(short.n_frames - 1 - n_periods * period) <= 0.5
        assert short.n_frames <= most_frames < round((n_periods + 1) * period) + 1
        assert _rendered(short, rate)[[0, -1]].all()
    with pytest.raises(SignalError, match="does not fit into"):
        shortened(spec, math.floor(period), rate)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", ["short", "long", "turn"])
def test_pitches_are_equal_tempered_and_a_phone_gives_them(kind: str, role: str) -> None:
    """Every pitch is within a cent of a note of A4 = 440 Hz, between 600 Hz and 4 kHz.

    Source: ISO 16:1975 (value from a secondary source).
    """
    frequency_hz = pip_for(kind, role).frequency_hz

    semitones = 12 * math.log2(frequency_hz / 440)
    assert abs(semitones - round(semitones)) * 100 < 1
    assert 600 <= frequency_hz <= 4_000


def test_work_and_rest_differ_in_pitch_and_length() -> None:
    """No pip into work is within two semitones of its like into rest, and the long ones differ in length."""
    for role in ("short", "long"):
        work, rest = pip_for("work", role), pip_for("rest", role)
        assert abs(12 * math.log2(work.frequency_hz / rest.frequency_hz)) > 2
    assert pip_for("work", "long").frequency_hz > pip_for("work", "short").frequency_hz
    assert pip_for("rest", "long").frequency_hz < pip_for("rest", "short").frequency_hz
    assert pip_for("rest", "long").n_frames > 1.2 * pip_for("work", "long").n_frames


def test_a_countdown_has_the_pattern_of_the_time_signal() -> None:
    """Short pips of 0.1 s start exactly a second apart, and the mark is the start of the one long pip.

    Source: the Greenwich Time Signal, five pips of 0.1 s and one of 0.5 s (value from a secondary source).
    """
    starts = [second * 48_000 for second in range(6)]
    specs = [pip_for("work", "short")] * 5 + [pip_for("work", "long")]
    events = tuple(
        Event(f"e{i}", "pip", spec.role, 0, start, start + spec.n_frames, frequency_hz=spec.frequency_hz)
        for i, (start, spec) in enumerate(zip(starts, specs, strict=True))
    )
    signal = Schedule("Signal", "en", 48_000, 6 * 48_000, (), events)

    sound = np.concatenate(list(mix.blocks(signal, lambda _: np.zeros(0, np.float32), gain_db=0.0)))[:, 0]
    audible = np.flatnonzero(sound)
    gaps = np.flatnonzero(np.diff(audible) > 1_000)
    found = [int(audible[0]), *(int(audible[gap + 1]) for gap in gaps)]
    ends = [*(int(audible[gap]) + 1 for gap in gaps), int(audible[-1]) + 1]

    assert found == starts
    assert [round((end - start) / 48_000, 2) for start, end in zip(found, ends, strict=True)] == [0.1] * 5 + [
        0.5
    ]


@pytest.mark.parametrize(("kind", "role"), EVERY)
def test_a_pip_does_not_splatter(kind: str, role: str) -> None:
    """Less than a millionth of the energy lies more than 400 Hz from the tone and its harmonic.

    The bound is ours; 5 to 10 ms raised-cosine ramps against clicks are common practice, no source.
    """
    spec = pip_for(kind, role)
    power = np.abs(np.fft.rfft(_rendered(spec), 1 << 17)) ** 2
    frequency = np.fft.rfftfreq(1 << 17, 1 / 48_000)
    near = (np.abs(frequency - spec.frequency_hz) < 400) | (np.abs(frequency - 2 * spec.frequency_hz) < 400)

    assert power[~near].sum() / power.sum() < 1e-6


@pytest.mark.parametrize("kind", ["work", "rest"])
def test_a_long_pip_is_as_loud_as_the_speech(kind: str) -> None:
    """pyloudnorm reads a long pip within 0.2 LU of the clips' -20 LUFS; no peak comes near -7 dBTP."""
    sound = _rendered(pip_for(kind, "long")).astype(np.float64)
    meter = pyloudnorm.Meter(48_000, block_size=0.4)

    # 0.4 s blocks need steady sound: the middle, told often enough.
    steady = np.tile(sound[2_400:-2_400], 4)

    assert meter.integrated_loudness(steady) == pytest.approx(-20.0, abs=0.2)
    assert true_peak_dbtp(sound[:, np.newaxis]) < -14


def test_short_pips_are_raised_and_phase_tones_are_softer() -> None:
    """A 0.1 s pip sounds 2.0 dB above its long-tone level; a breath's tone at least 4 dB below speech."""
    short = _rendered(pip_for("work", "short"))
    middle = short[960:-960].astype(np.float64)
    level = 10 * math.log10(np.mean(middle**2)) + k_weighting_db(880.0) - 0.691
    soft = _rendered(pip_for("in", "long")).astype(np.float64)
    loudest = max(float(np.mean(soft[i : i + 4_800] ** 2)) for i in range(0, len(soft) - 4_800, 480))

    assert level + 20.0 == pytest.approx(-10 * math.log10(1 - math.exp(-1)), abs=0.1)
    assert 10 * math.log10(loudest) + k_weighting_db(1046.5) - 0.691 < -23.9


def test_k_weighting_is_the_standards() -> None:
    """K-weighting at 1 kHz and 100 Hz is what BS.1770's coefficients give (computed from the tables)."""
    assert k_weighting_db(1_000.0) == pytest.approx(0.6977, abs=1e-3)
    assert k_weighting_db(100.0) == pytest.approx(-1.1335, abs=1e-3)


def test_a_template_made_elsewhere_fits() -> None:
    """A cosine with 6 ms edges made in the tests correlates to over 0.99 with the program's pip."""
    spec = pip_for("rest", "short")
    ours, theirs = _rendered(spec), soundkit.own_pip(spec.frequency_hz, spec.n_frames, 48_000)

    assert float(ours @ theirs / np.sqrt((ours @ ours) * (theirs @ theirs))) > 0.99


def test_wrong_calls_are_faults() -> None:
    """An unknown role, a pitch too high for the rate or a phase tone into work is a fault of the caller."""
    with pytest.raises(SignalError, match="role is one of"):
        pip_for("work", "loud")
    with pytest.raises(SignalError, match="only breath phases"):
        pip_for("work", "phase")
    with pytest.raises(SignalError, match="at least 8000 Hz"):
        pip_for("work", "short", 4_000)
    with pytest.raises(SignalError, match="cannot render"):
        render_pip("short", 9_000.0, 400, 16_000)
