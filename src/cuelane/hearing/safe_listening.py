"""Safe listening: how long, how loud, in plain words.

The allowance is for a *week* of listening for pleasure; it is never mixed with the rules for a *day* of work,
such as NIOSH's. It does not replace a clinician, and nobody here knows how loud a phone plays: this program
knows the levels in a file, not at an ear.

Source: WHO and ITU-T H.870 (2018; second edition 03/2022), value from a secondary source.
"""

from __future__ import annotations

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
