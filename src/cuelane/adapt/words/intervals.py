"""Makes intervals of work and rest from boundaries, by what is said in them and by which lengths recur."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.timing_grid import Lengths
from cuelane.adapt.words.interval_roles import lengths_alternate, one_of_turns_is_even, role_votes
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.role_judge import RoleJudge
from cuelane.adapt.words.word_lists import WordLists

# Chosen: a recording's own intervals differ by less; more hides small cuts, less reports every one.
SAME_LENGTH_S = 0.25
# Chosen: the share of every second interval in which a rest, or a work, is called, beyond that of the others.
_CALLED_IN_TURN = 0.3
# Chosen, of 1: by less than this more of a rest in every second interval, sentences tell nothing.
_ROLES_TELL = 0.15
# Chosen, of 2: two lengths in turn of which one holds so much less of what is said in sets are work and rest,
# whether or not a rest is ever called.
_ROLES_APART = 0.5
# Chosen, of 6: so much more of a rest is said in every second interval where one of the two has many lengths.
_TURNS_APART = 1.0
PLACED_BY = {
    "plan": "placed by the plan",
    "lengths": "placed by the lengths of work and rest around it",
    "words": "placed by what is said, to about a second",
}
# Chosen: words that name an interval are said as it begins; a longer stretch holds words about the next one.
_HEARD_AFTER_S = 9.0


@dataclass(frozen=True)
class FoundInterval:
    """A stretch between two boundaries (or an end of the recording). ``true_s`` is the length it stands for.

    ``notes`` say what is not certain about it.
    """

    kind: str
    start_s: float
    end_s: float
    true_s: float
    countdown: bool
    notes: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def are_a_set(named: Lengths, set_s: float) -> bool:
    """Return whether the work and the rest that were `named` make a set of `set_s`, which has no rest."""
    return bool(named.rest_s) and abs(named.period_s - set_s) <= SAME_LENGTH_S


def find_intervals(
    boundaries: Sequence[Boundary],
    seconds: float,
    words: Sequence[PlacedWord],
    lists: WordLists,
    named: Lengths | None = None,
    judge: RoleJudge | None = None,
) -> list[FoundInterval]:
    """Return the class as intervals: talk before the first boundary and after the last, work and rest within.

    `named` are the work and rest that a person named and that the boundaries keep, None without; lengths
    found in the recording alone do not tell a class without rests from one of equal work and rest. What
    sentences are for, as `judge` tells it, is evidence besides the words that name a rest or a work.

    An interval's true length is what intervals of its kind usually last, to a tenth of a second, or to a
    whole second if that is within 60 ms. One that is shorter than that was probably cut.
    """
    times = [boundary.at_s for boundary in boundaries]
    if len(times) < 2:
        return [FoundInterval("talk", 0.0, seconds, seconds, False, ("no boundaries were found",))]
    lengths = [float(value) for value in np.diff(times)]
    roles = np.zeros(len(lengths)) if judge is None else role_votes(times, words, judge)
    kinds, sure = _kinds(times, lengths, _votes(times, words, lists), roles, named)
    found = [FoundInterval("talk", 0.0, times[0], times[0], True)]
    for index, length in enumerate(lengths):
        usual = _usual(length, [n for n, kind in zip(lengths, kinds, strict=True) if kind == kinds[index]])
        notes = []
        if not sure[index]:
            notes.append("work or rest is a guess")
        if usual - length > SAME_LENGTH_S:
            notes.append(f"{usual - length:.1f} s shorter than others of its kind: probably cut")
        ends = boundaries[index], boundaries[index + 1]
        for where, end in zip(("begins", "ends"), ends, strict=True):
            if not end.is_heard:
                notes.append(f"no countdown heard where it {where}; {PLACED_BY[end.placed_by]}")
            elif not end.is_sure:
                notes.append(f"the countdown where it {where} is faint")
        found.append(FoundInterval(kinds[index], times[index], times[index + 1], usual, True, tuple(notes)))
    if seconds - times[-1] > 0.5:
        found.append(FoundInterval("talk", times[-1], seconds, seconds - times[-1], False))
    return found


def _usual(length: float, like: Sequence[float]) -> float:
    """Return the length that `length` stands for: of lengths that recur, the next at or above it."""
    groups: list[list[float]] = []
    for value in sorted(like):
        if groups and value - groups[-1][-1] < SAME_LENGTH_S:
            groups[-1].append(value)
        else:
            groups.append([value])
    own = next(group for group in groups if any(abs(value - length) < 1e-9 for value in group))
    if len(own) == 1:
        # A length that occurs once: a cut interval if most others of its kind share a longer length.
        common = max(groups, key=len)
        if len(common) >= max(3, 0.6 * (len(like) - 1)) and common[0] > length:
            own = common
    middle = float(np.median(own))
    return float(round(middle)) if abs(middle - round(middle)) < 0.06 else round(middle, 1)


def _kinds(
    times: Sequence[float],
    lengths: Sequence[float],
    votes: npt.NDArray[np.float64],
    roles: npt.NDArray[np.float64],
    named: Lengths | None,
) -> tuple[list[str], list[bool]]:
    """Return each interval's kind and whether it is sure.

    Every interval's first words vote, and what its sentences are for; both have shape (n,).

    A class of lengths (those within a quarter second of each other) votes together, since work and rest
    usually differ in length; where both have one length, the alternation decides.
    Where a person named a rest of 0 s, set follows set.
    """
    if named is not None and not named.rest_s:
        return ["work"] * len(lengths), _near(lengths, named.work_s)
    evidence = votes + roles
    rounded = [round(length / SAME_LENGTH_S) for length in lengths]
    group = np.zeros(len(lengths))
    alternating = np.array([(-1.0) ** index for index in range(len(lengths))])
    # Where work and rest alternate, intervals of one length at odd and even places are not of one kind.
    apart = abs(float((alternating * votes).mean())) > 0.2
    for index, value in enumerate(rounded):
        near = [
            k
            for k, other in enumerate(rounded)
            if abs(other - value) <= 1 and not (apart and (k - index) % 2)
        ]
        group[index] = float(evidence[near].mean())
    one_length = len({tuple(k for k, o in enumerate(rounded) if abs(o - v) <= 1) for v in rounded}) == 1
    if one_length and named is None and np.any(votes) and not _alternates(votes):
        # Set follows set: where "relax" is said here and there, no rest begins. But rests that nobody calls
        # would sound the same, so it is a guess until a person names the lengths.
        return ["work"] * len(lengths), [False] * len(lengths)
    score = votes.copy() if one_length else 0.5 * evidence + 2.0 * group
    if one_length and not np.any(votes):
        # Roles alone tell two kinds of one length apart, but not whether there are rests at all.
        turn = float((alternating * roles).mean())
        score = alternating * (turn if abs(turn) > _ROLES_TELL else 0.0)
    # Which of the two alternations, work first or rest first, agrees with what was said?
    turn = float((alternating * score).sum()) / max(1, len(score))
    if _take_turns(lengths, group, roles, evidence):
        # One of two lengths in turn is the rest's, if any is; "relax your shoulders" in sets makes no second.
        score = alternating * turn
    else:
        score = score + alternating * np.clip(turn, -1, 1) * 0.8
    if not np.any(score):
        # Nothing said either way: classes begin with work.
        score = -alternating
        return ["rest" if value > 0 else "work" for value in score], [False] * len(lengths)
    kinds = ["rest" if value > 0 else "work" for value in score]
    if one_length and not _tells_rests(lengths, votes, named):
        return kinds, [False] * len(lengths)
    sure = np.abs(score) > 0.25
    # Where all intervals of known kind alternate, the others are taken to alternate as well.
    turns = np.sign(score) == np.sign(turn) * alternating
    return kinds, [bool(value) for value in (sure | (turns & turns[sure].all()) if sure.any() else sure)]


def _take_turns(
    lengths: Sequence[float],
    group: npt.NDArray[np.float64],
    roles: npt.NDArray[np.float64],
    evidence: npt.NDArray[np.float64],
) -> bool:
    """Return whether `lengths` are those of works and rests in turn; all arrays have shape (n,)."""
    if lengths_alternate(lengths, SAME_LENGTH_S):
        return bool((group > 0).any()) or abs(float(roles[::2].mean() - roles[1::2].mean())) >= _ROLES_APART
    if not one_of_turns_is_even(lengths, SAME_LENGTH_S):
        return False
    return abs(float(evidence[::2].mean() - evidence[1::2].mean())) >= _TURNS_APART


def _votes(times: Sequence[float], words: Sequence[PlacedWord], lists: WordLists) -> npt.NDArray[np.float64]:
    """Return by how much each interval's first words call a rest (above 0) or a work; shape (n,)."""
    votes = np.zeros(len(times) - 1)
    for index, start in enumerate(times[:-1]):
        end = min(times[index + 1], start + _HEARD_AFTER_S)
        text = " ".join(word.text for word in words if start - 0.3 <= word.onset_s < end)
        votes[index] = np.clip(lists.kind_votes(text), -2, 2)
    return votes


def _tells_rests(lengths: Sequence[float], votes: npt.NDArray[np.float64], named: Lengths | None) -> bool:
    """Return whether it is certain that some of `lengths`, all alike, are rests.

    Works that are called in turn do not show it alone; nor do lengths that were named, where each interval
    is a work and a rest together.
    """
    if named is None:
        return bool((votes > 0).any())
    return any(_near(lengths, named.work_s)) or any(_near(lengths, named.rest_s))


def _near(lengths: Sequence[float], length_s: float) -> list[bool]:
    return [abs(length - length_s) <= SAME_LENGTH_S for length in lengths]


def _alternates(votes: npt.NDArray[np.float64]) -> bool:
    """Return whether rests, or works, are called in every second interval.

    `votes`, shape (n,), are above 0 for rest and below 0 for work.
    """
    if len(votes) < 2:
        return False
    shares = [
        (float((sign * votes[::2] > 0).mean()), float((sign * votes[1::2] > 0).mean())) for sign in (1, -1)
    ]
    return any(abs(even - odd) >= _CALLED_IN_TURN for even, odd in shares)
