"""What the cues of a recorded class are about, by their words and by where in a set they were said."""

from __future__ import annotations

from collections.abc import Sequence

from cuelane.adapt.class_cues import CutCue
from cuelane.adapt.class_shape import ClassShape
from cuelane.adapt.exercise_names import ExerciseNames
from cuelane.adapt.name_mentions import NameMentions
from cuelane.adapt.set_turns import SetTurns
from cuelane.adapt.untrue_calls import UntrueCalls
from cuelane.adapt.words.intervals import FoundInterval
from cuelane.adapt.words.word_lists import plain, word_lists

CHANGES_FROM = 0.5
"""Chosen: what changes for the next set is told in the last part of one; a guess before that is form.

A share of the set, from 0 to 1.
"""
# Common practice, no source: a set is counted out in its last seconds.
_COUNTED_OUT_S = 10.0
# Chosen: a listener hears what is done within three seconds.
_MOST_LEADING = 8


class SetCues:
    """What each cue of a class is about: the set in which it was said, its form, its name, or what comes.

    Where a `number` is asked for, it is that of a set of `shape`, from 0.

    Parameters
    ----------
    shape : the class's sets and what they are called.
    intervals : its intervals, in order of time.
    cues : what is said in it, in order of time; told apart by their clips.
    turns : where its sets turn to the other side.
    untrue : the words for time, rounds and sides in `language`.
    """

    def __init__(
        self,
        shape: ClassShape,
        intervals: Sequence[FoundInterval],
        cues: Sequence[CutCue],
        turns: SetTurns,
        untrue: UntrueCalls,
        language: str = "en",
    ) -> None:
        self._shape, self._intervals, self._untrue, self._turns = shape, intervals, untrue, turns
        self._mentions, self._lists = NameMentions(ExerciseNames(language)), word_lists(language)
        own = [cue for cue in cues if not self._lists.is_call(cue.text)]
        self._first = {cue.interval: cue.clip for cue in reversed(own)}

    def is_first(self, cue: CutCue) -> bool:
        """Return whether `cue` is what its interval begins with, calls of a rest, a time or a round aside."""
        return self._first.get(cue.interval) == cue.clip

    def is_tempo(self, cue: CutCue) -> bool:
        """Return whether `cue` counts a movement or tells its pace, and does not count a set to its end."""
        if cue.interval not in self._shape.sets:
            return False
        left_s = self._intervals[cue.interval].end_s - cue.onset_ms / 1000
        counts = left_s > _COUNTED_OUT_S and self._untrue.counts_a_movement(cue.text)
        return counts or self._untrue.tells_pace(cue.text)

    def is_form(self, cue: CutCue, number: int) -> bool:
        """Return whether `cue` tells how the exercise is done, whatever it was taken for."""
        match cue.purpose:
            case "time" | "praise" | "say" | "change":
                # "Three, two, one, up" tells how fast one moves.
                return self.is_tempo(cue)
            case "easier" | "harder":
                return not cue.is_sure and self._untrue.tells_pace(cue.text)
            case "preview":
                return self._tells_how(cue, number)
        return False

    def is_left_over(self, cue: CutCue) -> bool:
        """Return whether `cue` is a word that was said with the last call of a time: "ten, everything"."""
        left_s = self._intervals[cue.interval].end_s - cue.onset_ms / 1000
        return not cue.is_sure and len(cue.text.split()) == 1 and left_s <= _COUNTED_OUT_S

    def _tells_how(self, cue: CutCue, number: int) -> bool:
        """Return whether `cue` is only guessed to tell what comes: early in a set, and without its name."""
        following = self._shape.names[number + 1 : number + 2]
        named = any(self._mentions.holds(cue.text, name) for name in following)
        is_guess = not cue.is_sure and self.share(cue) < CHANGES_FROM
        return is_guess and not named and not self._lists.calls_next(cue.text)

    def names_the_next(self, cue: CutCue, number: int) -> bool:
        """Return whether what is said late in a set names the next one: "bell again, swings"."""
        following = self._following(cue, number)
        if following is None or not self._mentions.holds(cue.text, following):
            return False
        return not self._mentions.holds(cue.text, self._shape.names[number])

    def calls_the_next(self, cue: CutCue, number: int) -> bool:
        """Return whether what is said late in a set is nothing but the next one's name, and that it comes."""
        own, following = self._shape.names[number], self._following(cue, number)
        if following is None or self._mentions.holds(cue.text, own):
            return False
        if self._mentions.begins_with(cue.text, own, [following]):
            return False
        called = self._lists.calls_next(cue.text) and self._mentions.begins_with(cue.text, following, [own])
        return called or self._mentions.is_only(cue.text, following)

    def _following(self, cue: CutCue, number: int) -> str | None:
        """Return the next set's name if it is another one and `cue` was said late in its set; else None."""
        names = self._shape.names
        is_last = number + 1 == len(names)
        if is_last or names[number + 1] == names[number] or self.share(cue) < CHANGES_FROM:
            return None
        return names[number + 1]

    def holds_for_both(self, cue: CutCue, number: int) -> bool:
        """Return whether a line is true of a set that is done on both sides; any is, of the others.

        What gets one into the first set may name the side that it begins on, as no other line may.
        """
        begins_on = self._turns.first.get(self._shape.names[number])
        # A turn that was misheard, "other site please", is still about a side.
        if begins_on is None or not (cue.purpose == "side" or self._untrue.names_side(cue.text)):
            return True
        begins = cue.purpose in ("setup", "announce") and self._shape.appearance(number) == 1
        return begins and self._untrue.side_of(cue.text) in (None, begins_on)

    def is_only_side(self, cue: CutCue, number: int, *, named: bool) -> bool:
        """Return whether a line says nothing but the side, and perhaps the name behind it, of its set."""
        words = plain(cue.text)
        unnamed = words if named else words.replace(self._shape.names[number], " ")
        return self._untrue.is_only_side(cue.text) or self._untrue.is_only_side(unnamed)

    def leads_to_name(self, cue: CutCue, number: int) -> bool:
        """Return whether a set's first words are few, and its name among them: "sink into it, deep squat"."""
        is_first = self.is_first(cue) and cue.purpose == "announce"
        is_short = len(cue.text.split()) <= _MOST_LEADING
        others = {place.exercise for place in self._shape.places} - {self._shape.names[number]}
        held = self._mentions.holds(cue.text, self._shape.names[number])
        return (
            is_first and is_short and held and not any(self._mentions.holds(cue.text, one) for one in others)
        )

    def begins_with_name(self, cue: CutCue, number: int) -> bool:
        """Return whether `cue` begins with its set's name, or what was heard for it, and can stand for it."""
        name = self._shape.names[number]
        others = [place.exercise for place in self._shape.places if place.exercise != name]
        heard = self._shape.heard[number] if self._shape.heard else None
        named = (one for one in (name, heard) if one)
        if any(self._mentions.begins_with(cue.text, one, others) for one in named):
            return True
        is_first = self.is_first(cue) and cue.purpose in ("announce", "setup")
        return is_first and self._mentions.sounds_like(cue.text, name)

    def holds_name(self, cue: CutCue, number: int) -> bool:
        """Return whether `cue` has the name of a set in it."""
        name = self._shape.names[number]
        return self.begins_with_name(cue, number) or self._mentions.holds(cue.text, name)

    def share(self, cue: CutCue) -> float:
        """Return how much of its set has passed where `cue` begins, from 0 to 1."""
        interval = self._intervals[cue.interval]
        return (cue.onset_ms / 1000 - interval.start_s) / interval.length_s
