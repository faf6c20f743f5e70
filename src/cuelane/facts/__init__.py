"""What a session comes to, and how it reads."""

from cuelane.facts.count import Facts, facts
from cuelane.facts.text import summary_lines

__all__ = ["Facts", "facts", "summary_lines"]
