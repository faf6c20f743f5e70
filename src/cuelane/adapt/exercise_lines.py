"""The kept words of a recorded class by exercise and role, as the lines of a plan that the placer places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import ClassShape
from cuelane.adapt.set_cues import CHANGES_FROM, SetCues
from cuelane.adapt.set_turns import SetTurns, set_turns
from cuelane.adapt.timed_starts import TimedStarts
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.role_judge import OUT
from cuelane.adapt.words.word_lists import word_lists

MOST_LINES = 40
"""Derived from the plan's own limit: as many as it takes for one role."""

OWN_CALL = "tells the time or the round; the program calls those as they are now"
OWN_REST = "calls the rest; the program does that"
FOR_REST = "is for the rest in which it was said; a plan has no lines of its own for that"
NAMED_AGAIN = "names or prepares what comes again; the program does that"
NAMED_TWICE = "names the set, as another of its lines does"
NOTHING_FOLLOWS = "prepares a set, and none follows"
SAID_TWICE = "said before in the same words"
OWN_SIDE = "names the side; the program does that, as sides take turns now"
OWN_TURN = "turns to the other side; the program does that at half of the set"
LOST_TURN = "turns to the other side in the middle of one set, which the others do not"
OTHER_SIDE = "names a side; each set does both, so it holds for half of it"
ABOUT_REST = "said in a rest, and perhaps about it: in a set it could be wrong"
PERHAPS_ASIDE = "perhaps an aside; write say for it in decisions.txt if it is to be said"
LEFT_OVER = "one word at the end of a set, which goes with what was said before it"
TOO_MANY = f"one of more than {MOST_LINES} lines of its kind"


# Chosen: what one is told to do by then gets one into place.
_SET_UP_BY = 0.2
# A guess at these in a rest is as often about the rest: "take your time getting there".
_OF_A_SET = ("form", "remind", "praise", "easier", "harder")
# Said from the round on in which the instructor said them first: all in the first one would leave none.
_FROM_ITS_ROUND = ("form", "easier", "harder", "say")


@dataclass(frozen=True)
class OwnLine:
    """A line of the instructor's. ``rounds`` is the appearance at which it holds, None for any.

    ``from_round`` is the round in which it was first said, None for the first; ``again`` are the appearances
    at which it was said in the same words later, where it holds for each of its own alone.
    """

    cue: CutCue
    rounds: int | None = None
    to: str | None = None
    from_round: int | None = None
    again: tuple[int, ...] = ()

    def holds_at(self, appearance: int) -> bool:
        """Return whether the line may be said at an appearance of its exercise."""
        return self.rounds is None or appearance in (self.rounds, *self.again)


@dataclass
class ClassLines:
    """A class's lines: by exercise and role, of the block as a whole, and before and after the training.

    ``left`` holds what is not in the plan, with the reason.
    """

    exercises: dict[str, dict[str, list[OwnLine]]]
    praise: list[OwnLine] = field(default_factory=list)
    opening: list[OwnLine] = field(default_factory=list)
    closing: list[OwnLine] = field(default_factory=list)
    left: list[tuple[CutCue, str]] = field(default_factory=list)
    turned: dict[str, Literal["left", "right"]] = field(default_factory=dict)
    """The exercises that are done on both sides in each set, and the side that each begins on."""
    alternated: dict[str, Literal["left", "right"]] = field(default_factory=dict)
    """Those of which a set on one side follows one on the other, and the side of the first."""

    def add(self, rows: list[OwnLine], line: OwnLine) -> None:
        """Add a line to one of this class's lists, unless it is there already or the list is full."""
        text = line.cue.text.casefold()
        same = next((at for at, row in enumerate(rows) if row.cue.text.casefold() == text), None)
        if same is not None:
            said = rows[same]
            if said.rounds is not None and line.rounds is not None and not said.holds_at(line.rounds):
                rows[same] = replace(said, again=(*said.again, line.rounds))
            self.left.append((line.cue, SAID_TWICE))
        elif len(rows) >= MOST_LINES:
            self.left.append((line.cue, TOO_MANY))
        else:
            rows.append(line)


class _Sorter:
    def __init__(
        self,
        shape: ClassShape,
        intervals: Sequence[FoundInterval],
        cues: SetCues,
        untrue: UntrueCalls,
        turns: SetTurns,
        language: str,
    ) -> None:
        self._shape, self._intervals, self._untrue, self._turns = shape, intervals, untrue, turns
        self._cues, self._lists, self._starts = cues, word_lists(language), TimedStarts(language)
        self._prepared: set[int] = set()
        self.lines = ClassLines({place.exercise: {} for place in shape.places}, turned=turns.first)
        self.lines.alternated = turns.in_turn

    def put(self, cue: CutCue) -> None:
        """Give a cue its place in the plan, or note why it has none."""
        shape, purpose = self._shape, cue.purpose
        if cue.clip in self._turns.cues:
            name = shape.names[shape.sets.index(cue.interval)]
            self.lines.left.append((cue, OWN_TURN if name in self._turns.first else LOST_TURN))
        elif self._untrue.tells_time(cue.text, purpose) and not self._cues.is_tempo(cue):
            self.lines.left.append((cue, OWN_CALL))
        elif shape.every_ms is not None and self._starts.tells(cue.text):
            # "Whatever's left of the minute is your rest": the program tells how it goes.
            self.lines.left.append((cue, OWN_CALL))
        elif cue.interval < shape.sets[0]:
            self.lines.add(self.lines.opening, OwnLine(cue))
        elif self._intervals[cue.interval].kind == "talk":
            # "Let your arms hang" after the last set calls no rest.
            self.lines.add(self.lines.closing, OwnLine(cue))
        elif purpose in OUT and not cue.is_sure:
            # "Sorry, truck going by" would be said again at any time.
            self.lines.left.append((cue, PERHAPS_ASIDE))
        elif purpose == "rest":
            self.lines.left.append((cue, OWN_REST if self._lists.calls_rest(cue.text) else FOR_REST))
        elif cue.interval in shape.sets:
            self._in_set(cue, shape.sets.index(cue.interval))
        else:
            after = sum(index < cue.interval for index in shape.sets)
            self._before_set(cue, after)

    def _before_set(self, cue: CutCue, number: int) -> None:
        if cue.purpose == "praise" and cue.is_sure:
            # It is for the set that is over.
            self._praise(cue, number - 1)
        elif number == len(self._shape.sets):
            self.lines.left.append((cue, NOTHING_FOLLOWS))
        elif cue.purpose in ("preview", "announce", "setup", "side", "change"):
            self._prepared.add(number)
            self._preview(cue, number)
        elif number in self._prepared and cue.purpose in ("form", "remind"):
            # "Next is the bear hold", and then "wrists under your shoulders": it is about what comes.
            self._add(cue, number, "preview" if self._shape.appearance(number) == 1 else cue.role)
        elif number in self._prepared and cue.purpose in ("easier", "harder"):
            self._add(cue, number, cue.role)
        elif cue.role == "say" or (cue.purpose in _OF_A_SET and not cue.is_sure):
            # "Sit back on your heels" after a bird dog, in the hollow hold that follows.
            self.lines.left.append((cue, ABOUT_REST))
        else:
            self._add(cue, number, cue.role)

    def _preview(self, cue: CutCue, number: int) -> None:
        if self._lists.calls_rest_and_next(cue.text) or self._lists.begins_with_stop(cue.text):
            # "And rest rows next" in one breath: the program says both, and at a rest's beginning.
            self.lines.left.append((cue, OWN_REST))
        elif self._shape.appearance(number) == 1:
            self._add(cue, number, "preview")
        elif cue.purpose == "setup" and cue.is_sure and not self._cues.holds_name(cue, number):
            # It is not new any more, and is said where the set begins.
            self._add(cue, number, "remind")
        else:
            self.lines.left.append((cue, NAMED_AGAIN))

    def _in_set(self, cue: CutCue, number: int) -> None:
        shape, first = self._shape, self._shape.appearance(number) == 1
        if not self._cues.holds_for_both(cue, number):
            self.lines.left.append((cue, OTHER_SIDE))
            return
        named, begins = self._cues.begins_with_name(cue, number), self._cues.is_first(cue)
        if shape.names[number] in self._turns.in_turn and self._cues.is_only_side(cue, number, named=named):
            self.lines.left.append((cue, OWN_SIDE))
            return
        if shape.every_ms is not None and self._starts.rests(cue.text) and not named:
            # "When you're done, bell down, breathe": rest begins where the plan says so now.
            self.lines.left.append((cue, OWN_REST))
            return
        if self._cues.calls_the_next(cue, number):
            # "Push press coming up", whatever it was taken for.
            self._preview(cue, number + 1)
            return
        if self._cues.is_form(cue, number):
            self._add(cue, number, "form")
            return
        of_exercise = self._untrue.is_of_exercise(cue.text)
        match cue.purpose:
            case "praise" | "say" | "announce" if self._untrue.rests(cue.text) and not named:
                # "Rest up, you earned it": work starts every minute, and what is left of it is rest.
                self.lines.left.append((cue, OWN_REST))
            case "announce" | "setup" if self._cues.names_the_next(cue, number):
                self._preview(cue, number + 1)
            case "praise" if cue.is_sure and not self._untrue.compares(cue.text) and not of_exercise:
                self.lines.add(self.lines.praise, OwnLine(cue))
            case "announce" if self._is_said(cue, number):
                self.lines.left.append((cue, SAID_TWICE))
            case "praise" | "say" if self._cues.is_left_over(cue):
                self.lines.left.append((cue, LEFT_OVER))
            case "preview" if number + 1 < len(shape.sets):
                self._preview(cue, number + 1)
            case "preview":
                self.lines.left.append((cue, NOTHING_FOLLOWS))
            case "announce" if named and not self._names_itself(cue, number):
                self.lines.left.append((cue, NAMED_TWICE))
            case "say" | "remind" if begins and named:
                # "Push ups, you know what to do" begins the set, and would be odd later.
                self._announce_or_leave(cue, number)
            case "praise" | "form" | "caution" | "easier" | "harder" if begins and named and not cue.is_sure:
                self._announce_or_leave(cue, number)
            case "side" | "say" if self._untrue.is_cadence(cue.text):
                # "Left, right, left, right" goes on as long as the set.
                self._add(cue, number, "form")
            case "setup" | "announce" | "side" if self._names_itself(cue, number):
                self._add(cue, number, "announce", pinned=cue.purpose != "announce")
            case "setup" | "announce" | "side":
                self._add(cue, number, "setup" if first else "remind", pinned=cue.purpose == "side")
            case "change" if self._cues.share(cue) < CHANGES_FROM and not shape.every_ms:
                # "Hands on the bells, feet wide" right behind the name, and none at the end of the set.
                early = first and cue.is_sure and self._cues.share(cue) < _SET_UP_BY
                self._add(cue, number, "setup" if early else "form")
            case "change":
                self._change(cue, number)
            case _:
                self._add(cue, number, cue.role)

    def _praise(self, cue: CutCue, number: int) -> None:
        """Put praise that was said in the rest after a set: with the set if it is of it and no other."""
        if not self._untrue.is_of_exercise(cue.text) and not self._untrue.compares(cue.text):
            self.lines.add(self.lines.praise, OwnLine(cue))
        elif self._cues.holds_for_both(cue, number):
            self._add(cue, number, "praise")
        else:
            self.lines.left.append((cue, OTHER_SIDE))

    def _announce_or_leave(self, cue: CutCue, number: int) -> None:
        if self._names_itself(cue, number):
            self._add(cue, number, "announce", pinned=True)
        else:
            self.lines.left.append((cue, NAMED_TWICE))

    def _is_said(self, cue: CutCue, number: int) -> bool:
        """Return whether an announcement of the same words is there, which holds for every set."""
        kept = self.lines.exercises[self._shape.names[number]].get("announce", [])
        return any(line.rounds is None and line.cue.text.casefold() == cue.text.casefold() for line in kept)

    def _names_itself(self, cue: CutCue, number: int) -> bool:
        """Return whether a line that begins a set can stand for its name."""
        kept = self.lines.exercises[self._shape.names[number]].get("announce", [])
        appearance = self._shape.appearance(number)
        taken = any(line.holds_at(appearance) for line in kept)
        cues = self._cues
        return not taken and (cues.begins_with_name(cue, number) or cues.leads_to_name(cue, number))

    def _change(self, cue: CutCue, number: int) -> None:
        following = self._intervals[cue.interval + 1 : cue.interval + 2]
        rests = self._shape.every_ms is not None or (bool(following) and following[0].kind == "rest")
        if number + 1 == len(self._shape.sets) and not rests:
            self.lines.left.append((cue, NOTHING_FOLLOWS))
            return
        name, *later = self._shape.names[number : number + 2]
        # "Back to the box" is for what comes, behind a rest, too, and not for the end of the class.
        to = later[0] if later and (not rests or later[0] != name) else "rest"
        self._add(cue, number, "change", to=to)

    def _add(
        self, cue: CutCue, number: int, role: str, *, pinned: bool = False, to: str | None = None
    ) -> None:
        appearance = self._shape.appearance(number)
        pinned = pinned or (self._untrue.names_side(cue.text) and not self._untrue.is_cadence(cue.text))
        pinned = pinned or self._untrue.names_partner(cue.text)
        pinned = pinned or (appearance > 1 and self._untrue.compares(cue.text))
        rounds = appearance if pinned else None
        round_number = self._shape.round_of(number)
        later = round_number if role in _FROM_ITS_ROUND and rounds is None and round_number > 1 else None
        rows = self.lines.exercises[self._shape.names[number]].setdefault(role, [])
        self.lines.add(rows, OwnLine(cue, rounds, to, later))


def class_lines(
    shape: ClassShape, intervals: Sequence[FoundInterval], cues: Sequence[CutCue], language: str = "en"
) -> ClassLines:
    """Return the lines of a class whose exercises are as `shape` says."""
    untrue, in_order = UntrueCalls(language), sorted(cues, key=lambda cue: cue.onset_ms)
    turns = set_turns(shape, intervals, in_order, untrue)
    set_cues = SetCues(shape, intervals, in_order, turns, untrue, language)
    sorter = _Sorter(shape, intervals, set_cues, untrue, turns, language)
    for cue in in_order:
        sorter.put(cue)
    return sorter.lines
