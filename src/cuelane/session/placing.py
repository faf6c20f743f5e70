"""Which cues an interval carries, and when each starts: an exact answer.

The model
---------
One interval has offers i, each with a length l(i), a release time r(i), a deadline d(i), a preferred start
p(i), a weight w(i), perhaps a group (at most one of a group is spoken: long and short forms of one thing) and
perhaps a place in a chain (spoken in the chain's order). Chosen are a set S and integer starts s(i) so that

* r(i) <= s(i) and s(i) + l(i) <= d(i), inside the interval's free space, which leaves out pips and guards;
* between the end of one cue and the start of the next there are at least `gap` samples;
* the lengths of S sum to at most `talk_limit`;
* where `open_needed` > 0, some stretch that long holds no cue and no pip.

A fixed cue is one whose window is exactly its length. Among all such answers the best is, in this order:
every must (one of each must-group), the greatest total weight, the least total distance from the preferred
starts, the smallest sum of starts, then the first offers and the earliest starts. So it is unique.

The method
----------
This is scheduling one machine with release times, deadlines and a budget; deciding it is NP-hard in general
but intervals offer about ten cues. (1) For each subset the earliest possible completion follows from its
subsets (Held and Karp's recursion), once without and once with the open stretch behind it; a smaller
completion never hurts what follows, so this decides exactly which subsets fit: 2**n * n steps. (2) Of those
that fit, the heaviest are kept. (3) Their orders are searched depth first, cut where a
beginning already costs more distance than the best found. (4) For one order the starts that minimise the sum
of absolute distances under chain constraints are an isotonic L1 fit: after subtracting the lengths before
it, each start lies at a preferred place or a bound of some cue, so a small table over those values is exact.

Past `MAX_OFFERS` offers, the lightest optional ones are left out before the search (and reported as such).
Musts are never left out: if they alone are more, they are taken by the earliest that each may start and then
in their given order, which is exact for the chains of lines and the fixed cues that such intervals hold. The
order search visits at most `MAX_NODES` beginnings, then keeps the best it has; cues with wishes of their own
stay far below that (a handful to some hundreds), many with one and the same wish do not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

MAX_OFFERS = 12
MAX_NODES = 20_000

_NEVER = 1 << 62


@dataclass(frozen=True)
class Offer:
    """A cue an interval could carry. All positions are samples from the interval's start.

    ``length`` > 0; ``latest_end`` None means the end of the free space.
    """

    length: int
    earliest: int = 0
    latest_end: int | None = None
    preferred: int = 0
    weight: int = 0
    must: bool = False
    group: str | None = None
    chain: tuple[str, int] | None = None


@dataclass(frozen=True)
class Space:
    """The free space of an interval, in samples from its start.

    Cues lie in [begin, end); an open stretch may reach from ``open_begin`` (the opening pip's end) to
    ``open_end`` (the countdown's first onset).
    """

    begin: int
    end: int
    gap: int
    talk_limit: int
    open_needed: int = 0
    open_begin: int = 0
    open_end: int = 0


@dataclass(frozen=True)
class Placement:
    """The chosen offers' starts by offer index, in samples from the interval's start."""

    starts: dict[int, int]
    weight: int
    distance: int
    left_out: tuple[int, ...] = ()
    """Offers that were not considered, being the lightest of too many."""


@dataclass(frozen=True)
class _Item:
    index: int
    length: int
    earliest: int
    latest_start: int
    preferred: int


def place(offers: Sequence[Offer], space: Space) -> Placement | None:
    """Return the best placement, or None if the must-cues do not fit."""
    kept = _considered(offers)
    left_out = tuple(sorted(set(range(len(offers))) - set(kept)))
    items = [_item(index, offers[index], space) for index in kept]
    if len(kept) > MAX_OFFERS:
        fitted = _starts_in_order(_by_release(items), space)
        if fitted is None:
            return None
        return Placement(fitted[2], sum(offers[index].weight for index in kept), fitted[0], left_out)
    chosen = [offers[index] for index in kept]
    masks = _heaviest(chosen, _fitting(chosen, items, space))
    if masks is None:
        return None
    best: tuple[int, int, tuple[int, ...], dict[int, int]] | None = None
    for mask in masks:
        members = [number for number in range(len(kept)) if mask >> number & 1]
        best = _best_order(members, chosen, items, space, best)
    assert best is not None, "a subset that fits has an order that fits"
    distance, _, _, starts = best
    return Placement(starts, sum(offers[index].weight for index in starts), distance, left_out)


def musts_fit(offers: Sequence[Offer], space: Space) -> bool:
    """Return whether every must-cue (one of each must-group) has a place."""
    musts = [offer for offer in offers if offer.must]
    if len(musts) > MAX_OFFERS:
        kept = _considered(musts)
        items = [_item(index, musts[index], space) for index in kept]
        if len(kept) > MAX_OFFERS:
            return _starts_in_order(_by_release(items), space) is not None
        musts = [musts[index] for index in kept]
    items = [_item(index, offer, space) for index, offer in enumerate(musts)]
    return _heaviest(musts, _fitting(musts, items, space)) is not None


def _item(index: int, offer: Offer, space: Space) -> _Item:
    latest_end = space.end if offer.latest_end is None else min(space.end, offer.latest_end)
    earliest = max(space.begin, offer.earliest)
    return _Item(index, offer.length, earliest, latest_end - offer.length, offer.preferred)


def _by_release(items: Sequence[_Item]) -> list[_Item]:
    return sorted(items, key=lambda item: (item.earliest, item.index))


def _considered(offers: Sequence[Offer]) -> list[int]:
    """Return the indices that the search looks at: all musts, then the heaviest up to the bound.

    Where the musts alone are too many, only the shortest form of each group is kept.
    """
    if len(offers) <= MAX_OFFERS:
        return list(range(len(offers)))
    by_need = sorted(
        range(len(offers)), key=lambda index: (not offers[index].must, -offers[index].weight, index)
    )
    n_musts = sum(offer.must for offer in offers)
    if n_musts <= MAX_OFFERS:
        return sorted(by_need[:MAX_OFFERS])
    shortest: dict[str, int] = {}
    for index in by_need[:n_musts]:
        group = offers[index].group or f"#{index}"
        if group not in shortest or offers[index].length < offers[shortest[group]].length:
            shortest[group] = index
    return sorted(shortest.values())


def _fitting(offers: Sequence[Offer], items: Sequence[_Item], space: Space) -> Iterator[int]:
    """Yield every subset, as a bit mask, that has an order and starts that keep all the rules."""
    n_offers = len(offers)
    # earliest completion of each subset, without and with the open stretch behind it
    plain = [_NEVER] * (1 << n_offers)
    opened = [_NEVER] * (1 << n_offers)
    needed = space.open_needed
    # Where no open stretch is asked, every subset counts as having one behind it.
    (plain if needed else opened)[0] = space.open_begin
    spoken = [0] * (1 << n_offers)
    barred = [_barred(number, offers) for number in range(n_offers)]
    for mask in range(1 << n_offers):
        if mask:
            low = (mask & -mask).bit_length() - 1
            spoken[mask] = spoken[mask & (mask - 1)] + offers[low].length
            if spoken[mask] > space.talk_limit:
                continue
            for last in range(n_offers):
                before = mask & ~(1 << last)
                if before == mask or before & barred[last] or plain[before] == opened[before] == _NEVER:
                    continue
                item = items[last]
                gap = space.gap if before else 0
                for behind, done in ((plain, plain[before]), (opened, opened[before])):
                    if done == _NEVER:
                        continue
                    start = max(item.earliest, done + gap)
                    if start > item.latest_start:
                        continue
                    behind[mask] = min(behind[mask], start + item.length)
                    if behind is plain:
                        start = max(start, done + needed)
                        if start <= item.latest_start:
                            opened[mask] = min(opened[mask], start + item.length)
        if opened[mask] != _NEVER or (plain[mask] != _NEVER and space.open_end - plain[mask] >= needed):
            yield mask


def _barred(last: int, offers: Sequence[Offer]) -> int:
    """Return the offers that may not come before `last`: others of its group, later ones of its chain."""
    mine = offers[last]
    barred = 0
    for number, other in enumerate(offers):
        same_group = mine.group is not None and other.group == mine.group
        later = (
            mine.chain is not None
            and other.chain is not None
            and other.chain[0] == mine.chain[0]
            and other.chain[1] > mine.chain[1]
        )
        if number != last and (same_group or later):
            barred |= 1 << number
    return barred


def _heaviest(offers: Sequence[Offer], masks: Iterator[int]) -> list[int] | None:
    """Return the fitting subsets of greatest weight that hold every must, or None."""
    required: dict[str, int] = {}
    for number, offer in enumerate(offers):
        if offer.must:
            key = f"group {offer.group}" if offer.group else f"offer {number}"
            required[key] = required.get(key, 0) | 1 << number
    needs = list(required.values())
    weights = [offer.weight for offer in offers]
    best, found = -1, []
    for mask in masks:
        if all(mask & need for need in needs):
            weight = sum(value for number, value in enumerate(weights) if mask >> number & 1)
            if weight > best:
                best, found = weight, [mask]
            elif weight == best:
                found.append(mask)
    return found or None


_Best = tuple[int, int, tuple[int, ...], dict[int, int]]


def _best_order(
    members: list[int], offers: Sequence[Offer], items: Sequence[_Item], space: Space, best: _Best | None
) -> _Best | None:
    """Return the better of `best` and the best placement of exactly `members`."""
    barred = {number: _barred(number, offers) for number in members}
    names = tuple(items[number].index for number in members)
    nodes = 0

    def search(order: list[int], left: list[int], done: int) -> None:
        nonlocal best, nodes
        nodes += 1
        if best is not None and nodes > MAX_NODES:
            return
        if best is not None and len(order) > 1:
            # What this beginning costs by itself, and what it makes the others late: never less than that.
            begun = _fit([items[number] for number in order], space, -1)
            late = sum(max(0, done + space.gap - items[number].preferred) for number in left)
            if begun is None or begun[0] + late > best[0]:
                return
        if not left:
            found = _starts_in_order([items[number] for number in order], space)
            if found is not None:
                candidate = (found[0], found[1], names, found[2])
                if best is None or _rank(candidate) < _rank(best):
                    best = candidate
            return
        behind = sum(1 << number for number in order)
        # Nearest wish first: a good answer early cuts most of the rest.
        for number in sorted(left, key=lambda n: (items[n].preferred, n)):
            item = items[number]
            start = max(item.earliest, done + (space.gap if order else 0))
            if behind & barred[number] or start > item.latest_start:
                continue
            search([*order, number], [n for n in left if n != number], start + item.length)

    search([], members, space.begin)
    return best


def _rank(found: _Best) -> tuple[int, int, tuple[int, ...], tuple[int, ...]]:
    return (*found[:3], tuple(found[3][index] for index in sorted(found[3])))


def _starts_in_order(items: Sequence[_Item], space: Space) -> tuple[int, int, dict[int, int]] | None:
    """Return (distance, sum of starts, starts) of the best placement in this order, or None."""
    best: tuple[int, int, tuple[tuple[int, int], ...]] | None = None
    if not items:
        fits = space.open_end - space.open_begin >= space.open_needed
        return (0, 0, {}) if fits or not space.open_needed else None
    if sum(item.length for item in items) > space.talk_limit:
        return None
    # Where the open stretch lies: before the first cue, between two, after the last; or nowhere is asked.
    for opening in range(len(items) + 1) if space.open_needed else (-1,):
        found = _fit(items, space, opening)
        if found is not None and (best is None or found < best):
            best = found
    return None if best is None else (best[0], best[1], dict(best[2]))


def _fit(
    items: Sequence[_Item], space: Space, opening: int
) -> tuple[int, int, tuple[tuple[int, int], ...]] | None:
    """Return the isotonic L1 fit of one order with the open stretch before item number `opening`."""
    shifts: list[int] = []
    lows: list[int] = []
    highs: list[int] = []
    shift = 0
    for number, item in enumerate(items):
        if number:
            wanted = max(space.gap, space.open_needed) if number == opening else space.gap
            shift += items[number - 1].length + wanted
        low, high = item.earliest, item.latest_start
        if number == 0 == opening:
            low = max(low, space.open_begin + space.open_needed)
        if number == len(items) - 1 and opening == len(items):
            high = min(high, space.open_end - space.open_needed - item.length)
        if low > high:
            return None
        shifts.append(shift)
        lows.append(low - shift)
        highs.append(high - shift)
    wishes = [item.preferred - shifts[number] for number, item in enumerate(items)]
    values = sorted({*lows, *highs, *wishes})
    # best[v]: the cheapest way for the items so far with the last at most at values[v]
    best: list[tuple[int, int, tuple[tuple[int, int], ...]] | None] = [(0, 0, ())] * len(values)
    for number, item in enumerate(items):
        row: list[tuple[int, int, tuple[tuple[int, int], ...]] | None] = []
        running: tuple[int, int, tuple[tuple[int, int], ...]] | None = None
        for place_index, value in enumerate(values):
            before = best[place_index]
            if before is not None and lows[number] <= value <= highs[number]:
                start = value + shifts[number]
                starts = tuple(sorted((*before[2], (item.index, start))))
                here = (before[0] + abs(start - item.preferred), before[1] + start, starts)
                if running is None or here < running:
                    running = here
            row.append(running)
        best = row
    return best[-1]
