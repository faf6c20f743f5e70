"""Boundaries made whole by the lengths they keep: what was not heard is put in, what is off taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.odd_places import odd_places
from cuelane.adapt.beeps.other_rounds import in_other_rounds_s
from cuelane.adapt.beeps.regularity import LEAST_INTERVAL_S
from cuelane.adapt.beeps.timing_grid import (
    NEAR_GRID_S,
    Chain,
    Lengths,
    astray,
    beyond_s,
    chain_by_hint,
    own_chain,
    unheard_s,
    without_rest,
)

Floats = npt.NDArray[np.float64]

# Chosen: a class goes on for no more boundaries than this before the first or after the last one heard.
_MOST_BEYOND = 60
# Chosen: a faint return is exact too; farther off it is something else, and would move the boundary.
_NEAR_FAINT_S = 0.04
# Chosen: of 50 places between two boundaries, where the lengths put one all the same, one may have something
# as faint as that beside it by chance; before the first and after the last it would be a false one.
_MOST_BY_CHANCE, _MOST_AT_ENDS = 0.02, 0.005
# Chosen: so many of the boundaries that are not clear are among the faint ones; more makes one that is hidden
# weigh more against those beyond it.
_HEARD_AT_ENDS = 0.8
# Derived: one faint return in two seconds is within 40 ms of a place so often.
_WITHIN_BY_CHANCE = 0.04
# Chosen: hidden boundaries are rare by a power of it; with 1 all faint returns would be as likely theirs.
_RARER = 0.3


@dataclass(frozen=True)
class Completed:
    """Boundaries in order of time, the lengths that they keep, and where the sound was but no boundary is.

    ``chain`` is None where no two lengths were found; some may be where rests of one length put them all the
    same, and ``no_rest_s`` is where between two sets such a rest was not found.
    """

    boundaries: tuple[Boundary, ...]
    astray_s: tuple[float, ...] = ()
    chain: Chain | None = None
    no_rest_s: tuple[float, ...] = ()


def completed(
    clear: Sequence[Boundary], faint: Sequence[Boundary], lengths: Lengths | None = None
) -> Completed:
    """Return `clear`, boundaries in order of time, made whole.

    Between two that keep the lengths of the class, `lengths` if a person named them and else their own, a
    missing one is where `faint` has it, and otherwise where the lengths put it; where the class does not keep
    them around, or has such an interval besides, only where `faint` has it. So it is before the first and
    after the last of all, but for one that is hidden before a clear one; one that is off there is left out if
    it is not sure. If all together keep no lengths, the sure ones alone may. First of all `faint` may have
    one that divides an interval of a length of its own into one that others have and a rest; and what was
    heard within an interval, as a word that is said in between, is left out though it is sure.
    """
    odd = set(odd_places(np.array([boundary.at_s for boundary in clear]))) if lengths is None else set()
    kept = [boundary for index, boundary in enumerate(clear) if index not in odd]
    made = _made_whole(_divided(kept, faint), faint, lengths)
    return replace(made, astray_s=tuple(sorted([*made.astray_s, *(clear[index].at_s for index in odd)])))


def _made_whole(clear: Sequence[Boundary], faint: Sequence[Boundary], lengths: Lengths | None) -> Completed:
    """Return `clear` made whole as :func:`completed` says, once intervals are divided."""
    times = np.array([boundary.at_s for boundary in clear])
    chain = own_chain(times) if lengths is None else chain_by_hint(times, lengths)
    if chain is None or not chain.n_kept or not chain.tells_apart:
        if lengths is None and (made := _by_sure(clear, faint)) is not None:
            return made
        return _with_rests(clear, faint) if chain is None else Completed(tuple(clear), (), chain)
    first, last = chain.links[0].index, chain.links[-1].index
    outside = [*range(first), *range(last + 1, len(times))]
    out = {*astray(times, chain), *(index for index in outside if not clear[index].is_sure)}
    found = [boundary for index, boundary in enumerate(clear) if index not in out]
    missing = unheard_s(times, chain) if lengths is None else unheard_s(times, chain, None)
    found += [_near(at_s, faint) or Boundary(at_s, 0.0, "lengths") for at_s in missing]
    doubted = unheard_s(times, chain, in_doubt=True) if lengths is None else []
    found += [b for at_s in doubted if (b := _near(at_s, faint, _MOST_AT_ENDS)) is not None]
    before, after = beyond_s(times, chain, _MOST_BEYOND)
    is_whole = first == 0, last == len(times) - 1
    for places, ends_here in ((before, is_whole[0]), (after, is_whole[1])):
        found += _beyond(places, faint) if ends_here else []
    found.sort(key=lambda boundary: boundary.at_s)
    return Completed(tuple(found), tuple(float(times[index]) for index in sorted(out)), chain)


def _beyond(places_s: Sequence[float], faint: Sequence[Boundary]) -> list[Boundary]:
    """Return a boundary for each of `places_s`, from the chain outwards, up to where `faint` speaks for them.

    Each that is beside one which is so rarely there by chance is one. After the last of these, one that talk
    hides is put in if the others up to a place beyond it speak for both together.
    """
    made: list[Boundary] = []
    n_alone, is_alone = 0, True
    total, best, n_best = 0.0, -float(np.log(_MOST_AT_ENDS)), 0
    for at_s in places_s:
        alone = _near(at_s, faint, _MOST_AT_ENDS) if is_alone else None
        if alone is not None:
            made.append(alone)
            n_alone = len(made)
            continue
        is_alone = False
        beside, by_chance = _beside(at_s, faint)
        made.append(beside or Boundary(at_s, 0.0, "lengths"))
        # The likelihood ratio of a p value, after Sellke, Bayarri and Berger, "Calibration of p values", 2001
        # (from memory). Its mean is 1 by chance, so that it is rarely high.
        per = _RARER * by_chance ** (_RARER - 1) / _WITHIN_BY_CHANCE**_RARER
        total += float(np.log(_HEARD_AT_ENDS * per if beside else 1 - _HEARD_AT_ENDS))
        if total > best:
            best, n_best = total, len(made)
    return made[: max(n_alone, n_best)]


def _divided(clear: Sequence[Boundary], faint: Sequence[Boundary]) -> Sequence[Boundary]:
    """Return `clear`, in order, with those of `faint` that are where an interval of a usual length ends.

    Only intervals are divided that are as long as one other at most, and only where what is beside one of all
    the places that lengths of others propose is so rare that chance would hardly put it there.
    """
    found = list(clear)
    while True:
        places = _dividing_s(np.array([boundary.at_s for boundary in found]))
        most = _MOST_BY_CHANCE / max(1, len(places))
        rare = _rarest(faint, most)
        near = [_near(float(at_s), rare, most) for at_s in places] if rare else []
        best = max((b for b in near if b is not None), key=lambda boundary: boundary.score, default=None)
        if best is None or min(abs(best.at_s - boundary.at_s) for boundary in found) < LEAST_INTERVAL_S:
            return found
        found = sorted([*found, best], key=lambda boundary: boundary.at_s)


def _rarest(faint: Sequence[Boundary], most: float) -> Sequence[Boundary]:
    """Return those of `faint`, in order, that are not beside a place by chance with more than `most`.

    The last one is kept too, since it tells how long the time is in which they are.
    """
    n_rare = int(most * faint[-1].at_s / (2 * _NEAR_FAINT_S)) if faint else 0
    ranked = sorted(faint, key=lambda boundary: -boundary.score)[:n_rare]
    return sorted({*ranked, faint[-1]}, key=lambda boundary: boundary.at_s) if ranked else []


def _dividing_s(times_s: Floats) -> Floats:
    """Return where an interval of `times_s`, shape (n,), begins or ends that is as long as another one.

    They are within intervals that are longer, and as long as one other at most.
    """
    gaps = np.diff(times_s)
    places: list[Floats] = []
    for index, gap in enumerate(gaps.tolist()):
        others = np.delete(gaps, index)
        if (np.abs(others - gap) < NEAR_GRID_S).sum() <= 1:
            lengths = _apart(others[others < gap - LEAST_INTERVAL_S])
            places += [times_s[index] + lengths, times_s[index + 1] - lengths]
    return _apart(np.concatenate(places)) if places else np.zeros(0)


def _apart(lengths_s: Floats) -> Floats:
    """Return `lengths_s`, shape (n,), in order, each that is as long as the one before left out."""
    ordered = np.sort(lengths_s)
    return ordered[np.diff(ordered, prepend=0.0) >= NEAR_GRID_S]


def _with_rests(clear: Sequence[Boundary], faint: Sequence[Boundary]) -> Completed:
    """Return `clear` made whole by rounds that come again, and by rests of one length where sets are not.

    Where a rest is missing between two sets, its other end is where `faint` has it, else where it leaves a
    length that another set has; if that is so at both places or at neither, nothing is added.
    """
    clear = _with_rounds(clear, faint)
    added: list[Boundary] = []
    no_rest: list[float] = []
    for one in without_rest(np.array([boundary.at_s for boundary in clear])):
        heard = [beside for at_s in one.tried_s if (beside := _near(at_s, faint)) is not None]
        by_length = [Boundary(at_s, 0.0, "lengths") for at_s in one.fits_s]
        likely = heard or by_length
        if len(likely) == 1:
            added += likely
        else:
            no_rest.append(one.at_s)
    if not added:
        return Completed(tuple(clear), no_rest_s=tuple(no_rest))
    # With what is added other rounds may be whole.
    return _with_rests(sorted([*clear, *added], key=lambda boundary: boundary.at_s), faint)


def _with_rounds(clear: Sequence[Boundary], faint: Sequence[Boundary]) -> Sequence[Boundary]:
    """Return `clear`, in order, with what other rounds of the class have."""
    found = list(clear)
    # Each that is put in may tell more of another round; no more than there are can be missing.
    for _ in clear:
        places = in_other_rounds_s(np.array([boundary.at_s for boundary in found]))
        if not places:
            break
        added = [_near(at_s, faint) or Boundary(at_s, 0.0, "lengths") for at_s in places]
        found = sorted([*found, *added], key=lambda boundary: boundary.at_s)
    return found


def _by_sure(clear: Sequence[Boundary], faint: Sequence[Boundary]) -> Completed | None:
    """Return the sure ones of `clear` made whole, the others taken as faint; None if they keep no lengths."""
    sure, unsure = ([b for b in clear if b.is_sure is wanted] for wanted in (True, False))
    if not unsure or own_chain(np.array([b.at_s for b in sure])) is None:
        return None
    # Not divided by the unsure ones, which it is made without.
    made = _made_whole(sure, sorted([*faint, *unsure], key=lambda boundary: boundary.at_s), None)
    lost = [b.at_s for b in unsure if b not in made.boundaries]
    return replace(made, astray_s=tuple(sorted([*made.astray_s, *lost])))


def _near(at_s: float, faint: Sequence[Boundary], most: float = _MOST_BY_CHANCE) -> Boundary | None:
    """Return the clearest of `faint` that is where the lengths put a boundary, if it is not so by chance.

    `most` is how likely that may be, 0 to 1.

    One that is a little off there, as under talk, says that the sound is there; when, the lengths tell
    better.
    """
    for within_s in (_NEAR_FAINT_S, NEAR_GRID_S):
        best, by_chance = _beside(at_s, faint, within_s)
        if best is not None and by_chance < most:
            return best if within_s == _NEAR_FAINT_S else replace(best, at_s=at_s)
    return None


def _beside(
    at_s: float, faint: Sequence[Boundary], within_s: float = _NEAR_FAINT_S
) -> tuple[Boundary | None, float]:
    """Return the clearest of `faint` within `within_s` of `at_s`, and how likely one as clear is by chance.

    If there is none, None and 1.
    """
    near = [boundary for boundary in faint if abs(boundary.at_s - at_s) < within_s]
    best = max(near, key=lambda boundary: boundary.score, default=None)
    if best is None:
        return None, 1.0
    n_as_clear = sum(boundary.score >= best.score for boundary in faint)
    # As many as that, anywhere, put one so near to a place so often.
    return best, min(1.0, 2 * within_s * n_as_clear / max(at_s, faint[-1].at_s))
