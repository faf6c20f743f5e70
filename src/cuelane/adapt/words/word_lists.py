"""Lists of words by which the kinds of intervals, and what to leave out, are recognised."""

from __future__ import annotations

import hashlib
import re
import tomllib
from functools import cache
from importlib import resources

from cuelane.lint.pointing import PROPOSE, Pointing, pointing
from cuelane.recording.pronouncing import spoken_words

MARKINGS = ("channel", "aside")
_FIGURES = re.compile(r"\b\d{1,2}\b")
# What is counted in one go, as some who hear it write it.
_COUNTED = re.compile(r"\b(?:321|4321|54321|1234|234)\b")


def plain(text: str) -> str:
    """Return `text` in lower case, its words apart by one space, without punctuation but apostrophes."""
    return " ".join(re.findall(r"[\w']+", text.lower().replace("’", "'")))


def in_words(text: str) -> str:
    """Return `text` with its numbers below a hundred in words: one who hears "30" writes it as they like.

    So with what is counted in one go: "321" is three, two, one.
    """
    text = _COUNTED.sub(lambda found: " ".join(found[0]), text)
    return _FIGURES.sub(lambda found: " ".join(spoken_words(found[0])), text)


def singular(words: str) -> str:
    """Return `words`, the last without the ending of a plural, however it is meant: "press", of "presses"."""
    return re.sub(r"(?<=(?:ss|ch|sh))es$|(?<=x)es$|(?<=[^s])s$", "", words)


def ways_written(text: str) -> tuple[str, ...]:
    """Return the plain words of `text` as they stand, and with its numbers in words where it has figures."""
    return tuple(dict.fromkeys((plain(text), plain(in_words(text)))))


class WordLists:
    """One language's lists, compiled, and its measure of what points at a picture."""

    def __init__(self, lists: dict[str, dict[str, list[str] | str]], measure: Pointing) -> None:
        self._measure = measure
        self.picture_reason = str(lists["picture"]["reason"])
        self._kinds = {name: any_of(rules) for name, rules in lists["kinds"].items()}
        self._out = {name: str(lists[name]["reason"]) for name in ("aside", "housekeeping")}
        names: dict[str, list[str]] = lists["names"]  # type: ignore[assignment]
        lead, then = "|".join([*names["lead"], *names["counted_off"]]), "|".join(names["then"])
        self._call = re.compile(rf"^(?:(?:{lead}) )*(?P<name>\S+(?: \S+){{0,3}}?) (?:{then})$")
        rest = "|".join(lists["kinds"]["rest"])
        self._rest_call = re.compile(rf"^(?:(?:{lead}) )*(?:{rest})$")
        calls, untrue, places = lists["calls"], lists["untrue"], lists["boundaries"]
        stops = "|".join(calls["stop"])
        self._stop_call = re.compile(rf"^(?:(?:{lead}) )*(?:{rest}|{stops})$")
        self._stop_first = re.compile(rf"^(?:(?:{lead}) )*?(?:{stops}) (?P<next>\S+(?: that)?)")
        self._time = any_of([*untrue["always"], *untrue["besides"], *places["half"], *places["last_one"]])
        self._beside_time = frozenset(calls["beside_time"])
        self._pace = any_of(lists["hints"]["pace"])
        self._goes_on, self._leads_on = frozenset(calls["goes_on"]), frozenset(calls["leads_on"])
        self._no_name = frozenset([*names["no_part"], *names["told"]])
        self._beside_rest = frozenset([*names["done_to"], *names["beside_rest"]])
        self._move = re.compile(rf"\b(?:{'|'.join(move for move in names['move'] if ' ' in move)})$")
        self._number = any_of(lists["hints"]["number"])
        self._rest_first = re.compile(rf"^(?:(?:{lead}) )*?(?:{rest}) ")
        self._marks = {name: (any_of(lists[name]["always"]), str(lists[name]["reason"])) for name in MARKINGS}

    def calls_next(self, text: str) -> bool:
        """Return whether `text` is nothing but a name and that it comes: "Bear crawl coming up."."""
        found = self._call.match(plain(text))
        # "Push ups" is a move, whatever "push" is alone.
        return found is not None and not self._no_name & set(self._move.sub("", found["name"]).split())

    def calls_rest(self, text: str) -> bool:
        """Return whether `text` is nothing but the call of a rest: "And rest."."""
        return self._rest_call.match(plain(text)) is not None

    def is_call(self, text: str) -> bool:
        """Return whether `text` is nothing but the call of a rest, a time or a round, which a plan makes."""
        return self._stop_call.match(plain(text)) is not None or self.calls_time(text)

    def calls_time(self, text: str) -> bool:
        """Return whether `text` is nothing but the call of a time or a round: "ten seconds left"."""
        words = plain(in_words(text))
        rest = self._time.sub(" ", words)
        # "Three, two" is a part of a count.
        is_count = all(map(self._number.fullmatch, words.split()))
        return rest != words and not is_count and not set(rest.split()) - self._beside_time

    def goes_on(self, text: str, word: str) -> bool:
        """Return whether `word` belongs to the call before it: "rest your knees", "ten seconds more"."""
        beside = self._goes_on if self.calls_time(text) else self._beside_rest
        return plain(word) in beside or self._number.fullmatch(plain(word)) is not None

    def leads_on(self, word: str) -> bool:
        """Return whether a time behind `word` is a part of what is said: "hold it for ten seconds"."""
        return plain(word) in self._leads_on

    def is_paced(self, before: str, time: str) -> bool:
        """Return whether `time` is how long a part of the movement takes that is told before it.

        "Slow on the way down, three seconds" is one thing.
        """
        own, whole = (plain(in_words(text)) for text in (before, f"{before} {time}"))
        return any(found.start() <= len(own) < found.end() for found in self._pace.finditer(whole))

    def begins_with_stop(self, text: str) -> bool:
        """Return whether `text` calls a rest and says something else: "and stop next is the plank"."""
        found = self._stop_first.match(plain(text))
        return found is not None and found["next"] not in self._beside_rest

    def calls_rest_and_next(self, text: str) -> bool:
        """Return whether `text` is the call of a rest, and the name of what comes: "And rest, rows next."."""
        return self._rest_first.match(plain(text)) is not None and self.calls_next(text)

    def kind_votes(self, text: str) -> int:
        """Return how strongly `text` suggests rest (positive) or work (negative)."""
        words = plain(text)
        return len(self._kinds["rest"].findall(words)) - len(self._kinds["work"].findall(words))

    def out_reason(self, purpose: str) -> str:
        """Return why what is for nothing but `purpose` (``aside``, ``housekeeping``) is left out."""
        return self._out[purpose]

    def reasons(self, text: str) -> tuple[str, ...]:
        """Return why an audio-only listener cannot use `text`; nothing if they can."""
        ways = ways_written(text)
        found = tuple(reason for pattern, reason in self._marks.values() if any(map(pattern.search, ways)))
        # Talk to viewers and asides often point at a picture too; that they are such is the better reason.
        if found or self.calls_next(text):
            return found
        return (self.picture_reason,) if self._measure.score(in_words(text)) > PROPOSE else ()


def any_of(rules: list[str] | str) -> re.Pattern[str]:
    """Return a pattern that finds any of `rules`, at word boundaries."""
    assert isinstance(rules, list)
    return re.compile("|".join(rf"(?:\b(?:{rule})(?:\b|$))" for rule in rules))


def has_word_lists(language: str) -> bool:
    """Return whether there are lists for `language`."""
    return (
        resources.files("cuelane") / "languages" / f"{language.split('-')[0].lower()}_adapt.toml"
    ).is_file()


@cache
def lists_of(language: str = "en") -> dict[str, dict[str, list[str] | str]]:
    """Return the lists of `language` as written; English where there are none."""
    folder = resources.files("cuelane") / "languages"
    path = folder / f"{language.split('-')[0]}_adapt.toml"
    if not path.is_file():
        path = folder / "en_adapt.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


@cache
def tables_digest(language: str = "en") -> bytes:
    """Return a digest of all that words of `language` are judged by: what another release judges anew."""
    folder, digest = resources.files("cuelane") / "languages", hashlib.sha256()
    for table in ("adapt.toml", "roles.tsv", "pointing.tsv"):
        own = folder / f"{language.split('-')[0].lower()}_{table}"
        path = own if own.is_file() else folder / f"en_{table}"
        digest.update(path.read_bytes())
    return digest.digest()


@cache
def word_lists(language: str = "en") -> WordLists:
    """Return the lists of `language`, compiled; English where there are none."""
    return WordLists(lists_of(language), pointing(language))
