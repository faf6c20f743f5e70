"""A class's work and rest as a grid in time: which boundaries lie on it, and where others must be.

Between two boundaries a timer lets whole sets and rests go by, so that the time from one to the next is a
work, a rest, or a sum of both in turn. The chain of boundaries that is most evidence for two lengths is
found; a recording that was cut or paused begins a new chain there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Chosen: how far a boundary may be off the grid; timers are exact and onsets good to 20 ms.
NEAR_GRID_S = 0.08
# Chosen, the share of boundaries that keep a class's lengths; the others follow a cut or a break.
_KEPT = 0.85
# Chosen, in nats: what each boundary on the grid costs that was not heard.
_UNHEARD = 1.0
# Chosen: boundaries that may be left out before one; more costs time with it.
_LOOK_BACK = 40
# Chosen, in nats: from here on lengths are taken as those of the class; one in 50 would be so by chance.
SURE_GRID = 4.0
# Chosen: a chain that fits as well with work and rest exchanged does not say which is which.
_TELLS_APART = 2.0
# Chosen: lengths of two gaps that differ by less are one length.
_SAME_LENGTH_S = 0.12
# Chosen: more lengths of its own has no class that goes by two; each pair of them is tried.
_MOST_LENGTHS = 6
# Chosen: a class's own lengths are believed if so many gaps, and this share of all, keep them.
_FEWEST_KEPT, _MOST_KEPT_SHARE = 5, 0.75
# Chosen: where so many are not heard for each that is, all lengths are sums of a shorter one: in a pyramid of
# 20 s to 40 s with rests of 10 s all are tens, and half of the tens have no boundary.
_MOST_UNHEARD_SHARE = 0.7
# Chosen: where a chain leaves out or begins anew more often than at two cuts, that share must be single works
# and rests: in a pyramid of 20 s to 40 s with rests of 10 s, 30 s is also one and the other, but not in turn.
_MOST_BROKEN = 3
# Chosen: so many rests of one length, and more than this share of all gaps, are those of a class; of gaps
# that each have a length of their own, fewer are alike.
_FEWEST_RESTS, _MORE_RESTS_SHARE = 3, 0.34
# Chosen: where fewer sets have a length that comes again, one that fits does so by chance.
_SETS_AGAIN = 0.5
# Chosen: of four alike among so many, chance makes one class in 36 of 16 sets of whole seconds of their own.
_FEWER_RESTS, _FEWER_RESTS_SHARE = 4, 0.25
# Chosen: so many links to each side of one that is not a single step are looked at; this share of them must
# be single ones, a larger one where it passes over what was heard.
_LINKS_AROUND, _CLEAN_WHERE_UNHEARD, _CLEAN_WHERE_PASSED = 2, 0.5, 0.75
# Chosen: more boundaries in a row than this are not filled in without a person's word.
_MOST_FILLED = 2
# Chosen: a recording may be played faster or slower by so much, in steps finer than what a gap shows.
_SLOWEST, _FASTEST, _SPEED_STEP = 0.93, 1.07, 0.002


@dataclass(frozen=True)
class Lengths:
    """A class's work and rest in seconds; ``rest_s`` is 0 where set follows set."""

    work_s: float
    rest_s: float

    @property
    def period_s(self) -> float:
        return self.work_s + self.rest_s

    def steps_s(self, is_rest: bool, n_steps: int) -> list[float]:
        """Return how far each of the next `n_steps` boundaries is from one that begins a rest, or a work."""
        if not self.rest_s:
            return [self.work_s * (k + 1) for k in range(n_steps)]
        turn = (self.rest_s, self.work_s) if is_rest else (self.work_s, self.rest_s)
        return [float(v) for v in np.cumsum([turn[k % 2] for k in range(n_steps)])]

    def at_speed(self, speed: float) -> Lengths:
        return Lengths(self.work_s * speed, self.rest_s * speed)


@dataclass(frozen=True)
class Link:
    """A boundary of a chain: its index, whether a rest begins there, and the steps since the one before.

    ``n_steps`` is None where a new chain begins.
    """

    index: int
    is_rest: bool
    n_steps: int | None


@dataclass(frozen=True)
class Chain:
    """Boundaries on the grid of ``lengths``, and the evidence for it in nats; the others are left out."""

    lengths: Lengths
    links: tuple[Link, ...]
    evidence: float
    tells_apart: bool

    @property
    def n_kept(self) -> int:
        """How many steps from one boundary to the next keep the lengths."""
        return sum(link.n_steps is not None for link in self.links)

    @property
    def n_unheard(self) -> int:
        """How many boundaries its steps let by."""
        return sum((link.n_steps or 1) - 1 for link in self.links)

    @property
    def n_single(self) -> int:
        """How many of them are one work or one rest."""
        return sum(link.n_steps == 1 for link in self.links)


def chain_of(times_s: Floats, lengths: Lengths) -> Chain:
    """Return the chain through `times_s`, shape (n,), in order, that is most evidence for `lengths`."""
    n = len(times_s)
    if n < 2:
        return Chain(lengths, (), 0.0, False)
    targets = 2 if lengths.rest_s else 1
    by_chance = min(0.5, 2 * targets * NEAR_GRID_S / lengths.period_s)
    keeps, leaves = np.log(_KEPT / by_chance), np.log((1 - _KEPT) / (1 - by_chance))
    values = np.zeros((n, 2))
    before = np.full((n, 2), -1)
    steps = np.zeros((n, 2), dtype=np.int64)
    for index in range(n):
        values[index] = leaves * index
        first = max(0, index - _LOOK_BACK)
        gaps = times_s[index] - times_s[first:index]
        left_out = leaves * np.arange(index - first - 1, -1, -1)
        for state in (0, 1):
            for other in (0, 1):
                n_steps, off = _nearest(gaps, lengths, bool(other), state != other)
                fits = (np.abs(off) < NEAR_GRID_S) & (n_steps > 0)
                worth = np.where(fits, keeps - _UNHEARD * np.maximum(0, n_steps - 1), leaves)
                total = values[first:index, other] + left_out + worth
                if len(total) and total.max() > values[index, state]:
                    top = int(total.argmax())
                    values[index, state] = total[top]
                    before[index, state] = 2 * (first + top) + other
                    steps[index, state] = n_steps[top] if fits[top] else 0
    ends = values + leaves * np.arange(n - 1, -1, -1)[:, None]
    at = int(ends.argmax())
    evidence = float(ends.max())
    links: list[Link] = []
    while at >= 0:
        index, state = divmod(at, 2)
        link_steps = int(steps[index, state]) if before[index, state] >= 0 else 0
        links.append(Link(index, bool(state), link_steps or None))
        at = int(before[index, state])
    links.reverse()
    return Chain(lengths, tuple(links), evidence, _tells(times_s, links, lengths, keeps - leaves))


def _nearest(
    gaps: Floats, lengths: Lengths, from_rest: bool, changes: bool
) -> tuple[npt.NDArray[np.int64], Floats]:
    """Return (number of steps, by how much it is off) of the grid's nearest time to each of `gaps`."""
    period = lengths.period_s
    part = (lengths.rest_s if from_rest else lengths.work_s) if changes else 0.0
    if changes and not lengths.rest_s:
        return np.zeros(len(gaps), np.int64), np.full(len(gaps), np.inf)
    turns = np.maximum(0, np.rint((gaps - part) / period)).astype(np.int64)
    per_turn = 2 if lengths.rest_s else 1
    return turns * per_turn + int(changes), gaps - part - turns * period


def _tells(times_s: Floats, links: Sequence[Link], lengths: Lengths, worth: float) -> bool:
    """Return whether the chain would lose by exchanging work and rest."""
    if not lengths.rest_s or abs(lengths.work_s - lengths.rest_s) < 2 * NEAR_GRID_S:
        return True
    lost = 0.0
    for one, two in pairwise(links):
        if two.n_steps is not None and two.n_steps % 2:
            gap = np.array([times_s[two.index] - times_s[one.index]])
            _, off = _nearest(gap, lengths, not one.is_rest, True)
            lost += worth if abs(float(off[0])) >= NEAR_GRID_S else 0.0
    return bool(lost > _TELLS_APART)


def chain_by_hint(times_s: Floats, lengths: Lengths) -> Chain:
    """Return the chain through `times_s`, shape (n,), for what a person said the lengths are.

    A recording may be played faster or slower; then so are they, for which the evidence must be stronger.
    There is no evidence for them where other lengths explain the times much better, as where 50 s and 25 s
    are said of 16 s and 9 s: each third time keeps those too.
    """
    chain = _chain_at_some_speed(times_s, lengths)
    own = own_chain(times_s)
    if own is not None and own.evidence > chain.evidence + SURE_GRID:
        return replace(chain, evidence=0.0)
    return chain


def _chain_at_some_speed(times_s: Floats, lengths: Lengths) -> Chain:
    as_said = chain_of(times_s, lengths)
    if as_said.evidence >= SURE_GRID:
        return as_said
    tried = [chain_of(times_s, lengths.at_speed(speed)) for speed in _speeds(times_s, lengths)]
    best = max(tried, key=lambda chain: chain.evidence, default=as_said)
    paid = best.evidence - float(np.log((_FASTEST - _SLOWEST) / _SPEED_STEP))
    if paid < SURE_GRID:
        return as_said
    return Chain(best.lengths, best.links, paid, best.tells_apart)


def _speeds(times_s: Floats, lengths: Lengths) -> list[float]:
    """Return the speeds at which a gap of `times_s` would be a work, a rest or both."""
    gaps = np.diff(times_s)
    whole = [length for length in (lengths.work_s, lengths.rest_s, lengths.period_s) if length]
    ratios = np.concatenate([gaps / length for length in whole])
    near = ratios[(ratios > _SLOWEST) & (ratios < _FASTEST)]
    return [float(step * _SPEED_STEP) for step in np.unique(np.rint(near / _SPEED_STEP))]


def confidence_of_grid(evidence: float) -> float:
    """Return how sure lengths are that `evidence`, in nats, speaks for, 0 to 1."""
    return float(1 / (1 + np.exp(-np.clip(evidence - 0.75 * SURE_GRID, -30, 30))))


def own_chain(times_s: Floats) -> Chain | None:
    """Return the chain for the two lengths that most gaps of `times_s`, shape (n,), have; None without."""
    gaps = np.diff(times_s)
    if len(gaps) < _FEWEST_KEPT:
        return None
    usual = _usual_lengths(gaps)
    pairs = [(one, other) for one in usual for other in [0.0, *usual] if one > other]
    tried = [chain_of(times_s, Lengths(*pair)) for pair in pairs]
    best = max(tried, key=lambda chain: chain.evidence, default=None)
    if best is None or best.evidence - float(np.log(len(tried))) < SURE_GRID:
        return None
    is_usual = best.n_kept >= max(_FEWEST_KEPT, _MOST_KEPT_SHARE * len(gaps))
    is_plain = len(times_s) - best.n_kept <= _MOST_BROKEN or best.n_single >= _MOST_KEPT_SHARE * len(gaps)
    is_heard = best.n_unheard <= _MOST_UNHEARD_SHARE * len(times_s)
    return best if is_usual and is_plain and is_heard and best.tells_apart else None


def _usual_lengths(gaps: Floats) -> list[float]:
    """Return the lengths that two or more of `gaps` have, the commonest first."""
    groups: list[list[float]] = []
    for gap in np.sort(gaps).tolist():
        if groups and gap - groups[-1][-1] < _SAME_LENGTH_S:
            groups[-1].append(gap)
        else:
            groups.append([gap])
    groups = sorted((group for group in groups if len(group) > 1), key=len, reverse=True)
    return [float(np.median(group)) for group in groups[:_MOST_LENGTHS]]


def unheard_s(
    times_s: Floats, chain: Chain, most: int | None = _MOST_FILLED, *, in_doubt: bool = False
) -> list[float]:
    """Return where boundaries must be that are not among `times_s`, shape (n,), within gaps of `chain`.

    `most` is how many in one gap; None for any number, where a person said the lengths. Without a person's
    word none is where the class does not keep them around, nor within a length that it has besides: there
    they are `in_doubt`, and only these are returned with it.
    """
    found: list[float] = []
    by_itself = most is not None
    own_s = _own_lengths(times_s, chain) if by_itself else np.zeros(0)
    keeps = _keeps_around(chain) if by_itself else [True] * len(chain.links)
    for number, (one, two) in enumerate(pairwise(chain.links)):
        if two.n_steps is None or two.n_steps < 2 or (most is not None and two.n_steps - 1 > most):
            continue
        start_s, end_s = float(times_s[one.index]), float(times_s[two.index])
        is_own = bool((np.abs(own_s - (end_s - start_s)) < NEAR_GRID_S).any())
        is_within_own = is_own and (two.n_steps > 2 or number + 2 == len(chain.links))
        if (is_within_own or not keeps[number + 1]) is not in_doubt:
            continue
        steps = chain.lengths.steps_s(one.is_rest, two.n_steps)
        found += [start_s + step * (end_s - start_s) / steps[-1] for step in steps[:-1]]
    return found


def _own_lengths(times_s: Floats, chain: Chain) -> Floats:
    """Return lengths that intervals of a class have besides its work and rest, as a rest between rounds.

    `times_s`, shape (n,), are those that `chain` goes through. They are those at which the chain begins anew,
    and those of three or more steps that come again: boundaries that were not heard are not the same ones
    each time.
    """
    gaps = [
        (two.n_steps, float(times_s[two.index] - times_s[one.index])) for one, two in pairwise(chain.links)
    ]
    many = np.array([gap for n_steps, gap in gaps if n_steps is not None and n_steps > 2])
    again = many[(np.abs(many[:, None] - many[None, :]) < NEAR_GRID_S).sum(axis=1) > 1]
    return np.concatenate([again, [gap for n_steps, gap in gaps if n_steps is None]])


@dataclass(frozen=True)
class NoRest:
    """A boundary at which two sets seem to follow each other in a class that rests after each, in seconds.

    ``tried_s`` are where the rest would begin, or end, if it is in the first or in the second of the two;
    ``fits_s`` those that leave a length which another set has. Both are empty where more than two intervals
    follow each other without a rest, as around one that was cut.
    """

    at_s: float
    tried_s: tuple[float, ...] = ()
    fits_s: tuple[float, ...] = ()


def without_rest(times_s: Floats) -> list[NoRest]:
    """Return where `times_s`, shape (n,), in order, lack a rest between two sets, if only rests are alike.

    The commonest length is that of rests if no two of it follow each other and it is more than a third of
    all. Lengths alone tell in which of the two sets the rest is only where many are alike.
    """
    gaps = np.diff(times_s)
    usual = _usual_lengths(gaps)
    if not usual:
        return []
    rest_s = usual[0]
    is_set = np.abs(gaps - rest_s) >= NEAR_GRID_S
    sets = gaps[is_set]
    # Of two sets in a row one is too long; the others are sets for certain.
    beside = np.pad(is_set, 1)
    alone = gaps[is_set & ~beside[:-2] & ~beside[2:]]
    comes_again = (np.abs(alone[:, None] - sets[None, :]) < NEAR_GRID_S).sum(axis=1) > 1
    n_rests = int((~is_set).sum())
    enough = n_rests >= max(_FEWEST_RESTS, _MORE_RESTS_SHARE * len(gaps))
    enough |= n_rests >= max(_FEWER_RESTS, _FEWER_RESTS_SHARE * len(gaps))
    if not enough or (~is_set[:-1] & ~is_set[1:]).any():
        return []
    found: list[NoRest] = []
    for index in np.flatnonzero(is_set[:-1] & is_set[1:]).tolist():
        middle_s = float(times_s[index + 1])
        if is_set[max(0, index - 1) : index].any() or is_set[index + 2 : index + 3].any():
            found.append(NoRest(middle_s))
            continue
        places = ((middle_s - rest_s, gaps[index]), (middle_s + rest_s, gaps[index + 1]))
        tried = [(at_s, gap - rest_s) for at_s, gap in places if gap > rest_s]
        fits = [at_s for at_s, left in tried if (np.abs(sets - left) < NEAR_GRID_S).any()]
        many = n_rests >= _FEWEST_KEPT and comes_again.sum() >= max(1, _SETS_AGAIN * len(alone))
        found.append(NoRest(middle_s, tuple(at_s for at_s, _ in tried), tuple(fits) if many else ()))
    return found


def astray(times_s: Floats, chain: Chain) -> list[int]:
    """Return which of `times_s`, shape (n,), are off the grid between two of the chain that keep to it.

    Where several in a row are, as in a warm-up of other lengths, the class has no such grid there, and none
    is.
    """
    found: list[int] = []
    keeps = _keeps_around(chain)
    for number, (one, two) in enumerate(pairwise(chain.links)):
        if two.n_steps is not None and keeps[number + 1]:
            found += range(one.index + 1, two.index)
    return found


def _keeps_around(chain: Chain) -> list[bool]:
    """Return of each link of `chain` whether the class keeps its lengths around it.

    A link of several steps, or over boundaries that were heard, is so by chance where those around are too:
    two sets of 30 s in a warm-up are as long as a set of 40 s and a rest of 20 s.
    """
    clean = [True]
    for one, two in pairwise(chain.links):
        clean.append(two.n_steps == 1 and two.index == one.index + 1)
    keeps = list(clean)
    for index in range(1, len(clean)):
        around = [*clean[max(1, index - _LINKS_AROUND) : index], *clean[index + 1 :][:_LINKS_AROUND]]
        passes = chain.links[index].index > chain.links[index - 1].index + 1
        share = _CLEAN_WHERE_PASSED if passes else _CLEAN_WHERE_UNHEARD
        keeps[index] |= bool(around) and sum(around) >= share * len(around)
    return keeps


def beyond_s(times_s: Floats, chain: Chain, n_steps: int) -> tuple[list[float], list[float]]:
    """Return the next `n_steps` places on the grid before the first of `chain` and after its last.

    `times_s`, shape (n,), are those that `chain` goes through.
    """
    if not chain.links:
        return [], []
    first, last = chain.links[0], chain.links[-1]
    lengths = chain.lengths
    back = Lengths(lengths.rest_s or lengths.work_s, lengths.work_s if lengths.rest_s else 0.0)
    before = [float(times_s[first.index]) - step for step in back.steps_s(first.is_rest, n_steps)]
    after = [float(times_s[last.index]) + step for step in lengths.steps_s(last.is_rest, n_steps)]
    return before, after
