"""Which cues an interval carries, and when each starts: an exact answer.

The model
---------
One interval has offers i, each with a length l(i), a release time r(i), a deadline d(i), a preferred start
p(i), a weight w(i), a wished silence q(i) before it, perhaps a group (at most one of a group is spoken: long
and short forms of one thing) and perhaps a place in a chain (spoken in the chain's order). Chosen are a set S
and integer starts s(i) so that

* r(i) <= s(i) and s(i) + l(i) <= d(i), inside the interval's free space, which leaves out pips and guards;
* between the end of one cue and the start of the next, i, there are at least `gap` samples, and q(i) too
  where that loses no weight: all the silences of an interval are tried whole, then at half, then not;
* the lengths of S sum to at most `talk_limit`;
* where `open_needed` > 0, some stretch that long holds no cue and no pip.

A fixed cue is one whose window is exactly its length. Among all such answers the best is, in this order:
every must (one of each must-group), the greatest total weight, the largest part of the silences, the least
total distance from the preferred starts, the smallest sum of starts, then the first offers and the earliest
starts. So it is unique.

The method
----------
This is scheduling one machine with release times, deadlines and a budget; deciding it is NP-hard in general
but intervals offer about ten cues. (1) For each subset the earliest possible completion follows from its
subsets (Held and Karp's recursion), once without and once with the open stretch behind it; a smaller
completion never hurts what follows (a silence belongs to the cue after it alone), so this decides exactly
which subsets fit: 2**n * n steps. (2) Of those that fit, the heaviest are kept. (3) Their orders are searched
depth first, cut where a beginning already costs more distance than the best found. (4) For one order the
starts that minimise the sum of absolute distances under chain constraints are an isotonic L1 fit: after
subtracting the lengths before it, each start lies at a preferred place or a bound of some cue, so a small
table over those values is exact.
(:mod:`cuelane.session.subsets` does the first two, :mod:`cuelane.session.orders` the others.)

Past `MAX_OFFERS` offers, the lightest optional ones are left out before the search (and reported as such).
Musts are never left out: if they alone are more, they are taken by the earliest that each may start and then
in their given order, which is exact for the chains of lines and the fixed cues that such intervals hold. The
order search visits at most `MAX_NODES` beginnings, then keeps the best it has; cues with wishes of their own
stay far below that (a handful to some hundreds), many with one and the same wish do not.
"""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.session.orders import best_order, starts_in_order
from cuelane.session.placement import QUIET_PARTS, Offer, OfferWindow, Placement, Space, item_of
from cuelane.session.subsets import fitting, heaviest

__all__ = ["MAX_OFFERS", "Offer", "Placement", "Space", "musts_fit", "place"]

MAX_OFFERS = 12


def place(offers: Sequence[Offer], space: Space) -> Placement | None:
    """Return the best placement, or None if the must-cues do not fit."""
    kept = _considered(offers)
    left_out = tuple(sorted(set(range(len(offers))) - set(kept)))
    if len(kept) > MAX_OFFERS:
        items = [item_of(index, offers[index], space) for index in kept]
        fitted = starts_in_order(_by_release(items), space)
        if fitted is None:
            return None
        return Placement(fitted[2], sum(offers[index].weight for index in kept), fitted[0], left_out)
    chosen = [offers[index] for index in kept]
    found = _roomiest(chosen, kept, space)
    if found is None:
        return None
    items, masks = found
    best: tuple[int, int, tuple[int, ...], dict[int, int]] | None = None
    for mask in masks:
        members = [number for number in range(len(kept)) if mask >> number & 1]
        best = best_order(members, chosen, items, space, best)
    assert best is not None, "a subset that fits has an order that fits"
    distance, _, _, starts = best
    return Placement(starts, sum(offers[index].weight for index in starts), distance, left_out)


def _roomiest(
    chosen: Sequence[Offer], kept: Sequence[int], space: Space
) -> tuple[list[OfferWindow], list[int]] | None:
    """Return the windows with as much of the silences as costs no weight, and the heaviest subsets."""
    most = _most_weight(chosen)
    best: tuple[list[OfferWindow], list[int]] | None = None
    best_weight = -1
    for parts in range(QUIET_PARTS, -1, -1) if any(offer.quiet for offer in chosen) else (0,):
        items = [item_of(index, offer, space, parts) for index, offer in zip(kept, chosen, strict=True)]
        masks = heaviest(chosen, fitting(chosen, items, space))
        if masks is None:
            continue
        weight = sum(offer.weight for number, offer in enumerate(chosen) if masks[0] >> number & 1)
        if weight > best_weight:
            best, best_weight = (items, masks), weight
        if weight == most:
            break
    return best


def _most_weight(offers: Sequence[Offer]) -> int:
    """Return what all offers would weigh together, one of each group: no answer weighs more."""
    groups: dict[str, int] = {}
    for number, offer in enumerate(offers):
        key = f"group {offer.group}" if offer.group else f"offer {number}"
        groups[key] = max(groups.get(key, 0), offer.weight)
    return sum(groups.values())


def musts_fit(offers: Sequence[Offer], space: Space) -> bool:
    """Return whether every must-cue (one of each must-group) has a place."""
    musts = [offer for offer in offers if offer.must]
    if len(musts) > MAX_OFFERS:
        kept = _considered(musts)
        items = [item_of(index, musts[index], space) for index in kept]
        if len(kept) > MAX_OFFERS:
            return starts_in_order(_by_release(items), space) is not None
        musts = [musts[index] for index in kept]
    items = [item_of(index, offer, space) for index, offer in enumerate(musts)]
    return heaviest(musts, fitting(musts, items, space)) is not None


def _by_release(items: Sequence[OfferWindow]) -> list[OfferWindow]:
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
