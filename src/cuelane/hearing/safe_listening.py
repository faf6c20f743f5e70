"""Safe listening: how long, how loud, in plain words and in numbers.

Two rules that are never mixed: the WHO-ITU allowance is for a *week* of listening for pleasure, NIOSH's for a
*day* of work. Both halve the time for every 3 dB. Neither replaces a clinician, and neither knows how loud a
phone plays: this program sees levels in a file, not at an ear.

Source: WHO and ITU-T H.870 (2018; second edition 03/2022), value from a secondary source; NIOSH recommended
exposure limit, as its own page states it.
"""

from __future__ import annotations

WEEKLY_DBA = 80.0
WEEKLY_HOURS = 40.0
SENSITIVE_WEEKLY_DBA = 75.0
WORK_DBA = 85.0
WORK_MINUTES = 480.0
EXCHANGE_DB = 3.0

_REFERENCE_PA = 20e-6

ADVICE = (
    "Listen for as long as you like, but not as loud as you like. The World Health Organization and the "
    "ITU allow a week of 40 hours at 80 dB(A). Every 3 dB more halves the time: 20 hours at 83, 10 at "
    "86, 4 at 90, under an hour and a half at 95. For children, and for ears that are easily hurt, the "
    "same hours at 75. Set the volume before you start, to where you can follow the words, and no "
    "higher; over loud music, turn the music down and not the words up. If your ears ring or sounds "
    "seem dull afterwards, it was too loud: rest them, play softer next time, and ask a clinician if it "
    "stays. Stay able to hear traffic and people wherever they can hurt you."
)
"""For the README and the page."""


def weekly_hours(level_dba: float, *, sensitive: bool = False) -> float:
    """Return the hours a week that H.870 allows at a steady A-weighted level at the ear.

    The dose is sound energy: hours times squared pressure. Exact, so 20.05 hours at 83 dB(A) where the rule
    of thumb says 20.

    Parameters
    ----------
    sensitive : the lower allowance, 75 dB(A) for 40 hours, for children and sensitive listeners.
    """
    allowed_dba = SENSITIVE_WEEKLY_DBA if sensitive else WEEKLY_DBA
    return float(WEEKLY_HOURS * 10 ** ((allowed_dba - level_dba) / 10))


def weekly_dose(level_dba: float, hours: float, *, sensitive: bool = False) -> float:
    """Return what part of the week's allowance `hours` at this level use; 1.0 is all of it."""
    return hours / weekly_hours(level_dba, sensitive=sensitive)


def exposure_pa2h(level_dba: float, hours: float) -> float:
    """Return the sound exposure in pascal squared hours, the unit of H.870's allowance (1.6 a week)."""
    pressure_pa = _REFERENCE_PA * 10 ** (level_dba / 20)
    return pressure_pa**2 * hours


def work_minutes(level_dba: float) -> float:
    """Return NIOSH's minutes a working day at this level: 480 at 85 dB(A), halved for every 3 dB exactly."""
    return float(WORK_MINUTES / 2 ** ((level_dba - WORK_DBA) / EXCHANGE_DB))
