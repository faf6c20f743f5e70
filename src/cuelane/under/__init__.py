"""The listener's own music under a track, lowered beneath each cue from the plan."""

from cuelane.under.mixing import UnderReport, schedule_beside, under
from cuelane.under.planning import Need
from cuelane.under.summary import summary_lines, wanting_lines

__all__ = ["Need", "UnderReport", "schedule_beside", "summary_lines", "under", "wanting_lines"]
