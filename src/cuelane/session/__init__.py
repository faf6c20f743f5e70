"""From a checked plan to a schedule: intervals, what may be said in each, and which of it is said when."""
