"""Words of a recorded class that are true only at the times it was recorded with: time, rounds, a side."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal

from cuelane.adapt.words.role_judge import hints_of
from cuelane.adapt.words.word_lists import any_of, in_words, lists_of, plain, ways_written

ABOUT_TIME = ("time", "preview", "announce", "praise", "say", "change", "rest", "side")
"""What is not about how an exercise is done: any stretch of time in it is one of the class's."""


class UntrueCalls:
    """One language's words for time, rounds and sides."""

    def __init__(self, language: str = "en") -> None:
        lists: Mapping[str, list[str]] = lists_of(language)["untrue"]  # type: ignore[assignment]
        called: Mapping[str, list[str]] = lists_of(language)["boundaries"]  # type: ignore[assignment]
        self._always = any_of([*lists["always"], *called["half"], *called["last_one"]])
        self._besides, self._later = any_of(lists["besides"]), any_of(lists["later"])
        self._tempo, self._pace = any_of(lists["tempo"]), hints_of(language)["pace"]
        self._rests, self._beside_side = any_of(lists["rests"]), frozenset(lists["beside_side"])
        hints = hints_of(language)
        self._cadence = any_of(lists["cadence"])
        of = (hints["body"], hints["kit"], hints["move"], any_of(lists["praised"]))
        self._of_exercise = (self._cadence, *of)
        self._side, self._turn = any_of(lists["side"]), any_of(lists["turn"])
        self._partner, self._partner_turn = any_of(lists["partner"]), any_of(lists["partner_turn"])
        self._sides = {"left": any_of(lists["left"]), "right": any_of(lists["right"])}

    def tells_time(self, text: str, purpose: str) -> bool:
        """Return whether `text`, which is for `purpose`, may be wrong at another work and rest."""
        ways = ways_written(text)
        if purpose == "time" or any(map(self._always.search, ways)):
            return True
        return purpose in ABOUT_TIME and any(map(self._besides.search, ways))

    def counts_a_movement(self, text: str) -> bool:
        """Return whether `text` counts how fast one moves ("down two three four"), and no time besides.

        A count down to one is, as a set ends, the end of it in any case.
        """
        words = plain(in_words(text))
        rest = self._tempo.sub(" ", words)
        return rest != words and not self.tells_time(rest, "form")

    def tells_pace(self, text: str) -> bool:
        """Return whether `text` tells how long a part of a movement takes, and no other time.

        "Three seconds down" is true at any work.
        """
        words = plain(in_words(text))
        rest = self._pace.sub(" ", words)
        return rest != words and not self.tells_time(rest, "form")

    def compares(self, text: str) -> bool:
        """Return whether `text` compares with an earlier set, and so belongs to the one it was said in."""
        return self._later.search(plain(text)) is not None

    def turns(self, text: str) -> bool:
        """Return whether `text` says to change sides."""
        return self._turn.search(plain(text)) is not None

    def changes_partner(self, text: str) -> bool:
        """Return whether `text` gives a set to the other one of two who train together."""
        return self._partner_turn.search(plain(text)) is not None

    def names_partner(self, text: str) -> bool:
        """Return whether `text` says whose turn a set is, and so belongs to it."""
        return self._partner.search(plain(text)) is not None or self.changes_partner(text)

    def goes_on(self, text: str) -> bool:
        """Return whether `text`, said before or as a set begins, makes it the other side of the last one."""
        return self.turns(text) and not self.compares(text)

    def side_of(self, text: str) -> Literal["left", "right"] | None:
        """Return the side that `text` names first, None where it names none."""
        words = plain(text)
        found = {side: pattern.search(words) for side, pattern in self._sides.items()}
        named = {side: match.start() for side, match in found.items() if match}
        if not named:
            return None
        return "left" if min(named, key=lambda side: named[side]) == "left" else "right"

    def names_side(self, text: str) -> bool:
        """Return whether `text` names a side, and so belongs to the set in which it was said."""
        return self._side.search(plain(text)) is not None

    def is_only_side(self, text: str) -> bool:
        """Return whether `text` says nothing but which side it is: "same thing, right side"."""
        words = plain(text)
        rest = self._turn.sub(" ", self._side.sub(" ", words))
        return (rest != words or self.side_of(text) is not None) and not set(rest.split()) - self._beside_side

    def rests(self, text: str) -> bool:
        """Return whether `text` calls for a rest, as between two efforts of one set."""
        return any(self._rests.search(plain(part)) for part in re.split(r"[.!?]", text))

    def is_cadence(self, text: str) -> bool:
        """Return whether `text` counts the steps of one movement: "left, right"."""
        return self._cadence.search(plain(text)) is not None

    def is_of_exercise(self, text: str) -> bool:
        """Return whether `text`, which is praise, is of one exercise, such as "lovely, hips low"."""
        return any(pattern.search(plain(text)) for pattern in self._of_exercise)
