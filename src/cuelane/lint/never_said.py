"""Lines that no set of their exercise will ever say, since the rounds they are for do not come."""

from __future__ import annotations

from cuelane.base.units import counted
from cuelane.lint.spaces import Rooms
from cuelane.lint.spoken_lines import SpokenLine
from cuelane.plan.parts import CueLine
from cuelane.session.cues.here import applies


def never_said(line: SpokenLine, rooms: Rooms) -> str:
    """Return why `line` can never be said, or an empty text.

    Nothing is told of a plan with variants, or of one that a variant was made of: another may have the
    rounds. An exercise that no block does has a warning of its own.
    """
    source = line.source
    if not isinstance(source, CueLine) or (source.rounds is None and source.from_round is None):
        return ""
    if line.loaded.variant is not None or line.loaded.plan.variants:
        return ""
    sets = rooms.sets.get((line.exercise or "", id(line.spec)), [])
    if not sets or any(applies(source, entry) for entry in sets):
        return ""
    if source.from_round is not None and all((entry.round or 1) < source.from_round for entry in sets):
        return f"'{line.exercise}' is done in no round from {source.from_round} on, so this is never said"
    times = counted(sets[0].appearances or len(sets), "set")
    return f"'{line.exercise}' has {times}, and this is for none of them, so it is never said"
