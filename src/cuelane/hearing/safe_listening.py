"""Safe listening: how long, how loud, in plain words.

The allowance is for a *week* of listening for pleasure; it is never mixed with the rules for a *day* of work,
such as NIOSH's. It does not replace a clinician, and nobody here knows how loud a phone plays: this program
knows the levels in a file, not at an ear.

Source: WHO and ITU-T H.870 (2018; second edition 03/2022), value from a secondary source.
"""

from __future__ import annotations

from cuelane.base.page_words import page_words


def advice(language: str = "en") -> str:
    """Return the advice that is printed with a track, in `language`."""
    return page_words(language)("hearing.advice")
