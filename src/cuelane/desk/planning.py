"""A plan's text to all that the page shows of it: the schedule, and what is wrong, with remedies.

It is planned at each keystroke, so nothing is worked out twice: lengths come from :mod:`cuelane.desk.lines`,
and an interval that is offered the same cues in the same space is placed as before.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError, Mark, PlanError
from cuelane.base.schedule import Schedule, ScheduledInterval
from cuelane.base.units import SAMPLE_RATE
from cuelane.desk.edits import Edit, EditError, Place
from cuelane.desk.fixes import Fix, PlanRead, error_fixes, fact_fixes, misfit_fixes, warning_fixes
from cuelane.desk.lines import Speaking, SpokenLines
from cuelane.desk.named_files import Stamp, files_named, stamps, voice_named
from cuelane.desk.named_interval import NamedInterval
from cuelane.desk.places import path_at
from cuelane.desk.splice import apply
from cuelane.desk.voice_files import watched_files
from cuelane.desk.voice_findings import voice_findings
from cuelane.desk.words import Said
from cuelane.facts import Facts, facts
from cuelane.lint import lint
from cuelane.plan.load import load_plan
from cuelane.plan.loaded import LoadedPlan, included_files
from cuelane.render.line_keys import key_of
from cuelane.session.arrange import Arranged, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.expand import expand
from cuelane.session.model import Session
from cuelane.session.placing import place
from cuelane.session.remedies import Advice, advise
from cuelane.speech.choice import default_voice
from cuelane.speech.prepare import spoken_as
from cuelane.speech.voices import find_voice, voice_names, voice_places

_KEYS_OF_TOTALS = {"speaking-rate": "voice", "unknown-activity": "activity"}
_KEPT_PLACEMENTS = 4_096
"""More than the intervals of four hours at 20 s each; each is a few hundred bytes."""


@dataclass(frozen=True)
class Notice:
    """Something to mend or to think about, beside the field it is about.

    ``level`` is ``error`` (the plan cannot be used), ``misfit`` (words that do not fit) or ``warning``;
    ``place`` names the field, empty for the plan as a whole or for a file that it includes. What the desk
    itself has to say is a :class:`Said`; what the rest of the program says is English.
    """

    level: str
    told: str | Said
    hint: str = ""
    place: Place = ()
    file: str | Said = ""
    fixes: tuple[Fix, ...] = ()
    code: str = ""

    @property
    def message(self) -> str:
        """What is told, in words."""
        return str(self.told)


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
    session: Session | None = None
    beside: tuple[Stamp, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether the plans it includes, its recordings and its voice's files are still what they were."""
        return self.beside == stamps(path for path, _, _ in self.beside)


class SupersededError(Exception):
    """A newer text has come meanwhile; this one need not be planned."""


class Planner:
    """Plans the texts of one plan file; the latest wins."""

    def __init__(self, path: Path, store: ClipStore, speech: Future[Speaking]) -> None:
        self._path = path
        self._store = store
        self._speech = speech
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

    def arranged_again(self, preview: PlanView) -> Arranged | None:
        """Return a preview's session with the lengths known by now: all that is needed to hear it.

        None where there is no session.
        """
        if preview.loaded is None or preview.session is None:
            return None
        lines = self.lines_of(preview.loaded.plan.voice)
        return arrange(preview.session, lines.sounding_of, SAMPLE_RATE, place=self._place)

    def lines_of(self, voice: str) -> SpokenLines:
        """Return the lines of the voice called `voice`. Raises UsageError or PlanError as find_voice does."""
        definition = find_voice(voice, self._path.parent)
        # Recordings are made, and lexicons written, outside the desk too.
        files = stamps(watched_files(definition))
        lines = self._lines.get(voice)
        if lines is None or (lines.voice, lines.files) != (definition, files):
            lines = SpokenLines(definition, self._path.parent, self._store, self._speech, files)
            self._lines[voice] = lines
        return lines

    def _plan(self, text: str) -> PlanView:
        # Before they are read: a file that is changed meanwhile is read again.
        folder = self._path.parent
        beside = stamps([*files_named(self._path, text), *voice_places(voice_named(text), folder)])
        made = self._planned(text)
        if made.loaded is not None:
            deeper = {*included_files(made.loaded), *voice_places(made.loaded.plan.voice, folder)}
            beside += stamps(sorted(deeper - {path for path, _, _ in beside}))
        return replace(made, beside=beside + made.beside)

    def _planned(self, text: str) -> PlanView:
        files: tuple[Stamp, ...] = ()
        try:
            loaded = load_plan(self._path, voice_names, text=text, default_voice=default_voice)
            session = expand(loaded)
            lines = self.lines_of(loaded.plan.voice)
            files = lines.files
            arranged = arrange(session, lines.sounding_of, SAMPLE_RATE, place=self._place)
        except PlanError as error:
            found = [self._finding(text, "error", one.mark, one.message, one.hint) for one in error.problems]
            told = tuple(replace(one, fixes=error_fixes(text, one.place)) for one in found)
            return PlanView(text, told, beside=files)
        except CuelaneError as error:
            return PlanView(text, (Notice("error", str(error)),), beside=files)
        schedule = arranged.schedule
        counted = facts(session, schedule)
        extra = {**schedule.extra, "facts": counted.to_dict()}
        read = PlanRead(text, loaded, session)
        misfits = frozenset(one.interval.index for one in arranged.misfits)
        found = [
            self._misfit(read, schedule.intervals[advice.interval], advice, misfits)
            for advice in advise(arranged.misfits, schedule.sample_rate)
        ]
        for row in lint(
            loaded,
            session,
            lines.estimated_s,
            lambda line: self._spoken_as(line, schedule.language),
        ):
            finding = self._finding(text, "warning", row.mark, row.message, row.hint)
            fixes = () if finding.file else warning_fixes(read, row, finding.place)
            found.append(replace(finding, code=row.code, fixes=fixes))
        found += self._of_voice(read, lines, arranged)
        found += [_about_totals(read, counted, n) for n in range(len(counted.warnings))]
        return PlanView(
            text,
            tuple(found),
            loaded,
            replace(schedule, extra=extra),
            arranged,
            self._places(text, arranged.offered),
            len(lines.unspoken(arranged.offered)),
            session,
            files + _recordings(arranged, lines),
        )

    def _finding(
        self, text: str, level: str, mark: Mark | None, message: str | Said, hint: str = ""
    ) -> Notice:
        if mark is None:
            return Notice(level, message, hint)
        if not self._is_here(mark):
            return Notice(level, message, hint, file=Said("compose.in_file", file=mark.file, n=mark.line))
        return Notice(level, message, hint, path_at(text, mark.line, mark.column))

    def _misfit(
        self, read: PlanRead, row: ScheduledInterval, advice: Advice, misfits: frozenset[int]
    ) -> Notice:
        text = read.text
        placed = [self._place_of(text, way.mark) for way in advice.ways]
        still = misfits - {advice.interval}
        fixes, hint = misfit_fixes(read, advice, placed, lambda edits: self._misfits(text, edits) <= still)
        finding = self._finding(text, "misfit", next(iter(advice.marks), None), _misfit(row, advice), hint)
        return replace(finding, fixes=fixes)

    def _of_voice(self, read: PlanRead, lines: SpokenLines, arranged: Arranged) -> Iterator[Notice]:
        """Yield what is to be said of how the plan is spoken, beside the line or the voice."""
        loaded = read.loaded
        notes = lines.notes(loaded.plan.language, loaded.names_voice)
        for candidate, told, hint in voice_findings(notes, arranged.offered, lines.doubts(), lines.trouble()):
            if candidate is None:
                yield Notice("warning", told, hint, ("voice",))
            else:
                yield self._finding(read.text, "warning", candidate.mark, told, hint)

    def _misfits(self, text: str, edits: Sequence[Edit]) -> frozenset[int]:
        """Return in which intervals of the text with `edits` cues do not fit; -1 where that is no plan."""
        try:
            for edit in edits:
                text = apply(text, edit)
            loaded = load_plan(self._path, voice_names, text=text, default_voice=default_voice)
            lines = self.lines_of(loaded.plan.voice)
            tried = arrange(expand(loaded), lines.sounding_of, SAMPLE_RATE, place=self._place)
        except (CuelaneError, EditError):
            return frozenset({-1})
        return frozenset(one.interval.index for one in tried.misfits)

    def _is_here(self, mark: Mark) -> bool:
        """Return whether a mark stands in this file, and not in one of its name that it includes."""
        return mark.file == str(self._path)

    def _place_of(self, text: str, mark: Mark | None) -> Place:
        """Return where a mark stands in this file; nowhere for another."""
        if mark is None or not self._is_here(mark):
            return ()
        return path_at(text, mark.line, mark.column)

    def _places(self, text: str, offered: tuple[Candidate, ...]) -> dict[tuple[str, str], Place]:
        """Return where each line that came from this file is written, by role and words."""
        found: dict[tuple[str, str], Place] = {}
        marks: dict[Mark, Place] = {}
        for candidate in offered:
            mark = candidate.mark
            if mark is None or not self._is_here(mark):
                continue
            if mark not in marks:
                marks[mark] = path_at(text, mark.line, mark.column)
            found.setdefault((candidate.role, candidate.text), marks[mark])
        return found


def _recordings(arranged: Arranged, lines: SpokenLines) -> tuple[Stamp, ...]:
    """Return the recordings that the lines of a plan, and of those it includes, are heard from."""
    keys = (key_of(candidate, lines.voice, 1.0) for candidate in arranged.offered if candidate.clip)
    return stamps(sorted({Path(key.recording) for key in keys if key.recording is not None}))


def _about_totals(read: PlanRead, counted: Facts, number: int) -> Notice:
    """Return what is to be said about a session's totals, beside the exercise or the key that it is about."""
    code, message = counted.warning_codes[number], counted.warnings[number]
    subject = counted.warning_subjects[number]
    # An included plan's exercise is not in this file.
    subject = subject if subject in read.loaded.plan.exercises else ""
    place: Place = ("exercises", subject) if subject else ()
    if code in _KEYS_OF_TOTALS:
        place = (_KEYS_OF_TOTALS[code],)
    return Notice("warning", message, "", place, "", fact_fixes(read, code, counted, subject), code)


def _misfit(row: ScheduledInterval, advice: Advice) -> Said:
    place = NamedInterval(row)
    if advice.missing_s is None:
        return Said("misfit.no_places", place=place)
    n = advice.words_to_cut
    return Said("misfit.over", count=n, n=n, place=place, s=float(advice.missing_s))
