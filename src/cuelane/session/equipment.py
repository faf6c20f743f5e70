"""What a session needs, as it is told to whoever trains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cuelane.session.model import Interval

# What a plural adds in the languages spoken here: bells, boxes, boîtes, Hanteln, Matten.
_PLURALS = ("", "s", "es", "n", "en", "e", "er", "x")
# Those that make another word's plural rather than another word, where no count before it tells.
_PLAIN_PLURALS = ("", "s", "es", "n", "en")
# What a plural puts in place of another ending, behind a count: manubrio, manubri; bastão, bastões.
_CHANGES = (
    ("io", "i"), ("o", "i"), ("e", "i"), ("a", "e"), ("ia", "e"), ("co", "chi"), ("go", "ghi"), ("ca", "che"),
    ("ga", "ghe"), ("ão", "ões"), ("l", "is"), ("m", "ns"),
)  # fmt: skip


def same_kind(one: str, two: str) -> bool:
    """Return whether two names differ only in how many there are, as "one bell" and "two bells".

    That is, in their first word, the count, and in the endings of the others, which are a plural's: "una pesa
    rusa" and "dos pesas rusas". "A mat" and "a mate" have the same count, so they are two things.
    """
    less, more = _words(one), _words(two)
    return less == more or _are_plural(less, more) or _are_plural(more, less)


def _words(name: str) -> list[str]:
    return name.lower().split() or [""]


def _are_plural(less: Sequence[str], more: Sequence[str]) -> bool:
    """Return whether the words `more` name several of what the words `less` name."""
    if len(less) == len(more) == 1:
        return _is_plural(less[0], more[0], _PLAIN_PLURALS)
    return (
        less[0] != more[0]
        and len(less) == len(more)
        and all(
            _is_plural(word, other, _PLURALS, _CHANGES)
            for word, other in zip(less[1:], more[1:], strict=True)
        )
    )


def _is_plural(less: str, more: str, added: Sequence[str], changed: Sequence[tuple[str, str]] = ()) -> bool:
    if more.startswith(less) and more[len(less) :] in added:
        return True
    return any(
        less.endswith(ending) and more == less.removesuffix(ending) + plural for ending, plural in changed
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
    less, more = _words(thing), _words(other)
    return less[-1] != more[-1] and _are_plural(less, more)
