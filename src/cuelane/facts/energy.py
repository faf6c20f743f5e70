"""An estimate of the energy a session takes, from the 2024 Compendium of Physical Activities.

One formula only, kcal = MET × kg × h. It is gross: what the body uses at rest is included. (The other formula
in use, MET × 3.5 × kg / 200 a minute, gives exactly 1.05 times as much.) The editions of the Compendium
differ, so every figure names the edition.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from cuelane.base.page_words import page_words
from cuelane.session.model import Session

_MS_PER_HOUR = 3_600_000


@dataclass(frozen=True)
class ActivityEnergy:
    """One activity's share: ``met`` in kcal per kg and hour, its time, and its energy."""

    code: str
    name: str
    met: float
    time_ms: int
    kcal: float


@dataclass(frozen=True)
class Energy:
    """Gross kilocalories of the counted time, by activity, with the formula, edition and caution to print."""

    kcal: float
    body_mass_kg: float
    time_ms: int
    activities: tuple[ActivityEnergy, ...]
    edition: str
    source: str
    formula: str
    caution: str


def energy(session: Session) -> tuple[Energy | None, list[str]]:
    """Return the estimate, and the activity codes that the table does not hold.

    Counted is every interval, rests included, that has an activity; talk is not. The Compendium's values
    are for an activity as a whole. There is no estimate without a body mass and a known activity.
    """
    times_ms: dict[str, int] = {}
    for interval in session.intervals:
        if interval.activity is not None and interval.kind != "talk":
            times_ms[interval.activity] = times_ms.get(interval.activity, 0) + interval.length_ms
    table = compendium()
    unknown = [code for code in times_ms if code not in table["activity"]]
    mass_kg = session.plan.body_mass_kg
    if mass_kg is None:
        return None, []
    activities = tuple(
        _activity(code, table["activity"][code], time_ms, mass_kg)
        for code, time_ms in times_ms.items()
        if code not in unknown
    )
    if not activities:
        return None, unknown
    words = page_words(session.plan.language)
    found = Energy(
        kcal=sum(activity.kcal for activity in activities),
        body_mass_kg=mass_kg,
        time_ms=sum(activity.time_ms for activity in activities),
        activities=activities,
        edition=str(table["edition"]),
        source=str(table["source"]),
        formula=words("facts.energy_formula"),
        caution=words("facts.energy_caution"),
    )
    return found, unknown


def _activity(code: str, row: dict[str, Any], time_ms: int, mass_kg: float) -> ActivityEnergy:
    met = float(row["met"])
    return ActivityEnergy(code, str(row["name"]), met, time_ms, met * mass_kg * time_ms / _MS_PER_HOUR)


@cache
def compendium() -> dict[str, Any]:
    """Return the table: ``edition``, ``source``, and ``activity`` by code."""
    text = (resources.files("cuelane") / "facts" / "data" / "compendium_2024.toml").read_text(
        encoding="utf-8"
    )
    return tomllib.loads(text)
