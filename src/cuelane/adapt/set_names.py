"""What the exercises of a recorded class are called: each set's name as it is said there."""

from __future__ import annotations

import difflib
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.exercise_names import NAMING, ExerciseNames
from cuelane.adapt.misheard_names import n_shared, sound_alike
from cuelane.adapt.name_mentions import NameMentions, stems

_FROM_REST = ("preview", "announce", "setup")
# What may begin with the name of an exercise that is named elsewhere, and what may hold one besides.
_BEGINNING = (*NAMING, "side", "form", "remind", "say")
_HOLDING = (*NAMING, "side")
# What may end with the name of what comes.
_LEADING = (*_FROM_REST, "change", "side")
# What a rest or a time is called by, and what comes may be named beside.
_CALLS = ("rest", "time")
# Chosen: what comes is told in the last things that are said in a set.
_LATE = 3
# Chosen: one word that two sets begin with may be any.
_LEAST_SHARED = 2
# Chosen: one word said twice behind a name may be what one does there.
_LEAST_FOLLOWED = 3
# Chosen: a sentence of its own that is longer tells how.
_MOST_ALONE = 3
# Chosen: words that a recogniser heard a little differently are one; of two names, one word is farther apart.
_ALIKE = 0.7


class SetNames:
    """The names of a class's sets.

    Parameters
    ----------
    names : the words of its language.
    sets : the indices of the sets' intervals, ascending.
    cues : what is said in the class, in order of time.
    """

    def __init__(self, names: ExerciseNames, sets: Sequence[int], cues: Sequence[CutCue]) -> None:
        self._names, self._sets, self._cues = names, sets, cues
        self._mentions = NameMentions(names)

    def as_said(self) -> list[str | None]:
        """Return the name of each set, None where none is said."""
        found = [
            self._alone(number)
            or next(self._said_in(number), None)
            or next(self._said_before(number), None)
            or self._prepared(number)
            or self._led_to(number)
            for number in range(len(self._sets))
        ]
        found = [self._mentions.without_body(name, self._led_to(n)) for n, name in enumerate(found)]
        found = _alike_as_one(self._in_full(self._with_followers(found)))
        known = tuple(dict.fromkeys(name for name in found if name and not self._names.tells_where(name)))
        # "In and out" may be a name, and "side to side" what one does; a name that was said decides.
        found = [
            name if name in known else self._named_elsewhere(n, known) or name for n, name in enumerate(found)
        ]
        return self._on_other_sides(self._begun_alike(found))

    def guessed(self, number: int) -> str | None:
        """Return the few words of their own that a set begins with, which may be its name: "happy baby"."""
        cue = next(iter(self._around(number)[0]), None)
        if cue is None or cue.purpose not in ("announce", "setup"):
            return None
        head, mark, rest = (
            re.split(r"([.!?])", cue.text.strip(), maxsplit=1) if "." in cue.text else ("", "", "")
        )
        words = self._names.without_lead(head).split()
        is_name = (
            mark == "." and rest.strip() and 0 < len(words) <= _MOST_ALONE and len(words) == len(head.split())
        )
        if not is_name or self._names.tells(words) or self._names.tells_where(" ".join(words)):
            return None
        return " ".join(words)

    def _with_followers(self, named: Sequence[str | None]) -> list[str | None]:
        """Return `named`; a name that the same word follows wherever it begins what is said has that, too.

        "Plank claps partner one": captions have no mark that would end the name, and no list knows claps.
        """
        longer: dict[str, str] = {}
        for name in dict.fromkeys(name for name in named if name and not name.endswith("s")):
            begun = [
                self._mentions.follower(cue.text, name) for cue in self._cues if cue.purpose in _FROM_REST
            ]
            followers = Counter(word for word in begun if word is not None)
            word, often = next(iter(followers.most_common(1)), ("", 0))
            if often >= _LEAST_FOLLOWED and often == followers.total() and self._mentions.may_follow(word):
                longer[name] = f"{name} {word}"
        return [name and longer.get(name, name) for name in named]

    def _in_full(self, named: Sequence[str | None]) -> list[str | None]:
        """Return `named`; what is called by more words at first is meant by fewer later.

        "Deep squat hold", named so in the first set or before it and said twice in the class, and then "deep
        squat". Of one word, such as a squat beside a squat jump, none is left out.
        """
        firsts = list(dict.fromkeys(name for name in named if name))
        whole: dict[str, str] = {}
        for at, long in enumerate(firsts):
            n_said = sum(stems(long) in stems(cue.text) for cue in self._cues)
            if n_said > 1 and self._names.is_known(long):
                later = (short for short in firsts[at + 1 :] if len(short.split()) > 1)
                whole |= {short: long for short in later if stems(long).startswith(stems(short))}
        return [name and whole.get(name, name) for name in named]

    def as_prepared(self, heard: Sequence[str | None]) -> list[str | None]:
        """Return the names of sets, where each was `heard` so; one that is said once is what was prepared.

        That is what sounds like it in the rest before the set: "wood chop next", and then "witchop". What is
        prepared is also all of the name where an order follows it: "plank next", and then "plank, hold".
        """
        found = list(heard)
        for number, own in enumerate(heard):
            before = next(self._said_before(number), None)
            if own is None or before is None or own == before:
                continue
            if self._mentions.goes_on_with_order(own, before):
                # Its other side has its name from it.
                found = [before if name == own else name for name in found]
                continue
            is_once = sum(stems(own) in stems(cue.text) for cue in self._cues) == 1
            if is_once and not self._names.is_known(own) and self._is_called(number, before):
                # "Squat jumps next", and then "sink, explode" tells how.
                found = [before if name == own else name for name in found]
                continue
            if not sound_alike(own, before):
                continue
            if is_once and (self._names.is_known(before) or not self._names.is_known(own)):
                found[number] = before
        return found

    def _is_called(self, number: int, name: str) -> bool:
        """Return whether what comes is called by `name` in so many words in the rest before a set."""
        rest = self._around(number)[1] if number else ()
        return any(self._names.called_besides(cue.text, comes=True) == name for cue in rest)

    def _on_other_sides(self, named: Sequence[str | None]) -> list[str | None]:
        """Return `named`; a set without a name that begins with the other side is of the exercise before it.

        So it is where the other one of two partners has their turn.

        Where the set before names no side, either, "left side this time" is the other side of an earlier one;
        "other leg now" is of the set before in any case.
        """
        found = list(named)
        for number in range(1, len(found)):
            (before, earlier), (inside, rest) = (self._around(n) for n in (number - 1, number))
            said = (self._names.untrue.side_of(cue.text) for cue in (*before, *reversed(earlier)))
            left = next(filter(None, said), None)
            beside = [cue.text for cue in (*rest, *inside[:1])]
            sides = [self._names.untrue.side_of(text) for text in beside]
            turned = left is not None and {"left": "right", "right": "left"}[left] in sides
            turned = turned or self.is_partners(number)
            if found[number] is None and (turned or any(map(self._names.untrue.goes_on, beside))):
                found[number] = found[number - 1]
        return found

    def is_partners(self, number: int) -> bool:
        """Return whether a set is the turn of the other one of two who train together."""
        inside, rest = self._around(number)
        return number > 0 and any(
            self._names.untrue.changes_partner(cue.text) for cue in (*rest, *inside[:1])
        )

    def _alone(self, number: int) -> str | None:
        """Return the first words of a set that are a sentence of their own, if they are said elsewhere too.

        "Inchworm. Fold forward": no list knows every name, but who says this and "inchworms next" has one.
        """
        cue = next(iter(self._around(number)[0]), None)
        if cue is None or cue.purpose not in ("announce", "setup"):
            return None
        if combined := self._names.combination(cue.text):
            return combined
        head, mark, _ = re.split(r"([.,;:!?])", f"{cue.text.strip()}.", maxsplit=1)
        # "Rows now, hinge forward", and later "rows now" again.
        words = self._names.alone(head).split()
        if self._names.untrue.changes_partner(cue.text) or self._names.untrue.is_only_side(head):
            return None
        if not mark or not 0 < len(words) <= _MOST_ALONE or self._names.tells(words):
            return None
        elsewhere = (other for other in self._cues if other.interval != cue.interval)
        said = stems(" ".join(words))
        return " ".join(words) if any(said in stems(other.text) for other in elsewhere) else None

    def _prepared(self, number: int) -> str | None:
        """Return the words that a set begins with, if they were said in the rest before it, too.

        "Hands and knees for thread the needle", and then "thread the needle, left arm goes under".
        """
        inside, rest = self._around(number)
        words = self._names.without_general(self._beginning(next(iter(inside), None)))
        for n_words in range(len(words), _LEAST_SHARED - 1, -1):
            said = stems(" ".join(words[:n_words]))
            if not self._names.tells(words[:n_words]) and any(said in stems(cue.text) for cue in rest):
                return " ".join(words[:n_words])
        return None

    def _led_to(self, number: int) -> str | None:
        """Return the words that a set begins with, if what comes before it ends with them.

        "On to your front for the swan", and then "swan, hands by your shoulders": one word is enough.
        """
        inside, rest = self._around(number)
        words = self._beginning(next(iter(inside), None))
        ends = [self._names.led_to(cue.text) for cue in rest if cue.purpose in _LEADING]
        for n_words in range(len(words), 0, -1):
            said = f" {' '.join(words[:n_words])}"
            if self._names.may_be_led_to(words[:n_words]) and any(end.endswith(said) for end in ends):
                return said.strip()
        return None

    def _begun_alike(self, named: Sequence[str | None]) -> list[str | None]:
        """Return `named`, and names for other sets that begin with the same words as a set of one name.

        "Single leg stand, start left" and "single leg stand again": what is said twice is what it is called.
        """
        begun = [self._beginning(next(iter(self._around(n)[0]), None)) for n in range(len(self._sets))]
        found = list(named)
        for number, mine in enumerate(begun):
            if found[number] is not None:
                continue
            shared = {
                other: mine[: n_shared(mine, its)] for other, its in enumerate(begun) if other != number
            }
            longest = max(shared.values(), key=len, default=())
            alike = [other for other, words in shared.items() if words == longest]
            names = {found[other] for other in alike}
            if len(longest) >= _LEAST_SHARED and len(names) == 1:
                found[number] = names.pop() or " ".join(longest)
        return found

    def _named_elsewhere(self, number: int, known: Sequence[str]) -> str | None:
        """Return the one of `known`, the names of other sets, that is said in a set or in the rest before."""
        inside, rest = self._around(number)
        for cue in inside:
            said = stems(self._names.without_lead(cue.text))
            # "Inchworms, thirty seconds now" names the set, too.
            begins = cue.purpose in (*_BEGINNING, "time")
            begun = [name for name in known if begins and said.startswith(stems(name))]
            if begun:
                return max(begun, key=len)
        if not number:
            # Before the first set all others are spoken of, too.
            rest = [cue for cue in rest if self._names.is_of_first(cue.text)]
            # "The first three are squats, rows and planks" says nothing of the first alone.
            rest = [cue for cue in rest if self._names.behind_block(cue.text) is None]
        for cue in (*inside, *reversed(rest)):
            short = [
                name for name in known if self._mentions.is_short_for(cue.text, name, set(known) - {name})
            ]
            whole = [name for name in known if self._mentions.is_only(cue.text, name)]
            if whole or short:
                return (whole or short)[0]
        holding = [cue for cue in inside if cue.purpose in _HOLDING]
        for cue in (*holding, *(cue for cue in reversed(rest) if cue.purpose in _HOLDING)):
            held = [name for name in known if self._mentions.holds(cue.text, name)]
            # Of a name and a part of it the whole is meant; of two names neither is sure.
            whole = [name for name in held if not any(name != one and name in one for one in held)]
            if len(whole) == 1:
                return whole[0]
        return None

    def _said_in(self, number: int) -> Iterator[str]:
        inside, _ = self._around(number)
        for purpose in ("announce", "setup"):
            for cue in inside:
                name = self._names.in_text(cue.text, purpose) if cue.purpose == purpose else None
                # Few words that are only guessed to announce a set are as often about how it is done.
                if name and (cue.is_sure or self._names.may_name(name)):
                    yield name

    def _said_before(self, number: int) -> Iterator[str]:
        for cue in reversed(self._around(number)[1]):
            if not number and self._names.behind_block(cue.text) is not None:
                # "Block two is squats, rows and planks" says nothing of the first set.
                continue
            name = self._names.in_text(cue.text, cue.purpose) if cue.purpose in _FROM_REST else None
            if name:
                yield name
        yield from self._called_before(number)

    def _called_before(self, number: int) -> Iterator[str]:
        """Yield what is named beside the call of a rest before a set, or of a time late in the set before."""
        if not number:
            return
        late = [cue for cue in self._cues if cue.interval == self._sets[number - 1]][-_LATE:]
        for cues, comes in ((self._around(number)[1], False), (late, True)):
            calls = (cue for cue in reversed(cues) if cue.purpose in _CALLS)
            yield from filter(None, (self._names.called_besides(cue.text, comes=comes) for cue in calls))

    def _beginning(self, cue: CutCue | None) -> tuple[str, ...]:
        """Return the first words of a set that may be its name."""
        if cue is None or cue.purpose not in _BEGINNING or self._names.untrue.is_only_side(cue.text):
            return ()
        if self._names.untrue.changes_partner(cue.text):
            return ()
        return self._names.first_words(cue.text)

    def _around(self, number: int) -> tuple[Sequence[CutCue], Sequence[CutCue]]:
        """Return the first three cues of a set, and those of the rest before it."""
        at, before = self._sets[number], self._sets[number - 1] + 1 if number else 0
        rest = [cue for cue in self._cues if before <= cue.interval < at]
        # "Last round. Deadlifts": what only calls it is none of its words.
        inside = (cue for cue in self._cues if cue.interval == at and not self._names.is_call(cue.text))
        return [*itertools.islice(inside, 3)], rest


def _alike_as_one(names: Sequence[str | None]) -> list[str | None]:
    """Return `names`, those that are nearly the same as the one among them that is said most often."""
    often = Counter(name for name in names if name)
    chosen: dict[str, str] = {}
    for name in sorted(often, key=lambda name: (-often[name], len(name), name)):
        near = (kept for kept in dict.fromkeys(chosen.values()) if _is_alike(name, kept, often))
        chosen[name] = next(near, name)
    return [chosen[name] if name else None for name in names]


def _is_alike(name: str, kept: str, often: Counter[str]) -> bool:
    """Return whether two names are one: each word heard a little differently, or a word run on once."""
    mine, its = name.split(), kept.split()
    if len(its) > 1 and len(mine) > len(its) and often[name] == 1:
        mine = mine[: len(its)]
    ratios = [difflib.SequenceMatcher(None, *pair).ratio() for pair in zip(mine, its, strict=False)]
    return len(mine) == len(its) and min(ratios) >= _ALIKE
