"""What is uncertain about a class's lengths of work and rest, in words for people."""

from __future__ import annotations

from cuelane.adapt.analysis import Analysis
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN
from cuelane.adapt.clock import clock
from cuelane.adapt.words.intervals import SAME_LENGTH_S
from cuelane.base.units import counted

_MOST_PLACES = 5
"""Chosen: more places are no help; the table has them all."""


def said_by_words(analysis: Analysis) -> str:
    """Return what boundaries are worth that only what is said puts where they are."""
    said = (
        f"No sound at the boundaries was found. They are placed {analysis.how}, to about a second, with "
        f"{_lengths(analysis)}; confidence {analysis.confidence:.2f} of 1. Listen before you use them."
    )
    if analysis.confidence >= SURE_COUNTDOWN or analysis.lengths_s is None:
        return said
    work_s, rest_s = analysis.lengths_s
    return (
        f"{said} The lengths are a guess: --work {work_s:g}s --rest {rest_s:g}s settles it if they are "
        "right, other lengths if they are not."
    )


def _lengths(analysis: Analysis) -> str:
    """Return the two lengths that boundaries keep, in words."""
    assert analysis.lengths_s is not None
    work_s, rest_s = analysis.lengths_s
    return f"{work_s:.1f} s and {rest_s:.1f} s in turn" if rest_s else f"{work_s:.1f} s each"


def about_lengths(analysis: Analysis) -> list[str]:
    """Return what is uncertain about the work and rest that were given, or that boundaries keep."""
    found = []
    if analysis.lengths_left_aside:
        own = f" What was heard keeps {_lengths(analysis)}." if analysis.lengths_s else ""
        each_s, has_rests = analysis.lengths_s or (0.0, 0.0)
        if each_s and not has_rests:
            own += (
                f" Where what is left of each {each_s:.1f} s is rest, give a work and a rest that make "
                f"{each_s:.1f} s together."
            )
        found.append(
            "The work and rest that were given (--work, --rest) are not used: nothing that was heard or said "
            f"keeps them.{own} Give the lengths that this class has, or leave them away."
        )
    if not analysis.tells_apart:
        found.append(
            f"The boundaries keep {_lengths(analysis)}, but the sound comes only once in both, and "
            "what is said does not make sure whether it begins work or rest: the boundary between is not "
            "placed."
        )
    if analysis.n_placed:
        keep = _lengths(analysis) if analysis.lengths_s else "rests of one length"
        found.append(
            f"Not heard, and placed by the lengths around, {keep}: "
            f"{counted(analysis.n_placed, 'boundary', 'boundaries')}; the table says which."
        )
    if analysis.astray_s:
        places = ", ".join(clock(at_s) for at_s in analysis.astray_s[:_MOST_PLACES])
        if analysis.lengths_s is not None:
            found.append(
                f"The sound is at {places} too, where by {_lengths(analysis)} no boundary is: left out. If "
                "one is there, the lengths are not the class's: give them with --work and --rest."
            )
        else:
            found.append(
                f"The sound is at {places} too, within what by the lengths around is one interval: left out. "
                "Listen there: it may be a word that is said, or music."
            )
    if analysis.no_rest_s:
        places = ", ".join(clock(at_s) for at_s in analysis.no_rest_s[:_MOST_PLACES])
        found.append(
            f"Rests of one length part the sets, but none was found beside {places}. A cut, a rest of "
            "another length, or a boundary that was not heard: listen there."
        )
    if analysis.lengths_s is not None and analysis.tells_apart and not analysis.by_words:
        found += _unlike(analysis)
    return found


def _unlike(analysis: Analysis) -> list[str]:
    """Return where intervals have neither of the two lengths that the others keep."""
    keeps = [length for length in analysis.lengths_s or () if length]
    rows = [
        interval
        for interval in analysis.intervals
        if interval.kind != "talk"
        and min(abs(interval.length_s - length) for length in keeps) > SAME_LENGTH_S
    ]
    if not rows:
        return []
    places = ", ".join(clock(row.start_s) for row in rows[:_MOST_PLACES])
    return [
        f"Of another length than {_lengths(analysis)}: {counted(len(rows), 'interval')} (at {places}). A "
        "cut, a length of its own, or a boundary that was not heard: listen there."
    ]
