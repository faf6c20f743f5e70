"""Names of exercises that a recogniser heard a little differently from one set to the next, made one."""

from __future__ import annotations

import difflib
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from cuelane.adapt.class_shape import repeats
from cuelane.adapt.words.word_lists import any_of, in_words, lists_of, plain, singular
from cuelane.recording.pronouncing import phones, spoken_words

# Chosen on words of our own: "halif" and "pallof" share .8 of their sounds, "push" and "pull" .67.
_ALIKE = 0.7
# Chosen: fewer sounds begin many words.
_LEAST_BEGUN = 3
# Chosen: more exercises, or rounds, are no circuit.
_MOST_SAID = 20
# So many of a number, as some write what they hear: "high 5s".
_MANY = re.compile(r"\b(\d{1,2})s\b")
# Vowels are heard for one another most often, and consonants that differ by the voice alone.
_VOWEL = "*"
_UNVOICED = {"B": "P", "D": "T", "G": "K", "Z": "S", "ZH": "SH", "JH": "CH", "V": "F", "DH": "TH"}


def as_meant(
    heard: Sequence[str | None], texts: Sequence[str], opening: Sequence[str] = (), language: str = "en"
) -> list[str | None]:
    """Return the names of sets as they are meant, where each was `heard` so; `texts` are all that is said.

    `opening` is what is said before the first set.

    A name that is said once is what sounds like it and is said more often ("sight plank", where "side plank"
    is said twice). Where names that are said once keep the class from repeating in rounds, and sound like
    that of their place in another round, they are that one. So are those that do not, where the class is said
    to have as many exercises and rounds as make its sets.
    """
    said = [plain(text).split() for text in texts]
    found = {name: _said_oftener(name, said) for name in dict.fromkeys(heard) if name}
    meant = [name and found[name] for name in heard]
    if repeats(meant, language):
        return meant
    placed = _in_their_place(meant, language)
    size = None if repeats(placed, language) else _said_size(len(meant), opening, language)
    return placed if size is None else _as_announced(placed, size, language)


def sound_alike(one: str, other: str) -> bool:
    """Return whether two names are the same but for words that sound alike.

    "Squat" and "squat jump" are two: what only one of them has was said.
    """
    mine, its = one.split(), other.split()
    begun, ended = n_shared(mine, its), n_shared(mine[::-1], its[::-1])
    rest = [_sounds(tuple(words[begun : len(words) - ended])) for words in (mine, its)]
    short, long = sorted(rest, key=len)
    if len(short) >= _LEAST_BEGUN and not begun + ended and short == long[: len(short)]:
        # The end was lost.
        return True
    return bool(short) and difflib.SequenceMatcher(None, short, long, autojunk=False).ratio() >= _ALIKE


def n_shared(one: Sequence[str], other: Sequence[str]) -> int:
    """Return how many words both begin with."""
    return sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


def spelt(text: str) -> str:
    """Return the plain words of `text`, with those in words that a voice would say otherwise: "high 5s".

    What sounds just like a move is spelt as that: "rose".
    """
    text = _MANY.sub(lambda found: _plural(" ".join(spoken_words(found[1]))), text)
    return " ".join(_spelt(word) for word in plain(text).split())


def as_combined(words: str) -> str:
    """Return plain `words`; what sounds like a jab beside another punch is one: "jap cross"."""
    own, moves = words.split(), _combined()
    is_move = [word in moves.values() for word in own]
    return " ".join(
        moves.get(_sounds((word,)), word) if any(is_move[max(0, at - 1) : at + 2]) else word
        for at, word in enumerate(own)
    )


def _plural(number: str) -> str:
    return re.sub("y$", "ie", number) + ("es" if number.endswith("x") else "s")


@lru_cache(maxsize=4096)
def _spelt(word: str) -> str:
    return word if word in _moves().values() else _moves().get(phones(word), word)


@lru_cache(maxsize=1)
def _moves() -> dict[str, str]:
    """Return the moves of one word by how they sound."""
    lists: Mapping[str, list[str]] = lists_of()["names"]  # type: ignore[assignment]
    found: dict[str, str] = {}
    for form in _forms(lists["move"]):
        found.setdefault(phones(form), form)
    return found


@lru_cache(maxsize=1)
def _combined() -> dict[tuple[str, ...], str]:
    """Return the moves of combinations by how they sound, but for voices and vowels."""
    lists: Mapping[str, list[str]] = lists_of()["names"]  # type: ignore[assignment]
    return {_sounds((form,)): form for form in _forms(lists["combined"])}


def _forms(rules: Sequence[str]) -> Iterator[str]:
    """Yield the words that `rules` stand for; one of several words stands for none."""
    for rule in rules:
        # A rule has at most one part that may be missing, at its end: "row" and "rows".
        body = re.fullmatch(r"(\w+?)(?:(?:\((\w+)\)|(\w))\?)?", rule)
        if body is not None:
            yield from dict.fromkeys((body[1], body[1] + (body[2] or body[3] or "")))


@lru_cache(maxsize=4096)
def _sounds(words: tuple[str, ...]) -> tuple[str, ...]:
    spoken = (phone for word in spoken_words(" ".join(words)) for phone in phones(word).split())
    return tuple(_VOWEL if phone[0] in "AEIOU" else _UNVOICED.get(phone, phone) for phone in spoken)


def _part_shared(one: Sequence[str], other: Sequence[str]) -> bool:
    """Return whether both begin or end with the same word."""
    return one[0] == other[0] or one[-1] == other[-1]


def _said_oftener(name: str, said: Sequence[Sequence[str]]) -> str:
    """Return what sounds like `name`, shares a word with it and is said more often; `name` if it is not once.

    `said` holds the words of each thing that is said.
    """
    words = tuple(name.split())
    if len(words) == 1:
        return name
    # In order of time, so that of two that are said as often the first counts.
    runs: Counter[tuple[str, ...]] = Counter(
        run
        for text in said
        for run in dict.fromkeys(tuple(text[at : at + len(words)]) for at in range(len(text)))
        if len(run) == len(words)
    )
    often: Counter[tuple[str, ...]] = Counter()
    for run, times in runs.items():
        often[_singular(run)] += times
    own = _singular(words)
    if often[own] != 1:
        return name
    alike = [
        run
        for run, times in often.items()
        if times > 1 and _part_shared(own, run) and sound_alike(" ".join(own), " ".join(run))
    ]
    if not alike:
        return name
    most = max(alike, key=lambda run: often[run])
    said_most = max([run for run in runs if _singular(run) == most], key=lambda run: runs[run])
    return " ".join(said_most)


def _singular(words: Sequence[str]) -> tuple[str, ...]:
    """Return `words` without the s of a plural, however they are meant."""
    return tuple(singular(word) for word in words)


def _said_size(n_sets: int, opening: Sequence[str], language: str) -> int | None:
    """Return how many exercises a round has, where they and the rounds are said and make `n_sets`."""
    lists: Mapping[str, list[str]] = lists_of(language)["counts"]  # type: ignore[assignment]
    text = " ".join(plain(in_words(one)) for one in opening)
    numbers = {" ".join(spoken_words(str(n))): n for n in range(2, _MOST_SAID + 1)}
    said: dict[str, set[int]] = {}
    for what in ("exercises", "rounds"):
        rule = rf"\b({'|'.join(numbers)}) (?:{'|'.join(lists[what])})\b"
        said[what] = {numbers[found[1]] for found in re.finditer(rule, text)}
    if any_of(lists["twice"]).search(text):
        said["rounds"].add(2)
    return next((size for size in said["exercises"] for n in said["rounds"] if size * n == n_sets), None)


def _as_announced(meant: Sequence[str | None], size: int, language: str) -> list[str | None]:
    """Return `meant` as rounds of `size`; as it is where a name that is said oftener speaks against it."""
    often = Counter(name for name in meant if name)
    columns = [[name for name in meant[n::size] if name] for n in range(size)]
    if not all(columns):
        return list(meant)
    chosen = [max(column, key=column.count) for column in columns]
    found: list[str | None] = [chosen[n % size] for n in range(len(meant))]
    is_once = all(name in (None, one) or often[name] == 1 for name, one in zip(meant, found, strict=True))
    return found if is_once and repeats(found, language) else list(meant)


def _in_their_place(meant: Sequence[str | None], language: str) -> list[str | None]:
    """Return `meant` as rounds, if names that are said once alone keep it from being so."""
    often = Counter(name for name in meant if name)
    for size in range(1, len(meant) // 2 + 1):
        if len(meant) % size:
            continue
        columns = [[name for name in meant[n::size] if name] for n in range(size)]
        chosen = [max(column, key=column.count, default="") for column in columns]
        others = [(name, one) for column, one in zip(columns, chosen, strict=True) for name in column]
        others = [(name, one) for name, one in others if name != one]
        agreed = sum(column.count(one) - 1 for column, one in zip(columns, chosen, strict=True) if one)
        is_once = all(often[name] == 1 and sound_alike(name, one) for name, one in others)
        # As many sets show the round as speak against it.
        if is_once and agreed >= len(others) > 0:
            whole = dict(others)
            found = [name and whole.get(name, name) for name in meant]
            if repeats(found, language):
                return found
    return list(meant)
