"""Whether what is said in a class mentions an exercise whose name is known: in full, in part or misheard."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.misheard_names import sound_alike, spelt
from cuelane.adapt.words.role_judge import hints_of
from cuelane.adapt.words.word_lists import any_of, lists_of, singular


def stems(text: str) -> str:
    """Return the plain words of `text` without the s of a plural, with a blank around each."""
    return f" {' '.join(singular(word) for word in spelt(text).split())} "


def same_name(one: str, other: str) -> bool:
    """Return whether two names are the same but for plurals, or one is the other's last words."""
    mine, its = stems(one), stems(other)
    return mine.endswith(its) or its.endswith(mine)


class NameMentions:
    """The mentions of names that are known, by the words of the language of `names`."""

    def __init__(self, names: ExerciseNames) -> None:
        lists: Mapping[str, list[str]] = lists_of(names.language)["names"]  # type: ignore[assignment]
        hints = hints_of(names.language)
        self._names, self._beside = names, any_of(lists["beside"])
        self._no_short, self._no_part = frozenset(lists["no_short"]), frozenset(lists["no_part"])
        self._told, self._body, self._kit = frozenset(lists["told"]), hints["body"], hints["kit"]

    def begins_with(self, text: str, name: str, others: Iterable[str] = ()) -> bool:
        """Return whether `text` begins with an exercise's name, or its last words, and so can stand for it.

        Last words that end the name of one of `others`, too, stand for neither.
        """
        words = self._names.without_lead(text)
        if stems(words).startswith(stems(name)) or self.is_short_for(text, name, others):
            return True
        said = stems(self._names.known_move(words) or "")
        alike = [one for one in (name, *others) if stems(one).endswith(said)]
        return bool(said.strip()) and alike == [name]

    def is_short_for(self, text: str, name: str, others: Iterable[str] = ()) -> bool:
        """Return whether `text` is the first or last words of `name` and at most a side, and of no other's.

        "Left side, couch" stands for a couch stretch.
        """
        words = self._alone_in(text)
        said = stems(words)
        if not words or len(words.split()) >= len(name.split()) or self._names.tells(words.split()):
            return False
        is_general = words in self._no_short or self._kit.fullmatch(words) or self._body.fullmatch(words)
        alike = [one for one in (name, *others) if stems(one).startswith(said) or stems(one).endswith(said)]
        return not is_general and alike == [name]

    def _alone_in(self, text: str) -> str:
        """Return the words of `text` without what leads to a name or stands beside one."""
        return self._names.without_lead(self._beside.sub(" ", self._names.without_lead(text)))

    def holds(self, text: str, name: str) -> bool:
        """Return whether `text` has an exercise's name in it."""
        return stems(name) in stems(text)

    def is_only(self, text: str, name: str) -> bool:
        """Return whether `text` is nothing but `name`, and at most a side or that it comes."""
        return self.holds(text, name) and stems(self._alone_in(text)) == stems(self._alone_in(name))

    def sounds_like(self, text: str, name: str) -> bool:
        """Return whether `text` begins with a sentence that is `name`, heard a little differently."""
        words = self._names.without_lead(re.split(r"[.,;:!?]", text.strip(), maxsplit=1)[0]).split()
        is_short = 0 < len(words) <= len(name.split()) + 1
        return is_short and not self._names.tells(words) and sound_alike(" ".join(words), name)

    def follower(self, text: str, name: str) -> str | None:
        """Return the word behind `name`, empty for none, where `text` begins with it; else None."""
        words = self._names.without_lead(text)
        if words != name and not words.startswith(f"{name} "):
            return None
        return next(iter(words[len(name) :].split()), "")

    def may_follow(self, word: str) -> bool:
        """Return whether `word` may end a name: done several times, and no order or part of the body."""
        is_told = word in self._told or word in self._no_part or self._body.fullmatch(word) is not None
        return word.endswith("s") and singular(word) != word and not is_told

    def goes_on_with_order(self, words: str, name: str) -> bool:
        """Return whether `words` are `name` and then nothing but what tells what to do: "plank hold"."""
        behind = words.removeprefix(f"{name} ").split() if words.startswith(f"{name} ") else []
        return bool(behind) and all(word in self._told for word in behind)

    def without_body(self, name: str | None, led_to: str | None) -> str | None:
        """Return `name` without the part of the body behind it, if what led to it has not that.

        "Start with the hundred", and then "the hundred knees over your hips".
        """
        if name is None or led_to is None or not name.startswith(f"{led_to} "):
            return name
        return led_to if self._body.fullmatch(name.removeprefix(f"{led_to} ")) else name
