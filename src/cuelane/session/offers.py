"""Which cues an interval could carry: the coach's judgement, before any length is known.

For each interval :func:`offers` lists candidates by role, given what has been said so far:

* a set (:mod:`cues.in_work`) begins with its name, what must be known before moving, and the set-up or a
  reminder; then options, form in turn, one time call; its last 12 s hold at most two cues;
* a rest (:mod:`cues.rests`) teaches: which round comes and what it holds, what is new, what to have ready;
* a breath block (:mod:`cues.breathing`) leads a few breaths, then says where one is;
* a script, and talk, say what the plan has.

A line's own `rounds`, `from_round`, `at`, `must` and `weight` win over all of this. How much is said at all
is the plan's `coaching`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cuelane.base.language import Language
from cuelane.base.paces import FASTER
from cuelane.session.arc import Arc
from cuelane.session.candidates import WEIGHTS, Candidate, History
from cuelane.session.cues.breathing import before_breath, breath
from cuelane.session.cues.here import Here
from cuelane.session.cues.in_work import work
from cuelane.session.cues.rests import before_set, rest
from cuelane.session.ends import easy_places
from cuelane.session.manner import manner_of
from cuelane.session.model import Interval

_BEHIND_A_BREATH = ", after a silence for the last breath to end"


def offers(arc: Arc, index: int, words: Language, history: History) -> list[Candidate]:
    """Return the candidates for interval `index`; deterministic."""
    found, manner = _offered(arc, index, words, history), manner_of(arc, index, words)
    return [replace(candidate, manner=manner) for candidate in found] if manner else found


def ever_faster(interval: Interval, usual: tuple[Candidate, ...]) -> Iterator[tuple[Candidate, ...]]:
    """Yield an interval's lines at the paces at which they may be said, the usual one first.

    How long a talk lasts is the program's choice where the plan does not say it, and the same with every
    voice; so a slower voice has to hurry there, where a person could not cut the program's own words.
    """
    yield usual
    if interval.lines and not interval.lasts:
        for hurry in FASTER:
            yield tuple(replace(candidate, hurry=hurry) for candidate in usual)


def _offered(arc: Arc, index: int, words: Language, history: History) -> list[Candidate]:
    interval = arc.session.intervals[index]
    here = Here(arc, interval, words, history)
    if interval.pattern == "script":
        return list(_script(here))
    if interval.pattern == "breath" and interval.kind != "talk":
        return list(breath(here))
    if interval.lines:
        return [*_lines(here), *before_breath(here), *before_set(here)]
    if interval.kind == "work":
        return [*work(here), *before_breath(here)]
    return [*before_breath(here), *rest(here)]


def _script(here: Here) -> Iterator[Candidate]:
    for number, cue in enumerate(here.interval.script_cues):
        yield Candidate(
            cue.role, cue.text, WEIGHTS.get(cue.role, 20), "where the script has it", must=cue.must,
            start_ms=cue.at, tally=("script", str(here.interval.index), str(number)), clip=cue.clip,
            mark=cue.mark,
        )  # fmt: skip


def _lines(here: Here) -> Iterator[Candidate]:
    interval = here.interval
    opening = interval.pattern == "opening"
    warns = {line.text for line in here.arc.session.cautions} if opening else set(interval.warns)
    texts = [line.text for line in interval.lines]
    # Where the plan says how long it lasts, what is left is quiet at the end.
    places = (
        [0.0] * len(texts) if interval.lasts else easy_places(texts, interval.length_ms, interval.quiet_ms)
    )
    for number, (line, toward) in enumerate(zip(interval.lines, places, strict=True)):
        role: str = "caution" if line.text in warns else "announce" if opening else "say"
        yield Candidate(
            role, line.text, WEIGHTS[role] if line.weight is None else line.weight,
            "in its order, at an easy pace" + _BEHIND_A_BREATH * bool(interval.quiet_ms),
            must=line.must is not False, toward=toward,
            start_ms=line.at, not_before_ms=0 if line.at is not None else interval.quiet_ms, clip=line.clip,
            mark=line.mark,
            # Before all that the program has to say there.
            chain=None if line.at is not None else ("end", number - len(texts)),
        )  # fmt: skip
