"""The listener's own music under a track, lowered beneath each cue from the plan."""

from cuelane.under.gain_plan import Need
from cuelane.under.mix_options import UnderOptions
from cuelane.under.run import UnderReport, under
from cuelane.under.summary import summary_lines, wanting_lines

__all__ = [
    "Need",
    "UnderOptions",
    "UnderReport",
    "summary_lines",
    "under",
    "wanting_lines",
]
