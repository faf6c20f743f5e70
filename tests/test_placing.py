"""The placer against exhaustive search, and each hard rule as a property."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuelane.session.orders import starts_in_order
from cuelane.session.placement import QUIET_PARTS, OfferWindow, item_of
from cuelane.session.placing import MAX_OFFERS, Offer, Placement, Space, musts_fit, place
from cuelane.session.subsets import fitting


@st.composite
def spaces(draw: st.DrawFn, longest: int = 14) -> Space:
    end = draw(st.integers(2, longest))
    begin = draw(st.integers(0, 2))
    return Space(
        begin=begin,
        end=end,
        gap=draw(st.integers(0, 3)),
        talk_limit=draw(st.integers(1, longest)),
        open_needed=draw(st.sampled_from([0, 0, 2, 4])),
        open_begin=draw(st.integers(0, begin)),
        open_end=end + draw(st.integers(0, 2)),
    )


@st.composite
def offers(draw: st.DrawFn, longest: int = 14) -> Offer:
    length = draw(st.integers(1, 5))
    earliest = draw(st.integers(0, 8))
    fixed = draw(st.integers(0, 5)) == 0
    return Offer(
        length=length,
        earliest=earliest,
        latest_end=earliest + length if fixed else draw(st.one_of(st.none(), st.integers(1, longest))),
        preferred=draw(st.integers(-2, longest)),
        weight=draw(st.integers(0, 4)),
        must=draw(st.integers(0, 4)) == 0,
        group=draw(st.sampled_from([None, None, "g"])),
        chain=draw(st.sampled_from([None, None, ("c", 0), ("c", 1), ("c", 2)])),
        quiet=draw(st.sampled_from([0, 0, 2, 4, 5])),
    )


def outside(start: int, offer: Offer, space: Space) -> str:
    """Return which window a start leaves, or an empty string."""
    end = start + offer.length
    if start < space.begin or end > space.end:
        return "free space"
    late = offer.latest_end is not None and end > offer.latest_end
    return "window" if start < offer.earliest or late else ""


def silence_kept(starts: dict[int, int], offered: list[Offer]) -> int:
    """Return 2 if each cue has the silence that it wishes before it, 1 if all have half of it, else 0."""
    placed = sorted((start, index) for index, start in starts.items())
    free = [
        (start - before - offered[earlier].length, offered[index].quiet)
        for (before, earlier), (start, index) in pairwise(placed)
    ]
    return next(part for part in (2, 1, 0) if all(silence >= quiet * part // 2 for silence, quiet in free))


def broken_rule(starts: dict[int, int], offered: list[Offer], space: Space) -> str:
    """Return the name of the first hard rule that `starts` breaks, or an empty string."""
    placed = sorted((start, start + offered[index].length, index) for index, start in starts.items())
    for start, _, index in placed:
        if outside(start, offered[index], space):
            return outside(start, offered[index], space)
    for (_, end, first), (start, _, second) in pairwise(placed):
        if start < end:
            return "overlap"
        if start - end < space.gap:
            return "gap"
        one, two = offered[first].chain, offered[second].chain
        if one and two and one[0] == two[0] and one[1] > two[1]:
            return "chain"
    # Chain order must hold between cues that are not neighbours too.
    chained = [offered[index].chain for _, _, index in placed if offered[index].chain]
    if any(one > two for one, two in pairwise(chained)):
        return "chain"
    if sum(offered[index].length for index in starts) > space.talk_limit:
        return "talk limit"
    groups = [offered[index].group for index in starts if offered[index].group]
    if len(groups) != len(set(groups)):
        return "group"
    edges = [space.open_begin, *(edge for start, end, _ in placed for edge in (start, end)), space.open_end]
    stretches = [edges[k + 1] - edges[k] for k in range(0, len(edges), 2)]
    if space.open_needed and max(stretches) < space.open_needed:
        return "open stretch"
    must_groups = {offer.group or f"#{index}" for index, offer in enumerate(offered) if offer.must}
    have = {offered[index].group or f"#{index}" for index in starts if offered[index].must}
    return "must" if must_groups - have else ""


def exhaustive(offered: list[Offer], space: Space) -> Placement | None:
    """Return the best placement by trying every subset and every start.

    Of the answers that weigh as much, those that keep the silences whole come first, then those at half.
    """
    choices = [
        [None, *(start for start in range(space.begin, space.end) if not outside(start, offer, space))]
        for offer in offered
    ]
    best = None
    for combination in product(*choices):
        starts = {index: start for index, start in enumerate(combination) if start is not None}
        if broken_rule(starts, offered, space):
            continue
        weight = sum(offered[index].weight for index in starts)
        distance = sum(abs(start - offered[index].preferred) for index, start in starts.items())
        ordered = tuple(starts[index] for index in sorted(starts))
        rank = (
            -weight,
            -silence_kept(starts, offered),
            distance,
            sum(ordered),
            tuple(sorted(starts)),
            ordered,
        )
        if best is None or rank < best[0]:
            best = (rank, Placement(starts, weight, distance))
    return None if best is None else best[1]


@settings(max_examples=400, deadline=None, derandomize=True)
@given(space=spaces(longest=11), offered=st.lists(offers(longest=11), max_size=3))
def test_small_cases_equal_exhaustive_search(space: Space, offered: list[Offer]) -> None:
    """On small cases the placer's answer is the exhaustive search's, cue for cue and sample for sample."""
    assert place(offered, space) == exhaustive(offered, space)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(space=spaces(longest=9), offered=st.lists(offers(longest=9), min_size=4, max_size=4))
def test_four_offers_equal_exhaustive_search(space: Space, offered: list[Offer]) -> None:
    """With four offers too, where orders of three and more matter."""
    assert place(offered, space) == exhaustive(offered, space)


@st.composite
def real_cases(draw: st.DrawFn) -> tuple[Space, list[Offer]]:
    """Intervals of 8 to 90 s with up to nine offers of 0.4 to 7 s, in samples at 48 kHz."""
    rate = 48_000
    end = draw(st.integers(8 * rate, 90 * rate))
    space = Space(
        begin=draw(st.integers(0, rate)),
        end=end,
        gap=draw(st.integers(0, rate)),
        talk_limit=int(end * draw(st.sampled_from([0.3, 0.55, 0.75, 1.0]))),
        open_needed=draw(st.sampled_from([0, 4 * rate])),
        open_begin=0,
        open_end=end + rate // 4,
    )
    offered = []
    for _ in range(draw(st.integers(0, 9))):
        length = draw(st.integers(rate * 2 // 5, 7 * rate))
        earliest = draw(st.integers(0, end))
        offered.append(
            Offer(
                length=length,
                earliest=draw(st.sampled_from([0, earliest])),
                latest_end=draw(st.sampled_from([None, None, earliest + length])),
                preferred=draw(st.integers(0, end)),
                weight=draw(st.integers(0, 100)),
                must=draw(st.integers(0, 9)) == 0,
                group=draw(st.sampled_from([None, None, None, "g"])),
                chain=draw(st.sampled_from([None, None, ("c", 0), ("c", 1)])),
                quiet=draw(st.sampled_from([0, 0, 3 * rate])),
            )
        )
    return space, offered


@settings(max_examples=150, deadline=None, derandomize=True)
@given(case=real_cases())
def test_every_hard_rule_holds(case: tuple[Space, list[Offer]]) -> None:
    """No answer ever breaks a hard rule, and None is given only when the musts alone do not fit."""
    space, offered = case
    found = place(offered, space)
    if found is None:
        assert not musts_fit(offered, space)
    else:
        assert broken_rule(found.starts, offered, space) == ""


SECOND = 48_000


def space_of(seconds: int, **changes: int) -> Space:
    """Return a plain space of so many seconds, changed as told."""
    base = {"begin": 0, "end": seconds * SECOND, "gap": 0, "talk_limit": seconds * SECOND}
    return Space(**{**base, "open_end": seconds * SECOND, **changes})


def test_a_gap_is_kept_to_the_sample() -> None:
    """Two cues with the same wish stand exactly one gap apart, the gap being a literal here."""
    two = [Offer(SECOND, weight=1), Offer(SECOND, weight=1)]
    found = place(two, space_of(10, gap=19_200))
    assert found is not None
    assert sorted(found.starts.values()) == [0, SECOND + 19_200]


def test_a_silence_is_kept_where_nothing_is_lost() -> None:
    """Of two cues the second wishes 3 s before it: it has them in 10 s, half of them in 4 s, none in 3 s."""
    two = [
        Offer(SECOND, weight=1, chain=("c", 0)),
        Offer(SECOND, weight=1, chain=("c", 1), quiet=3 * SECOND),
    ]
    for seconds, between in ((10, 3 * SECOND), (4, 3 * SECOND // 2), (3, 0)):
        found = place(two, space_of(seconds))
        assert found is not None
        assert found.starts[1] - found.starts[0] == SECOND + between


def test_a_cue_one_sample_too_long_is_dropped() -> None:
    """A cue of exactly the free space is spoken; one sample more, and it is not."""
    exact, longer = Offer(10 * SECOND, weight=1), Offer(10 * SECOND + 1, weight=1)
    assert place([exact], space_of(10)) == Placement({0: 0}, 1, 0)
    assert place([longer], space_of(10)) == Placement({}, 0, 0)


def test_the_talk_limit_is_kept_to_the_sample() -> None:
    """Two cues that sum to the limit are both spoken; with a limit one sample lower only the heavier."""
    two = [Offer(2 * SECOND, weight=1), Offer(3 * SECOND, weight=2, preferred=5 * SECOND)]
    full = place(two, space_of(10, talk_limit=5 * SECOND))
    assert full is not None
    assert set(full.starts) == {0, 1}
    short = place(two, space_of(10, talk_limit=5 * SECOND - 1))
    assert short is not None
    assert set(short.starts) == {1}


def test_a_stretch_stays_open() -> None:
    """In 10 s with two cues of 3 s wished apart, the 4 s that are left lie together."""
    two = [Offer(3 * SECOND, weight=1, preferred=SECOND), Offer(3 * SECOND, weight=1, preferred=5 * SECOND)]
    found = place(two, space_of(10, open_needed=4 * SECOND))
    assert found is not None
    starts = sorted(found.starts.values())
    edges = [0, starts[0], starts[0] + 3 * SECOND, starts[1], starts[1] + 3 * SECOND, 10 * SECOND]
    assert max(edges[k + 1] - edges[k] for k in (0, 2, 4)) >= 4 * SECOND


def test_musts_beat_any_weight() -> None:
    """A light must-cue takes the room of a heavy optional one."""
    pair = [Offer(6 * SECOND, weight=1000), Offer(6 * SECOND, must=True)]
    found = place(pair, space_of(10))
    assert found is not None
    assert set(found.starts) == {1}


def test_musts_that_do_not_fit_give_nothing() -> None:
    """Two must-cues longer than the interval have no placement."""
    pair = [Offer(6 * SECOND, must=True), Offer(6 * SECOND, must=True)]
    assert place(pair, space_of(10)) is None
    assert not musts_fit(pair, space_of(10))


def test_a_must_group_is_met_by_its_short_form() -> None:
    """If the long form of a must does not fit, the short one is spoken instead."""
    forms = [
        Offer(12 * SECOND, weight=9, must=True, group="next"),
        Offer(2 * SECOND, weight=1, must=True, group="next"),
    ]
    found = place(forms, space_of(10))
    assert found is not None
    assert set(found.starts) == {1}


@pytest.mark.parametrize("n_lines", [MAX_OFFERS + 1, 30])
def test_many_must_lines_are_said_in_order(n_lines: int) -> None:
    """More must-lines than the search takes are laid one after the other in their order."""
    lines = [Offer(SECOND, must=True, chain=("say", k)) for k in range(n_lines)]
    found = place(lines, space_of(2 * n_lines, gap=SECOND // 2))
    assert found is not None
    assert [found.starts[k] for k in range(n_lines)] == [k * (SECOND + SECOND // 2) for k in range(n_lines)]


def test_too_many_optional_offers_drop_the_lightest() -> None:
    """Past the bound the lightest optional offers are not considered, and are named."""
    many = [Offer(SECOND, weight=k, preferred=k * SECOND) for k in range(MAX_OFFERS + 2)]
    found = place(many, space_of(30))
    assert found is not None
    assert found.left_out == (0, 1)


def test_a_later_wish_may_go_first() -> None:
    """A cue whose wish is earlier but which may only start later does not push the other behind it."""
    first_wish = Offer(5, earliest=3, preferred=0, weight=1)
    second_wish = Offer(1, preferred=1, weight=1)
    space = Space(begin=0, end=20, gap=0, talk_limit=20)
    assert place([first_wish, second_wish], space) == Placement({0: 3, 1: 1}, 2, 3)


def test_of_equal_distances_the_earlier_start_wins() -> None:
    """Two cues of equal weight and distance, room for one: the one that starts earlier is spoken."""
    late = Offer(3, earliest=3, preferred=2, weight=1)
    early = Offer(4, earliest=2, preferred=3, weight=1)
    space = Space(begin=0, end=6, gap=1, talk_limit=6, open_needed=2, open_end=6)
    assert place([late, early], space) == Placement({1: 2}, 1, 1)


def test_many_cues_of_one_wish_end_soon() -> None:
    """Twelve equal cues with one wish have 12! orders of the same cost; the search is bounded, keeps all."""
    many = [Offer(SECOND, weight=1, preferred=20 * SECOND) for _ in range(MAX_OFFERS)]
    found = place(many, space_of(60, gap=SECOND // 2))
    assert found is not None
    assert len(found.starts) == MAX_OFFERS
    assert broken_rule(found.starts, many, space_of(60, gap=SECOND // 2)) == ""


def test_fixed_musts_need_not_be_listed_in_order() -> None:
    """Thirteen fixed must-cues written latest first are all placed where they are fixed."""
    fixed = [
        Offer(
            SECOND,
            earliest=k * 3 * SECOND,
            latest_end=(k * 3 + 1) * SECOND,
            preferred=k * 3 * SECOND,
            must=True,
        )
        for k in reversed(range(MAX_OFFERS + 1))
    ]
    found = place(fixed, space_of(60))
    assert found is not None
    assert [found.starts[k] for k in range(len(fixed))] == [offer.earliest for offer in fixed]


def test_a_must_group_among_many_musts_needs_one_form() -> None:
    """With more musts than the search takes, a group of two forms is met by its shorter one."""
    lines = [Offer(SECOND, must=True, chain=("say", k)) for k in range(MAX_OFFERS)]
    forms = [Offer(30 * SECOND, must=True, group="g"), Offer(SECOND, must=True, group="g")]
    found = place([*lines, *forms], space_of(20))
    assert found is not None
    assert MAX_OFFERS + 1 in found.starts
    assert found.left_out == (MAX_OFFERS,)


@st.composite
def crowded_cases(draw: st.DrawFn) -> tuple[Space, list[Offer]]:
    """Up to eight offers on a few samples, so that windows, gaps and costs often meet and tie."""
    space = draw(spaces(longest=20))
    return space, draw(st.lists(offers(longest=20), max_size=8))


def fitting_one_by_one(offered: list[Offer], space: Space) -> list[int]:
    """Return the fitting subsets by Held and Karp's recursion, written out one subset after the other."""
    never = 1 << 62
    # Of each subset: the earliest completion without, and with, the open stretch behind it.
    done = {0: (never, space.open_begin) if not space.open_needed else (space.open_begin, never)}
    for mask in range(1, 1 << len(offered)):
        members = [k for k in range(len(offered)) if mask >> k & 1]
        plain = opened = never
        for last in members if sum(offered[k].length for k in members) <= space.talk_limit else ():
            mine = offered[last]
            if any(
                (mine.group is not None and offered[k].group == mine.group)
                or (mine.chain and offered[k].chain and mine.chain[0] == offered[k].chain[0]
                    and offered[k].chain[1] > mine.chain[1])
                for k in members if k != last
            ):  # fmt: skip
                continue
            latest = (space.end if mine.latest_end is None else min(space.end, mine.latest_end)) - mine.length
            gap = max(space.gap, mine.quiet) if len(members) > 1 else 0
            for kind, before in enumerate(done[mask & ~(1 << last)]):
                for wait in {gap, max(gap, space.open_needed)} if kind == 0 else {gap}:
                    start = max(space.begin, mine.earliest, before + wait)
                    if start <= latest and kind == 0 and wait < space.open_needed:
                        plain = min(plain, start + mine.length)
                    elif start <= latest:
                        opened = min(opened, start + mine.length)
                        plain = min(plain, start + mine.length) if kind == 0 else plain
        done[mask] = (plain, opened)
    return [
        mask
        for mask, (plain, opened) in done.items()
        if opened != never or (plain != never and space.open_end - plain >= space.open_needed)
    ]


def nearest_one_by_one(items: list[OfferWindow], space: Space) -> tuple[int, int, tuple[int, ...]] | None:
    """Return (distance, sum, starts by index) of an order's best starts, trying every start of every cue."""
    best = None
    ways: list[tuple[int, ...]] = [()]
    for item in items:
        free = [starts[-1] + items[len(starts) - 1].length + item.ahead if starts else -99 for starts in ways]
        ways = [
            (*starts, start)
            for starts, first in zip(ways, free, strict=True)
            for start in range(max(first, item.earliest), item.latest_start + 1)
        ]
    for starts in ways if sum(item.length for item in items) <= space.talk_limit else ():
        ends = [start + item.length for start, item in zip(starts, items, strict=True)]
        stretches = [b - a for a, b in zip([space.open_begin, *ends], [*starts, space.open_end], strict=True)]
        if not space.open_needed or max(stretches) >= space.open_needed:
            distance = sum(abs(start - item.preferred) for start, item in zip(starts, items, strict=True))
            by_index = tuple(start for _, start in sorted(zip((i.index for i in items), starts, strict=True)))
            if best is None or (distance, sum(starts), by_index) < best:
                best = (distance, sum(starts), by_index)
    return best


def assert_nearest_starts(items: list[OfferWindow], space: Space) -> None:
    """Hold the starts found in an order, ties included, and the limit on their cost, against every start."""
    found, expected = starts_in_order(items, space), nearest_one_by_one(items, space)
    if expected is None:
        assert found is None
    else:
        assert found is not None
        assert (*found[:2], tuple(found[2][index] for index in sorted(found[2]))) == expected
        assert starts_in_order(items, space, most=expected[0]) == found
        assert starts_in_order(items, space, most=expected[0] - 1) is None


@settings(max_examples=150, deadline=None, derandomize=True)
@given(case=crowded_cases())
def test_the_subsets_that_fit_are_those_of_the_plain_recursion(case: tuple[Space, list[Offer]]) -> None:
    """All subsets of one size done at once are what they are one after the other."""
    space, offered = case
    items = [item_of(index, offer, space, QUIET_PARTS) for index, offer in enumerate(offered)]
    assert np.flatnonzero(fitting(offered, items, space)).tolist() == fitting_one_by_one(offered, space)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(space=spaces(longest=14), offered=st.lists(offers(longest=14), min_size=1, max_size=4))
def test_the_starts_in_an_order_are_the_nearest_there_are(space: Space, offered: list[Offer]) -> None:
    """The fit of one order, ties included, is what trying every start gives."""
    items = [item_of(index, offer, space, QUIET_PARTS) for index, offer in enumerate(offered)]
    assert_nearest_starts(items, space)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    cues=st.lists(
        st.tuples(st.integers(1, 3), st.integers(0, 12), st.integers(0, 2)), min_size=2, max_size=3
    ),
    needed=st.integers(0, 4),
)
def test_cues_in_each_others_way_cost_what_trying_every_start_tells(
    cues: list[tuple[int, int, int]], needed: int
) -> None:
    """Free windows and wishes against the order, so that each example has cues that push one another."""
    items = [
        OfferWindow(k, length, 0, 13 - length, wish, ahead) for k, (length, wish, ahead) in enumerate(cues)
    ]
    space = Space(0, 13, 0, 13, needed, 0, 13)
    assert_nearest_starts(items, space)
