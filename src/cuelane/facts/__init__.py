"""A session's facts: totals, balance, equipment, load, talk and energy, and their text."""

from cuelane.facts.count import Facts, facts
from cuelane.facts.text import summary_lines

__all__ = ["Facts", "facts", "summary_lines"]
