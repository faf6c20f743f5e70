"""A plan's text to all that the page shows of it: the schedule, and what is wrong, with remedies.

It is planned at each keystroke, so nothing is worked out twice: lengths come from :mod:`cuelane.desk.lines`,
and an interval that is offered the same cues in the same space is placed as before.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError, Mark, PlanError
from cuelane.base.schedule import Schedule
from cuelane.base.units import SAMPLE_RATE
from cuelane.desk.edits import Edit, Place, Remove, Set, data_of, value_at
from cuelane.desk.forms import key_order
from cuelane.desk.lines import SpokenLines
from cuelane.desk.places import path_at
from cuelane.desk.words import desk_words
from cuelane.facts import facts
from cuelane.lint import lint
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan
from cuelane.session.arrange import Arranged, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.placing import place
from cuelane.session.remedies import advise
from cuelane.speech.prepare import spoken_as
from cuelane.speech.voices import find_voice, voice_names

_KEPT_PLACEMENTS = 4_096
"""More than the intervals of four hours at 20 s each; each is a few hundred bytes."""


@dataclass(frozen=True)
class Fix:
    """A way out that the desk can take by itself: the words of its button, and its edits."""

    label: str
    edits: tuple[Edit, ...]


@dataclass(frozen=True)
class Notice:
    """Something to mend or to think about, beside the field it is about.

    ``level`` is ``error`` (the plan cannot be used), ``misfit`` (words that do not fit) or ``warning``;
    ``place`` names the field, empty for the plan as a whole or for a file that it includes.
    """

    level: str
    message: str
    hint: str = ""
    place: Place = ()
    file: str = ""
    fixes: tuple[Fix, ...] = ()
    code: str = ""


@dataclass(frozen=True)
class PlanView:
    """What came of planning a text. Without a schedule the findings say why."""

    text: str
    findings: tuple[Notice, ...]
    loaded: LoadedPlan | None = None
    schedule: Schedule | None = None
    arranged: Arranged | None = None
    places: dict[tuple[str, str], Place] | None = None
    n_unspoken: int = 0


class SupersededError(Exception):
    """A newer text has come meanwhile; this one need not be planned."""


class Planner:
    """Plans the texts of one plan file; the latest wins."""

    def __init__(self, path: Path, store: ClipStore) -> None:
        self._path = path
        self._store = store
        self._lines: dict[str, SpokenLines] = {}
        self._planning = threading.Lock()
        self._waiting = 0
        self._newest = threading.Lock()
        self._spoken_as = lru_cache(maxsize=_KEPT_PLACEMENTS)(spoken_as)
        self._place = lru_cache(maxsize=_KEPT_PLACEMENTS)(place)

    def plan(self, text: str) -> PlanView:
        """Return the preview of `text`.

        Raises
        ------
        SupersededError : a newer text came while this one waited for its turn.
        """
        with self._newest:
            self._waiting += 1
            turn = self._waiting
        with self._planning:
            if turn != self._waiting:
                raise SupersededError
            return self._plan(text)

    def plan_now(self, text: str) -> PlanView:
        """Return the preview of `text`, whatever else waits."""
        with self._planning:
            return self._plan(text)

    def lines_of(self, voice: str) -> SpokenLines:
        """Return the lines of the voice called `voice`. Raises UsageError or PlanError as find_voice does."""
        definition = find_voice(voice, self._path.parent)
        lines = self._lines.get(voice)
        if lines is None or lines.voice != definition:
            lines = self._lines[voice] = SpokenLines(definition, self._path.parent, self._store)
        return lines

    def _plan(self, text: str) -> PlanView:
        try:
            loaded = load_plan(self._path, voice_names, text=text)
            session = expand(loaded)
            lines = self.lines_of(loaded.plan.voice)
            arranged = arrange(session, lines.sounding_of, SAMPLE_RATE, place=self._place)
        except PlanError as error:
            found = [self._finding(text, "error", one.mark, one.message, one.hint) for one in error.problems]
            return PlanView(text, tuple(found))
        except CuelaneError as error:
            return PlanView(text, (Notice("error", str(error)),))
        schedule = arranged.schedule
        extra = {**schedule.extra, "facts": facts(session, schedule).to_dict()}
        found = [
            replace(
                self._finding(text, "misfit", next(iter(row.marks), None), _misfit(row.place, row.missing_s)),
                hint="; ".join(row.remedies),
                fixes=self._fixes(text, row.marks),
            )
            for row in advise(arranged.misfits, schedule.sample_rate)
        ]
        for row in lint(
            loaded,
            session,
            lines.estimated_s,
            lambda line: self._spoken_as(line, schedule.language),
        ):
            finding = self._finding(text, "warning", row.mark, row.message, row.hint)
            found.append(replace(finding, code=row.code, fixes=_quiet(finding, row.code, loaded.plan.allow)))
        return PlanView(
            text,
            tuple(found),
            loaded,
            replace(schedule, extra=extra),
            arranged,
            self._places(text, arranged.offered),
            len(lines.unspoken(arranged.offered)),
        )

    def _finding(self, text: str, level: str, mark: Mark | None, message: str, hint: str = "") -> Notice:
        if mark is None:
            return Notice(level, message, hint)
        if Path(mark.file).name != self._path.name:
            return Notice(level, message, hint, file=f"{mark.file}, line {mark.line}")
        return Notice(level, message, hint, path_at(text, mark.line, mark.column))

    def _fixes(self, text: str, marks: tuple[Mark, ...]) -> tuple[Fix, ...]:
        """Return what would make room: each line that may be left out, or need not be said."""
        fixes = []
        for mark in marks:
            place = path_at(text, mark.line, mark.column)
            if place and place[-1] == "text":
                place = place[:-1]
            if len(place) >= 3 and place[0] == "exercises":
                line = f"line {int(place[3]) + 1} of {place[2]}" if len(place) > 3 else str(place[2])
                fixes.append(Fix(f"Leave out {line} of {place[1]}", (Remove(place),)))
        return tuple(fixes)

    def _places(self, text: str, offered: tuple[Candidate, ...]) -> dict[tuple[str, str], Place]:
        """Return where each line that came from this file is written, by role and words."""
        found: dict[tuple[str, str], Place] = {}
        marks: dict[Mark, Place] = {}
        for candidate in offered:
            mark = candidate.mark
            if mark is None or Path(mark.file).name != self._path.name:
                continue
            if mark not in marks:
                marks[mark] = path_at(text, mark.line, mark.column)
            found.setdefault((candidate.role, candidate.text), marks[mark])
        return found


def _quiet(finding: Notice, code: str, allowed: Sequence[str]) -> tuple[Fix, ...]:
    """Return the way to keep quiet about a warning in this plan; none for what stands in another file."""
    if finding.file or code in allowed:
        return ()
    edit = Set(("allow",), [*allowed, code], key_order(()))
    return (Fix(desk_words().compose["allow"], (edit,)),)


def _misfit(place: str, missing_s: float | None) -> str:
    if missing_s is None:
        return f"{place}: these cues cannot all have their places"
    return f"{place}: {missing_s:g} s more to say than there is time"


def line_edit(preview: PlanView, place: Place, key: str, value: object) -> Edit:
    """Return the edit that gives one line of the plan a wish (``at``, ``must``, ``weight``) of its own."""
    if place and place[-1] == "text":
        place = place[:-1]
    line = value_at(data_of(preview.text), place)
    if isinstance(line, dict):
        return Set((*place, key), value, order=("text", "rounds", "at", "must", "weight", "allow"))
    return Set(place, {"text": line, key: value})
