"""Names of exercises that are listed once before the first set of a class, or a block, and not said again."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from cuelane.adapt.class_shape import repeats
from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.misheard_names import sound_alike
from cuelane.adapt.name_mentions import same_name
from cuelane.adapt.words.word_lists import plain, singular

# Chosen: two things named in a row are as often kit, or a greeting.
_LEAST_LISTED = 3
# Chosen: so large a part of a list must be moves that are known, or it lists something else.
_KNOWN = 0.5
# Chosen: how many sets must be called as listed for each that is called otherwise.
_AGREED = 3
# Chosen: so large a part of a block's sets may be called by words of how it is done: "hinge and pull".
_ASTRAY = 1 / 4
# Chosen: "march" begins "marching"; fewer letters begin many words.
_LEAST_STEM = 4


def as_listed(
    meant: Sequence[str | None], opening: Sequence[str], names: ExerciseNames
) -> list[str | None] | None:
    """Return the names of sets, in the order in which `opening` lists them; None if it lists them not.

    `opening` is what is said before the first set. A list is of the class's exercises if it has one for each
    set of a round, and the sets that are called something, as `meant` says, are called so in its order.
    """
    lists = [*_lists(opening, names)]
    rows = list(dict.fromkeys(tuple(row) for row, is_warm_up in lists if not is_warm_up))
    joined = [name for row in rows for name in row]
    n_blocks = sum(names.behind_block(part) is not None for text in opening for part in _parts(text))
    if len(rows) == n_blocks > 1 and len(set(joined)) == len(joined):
        # "The first three are", and "the last three are".
        lists.append((joined, False))
    chosen = _best_listed(meant, lists, names)
    if chosen is None or any(not is_warm_up and not set(chosen) & set(row) for row, is_warm_up in lists):
        # Of two lists neither is the whole class's.
        return None
    return _in_order(chosen, len(meant))


def as_listed_in_blocks(
    meant: Sequence[str | None], before: Sequence[Sequence[str]], breaks: Sequence[int], names: ExerciseNames
) -> list[str | None] | None:
    """Return the names of sets of several blocks, each in the order in which it is listed by itself.

    A list may stand in the rest before its block ("second block: squats, rows and planks"), or all of them
    before the first set, one after another. None where no two blocks are known so, or one by its rest.

    Parameters
    ----------
    meant : what each set is called, None where it has no name.
    before : what is said before each set since the one before it.
    breaks : the sets, ascending and from 0, before which there is a long rest.
    """
    lists = [[*_lists(texts, names)] for texts in before]
    starts = sorted({0, *breaks, *(n for n in range(1, len(meant)) if lists[n])})
    found, used, n_blocks, is_by_rest, at = list(meant), set[str](), 0, False, 0
    while at < len(meant):
        ends = [*(one for one in starts if one > at), len(meant)]
        next_list = next((one for one in ends[:-1] if lists[one]), len(meant))
        others = [row for row in lists[0] if not used & set(row[0])]
        # Rounds may have a long rest between them: a list in a rest goes as far as it can.
        by_rest = [(end, lists[at]) for end in reversed(ends) if at and end <= next_list]
        tried = (
            (end, _best_listed(meant[at:end], rows, names, is_block=True))
            for end, rows in [*by_rest, (ends[0], others)]
        )
        end, listed = next((one for one in tried if one[1] is not None), (ends[0], None))
        if listed is not None:
            is_by_rest = is_by_rest or any(listed == row for row, _ in lists[at] if at)
            n_blocks, used = n_blocks + 1, used | set(listed)
            if None in meant[at:end] or not repeats(meant[at:end]):
                found[at:end] = _in_order(listed, end - at)
        at = end
    return found if n_blocks > 1 or is_by_rest else None


def _in_order(listed: Sequence[str], n_sets: int) -> list[str | None]:
    return [listed[n % len(listed)] for n in range(n_sets)]


def _best_listed(
    meant: Sequence[str | None],
    lists: Iterable[tuple[list[str], bool]],
    names: ExerciseNames,
    *,
    is_block: bool = False,
) -> list[str] | None:
    """Return the one of `lists` that sets called as `meant` agree with most; None if they agree with none.

    A list that stands for one block of several may have a few sets against it that are named nowhere else.
    """
    best: tuple[int, list[str]] | None = None
    often = Counter(name for name in meant if name)
    for listed, is_warm_up in lists:
        if len(meant) % len(listed):
            continue
        found = _in_order(listed, len(meant))
        pairs = [(one, other) for one, other in zip(meant, found, strict=True) if one and other]
        agreed = sum(is_of(one, other) for one, other in pairs)
        others = [one for one, other in pairs if not is_of(one, other)]
        # Words that were heard once and are no move that is known may be none: "hold it and down".
        against = sum(names.is_known(one) or often[one] > 1 for one in others)
        if is_warm_up and not agreed:
            # What one warms up with is as often done in no set.
            continue
        is_few = is_block and len(others) <= _ASTRAY * len(meant) and all(often[one] == 1 for one in others)
        fits = is_few or agreed >= max(_AGREED * against, len(others))
        if fits and (best is None or agreed > best[0]):
            best = agreed, listed
    return None if best is None else best[1]


@dataclass(frozen=True)
class _Named:
    """Something that is named in a row of others; whether it is a move that is known, or counted off."""

    name: str
    is_known: bool
    is_warm_up: bool


def _lists(opening: Sequence[str], names: ExerciseNames) -> Iterator[tuple[list[str], bool]]:
    """Yield each run of things named one after another, the longest first, and whether it is a warm-up's."""
    for row in _runs(opening, names):
        for size in range(len(row), _LEAST_LISTED - 1, -1):
            for at in range(len(row) - size + 1):
                own = row[at : at + size]
                # A list begins and ends with what is known; what is known is most of it.
                is_known = own[0].is_known and own[-1].is_known
                is_known = is_known and sum(one.is_known for one in own) >= _KNOWN * size
                if is_known and len({one.name for one in own}) == size:
                    yield [one.name for one in own], own[0].is_warm_up


def _runs(opening: Sequence[str], names: ExerciseNames) -> list[list[_Named]]:
    """Return what is named in a row, run by run."""
    runs: list[list[_Named]] = [[]]
    chatted: list[list[_Named]] = []
    is_warm_up, is_counted = False, False
    for text in opening:
        all_known: list[_Named] = []
        told = names.is_of_warm_up(text)
        is_warm_up = is_warm_up if told is None else told
        for whole in _parts(text):
            own = names.behind_block(whole)
            if own is not None:
                # Each block has a list of its own.
                runs.append([])
                chatted.append(all_known)
                all_known = []
            part = whole if own is None else own
            # "The last three are rope waves": what begins a block's list is one of it.
            is_counted = is_counted or names.counts_off(part) or bool(own)
            found = _named(part, names)
            is_list = all(name is not None for name, _ in found)
            for name, is_known in found:
                if name is None:
                    runs.append([])
                elif name:
                    runs[-1].append(_Named(name, is_known or is_counted, is_warm_up))
                    all_known += runs[-1][-1:] if is_list and runs[-1][-1].is_known else []
                if name != "":
                    # "Minute one," leads to a name.
                    is_counted = False
        # "Drags and, what's the last one, oh yeah, rocks": what is said between them is passed over.
        chatted.append(all_known)
    return runs + chatted


def _named(part: str, names: ExerciseNames) -> list[tuple[str | None, bool]]:
    """Return what a part of a list names, and whether it is known: None for what names nothing."""
    listed = names.listed(part)
    if listed is not None and (listed[1] or not listed[0]):
        return [listed]
    row = names.in_a_row(part)
    # Most captions have no marks; the only name among other words is none of a list.
    if sum(name is not None for name in row) > 1 and (listed is None or None not in row):
        return [(name, name is not None) for name in row]
    return [listed or (None, False)]


def _parts(text: str) -> Iterator[str]:
    """Yield what stands between the marks of `text`; its last two things may have "and" between them."""
    for sentence in re.split(r"[.;:!?]", text):
        parts = [part for part in sentence.split(",") if part.strip()]
        if len(parts) >= _LEAST_LISTED - 1:
            first, found, second = parts[-1].strip().partition(" and ")
            parts[-1:] = [first, second] if found and plain(first) != "and" else [parts[-1]]
        # "Drags and, oh yeah, rocks".
        yield from (re.sub(r"\s+and\s*$", "", part) for part in parts)


def is_of(said: str, listed: str) -> bool:
    """Return whether a set that is called `said` is of the exercise that was `listed`."""
    if same_name(said, listed) or sound_alike(said, listed):
        return True
    return all(any(_begins_alike(word, other) for other in listed.split()) for word in said.split())


def _begins_alike(one: str, other: str) -> bool:
    short, long = sorted((singular(one), singular(other)), key=len)
    return short == long or (len(short) >= _LEAST_STEM and long.startswith(short))
