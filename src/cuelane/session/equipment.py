"""What a session needs, as it is told to whoever trains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cuelane.session.model import Interval

# What a plural adds in the languages spoken here: bells, boxes, boîtes, Hanteln, Matten.
_PLURALS = ("", "s", "es", "n", "en", "e", "er", "x")
# Those that make another word's plural rather than another word, where no count before it tells.
_PLAIN_PLURALS = ("", "s", "es", "n", "en")


def same_kind(one: str, two: str) -> bool:
    """Return whether two names differ only in how many there are, as "one bell" and "two bells".

    That is, in their first word, the count, and in the endings of the others, which are a plural's: "una pesa
    rusa" and "dos pesas rusas". "A mat" and "a mate" have the same count, so they are two things.
    """
    names = sorted(
        ((one.lower().split() or [""]), (two.lower().split() or [""])), key=lambda words: len(words[-1])
    )
    if names[0] == names[1]:
        return True
    (count, *less), (other_count, *more) = names
    if not less and not more:
        return _is_plural(count, other_count, _PLAIN_PLURALS)
    return (
        count != other_count
        and len(less) == len(more)
        and all(_is_plural(word, other, _PLURALS) for word, other in zip(less, more, strict=True))
    )


def _is_plural(less: str, more: str, endings: Sequence[str]) -> bool:
    return more.startswith(less) and more[len(less) :] in endings


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
