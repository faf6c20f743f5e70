"""Names of exercises that are listed once before the first set of a recorded class, and not said again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from cuelane.adapt.exercise_names import ExerciseNames, same_name
from cuelane.adapt.misheard_names import sound_alike
from cuelane.adapt.words.word_lists import plain

# Chosen: two things named in a row are as often kit, or a greeting.
_LEAST_LISTED = 3
# Chosen: so large a part of a list must be moves that are known, or it lists something else.
_KNOWN = 0.5
# Chosen: how many sets must be called as listed for each that is called otherwise.
_AGREED = 3
# Chosen: "march" begins "marching"; fewer letters begin many words.
_LEAST_STEM = 4


def as_listed(
    meant: Sequence[str | None], opening: Sequence[str], names: ExerciseNames
) -> list[str | None] | None:
    """Return the names of sets, in the order in which `opening` lists them; None if it lists them not.

    `opening` is what is said before the first set. A list is of the class's exercises if it has one for each
    set of a round, and the sets that are called something, as `meant` says, are called so in its order.
    """
    best: tuple[int, list[str | None]] | None = None
    for listed in _lists(opening, names):
        if len(meant) % len(listed):
            continue
        found: list[str | None] = [listed[n % len(listed)] for n in range(len(meant))]
        pairs = [(one, other) for one, other in zip(meant, found, strict=True) if one and other]
        agreed = sum(is_of(one, other) for one, other in pairs)
        if agreed >= _AGREED * (len(pairs) - agreed) and (best is None or agreed > best[0]):
            best = agreed, found
    return None if best is None else best[1]


def _lists(opening: Sequence[str], names: ExerciseNames) -> Iterator[list[str]]:
    """Yield each run of things named one after another, the longest first."""
    run: list[tuple[str, bool]] = []
    runs = [run]
    for text in opening:
        for part in _parts(text):
            listed = names.listed(part)
            if listed == ("", False):
                # "Minute one," leads to a name.
                continue
            if listed is None:
                run = []
                runs.append(run)
            else:
                run.append(listed)
    for row in runs:
        for size in range(len(row), _LEAST_LISTED - 1, -1):
            for at in range(len(row) - size + 1):
                own = row[at : at + size]
                # A list begins and ends with what is known; what is known is most of it.
                is_known = own[0][1] and own[-1][1] and sum(known for _, known in own) >= _KNOWN * size
                if is_known and len({name for name, _ in own}) == size:
                    yield [name for name, _ in own]


def _parts(text: str) -> Iterator[str]:
    """Yield what stands between the marks of `text`; its last two things may have "and" between them."""
    for sentence in re.split(r"[.;:!?]", text):
        parts = [part for part in sentence.split(",") if part.strip()]
        if len(parts) >= _LEAST_LISTED - 1:
            first, found, second = parts[-1].strip().partition(" and ")
            parts[-1:] = [first, second] if found and plain(first) != "and" else [parts[-1]]
        yield from parts


def is_of(said: str, listed: str) -> bool:
    """Return whether a set that is called `said` is of the exercise that was `listed`."""
    if same_name(said, listed) or sound_alike(said, listed):
        return True
    return all(any(_begins_alike(word, other) for other in listed.split()) for word in said.split())


def _begins_alike(one: str, other: str) -> bool:
    short, long = sorted((one.rstrip("s"), other.rstrip("s")), key=len)
    return short == long or (len(short) >= _LEAST_STEM and long.startswith(short))
