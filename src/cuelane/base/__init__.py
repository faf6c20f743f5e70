"""What everything else stands on: errors, units, languages, the schedule, and files written whole."""
