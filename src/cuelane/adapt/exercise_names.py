"""One language's words by which the name of an exercise is told from what is said around it."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence

from cuelane.adapt.misheard_names import as_combined, spelt
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.role_judge import hints_of
from cuelane.adapt.words.word_lists import any_of, in_words, lists_of, plain, word_lists
from cuelane.recording.pronouncing import spoken_words

NAMING = ("announce", "setup", "preview")
"""The purposes of what may name an exercise."""
# Chosen: longer runs of words are sentences about an exercise; in letters, for words run together.
_MOST_WORDS = 4
# Chosen: see above.
_LONGEST = 60


def _judged(found: re.Match[str]) -> list[str]:
    """Return the words of a name that must be a part of one: a "press" that another word begins is a move."""
    before, first = found["before"].split(), found["first"].split()
    if before or found["second"]:
        return before
    # "Push ups" is a move in itself, whatever its words are alone.
    return [] if len(first) > 1 else found["move"].split()


# From two on, in words or figures.
_COUNT = re.compile(
    rf"^(?:{'|'.join(sorted((' '.join(spoken_words(str(n))) for n in range(2, 100)), key=len, reverse=True))}"
    r"|[2-9]|[1-9]\d) "
)


class ExerciseNames:
    """One language's words by which a name is told from what stands around it."""

    def __init__(self, language: str = "en") -> None:
        lists: Mapping[str, list[str]] = lists_of(language)["names"]  # type: ignore[assignment]
        self.language = language
        leading = [one for key in ("lead", "called", "counted_off", "block") for one in lists[key]]
        leads = "|".join(sorted(leading, key=len, reverse=True))
        held = "|".join(rf"(?<=\b{one})" for one in lists["held"])
        # "Walk outs" before "walk", so that the whole of it is taken.
        moves = "|".join(sorted(lists["move"], key=len, reverse=True))
        self._lead = re.compile(rf"^(?:(?:{leads})(?:\s+|$))+")
        # A plural ends a name: "kettlebell swings hinge" begins to tell how.
        self._name = re.compile(
            rf"^(?P<before>(?:\S+ ){{0,{_MOST_WORDS - 1}}}?)"
            rf"(?P<move>(?P<first>{moves})"
            rf"(?:(?:{held}) (?:{'|'.join(lists['amid'])}) (?:{moves})(?<=[^s]s)(?= |$))?"
            rf"(?:(?<![^s]s) (?!knees)(?:{moves})(?= |$)(?! (?:{'|'.join(lists['object'])})\b))?)"
            rf"(?P<second> (?:and (?:{'|'.join(lists['second'])})|to (?:\w+ )?(?:{moves}))(?= |$))?(?= |$)"
        )
        self._no_part, self._told = frozenset(lists["no_part"]), frozenset(lists["told"])
        told = f"(?:{'|'.join(lists['told'])}) (?:{'|'.join(lists['done_to'])})"
        self._does = re.compile(rf"^(?:{'|'.join([told, *lists['does']])})\b")
        # "Slide down, thighs level" tells how, where it is no announcement.
        self._ways = re.compile(rf"^(?:{moves})(?<!s) (?:{'|'.join(lists['ways'])})(?: |$)")
        self._then = re.compile(
            rf"^(?P<name>\S+?(?: \S+?){{0,{_MOST_WORDS - 1}}}?)(?:'s)? (?:{'|'.join(lists['then'])})(?= |$)"
        )
        self._comes_last = re.compile(rf"(?:'s)? (?:{'|'.join(lists['then'])})$")
        self._inside, self._first = any_of(lists["inside"]), any_of(lists["first"])
        self._no_head, self._comes = any_of(lists["no_head"]), any_of(lists["comes"])
        beside, combined = ("|".join(lists[key]) for key in ("beside_combined", "combined"))
        one = rf"(?:(?:{beside}) )*(?:{combined})(?: left| right)?"
        self._combined = re.compile(rf"^{one}(?: {one})+(?= |$)")
        self._counted_off = re.compile(rf"^(?:(?:{leads}) )*?(?:{'|'.join(lists['counted_off'])})\b")
        block, block_is = "|".join(lists["block"]), "|".join(lists["block_is"])
        self._block = re.compile(rf"^(?:(?:{leads}) )*?(?:{block})(?: (?:{block_is}))*(?: |$)")
        self._warm_up, self._of_class = any_of(lists["warm_up"]), any_of(lists["of_class"])
        corrects = "|".join(lists["corrects"]).replace(" ", r",?\s+")
        self._corrects = re.compile(rf"\b(?:{corrects})\b[,.;:]?\s*", re.IGNORECASE)
        self._excuses = re.compile(rf"\b(?:{'|'.join(lists['excuses'])})\b[,.;:]?\s+", re.IGNORECASE)
        self._moves = re.compile(rf"(?:{moves})")
        self._numbered = re.compile(rf"^(?:{'|'.join(lists['numbered'])})$")
        self._no_short = frozenset(lists["no_short"])
        self._small, self._breaks = frozenset(lists["done_to"]), frozenset(lists["breaks"])
        self._tells_how, self._bodies = frozenset(lists["tells_how"]), frozenset(lists["bodies"])
        self._behind = re.compile(rf"(?: (?:{'|'.join(lists['behind'])}))+$")
        self._directions = frozenset(lists["directions"])
        self.untrue, self._lists = UntrueCalls(language), word_lists(language)
        hints = hints_of(language)
        self._body, self._kit, self._greeting = hints["body"], hints["kit"], hints["greeting"]
        self._praise, self._keep_it = hints["praise"], hints["keep_it"]

    def in_text(self, text: str, purpose: str) -> str | None:
        """Return the exercise that `text` begins by naming, in lower case; None if it names none."""
        if purpose not in NAMING:
            return None
        if self.untrue.changes_partner(text):
            # "Swap. Partner two goes" is of the exercise that it was.
            return None
        text = self._meant(text)
        if combined := self.combination(text):
            return combined
        head = re.split(r"[.,;:!?]", text.strip(), maxsplit=1)[0]
        # "Arms up. Reach for the ceiling": a name does not run on into the next sentence.
        sentence = next((part for part in re.split(r"[.!?]", text) if self.without_lead(part)), "")
        for part in (head if purpose != "announce" else sentence, sentence):
            words = self.without_lead(part)
            # "Band again, pull aparts": what is taken up again is none of it.
            name = self.known_move(words) or self.known_move(self._behind_break(words))
            tells_way = purpose == "setup" and " " not in (name or "") and self._ways.match(words)
            if name and not tells_way:
                return name
        words = self.without_lead(self._without_count(sentence) if purpose == "announce" else text)
        # What is nothing but a name, or a name and that it comes, needs no word that is known.
        is_name = purpose == "announce" and 0 < len(words.split()) <= _MOST_WORDS
        is_name = is_name and not self._does.match(words) and not self._says_no_name(words)
        if is_name and len(words) <= _LONGEST:
            return words
        if purpose == "preview":
            # "Phew. Marching next": the words before it are no part of it.
            # So it is up to a comma: "stay there, swimming's next".
            for sentence in (*re.split(r"[.,;:!?]", text), *re.split(r"[.!?]", text)):
                words = self.without_lead(sentence)
                # "Dumbbell next, push press": what to have, and then the name.
                name = self._named_next(words) or self.known_move(self._behind_break(words))
                if name:
                    return name
        # "Hands on the floor for push ups": how one gets into it, and then the name.
        led = self._inside.search(words) if purpose == "setup" else None
        return self.known_move(words[led.end() :].strip()) if led else None

    def _says_no_name(self, words: str) -> bool:
        """Return whether a few words tell the time or a side, praise, or tell of the body: "low hips"."""
        told = self.untrue.tells_time(words, "announce") or self.untrue.is_only_side(words)
        told = told or self._praise.fullmatch(words) is not None or self._ends_in_body(words)
        first = words.partition(" ")[0]
        # "Feet wide, chest tall" and "nice and steady" tell how.
        of_body = first in self._bodies and not self.is_known(words)
        return told or first in self._tells_how or of_body

    def _ends_in_body(self, words: str) -> bool:
        last = words.rpartition(" ")[2]
        is_body = last.endswith("s") and self._body.fullmatch(last) is not None
        return is_body and not self.is_known(words)

    def _behind_break(self, words: str) -> str:
        parts = re.split(rf" (?:{'|'.join(self._breaks)}) ", words, maxsplit=1)
        # "Shuffle forward" tells what to do.
        return parts[-1] if len(parts) > 1 and not self._ways.match(parts[-1]) else ""

    def alone(self, text: str) -> str:
        """Return the words of `text` without what leads to a name, or calls what it names again."""
        return self._behind.sub("", self.without_lead(text))

    def combination(self, text: str) -> str | None:
        """Return the moves that `text` begins with and that follow on one another: "jab, cross, hook"."""
        found = self._combined.match(as_combined(self.without_lead(text)))
        return found[0] if found and len(found[0]) <= _LONGEST else None

    def _meant(self, text: str) -> str:
        """Return `text` from where it was corrected: "renegade, no sorry, overhead press"."""
        for found in reversed([*self._corrects.finditer(text)]):
            if plain(text[found.end() :]) and plain(text[: found.start()]):
                return text[found.end() :]
        for found in reversed([*self._excuses.finditer(text)]):
            # "Swings, sorry, squats", and not "sorry about that".
            if found.start() and self.known_move(self.without_lead(text[found.end() :])):
                return text[found.end() :]
        return text

    def _without_count(self, text: str) -> str:
        """Return `text` without what stands behind a mark at its end and tells which set or round it is."""
        parts = [part for part in re.split(r"[.,;:!?]", text) if part.strip()]
        while len(parts) > 1 and (self.untrue.tells_time(parts[-1], "") or self.untrue.compares(parts[-1])):
            parts.pop()
        return " ".join(parts)

    def without_lead(self, text: str) -> str:
        """Return the plain words of `text` without what leads to a name, and how many are to be done."""
        words = self._lead.sub("", spelt(text))
        counted = _COUNT.match(words)
        name = self.known_move(words[counted.end() :]) if counted else None
        # "Ten push ups" are so many of them, and "two arm swings" are called so; a step up is one move.
        is_called = name and self._numbered.match(name.split()[0]) and not self._moves.fullmatch(name)
        is_count = name and name.endswith("s") and not is_called
        return words[counted.end() :] if counted and is_count else words

    def is_known(self, words: str) -> bool:
        """Return whether `words`, as a whole, are a move that is known."""
        return self.known_move(words) == words

    def known_move(self, words: str) -> str | None:
        """Return the move that is known and that `words`, plain ones, begin with; None for none."""
        found = None if self._does.match(words) else self._name.match(words)
        judged = set(_judged(found)) if found else set()
        is_name = found and len(found[0]) <= _LONGEST and not (self._no_part | self._breaks) & judged
        # "Knees hover off the floor": of the body only what stands before it makes a name, as in high knees.
        is_name = is_name and not (found and self._body.fullmatch(found[0]))
        return found[0] if found and is_name else None

    def _named_next(self, words: str) -> str | None:
        found = self._then.match(words)
        if found is None or len(found["name"]) > _LONGEST:
            return None
        if self._moves.fullmatch(found["name"]):
            # "Sit to stands next" tells nobody to sit.
            return found["name"]
        name = found["name"].split()
        is_kit = self._kit.fullmatch(found["name"]) or self._body.fullmatch(found["name"])
        return None if is_kit or name[0] in self._told or self._no_part & set(name) else found["name"]

    def called_besides(self, text: str, *, comes: bool = False) -> str | None:
        """Return the name that `text` calls beside a rest or a time: "and rest, squats next".

        With `comes` only what is said to come: "ten seconds left, then it's squats".
        """
        if comes and self._comes.search(plain(text)) is None:
            return None
        for part in reversed(re.split(r"[.,;:!?]", text)):
            words = self.alone(part)
            # "Stretch" alone calls nothing, and "those squats" tells of the last ones.
            is_called = words != spelt(part) and self.is_known(words) and not self._small & {*words.split()}
            if name := self._named_next(words) or (words if is_called else None):
                return name
        return None

    def led_to(self, text: str) -> str:
        """Return the words of `text` up to what says that it comes, a blank before each."""
        return f" {self._comes_last.sub('', spelt(text))}"

    def may_be_led_to(self, words: Sequence[str]) -> bool:
        """Return whether `words`, which end one sentence and begin the next, may be a name: "swan"."""
        general = self._no_short | self._directions | self._tells_how
        is_general = not set(words) - general or self._keep_it.fullmatch(words[-1]) is not None
        joined = " ".join(words)
        is_thing = self._kit.fullmatch(joined) is not None or self._body.fullmatch(joined) is not None
        return not is_general and not is_thing and not self.tells(words)

    def counts_off(self, part: str) -> bool:
        """Return whether `part` of a list has its number before it: "station two, side plank"."""
        return self._counted_off.match(plain(part)) is not None

    def behind_block(self, part: str) -> str | None:
        """Return what follows if `part` of a list begins with a block of the class, None if it does not.

        "And block two is squats" begins a list of its own.
        """
        words = plain(part)
        found = self._block.match(words)
        return words[found.end() :] if found else None

    def is_of_warm_up(self, text: str) -> bool | None:
        """Return whether `text` speaks of a warm-up, or else of the class; None where of neither."""
        if self._of_class.search(plain(text)):
            return False
        return True if self._warm_up.search(plain(text)) else None

    def speaks_of_warm_up(self, text: str) -> bool:
        """Return whether `text` speaks of a warm-up, if only besides."""
        return self._warm_up.search(plain(text)) is not None

    def in_a_row(self, text: str) -> list[str | None]:
        """Return the moves that `text` names one after another, without a mark; None where it says more."""
        found: list[str | None] = []
        words = self.without_lead(text)
        while words:
            name = self.known_move(words)
            # "Need a mat squats": a small word begins something else.
            name = None if name and self._small & set(name.split()) else name
            found.append(name)
            # What is no name is passed over by the word.
            words = self.without_lead(words[len(name) :] if name else words.partition(" ")[2])
        return found

    def listed(self, part: str) -> tuple[str, bool] | None:
        """Return the name that `part` of a list may be, and whether it is of a known move; None for none.

        It is empty where there are only words that lead to one.
        """
        words = self.alone(part)
        if self._greeting.fullmatch(words):
            # "Good morning" is none of the good mornings.
            return None
        if self.is_known(words):
            return words, True
        own = words.split()
        is_name = len(own) <= _MOST_WORDS and not (own and self.tells(own)) and not self._does.match(words)
        return (words, False) if is_name else None

    def tells(self, words: Sequence[str]) -> bool:
        """Return whether words tell what to do with what ("arms up"), or a side, and name nothing."""
        of_body = words[0].endswith("s") and self._body.fullmatch(words[0]) is not None
        of_body = of_body or self._ends_in_body(" ".join(words))
        known = self._no_part & set(words) or words[0] in self._told
        return bool(known or of_body or self._no_head.search(in_words(" ".join(words))))

    def first_words(self, text: str) -> tuple[str, ...]:
        """Return the words that `text` begins with, as far as they may be a name; none may be left."""
        words = self.without_lead(text).split()[:_MOST_WORDS]
        ends = next((at for at, word in enumerate(words) if word in self._no_part), len(words))
        return () if words and words[0] in self._told else tuple(words[:ends])

    def without_general(self, words: Sequence[str]) -> Sequence[str]:
        """Return `words` up to one that names nothing alone; none if they begin with body or kit."""
        if words and (self._body.fullmatch(words[0]) or self._kit.fullmatch(words[0])):
            return ()
        return tuple(itertools.takewhile(lambda word: word not in self._no_short, words))

    def tells_where(self, name: str) -> bool:
        """Return whether `name` has no words but those that say where one moves."""
        return not set(name.split()) - self._directions

    def may_name(self, name: str) -> bool:
        """Return whether `name` has no word that is a part of no name."""
        return not self._no_part & set(name.split())

    def is_call(self, text: str) -> bool:
        """Return whether `text` is nothing but the call of a rest, a time or a round."""
        return self._lists.is_call(text)

    def is_of_first(self, text: str) -> bool:
        """Return whether `text` tells, before the first set, what is done in it."""
        return self._first.search(plain(text)) is not None
