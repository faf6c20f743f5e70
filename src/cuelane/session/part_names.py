"""What the parts of a session are for, by pattern and name: warming up, main work, calming down."""

from __future__ import annotations

import re

from cuelane.base.language import Language
from cuelane.session.arc import first_halves
from cuelane.session.model import Interval, Session

# Work so gentle that it needs no cool-down after it.
GENTLE = ("flow", "breath", "script")


def is_named(block: str, key: str, words: Language) -> bool:
    """Return whether a block's name is one that the pack's list `key` (``warm_up``, ``cool_down``) knows."""
    return any(re.search(entry, block, re.I) for entry in words.phrases("lint", key))


def is_main(interval: Interval, words: Language) -> bool:
    """Return whether a set is main work: no flow, no warm-up, no cool-down."""
    if interval.pattern in GENTLE:
        return False
    return not any(is_named(interval.block, key, words) for key in ("warm_up", "cool_down"))


def main_sets(session: Session, words: Language) -> list[Interval]:
    """Return the sets of a session's main work, each once, in order."""
    return [entry for entry in first_halves(session.intervals) if is_main(entry, words)]
