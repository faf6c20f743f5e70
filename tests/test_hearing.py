"""Safe listening: the advice against the published allowance."""

from __future__ import annotations

import re

import pytest

from cuelane.hearing.safe_listening import advice

WEEKLY_PA2H = 1.6
SENSITIVE_PA2H = 0.51
"""WHO-ITU H.870: the week's allowance in pascal squared hours (values from a secondary source)."""


def hours_a_week(level_dba: float, allowance_pa2h: float = WEEKLY_PA2H) -> float:
    """Return for how long that allowance lasts at a level over 20 µPa: hours times squared pressure."""
    return allowance_pa2h / (20e-6 * 10 ** (level_dba / 20)) ** 2


def test_the_advice_says_what_the_allowance_is() -> None:
    """Each pair of hours and level in the plain words uses up the week's allowance; work is not mentioned."""
    hours_by_level = {80: 40, 83: 20, 86: 10, 90: 4}
    told = re.search(r"(\d+) hours at (80) .*: (\d+) hours at (83), (\d+) at (86), (\d+) at (90),", advice())

    assert told is not None
    figures = [int(part) for part in told.groups()]
    assert dict(zip(figures[1::2], figures[::2], strict=True)) == hours_by_level
    for level_dba, hours in hours_by_level.items():
        assert hours_a_week(level_dba) == pytest.approx(hours, rel=0.01)
    assert "under an hour and a half at 95" in advice()
    assert 1.0 < hours_a_week(95) < 1.5
    assert "For children, and for ears that are easily hurt, the same hours at 75" in advice()
    assert hours_a_week(75, SENSITIVE_PA2H) == pytest.approx(40, rel=0.01)
    assert "NIOSH" not in advice()
