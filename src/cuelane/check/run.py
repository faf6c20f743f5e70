"""Check a file against a schedule: the one function that names every step."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from cuelane.base.errors import UsageError
from cuelane.base.schedule import Schedule
from cuelane.check.background import background, tenths
from cuelane.check.check_options import CheckOptions
from cuelane.check.fault_words import clock, counted_list, name_of
from cuelane.check.findings import Finding, Findings, assemble
from cuelane.check.fit import ClockPiece, Fit
from cuelane.check.intake import CheckedSound, Intake, Progress, take_in
from cuelane.check.judging import Measured, another_session, judged
from cuelane.check.locate import (
    MIN_SUPPORT,
    Coarse,
    Expected,
    expected_events,
    first_fit,
    locate,
    look_again,
)
from cuelane.check.pips.tone_search import ToneSearch
from cuelane.check.report import Report
from cuelane.check.speech.phrase_search import PhraseSearch
from cuelane.check.speech.second_opinion import LIGHT, FreeHearing, hear_all
from cuelane.check.speech.without_model import find_offset
from cuelane.check.templates import ClipSource, gather
from cuelane.check.unmodelled import add_foreign, add_plain

# Chosen: a cut in a short file may look like a changed speed; a lower value believes that, a higher one
# misses a real change.
FAR_BETTER = 1.2

# Chosen: more of them are a recogniser that does not know the voice, not lines to say again.
_MOST_TOLD = 6


def check(
    audio: Path,
    schedule: Schedule,
    options: CheckOptions | None = None,
    *,
    against: Path | None = None,
    store: ClipSource | None = None,
    hearing: FreeHearing | None = None,
    progress: Progress | None = None,
) -> Report:
    """Measure every pip and cue of `schedule` in `audio` and return what is wrong.

    Parameters
    ----------
    audio : any audio or video file.
    against : an original that is right; cues whose clips the store lacks are cut from it.
    store : where clips are found by hash; None uses none.
    hearing : a recogniser for the words, where the options ask for them; None uses the one that comes along.
    progress : called with (frames done, frames in all).

    Raises
    ------
    AudioFileError : `audio` or `against` cannot be read.
    UsageError : a tolerance that is out of its range, or a schedule without events.
    """
    options = options or CheckOptions()
    tolerance = options.tolerance()
    if not schedule.events:
        raise UsageError("the schedule has no events: there is nothing to check")
    templates = gather(schedule, store, against)
    expected = expected_events(schedule)
    kinds = sorted({row.kind for row in expected if row.kind is not None})
    phrases, tones = PhraseSearch(list(templates.values())), ToneSearch(kinds)
    intake = take_in(audio, [phrases, tones], progress)
    with intake.recording as recording:
        coarse = Coarse(phrases.candidates, tones.tones)
        fit, other_rate = first_fit(expected, coarse, schedule.n_frames / schedule.sample_rate)
        if fit is not None and other_rate is not None:
            slower = look_again(recording, templates, kinds, other_rate)
            again, _ = first_fit(expected, slower, schedule.n_frames / schedule.sample_rate)
            if again is not None and again.support > FAR_BETTER * fit.support:
                fit, coarse = again, slower
        if fit is None and not templates and not kinds:
            fit = _by_sound_alone(intake, expected)
        if fit is None or fit.support < MIN_SUPPORT:
            return another_session(audio, schedule, intake, expected, templates, tolerance)
        located = locate(recording, templates, expected, fit, schedule.sample_rate)
        findings = assemble(recording, templates, expected, located, coarse, schedule.sample_rate)
        power = tenths(recording)
        between = background(power, _spans(findings, located.fit))
        add_plain(findings, recording, located.fit.rate, between.usual_dbfs)
        another_voice = add_foreign(findings, recording, located.fit.rate, between.usual_dbfs)
        between = background(power, _spans(findings, located.fit))
        heard = _listen(schedule, findings, recording, located.fit, hearing) if options.words else []
        measured = Measured(intake, located.fit, findings, templates, between, another_voice, tuple(heard))
        return judged(audio, schedule, measured, options)


def _listen(
    schedule: Schedule,
    findings: Findings,
    recording: CheckedSound,
    fit: Fit,
    hearing: FreeHearing | None,
) -> list[str]:
    """Have a recogniser name each cue that was found, and return what is to be noted of it."""
    if hearing is None and not schedule.language.lower().startswith("en"):
        return [
            "The light recogniser knows English only; the words of this session "
            f"({schedule.language}) were not checked."
        ]
    rows = [
        f for f in findings.rows if f.expected.kind is None and f.time_s is not None and f.expected.event.text
    ]
    if not rows:
        return ["No cue was found, so no words were checked."]
    places = [(f.expected.event.text or "", f.time_s or 0.0, f.expected.length_s * fit.rate) for f in rows]
    for finding, text in zip(rows, hear_all(recording, places, by=hearing), strict=True):
        finding.words = text
    agreed = sum(f.words == f.expected.event.text for f in rows)
    notes = [
        f"A recogniser ({LIGHT if hearing is None else hearing.name}) confirms the words of {agreed} of "
        f"{len(rows)} cues."
    ]
    for finding in rows:
        if finding.words not in (None, finding.expected.event.text) and finding.source != "none":
            notes.append(
                f"{clock(finding.place_s)} {name_of(finding.expected)} fits its clip, but the recogniser "
                f'hears "{finding.words}": listen to it.'
            )
    return [*notes, *_not_understood([f for f in rows if f.words is None])]


def _not_understood(rows: list[Finding]) -> list[str]:
    """Return which cues the recogniser took for none, each with its times: words may be said badly there."""
    places: dict[str, list[str]] = {}
    for finding in rows:
        places.setdefault(name_of(finding.expected), []).append(clock(finding.place_s))
    notes = [
        f"It did not understand {name} at {counted_list(times)}: listen to it, or say it in other words."
        for name, times in islice(places.items(), _MOST_TOLD)
    ]
    if len(places) > _MOST_TOLD:
        notes.append(f"Nor did it {len(places) - _MOST_TOLD} other lines; they stand in the JSON report.")
    return notes


def _by_sound_alone(intake: Intake, expected: list[Expected]) -> Fit | None:
    """Return a fit from where there is sound at all, for a session without pips whose clips are unknown."""
    spans = [(row.time_s, row.time_s + row.length_s) for row in expected]
    offset_s = find_offset(intake.envelope, spans, intake.outline_per_s)
    return None if offset_s is None else Fit(1.0, (ClockPiece(0.0, offset_s),), 1.0)


def _spans(findings: Findings, fit: Fit) -> list[tuple[float, float]]:
    spans = []
    for finding in findings.rows:
        time_s = finding.time_s if finding.time_s is not None else finding.place_s
        spans.append((time_s, time_s + finding.expected.length_s * fit.rate))
    spans += [(copy.time_s, copy.time_s + 3.0) for copy in findings.copies]
    return spans + [(tone.time_s, tone.time_s + tone.kind.length_s) for tone in findings.extra_pips]
