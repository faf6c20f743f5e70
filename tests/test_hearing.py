"""Safe listening against the published allowances."""

from __future__ import annotations

import pytest

from cuelane.hearing.safe_listening import ADVICE, exposure_pa2h, weekly_dose, weekly_hours, work_minutes


@pytest.mark.parametrize(
    ("level_dba", "hours"), [(80, 40.0), (83, 20.05), (86, 10.05), (90, 4.00), (95, 1.265), (100, 0.40)]
)
def test_weekly_hours_at_a_level(level_dba: float, hours: float) -> None:
    """WHO-ITU H.870: 40 hours a week at 80 dB(A), by sound energy (value from a secondary source)."""
    assert weekly_hours(level_dba) == pytest.approx(hours, rel=2e-3)
    assert weekly_dose(level_dba, hours) == pytest.approx(1.0, rel=2e-3)


def test_the_allowance_in_pascal_squared_hours() -> None:
    """H.870: 1.6 Pa²h a week, 0.51 for sensitive listeners (value from a secondary source)."""
    assert exposure_pa2h(80, 40) == pytest.approx(1.6, abs=0.005)
    assert exposure_pa2h(75, 40) == pytest.approx(0.51, abs=0.005)
    assert weekly_hours(75, sensitive=True) == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("level_dba", "minutes"), [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15)]
)
def test_a_working_day_is_another_rule(level_dba: float, minutes: float) -> None:
    """NIOSH's recommended exposure limit, a day of work (its own page)."""
    assert work_minutes(level_dba) == pytest.approx(minutes)


def test_the_advice_says_what_the_numbers_say() -> None:
    """Each figure in the plain words is the function's, rounded; work is not mentioned."""
    assert "40 hours at 80" in ADVICE
    assert "20 hours at 83, 10 at 86, 4 at 90" in ADVICE
    assert [round(weekly_hours(level)) for level in (83, 86, 90)] == [20, 10, 4]
    assert "under an hour and a half at 95" in ADVICE
    assert weekly_hours(95) < 1.5
    assert "NIOSH" not in ADVICE
