"""Time conversions: exact, to the nearest sample, and as people write durations."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuelane.base.units import format_clock, format_duration, parse_duration_ms, to_ms, to_sample


def test_a_time_that_binary_floats_get_wrong() -> None:
    """0.29 s at 48 kHz is sample 13920; int(0.29 * 48000) is 13919."""
    assert to_sample(290, 48_000) == 13_920
    assert int(0.29 * 48_000) == 13_919


def test_an_hour_of_ten_millisecond_steps_is_exact() -> None:
    """Every 10 ms of an hour lands on its own sample at 48 kHz, 480 apart, with no drift."""
    assert all(to_sample(10 * k, 48_000) == 480 * k for k in range(360_000))


@given(time_ms=st.integers(0, 86_400_000), rate=st.sampled_from([8_000, 22_050, 44_100, 48_000, 96_000]))
def test_the_nearest_sample_is_the_nearest(time_ms: int, rate: int) -> None:
    """The sample is within half a sample of the time, by exact fractions; a half rounds up."""
    error = to_sample(time_ms, rate) - Fraction(time_ms * rate, 1000)
    assert -Fraction(1, 2) < error <= Fraction(1, 2)


@given(time_ms=st.integers(0, 86_400_000), rate=st.sampled_from([8_000, 44_100, 48_000]))
def test_milliseconds_survive_a_round_trip(time_ms: int, rate: int) -> None:
    """At any rate above 1 kHz, milliseconds to samples and back are the same milliseconds."""
    assert to_ms(to_sample(time_ms, rate), rate) == time_ms


@pytest.mark.parametrize(
    ("written", "time_ms"),
    [
        ("40s", 40_000),
        ("1m30s", 90_000),
        ("1:30", 90_000),
        ("1:02:03", 3_723_000),
        ("0:30", 30_000),
        ("90", 90_000),
        pytest.param(90, 90_000, id="number"),
        (2.5, 2_500),
        ("2.5s", 2_500),
        ("250ms", 250),
        ("1h", 3_600_000),
        ("1 m 5 s", 65_000),
        ("2min", 120_000),
        ("60 seconds", 60_000),
        ("60 secs", 60_000),
        ("1 Second", 1_000),
        ("2 minutes", 120_000),
        ("2 mins", 120_000),
        ("1 min 30 s", 90_000),
        ("1 minute 30 seconds", 90_000),
        ("1hour 5mins", 3_900_000),
        ("1.5 hours", 5_400_000),
        ("1 hr", 3_600_000),
        ("0.29", 290),
        (0.1, 100),
    ],
)
def test_durations_as_people_write_them(written: str | float, time_ms: int) -> None:
    """Each way to write a duration gives its milliseconds."""
    assert parse_duration_ms(written) == time_ms


@pytest.mark.parametrize(
    "written",
    [
        "",
        "s",
        "-5s",
        "1:60",
        "1:5",
        "1:75:00",
        "5x",
        "10s5m",
        "5s5s",
        "5s 5 seconds",
        "1 min 30",
        "1 0s",
        "2 min utes",
        "2 minutess",
        "2 mseconds",
        "minutes",
        "half a minute",
        "1 minute and 30 seconds",
        "0.0001s",
        True,
        "1e3",
        "٣s",
        "inf",
        "9" * 40,
    ],
)
def test_what_is_not_a_duration(written: str | bool) -> None:
    """Anything else is refused with what was expected."""
    with pytest.raises(ValueError, match=r"a duration|a clock time"):
        parse_duration_ms(written)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("90 secs.", "90 secs"), ("2 min.", "2 min"), ("1,5 minutes", "1.5 minutes"), ("1,5s", "1.5s")],
)
def test_a_stop_or_a_comma_is_told_how_it_is_written(written: str, meant: str) -> None:
    """The message gives the person's own duration as it should stand, and that reads."""
    with pytest.raises(ValueError, match=f"such as {meant}$"):
        parse_duration_ms(written)
    assert parse_duration_ms(meant) > 0


@given(
    hours=st.integers(0, 20), minutes=st.integers(0, 59), seconds=st.integers(1, 59),
    words=st.tuples(st.sampled_from([" hours ", "hr ", " h"]), st.sampled_from([" minutes ", "mins", " m "]),
                    st.sampled_from([" seconds", "secs", " sec"])),
)  # fmt: skip
def test_units_written_out_count_as_short_ones(
    hours: int, minutes: int, seconds: int, words: tuple[str, str, str]
) -> None:
    """However its units are spelt, a duration is the same time."""
    written = "".join(f"{n}{word}" for n, word in zip((hours, minutes, seconds), words, strict=True))
    assert parse_duration_ms(written) == parse_duration_ms(f"{hours}h{minutes}m{seconds}s")


@given(time_ms=st.integers(0, 86_399_999))
def test_a_formatted_duration_reads_back(time_ms: int) -> None:
    """What is shown can be typed again."""
    assert parse_duration_ms(format_duration(time_ms)) == time_ms


def test_clocks_run_like_clocks() -> None:
    """A clock shows whole seconds, rounded down, and hours only when there are some."""
    assert [format_clock(t) for t in (0, 999, 65_000, 3_600_000)] == ["0:00", "0:00", "1:05", "1:00:00"]
