"""Intervals from what is said, for a class whose boundaries have no sound: lengths and a phase.

The lengths are those that a person named, or those that most of what is said agrees with. Words tell a
boundary to about a second; many of them together tell the phase better than that, if the class kept time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN
from cuelane.adapt.beeps.search import Structure
from cuelane.adapt.beeps.timing_grid import (
    SURE_GRID,
    Lengths,
    beyond_s,
    chain_of,
    confidence_of_grid,
    unheard_s,
)
from cuelane.adapt.words.said_times import SaidTime, SaidTimes

Floats = npt.NDArray[np.float64]

# Chosen, the share of what is said about time that is said on time; the rest is said early, late or in vain.
_ON_TIME = 0.7
# Chosen, in seconds: finer than any word tells.
_PHASE_STEP_S = 0.2
# Chosen: the lengths that classes have, where nobody said them.
_WORKS_S = (*range(15, 65, 5), 75, 90, 120)
# Chosen, as for work; 0 where set follows set.
_RESTS_S = (*range(5, 65, 5), 75, 90)
# Chosen, in seconds: "last one" is said in the rest before a set, a little before it, or as the set begins.
_LAST_BEFORE_S, _LAST_AFTER_S = 5.0, 8.0
# Chosen: so many boundaries themselves must be said on time; the middles of works make none.
_FEWEST_ON_TIME = 2
# Chosen, in nats: what it is worth that a length was said as one of work or of rest.
_SAID_WORTH = 2.0
# Chosen: fewer boundaries than this are no grid.
_FEWEST = 4
# Chosen, in nats: lengths that are no better than others by this much are not told.
_BETTER = 2.0
# Chosen: lengths that nobody named are a guess, however well they fit.
_MOST_WITHOUT_HINT = SURE_COUNTDOWN - 0.05

# Chosen: where fewer works are called than this share, one that is not may still be one.
_MOSTLY_CALLED = 0.6

BY_WORDS = "from what is said"


@dataclass(frozen=True)
class SpokenGrid:
    """Boundaries by what is said, how sure they are, 0 to 1, and the lengths that they keep.

    ``n_on_time`` of the ``n_said`` things said about time fall on a boundary.
    """

    boundaries: tuple[Boundary, ...]
    confidence: float
    lengths: Lengths
    n_on_time: int
    n_said: int


@dataclass(frozen=True)
class _Phase:
    """Where a work begins, the evidence in nats, and of each thing said how far it is off; inf if too far."""

    at_s: float
    evidence: float
    off_s: Floats
    number: npt.NDArray[np.int64]
    """Of the boundary nearest to each: even numbers begin a work."""


def grid_by_words(said: SaidTimes, seconds: float, lengths: Lengths | None = None) -> SpokenGrid | None:
    """Return the boundaries that `said` puts into a recording of `seconds`; None if it does not tell them.

    `lengths` are the class's work and rest where a person named them.
    """
    if sum(one.begins != "half" for one in said.times) < _FEWEST:
        return None
    if lengths is not None:
        phase = _best_phase(said.times, lengths)
        paid = phase.evidence - _paid_for_phases(lengths)
        return _grid(said, lengths, phase, paid, seconds) if paid >= SURE_GRID else None
    ranked = sorted(_tried(said), key=lambda row: -row[0])
    evidence, best, phase = ranked[0]
    paid = evidence - _paid_for_phases(best) - float(np.log(len(ranked)))
    if paid < SURE_GRID or evidence - ranked[1][0] < _BETTER:
        return None
    made = _grid(said, best, phase, paid, seconds)
    if made is None:
        return None
    return SpokenGrid(
        made.boundaries, min(made.confidence, _MOST_WITHOUT_HINT), best, made.n_on_time, made.n_said
    )


def by_words(structure: Structure, said: SaidTimes, seconds: float, hint: Lengths | None) -> Structure:
    """Return `structure` with what `said` settles: every boundary if none was heard, or which are which.

    `hint` are the work and rest that a person named.
    """
    if not structure.boundaries:
        made = grid_by_words(said, seconds, hint)
        if made is None:
            return structure
        how = f"{BY_WORDS} ({made.n_on_time} of {made.n_said} things said about time agree)"
        return replace(
            structure,
            confidence=made.confidence,
            boundaries=made.boundaries,
            how=how,
            lengths=made.lengths,
            lengths_left_aside=False,
        )
    if structure.lengths is None or structure.tells_apart or structure.lengths_left_aside:
        return structure
    return _told_apart(structure, structure.lengths, said, seconds)


def _told_apart(structure: Structure, lengths: Lengths, said: SaidTimes, seconds: float) -> Structure:
    """Return `structure`, whose sound comes once in a work and a rest, with the boundaries between them.

    What the sound missed is put in, what is off the grid taken out. Nothing is changed where the words do not
    tell which begins, nor where the sound does not keep to one of both: after a cut it may begin the other.
    """
    times = np.array([boundary.at_s for boundary in structure.boundaries])
    chain = chain_of(times, lengths)
    if not chain.n_kept or any(link.n_steps is None or link.n_steps % 2 for link in chain.links[1:]):
        return structure
    first_s = float(times[chain.links[0].index])
    phases = np.array([first_s, first_s - lengths.work_s])
    worth, _ = _worth(said.times, lengths, phases) if said.times else (np.zeros((2, 1)), None)
    begins_work, begins_rest = worth.sum(axis=1)
    if abs(begins_work - begins_rest) < _BETTER:
        return structure
    is_rest = bool(begins_rest > begins_work)
    chain = replace(chain, links=tuple(replace(link, is_rest=is_rest) for link in chain.links))
    # The first work begins before the first sound, or the last one ends after the last.
    before, after = beyond_s(times, chain, 1)
    beyond = [at_s for at_s in (before if is_rest else after) if 0 <= at_s <= seconds]
    kept = {link.index for link in chain.links}
    if not is_rest and _ends_class(said, lengths, times[sorted(kept)]):
        beyond = []
    boundaries = [boundary for index, boundary in enumerate(structure.boundaries) if index in kept]
    boundaries += [Boundary(at_s, 0.0, "lengths") for at_s in (*unheard_s(times, chain, None), *beyond)]
    return replace(
        structure,
        boundaries=tuple(sorted(boundaries, key=lambda boundary: boundary.at_s)),
        astray_s=tuple(float(at_s) for index, at_s in enumerate(times) if index not in kept),
        tells_apart=True,
    )


def _ends_class(said: SaidTimes, lengths: Lengths, works_s: Floats) -> bool:
    """Return whether the last of `works_s`, shape (n,), sounds that begin works, ends the class instead.

    So it is where most works are called, as they begin or end or before that, or the one before was said to
    be the last, and the last is not.
    """
    if _is_said_last(said, lengths, float(works_s[-1])):
        return False
    after_s = {"work": 0.0, "half": lengths.work_s / 2}
    called = [
        any(
            abs(one.at_s - at_s - after_s.get(one.begins, lengths.work_s)) <= one.reach_s
            for one in said.times
        )
        for at_s in works_s
    ]
    if called[-1] or len(called) < 2:
        return False
    before_last = _is_said_last(said, lengths, float(works_s[-2]))
    return before_last or float(np.mean(called[:-1])) >= _MOSTLY_CALLED


def _is_said_last(said: SaidTimes, lengths: Lengths, work_s: float) -> bool:
    """Return whether the work that begins at `work_s` is said to be the last, in the rest before or in it."""
    before_s = max(lengths.rest_s, _LAST_BEFORE_S)
    return any(work_s - before_s <= at_s <= work_s + _LAST_AFTER_S for at_s in said.last_s)


def _tried(said: SaidTimes) -> list[tuple[float, Lengths, _Phase]]:
    found = []
    for work_s in _WORKS_S:
        for rest_s in _RESTS_S:
            lengths = Lengths(float(work_s), float(rest_s))
            phase = _best_phase(said.times, lengths)
            heard = (work_s in said.work_s) + (rest_s in said.rest_s)
            found.append((phase.evidence + _SAID_WORTH * heard, lengths, phase))
    return found


def _paid_for_phases(lengths: Lengths) -> float:
    """Return, in nats, what it costs to have chosen among the phases that differ by more than words tell."""
    return float(np.log(max(2.0, lengths.period_s / 3.0)))


def _best_phase(times: Sequence[SaidTime], lengths: Lengths) -> _Phase:
    """Return the phase that most of `times` agree with, moved by the median of what they are off."""
    phases = np.arange(0, lengths.period_s, _PHASE_STEP_S)
    reach = np.array([one.reach_s for one in times])
    worth, off = _worth(times, lengths, phases)
    on_time = np.abs(off) <= reach
    # The middle of a work is said too roughly to move a boundary by.
    exact = np.array([one.begins != "half" for one in times])
    # Of phases that explain the same words the one in their middle is the likeliest.
    near = np.where(on_time & exact, (off / reach) ** 2, 0.0).sum(axis=1)
    total = worth.sum(axis=1)
    top = int((total - 1e-3 * near).argmax())
    moving = on_time[top] & exact
    moved = float(np.median(off[top][moving])) if moving.any() else 0.0
    at_s = float(phases[top]) + moved
    off, number = _off(times, lengths, np.array([at_s]))
    return _Phase(at_s, float(total[top]), np.where(np.abs(off[0]) <= reach, off[0], np.inf), number[0])


def _worth(times: Sequence[SaidTime], lengths: Lengths, phases: Floats) -> tuple[Floats, Floats]:
    """Return the evidence in nats of each thing said for each phase, and by how much it is off.

    Both have shape (n_phases, n_times).
    """
    off, _ = _off(times, lengths, phases)
    reach = np.array([one.reach_s for one in times])
    targets = np.array([1 + (one.begins == "either" and lengths.rest_s > 0) for one in times])
    by_chance = np.clip(2 * reach * targets / lengths.period_s, 0.01, 0.65)
    late = np.log((1 - _ON_TIME) / (1 - by_chance))
    return np.where(np.abs(off) <= reach, np.log(_ON_TIME / by_chance), late), off


def _off(times: Sequence[SaidTime], lengths: Lengths, phases: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return by how much each thing said is off its nearest boundary, and that boundary's number.

    Both have shape (n_phases, n_times). What is said at half of a work is held against its middle.
    """
    at = np.array([one.at_s - lengths.work_s / 2 * (one.begins == "half") for one in times])[None, :]
    at = at - phases[:, None]
    turns = np.rint(at / lengths.period_s)
    work, rest = at - turns * lengths.period_s, at - lengths.work_s
    rest_turns = np.rint(rest / lengths.period_s)
    rest = rest - rest_turns * lengths.period_s
    begins = np.array([one.begins for one in times])[None, :]
    takes_rest = (begins == "rest") | ((begins == "either") & (np.abs(rest) < np.abs(work)))
    if not lengths.rest_s:
        takes_rest = np.zeros_like(takes_rest)
    number = np.where(takes_rest, 2 * rest_turns + 1, 2 * turns).astype(np.int64)
    return np.where(takes_rest, rest, work), number


def _grid(
    said: SaidTimes, lengths: Lengths, phase: _Phase, evidence: float, seconds: float
) -> SpokenGrid | None:
    """Return the boundaries from the first to the last that is said on time; None where too few are."""
    times, agreeing = said.times, np.isfinite(phase.off_s)
    on_time = agreeing & np.array([one.begins != "half" for one in times])
    if on_time.sum() < _FEWEST_ON_TIME:
        return None
    numbers = phase.number[on_time]
    # What is left of an interval is said before its end; that interval too belongs to the class.
    before = np.array([one.begins == "either" for one in times])[on_time]
    # Without rests only even numbers are boundaries.
    per_interval = 1 if lengths.rest_s else 2
    first, last = int((numbers - before * per_interval).min()), int(numbers.max())
    last_work_s = phase.at_s + (last // 2) * lengths.period_s
    if last % 2 == 0 and _is_said_last(said, lengths, last_work_s):
        # The set that begins there was called the last one, so it is one, and has an end.
        last += per_interval
    places = [
        phase.at_s + (n // 2) * lengths.period_s + (n % 2) * lengths.work_s for n in range(first, last + 1)
    ]
    if not lengths.rest_s:
        places = places[::2]
    boundaries = tuple(Boundary(at_s, 0.0, "words") for at_s in places if 0 <= at_s < seconds)
    return SpokenGrid(boundaries, confidence_of_grid(evidence), lengths, int(agreeing.sum()), len(times))
