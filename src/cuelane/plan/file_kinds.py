"""What a YAML file is, told without reading all of it: a plan, or a series of plans."""

from __future__ import annotations

import re

_OF_PLAN = re.compile(r"(?m)^session:")
_OF_SERIES = re.compile(r"(?m)^(plans|defaults|feed):")


def is_series(text: str) -> bool:
    """Tell whether a text is a series, by the keys that stand at its margin; in doubt it is a plan."""
    return _OF_SERIES.search(text) is not None and _OF_PLAN.search(text) is None
