"""What a session needs, as it is told to whoever trains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cuelane.session.model import Interval

# A plural's ending in the languages spoken here: bells, boîtes, Hanteln, pesi.
_PLURAL_LETTERS = 2


def same_kind(one: str, two: str) -> bool:
    """Return whether two names differ only in how many there are, as "one bell" and "two bells".

    That is, in their first word and the endings of the others, in which one adds at most two letters:
    "una pesa rusa" and "dos pesas rusas".
    """
    named = [thing.lower().split()[1:] or [thing.lower()] for thing in (one, two)]
    shorter, longer = sorted(named, key=lambda words: sum(map(len, words)))
    return len(shorter) == len(longer) and all(
        more.startswith(less) and len(more) - len(less) <= _PLURAL_LETTERS
        for less, more in zip(shorter, longer, strict=True)
    )


def needs_of(intervals: Iterable[Interval]) -> list[str]:
    """Return what the session needs, each thing once, in order of first need; of one and two, two."""
    needs = list(dict.fromkeys(thing for one in intervals if one.spec for thing in one.spec.needs))
    return [thing for thing in needs if not any(is_more(other, thing) for other in needs)]


def heavier_needs_of(intervals: Sequence[Interval]) -> list[str]:
    """Return what is good to have for a heavier load, each thing once."""
    return list(dict.fromkeys(thing for one in intervals if one.spec for thing in one.spec.heavier_needs))


def is_more(other: str, thing: str) -> bool:
    """Return whether one name is the plural of the other, as "two bells" of "one bell"."""
    return len(other.split()[-1]) > len(thing.split()[-1]) and same_kind(other, thing)
