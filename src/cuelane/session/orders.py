"""In which order the chosen cues are spoken, and when exactly each starts."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

from cuelane.session.placement import Offer, OfferWindow, Space, barred_before

MAX_NODES = 20_000

_NEVER = 1 << 62


_Best = tuple[int, int, tuple[int, ...], dict[int, int]]


def best_order(
    members: list[int],
    offers: Sequence[Offer],
    items: Sequence[OfferWindow],
    space: Space,
    best: _Best | None,
) -> _Best | None:
    """Return the better of `best` and the best placement of exactly `members`."""
    barred = {number: barred_before(number, offers) for number in members}
    names = tuple(items[number].index for number in members)
    nodes = 0

    def search(order: list[int], left: list[int], done: int, begun: _Begun | None) -> None:
        nonlocal best, nodes
        nodes += 1
        if best is not None and nodes > MAX_NODES:
            return
        if best is not None and len(order) > 1:
            # What this beginning costs by itself, and what it makes the others late: never less than that.
            late = sum(max(0, done + items[number].ahead - items[number].preferred) for number in left)
            if begun is None or begun.distance + late > best[0]:
                return
        if not left:
            most = None if best is None else best[0]
            found = starts_in_order([items[number] for number in order], space, most)
            if found is not None:
                candidate = (found[0], found[1], names, found[2])
                if best is None or _rank(candidate) < _rank(best):
                    best = candidate
            return
        behind = sum(1 << number for number in order)
        # Nearest wish first: a good answer early cuts most of the rest.
        for number in sorted(left, key=lambda n: (items[n].preferred, n)):
            item = items[number]
            ahead = item.ahead if order else 0
            start = max(item.earliest, done + ahead)
            if behind & barred[number] or start > item.latest_start:
                continue
            longer = begun and begun.then(item.earliest, item.latest_start, item, ahead)
            search([*order, number], [n for n in left if n != number], start + item.length, longer)

    search([], members, space.begin, _NOTHING)
    return best


class _Begun(NamedTuple):
    """What the first cues of an order cost at least, followed one cue at a time.

    Each start is counted without the lengths and gaps before it; ``shift`` sums them up to the last end.
    While the last cue so far starts no later than x, all cost ``distance`` plus the sum of max(0, b - x) over
    the breaks b, for x from ``low`` up: convex and falling, in the end flat. (This is the usual way to fit
    isotonic L1 one value at a time; its own words are slope trick.)
    """

    distance: int
    low: int
    shift: int
    breaks: list[int]

    def then(self, earliest: int, latest: int, item: OfferWindow, ahead: int) -> _Begun | None:
        """Return this with one cue more, `ahead` behind the last; None if it cannot start by `latest`."""
        distance, low, shift, breaks = self
        shift += ahead
        low, high = max(low, earliest - shift), latest - shift
        if low > high:
            return None
        wish = item.preferred - shift
        if wish < low:
            distance, wish = distance + low - wish, low
        # A break below `low` counts as one there: nothing lies before it.
        grown = sorted([*(b if b > low else low for b in breaks), wish, wish])
        # The highest break is where the cost would begin to rise; the last cue is taken no later than that.
        distance += grown.pop() - wish
        if grown[-1] > high:
            distance += sum(b - high for b in grown if b > high)
            grown = [b if b < high else high for b in grown]
        return _Begun(distance, low, shift + item.length, grown)


_NOTHING = _Begun(0, -_NEVER, 0, [])


def _rank(found: _Best) -> tuple[int, int, tuple[int, ...], tuple[int, ...]]:
    return (*found[:3], tuple(found[3][index] for index in sorted(found[3])))


def starts_in_order(
    items: Sequence[OfferWindow], space: Space, most: int | None = None
) -> tuple[int, int, dict[int, int]] | None:
    """Return (distance, sum of starts, starts) of the best placement in this order, or None.

    None also where every one is further than `most` from what is preferred.
    """
    if not items:
        fits = space.open_end - space.open_begin >= space.open_needed
        return (0, 0, {}) if fits or not space.open_needed else None
    if sum(item.length for item in items) > space.talk_limit:
        return None
    # Where the open stretch lies: before the first cue, between two, after the last; or nowhere is asked.
    nearest: list[_Bounds] = []
    for opening in range(len(items) + 1) if space.open_needed else (-1,):
        bounds = _bounds(items, space, opening)
        least = _least_distance(items, bounds)
        if least is not None and (most is None or least <= most):
            nearest = [*nearest, bounds] if least == most else [bounds]
            most = least
    best = min((_fit(items, bounds) for bounds in nearest), default=None)
    return None if best is None else (best[0], best[1], dict(best[2]))


_Bounds = list[tuple[int, int, int]]


def _bounds(items: Sequence[OfferWindow], space: Space, opening: int) -> _Bounds:
    """Return (earliest start, latest start, samples kept free before it) of each cue of an order.

    The open stretch lies before item number `opening`; -1 for no stretch.
    """
    bounds = []
    for number, item in enumerate(items):
        low, high = item.earliest, item.latest_start
        if number == 0 == opening:
            low = max(low, space.open_begin + space.open_needed)
        if number == len(items) - 1 and opening == len(items):
            high = min(high, space.open_end - space.open_needed - item.length)
        ahead = max(item.ahead, space.open_needed) if number == opening else item.ahead
        bounds.append((low, high, ahead if number else 0))
    return bounds


def _least_distance(items: Sequence[OfferWindow], bounds: _Bounds) -> int | None:
    """Return what :func:`_fit` gives as the distance, without the starts; None if nothing fits."""
    begun: _Begun | None = _NOTHING
    for item, (low, high, ahead) in zip(items, bounds, strict=True):
        begun = begun and begun.then(low, high, item, ahead)
    return None if begun is None else begun.distance


def _fit(items: Sequence[OfferWindow], bounds: _Bounds) -> tuple[int, int, tuple[tuple[int, int], ...]]:
    """Return the isotonic L1 fit of one order, which must have one."""
    lengths = [0, *(item.length for item in items[:-1])]
    shifts = list(accumulate(length + ahead for length, (_, _, ahead) in zip(lengths, bounds, strict=True)))
    lows = [low - shift for (low, _, _), shift in zip(bounds, shifts, strict=True)]
    highs = [high - shift for (_, high, _), shift in zip(bounds, shifts, strict=True)]
    wishes = [item.preferred - shift for item, shift in zip(items, shifts, strict=True)]
    # The last cue is never later than its own bound, the first never earlier: no other value is of use.
    values = sorted(value for value in {*lows, *highs, *wishes} if lows[0] <= value <= highs[-1])
    # best[v]: the cheapest way for the items so far with the last at most at values[v]
    best: list[tuple[int, int, tuple[tuple[int, int], ...]] | None] = [(0, 0, ())] * len(values)
    for number, item in enumerate(items):
        row: list[tuple[int, int, tuple[tuple[int, int], ...]] | None] = []
        running: tuple[int, int, tuple[tuple[int, int], ...]] | None = None
        for value, before in zip(values, best, strict=True):
            if before is not None and lows[number] <= value <= highs[number]:
                start = value + shifts[number]
                distance, total = before[0] + abs(start - item.preferred), before[1] + start
                # The starts decide between what is equal so far, and are put in order only then.
                if running is None or (distance, total) <= running[:2]:
                    here = (distance, total, tuple(sorted((*before[2], (item.index, start)))))
                    if running is None or here < running:
                        running = here
            row.append(running)
        best = row
    assert best[-1] is not None, "an order whose least distance is known has a fit"
    return best[-1]
