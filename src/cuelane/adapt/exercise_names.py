"""What the exercises of a recorded class are called: each set's name as it is said there."""

from __future__ import annotations

import difflib
import itertools
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.misheard_names import sound_alike
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.role_judge import hints_of
from cuelane.adapt.words.word_lists import any_of, in_words, lists_of, plain
from cuelane.recording.pronouncing import spoken_words

_NAMING = ("announce", "setup", "preview")
_FROM_REST = ("preview", "announce", "setup")
# What may begin with the name of an exercise that is named elsewhere, and what may hold one besides.
_BEGINNING = (*_NAMING, "side", "form", "remind", "say")
_HOLDING = (*_NAMING, "side")
# Chosen: longer runs of words are sentences about an exercise; in letters, for words run together.
_MOST_WORDS = 4
# Chosen: see above.
_LONGEST = 60
# Chosen: one word that two sets begin with may be any.
_LEAST_SHARED = 2
# Chosen: a sentence of its own that is longer tells how.
_MOST_ALONE = 3
# Chosen: words that a recogniser heard a little differently are one; of two names, one word is farther apart.
_ALIKE = 0.7


def _judged(found: re.Match[str]) -> list[str]:
    """Return the words of a name that must be a part of one: a "press" that another word begins is a move."""
    before, first = found["before"].split(), found["first"].split()
    if before or found["second"]:
        return before
    # "Push ups" is a move in itself, whatever its words are alone.
    return [] if len(first) > 1 else found["move"].split()


def _stems(text: str) -> str:
    """Return the plain words of `text` without the s of a plural, with a blank around each."""
    return f" {' '.join(word.rstrip('s') for word in plain(text).split())} "


def same_name(one: str, other: str) -> bool:
    """Return whether two names are the same but for plurals, or one is the other's last words."""
    mine, its = _stems(one), _stems(other)
    return mine.endswith(its) or its.endswith(mine)


# From two on, in words or figures.
_COUNT = re.compile(
    rf"^(?:{'|'.join(sorted((' '.join(spoken_words(str(n))) for n in range(2, 100)), key=len, reverse=True))}"
    r"|[2-9]|[1-9]\d) "
)


class ExerciseNames:
    """One language's words by which a name is told from what stands around it."""

    def __init__(self, language: str = "en") -> None:
        lists: Mapping[str, list[str]] = lists_of(language)["names"]  # type: ignore[assignment]
        leads = "|".join(sorted(lists["lead"], key=len, reverse=True))
        moves = "|".join(lists["move"])
        self._lead = re.compile(rf"^(?:(?:{leads})(?:\s+|$))+")
        # A plural ends a name: "kettlebell swings hinge" begins to tell how.
        self._name = re.compile(
            rf"^(?P<before>(?:\S+ ){{0,{_MOST_WORDS - 1}}}?)"
            rf"(?P<move>(?P<first>{moves})"
            rf"(?:(?<![^s]s) (?:{moves})(?= |$)(?! (?:{'|'.join(lists['object'])})\b))?)"
            rf"(?P<second> (?:and (?:{'|'.join(lists['second'])})|to (?:\w+ )?(?:{moves}))(?= |$))?(?= |$)"
        )
        self._no_part, self._told = frozenset(lists["no_part"]), frozenset(lists["told"])
        told = f"(?:{'|'.join(lists['told'])}) (?:{'|'.join(lists['done_to'])})"
        self._does = re.compile(rf"^(?:{'|'.join([told, *lists['does']])})\b")
        self._then = re.compile(
            rf"^(?P<name>\S+(?: \S+){{0,{_MOST_WORDS - 1}}}?) (?:{'|'.join(lists['then'])})(?= |$)"
        )
        self._inside, self._first = any_of(lists["inside"]), any_of(lists["first"])
        self._no_head = any_of(lists["no_head"])
        self._numbered = re.compile(rf"^(?:{'|'.join(lists['numbered'])})$")
        self._beside, self._no_short = any_of(lists["beside"]), frozenset(lists["no_short"])
        self._directions = frozenset(lists["directions"])
        self._untrue = UntrueCalls(language)
        hints = hints_of(language)
        self._body, self._kit, self._greeting = hints["body"], hints["kit"], hints["greeting"]

    def in_text(self, text: str, purpose: str) -> str | None:
        """Return the exercise that `text` begins by naming, in lower case; None if it names none."""
        if purpose not in _NAMING:
            return None
        head = re.split(r"[.,;:!?]", text.strip(), maxsplit=1)[0]
        # "Arms up. Reach for the ceiling": a name does not run on into the next sentence.
        sentence = next((part for part in re.split(r"[.!?]", text) if self._without_lead(part)), "")
        for part in (head, sentence) if purpose != "announce" else (text,):
            words = self._without_lead(part)
            if name := self._known_move(words):
                return name
        words = self._without_lead(self._without_count(text) if purpose == "announce" else text)
        # What is nothing but a name, or a name and that it comes, needs no word that is known.
        is_name = purpose == "announce" and 0 < len(words.split()) <= _MOST_WORDS
        is_name = is_name and not self._does.match(words)
        if is_name and len(words) <= _LONGEST:
            return words
        if purpose == "preview":
            # "Phew. Marching next": the words before it are no part of it.
            for sentence in re.split(r"[.!?]", text):
                if name := self._named_next(self._without_lead(sentence)):
                    return name
        # "Hands on the floor for push ups": how one gets into it, and then the name.
        led = self._inside.search(words) if purpose == "setup" else None
        return self._known_move(words[led.end() :].strip()) if led else None

    def _without_count(self, text: str) -> str:
        """Return `text` without what stands behind a mark at its end and tells which set or round it is."""
        parts = [part for part in re.split(r"[.,;:!?]", text) if part.strip()]
        while len(parts) > 1 and (self._untrue.tells_time(parts[-1], "") or self._untrue.compares(parts[-1])):
            parts.pop()
        return " ".join(parts)

    def _without_lead(self, text: str) -> str:
        """Return the plain words of `text` without what leads to a name, and how many are to be done."""
        words = self._lead.sub("", plain(text))
        counted = _COUNT.match(words)
        name = self._known_move(words[counted.end() :]) if counted else None
        # "Ten push ups" are so many of them, and "two arm swings" are called so.
        is_count = name and name.endswith("s") and not self._numbered.match(name.split()[0])
        return words[counted.end() :] if counted and is_count else words

    def _known_move(self, words: str) -> str | None:
        found = None if self._does.match(words) else self._name.match(words)
        is_name = found and len(found[0]) <= _LONGEST and not self._no_part & set(_judged(found))
        return found[0] if found and is_name else None

    def _named_next(self, words: str) -> str | None:
        found = self._then.match(words)
        if found is None or len(found["name"]) > _LONGEST:
            return None
        name = found["name"].split()
        return None if name[0] in self._told or self._no_part & set(name) else found["name"]

    def listed(self, part: str) -> tuple[str, bool] | None:
        """Return the name that `part` of a list may be, and whether it is of a known move; None for none.

        It is empty where there are only words that lead to one.
        """
        words = self._without_lead(part)
        if self._greeting.fullmatch(words):
            # "Good morning" is none of the good mornings.
            return None
        if self._known_move(words) == words:
            return words, True
        own = words.split()
        is_name = len(own) <= _MOST_WORDS and not (own and self._tells(own)) and not self._does.match(words)
        return (words, False) if is_name else None

    def sounds_like(self, text: str, name: str) -> bool:
        """Return whether `text` begins with a sentence that is `name`, heard a little differently."""
        words = self._without_lead(re.split(r"[.,;:!?]", text.strip(), maxsplit=1)[0]).split()
        is_short = 0 < len(words) <= len(name.split()) + 1
        return is_short and not self._tells(words) and sound_alike(" ".join(words), name)

    def begins_with(self, text: str, name: str, others: Iterable[str] = ()) -> bool:
        """Return whether `text` begins with an exercise's name, or its last words, and so can stand for it.

        Last words that end the name of one of `others`, too, stand for neither.
        """
        words = self._without_lead(text)
        if _stems(words).startswith(_stems(name)) or self.is_short_for(text, name, others):
            return True
        said = _stems(self._known_move(words) or "")
        alike = [one for one in (name, *others) if _stems(one).endswith(said)]
        return bool(said.strip()) and alike == [name]

    def is_short_for(self, text: str, name: str, others: Iterable[str] = ()) -> bool:
        """Return whether `text` is the first or last words of `name` and at most a side, and of no other's.

        "Left side, couch" stands for a couch stretch.
        """
        words = self._without_lead(self._beside.sub(" ", self._without_lead(text)))
        said = _stems(words)
        if not words or len(words.split()) >= len(name.split()) or self._tells(words.split()):
            return False
        is_general = words in self._no_short or self._kit.fullmatch(words) or self._body.fullmatch(words)
        alike = [one for one in (name, *others) if _stems(one).startswith(said) or _stems(one).endswith(said)]
        return not is_general and alike == [name]

    def holds(self, text: str, name: str) -> bool:
        """Return whether `text` has an exercise's name in it."""
        return _stems(name) in _stems(text)

    def of_sets(self, sets: Sequence[int], cues: Sequence[CutCue]) -> list[str | None]:
        """Return the name of each set, None where none is said; `sets` are the indices of their intervals."""
        found = [
            self._alone(cues, sets, number)
            or next(self._said_in(cues, sets, number), None)
            or next(self._said_before(cues, sets, number), None)
            or self._prepared(cues, sets, number)
            for number in range(len(sets))
        ]
        found = _alike_as_one(found)
        known = tuple(dict.fromkeys(name for name in found if name and set(name.split()) - self._directions))
        # "In and out" may be a name, and "side to side" what one does; a name that was said decides.
        found = [
            name if name in known else self._named_elsewhere(cues, sets, n, known) or name
            for n, name in enumerate(found)
        ]
        return self._on_other_sides(cues, sets, self._begun_alike(cues, sets, found))

    def as_prepared(
        self, heard: Sequence[str | None], sets: Sequence[int], cues: Sequence[CutCue]
    ) -> list[str | None]:
        """Return the names of sets, where each was `heard` so; one that is said once is what was prepared.

        That is what sounds like it in the rest before the set: "wood chop next", and then "witchop".
        """
        found = list(heard)
        for number, own in enumerate(heard):
            before = next(self._said_before(cues, sets, number), None)
            if own is None or before is None or own == before or not sound_alike(own, before):
                continue
            is_once = sum(_stems(own) in _stems(cue.text) for cue in cues) == 1
            if is_once and (self._known_move(before) == before or self._known_move(own) != own):
                found[number] = before
        return found

    def _on_other_sides(
        self, cues: Sequence[CutCue], sets: Sequence[int], named: Sequence[str | None]
    ) -> list[str | None]:
        """Return `named`; a set that has no name and begins with the other side is of the exercise before it.

        Where the set before names no side, either, "left side this time" is the other side of an earlier one;
        "other leg now" is of the set before in any case.
        """
        found = list(named)
        for number in range(1, len(found)):
            (before, earlier), (inside, rest) = (_around(cues, sets, n) for n in (number - 1, number))
            said = (self._untrue.side_of(cue.text) for cue in (*before, *reversed(earlier)))
            left = next(filter(None, said), None)
            beside = [cue.text for cue in (*rest, *inside[:1])]
            sides = [self._untrue.side_of(text) for text in beside]
            turned = left is not None and {"left": "right", "right": "left"}[left] in sides
            if found[number] is None and (turned or any(map(self._untrue.goes_on, beside))):
                found[number] = found[number - 1]
        return found

    def _alone(self, cues: Sequence[CutCue], sets: Sequence[int], number: int) -> str | None:
        """Return the first words of a set that are a sentence of their own, if they are said elsewhere too.

        "Inchworm. Fold forward": no list knows every name, but who says this and "inchworms next" has one.
        """
        cue = next(iter(_around(cues, sets, number)[0]), None)
        if cue is None or cue.purpose not in ("announce", "setup"):
            return None
        head, mark, _ = re.split(r"([.,;:!?])", f"{cue.text.strip()}.", maxsplit=1)
        words = self._without_lead(head).split()
        if not mark or not 0 < len(words) <= _MOST_ALONE or self._tells(words):
            return None
        elsewhere = (other for other in cues if other.interval != cue.interval)
        said = _stems(" ".join(words))
        return " ".join(words) if any(said in _stems(other.text) for other in elsewhere) else None

    def _prepared(self, cues: Sequence[CutCue], sets: Sequence[int], number: int) -> str | None:
        """Return the words that a set begins with, if they were said in the rest before it, too.

        "Hands and knees for thread the needle", and then "thread the needle, left arm goes under".
        """
        inside, rest = _around(cues, sets, number)
        words = self._beginning(next(iter(inside), None))
        words = tuple(itertools.takewhile(lambda word: word not in self._no_short, words))
        if words and (self._body.fullmatch(words[0]) or self._kit.fullmatch(words[0])):
            return None
        for n_words in range(len(words), _LEAST_SHARED - 1, -1):
            said = _stems(" ".join(words[:n_words]))
            if not self._tells(words[:n_words]) and any(said in _stems(cue.text) for cue in rest):
                return " ".join(words[:n_words])
        return None

    def _tells(self, words: Sequence[str]) -> bool:
        """Return whether words tell what to do with what ("arms up"), or a side, and name nothing."""
        of_body = words[0].endswith("s") and self._body.fullmatch(words[0]) is not None
        known = self._no_part & set(words) or words[0] in self._told
        return bool(known or of_body or self._no_head.search(in_words(" ".join(words))))

    def _begun_alike(
        self, cues: Sequence[CutCue], sets: Sequence[int], named: Sequence[str | None]
    ) -> list[str | None]:
        """Return `named`, and names for other sets that begin with the same words as a set of one name.

        "Single leg stand, start left" and "single leg stand again": what is said twice is what it is called.
        """
        begun = [self._beginning(next(iter(_around(cues, sets, n)[0]), None)) for n in range(len(sets))]
        found = list(named)
        for number, mine in enumerate(begun):
            if found[number] is not None:
                continue
            shared = {other: _shared(mine, its) for other, its in enumerate(begun) if other != number}
            longest = max(shared.values(), key=len, default=())
            alike = [other for other, words in shared.items() if words == longest]
            names = {found[other] for other in alike}
            if len(longest) >= _LEAST_SHARED and len(names) == 1:
                found[number] = names.pop() or " ".join(longest)
        return found

    def _beginning(self, cue: CutCue | None) -> tuple[str, ...]:
        """Return the first words of a set that may be its name."""
        if cue is None or cue.purpose not in _BEGINNING:
            return ()
        words = self._without_lead(cue.text).split()[:_MOST_WORDS]
        ends = next((at for at, word in enumerate(words) if word in self._no_part), len(words))
        return () if words and words[0] in self._told else tuple(words[:ends])

    def _named_elsewhere(
        self, cues: Sequence[CutCue], sets: Sequence[int], number: int, known: Sequence[str]
    ) -> str | None:
        """Return the one of `known`, the names of other sets, that is said in a set or in the rest before."""
        inside, rest = _around(cues, sets, number)
        for cue in inside:
            said = _stems(self._without_lead(cue.text))
            # "Inchworms, thirty seconds now" names the set, too.
            begins = cue.purpose in (*_BEGINNING, "time")
            begun = [name for name in known if begins and said.startswith(_stems(name))]
            if begun:
                return max(begun, key=len)
        if not number:
            # Before the first set all others are spoken of, too.
            rest = [cue for cue in rest if self._first.search(plain(cue.text))]
        for cue in (*inside, *reversed(rest)):
            short = [name for name in known if self.is_short_for(cue.text, name, set(known) - {name})]
            whole = [name for name in known if self._is_only(cue.text, name)]
            if whole or short:
                return (whole or short)[0]
        holding = [cue for cue in inside if cue.purpose in _HOLDING]
        for cue in (*holding, *(cue for cue in reversed(rest) if cue.purpose in _HOLDING)):
            held = [name for name in known if _stems(name) in _stems(cue.text)]
            # Of a name and a part of it the whole is meant; of two names neither is sure.
            whole = [name for name in held if not any(name != one and name in one for one in held)]
            if len(whole) == 1:
                return whole[0]
        return None

    def _is_only(self, text: str, name: str) -> bool:
        """Return whether `text` is nothing but `name`, and at most a side or that it comes."""
        return _stems(self._without_lead(self._beside.sub(" ", self._without_lead(text)))) == _stems(name)

    def _said_in(self, cues: Sequence[CutCue], sets: Sequence[int], number: int) -> Iterator[str]:
        inside, _ = _around(cues, sets, number)
        for purpose in ("announce", "setup"):
            for cue in inside:
                name = self.in_text(cue.text, purpose) if cue.purpose == purpose else None
                # Few words that are only guessed to announce a set are as often about how it is done.
                if name and (cue.is_sure or not self._no_part & set(name.split())):
                    yield name

    def _said_before(self, cues: Sequence[CutCue], sets: Sequence[int], number: int) -> Iterator[str]:
        for cue in reversed(_around(cues, sets, number)[1]):
            name = self.in_text(cue.text, cue.purpose) if cue.purpose in _FROM_REST else None
            if name:
                yield name


def _shared(one: Sequence[str], other: Sequence[str]) -> tuple[str, ...]:
    """Return the words with which both begin."""
    return tuple(
        mine
        for mine, _ in itertools.takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))
    )


def _around(
    cues: Sequence[CutCue], sets: Sequence[int], number: int
) -> tuple[Sequence[CutCue], Sequence[CutCue]]:
    """Return the first three cues of a set, and those of the rest before it."""
    before = sets[number - 1] + 1 if number else 0
    rest = [cue for cue in cues if before <= cue.interval < sets[number]]
    return [cue for cue in cues if cue.interval == sets[number]][:3], rest


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
