"""Which beep a recording has and where it sounds: by itself, by a plan, or by a place that a person names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cuelane.adapt.beeps.boundaries import Boundary, boundaries_by_plan, find_boundaries, measured
from cuelane.adapt.beeps.countdown import (
    LEAST_CONFIDENCE,
    SURE_COUNTDOWN,
    Beep,
    Found,
    candidate_beeps,
    rivalled,
    weigh,
)
from cuelane.adapt.beeps.lone_tone import find_lone
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.tone_tracks import ToneTrack, tone_tracks
from cuelane.base.errors import UsageError
from cuelane.recording.decode import Recording

Step = Callable[[str], None]

# Chosen: twelve minutes hold some twenty boundaries; more costs time and memory, fewer may be too few.
SEARCH_S = 720.0
# Chosen: the share of boundaries explained beyond chance; lower uses a plan that is not this recording's.
FITS = 0.35
# Chosen: a countdown begins so long before the place pointed out, and may end so long after it.
_BEFORE_S, _AFTER_S = 8.0, 3.0
# Chosen: a person reads a time to a few seconds; more takes the next countdown.
_NEAR_S = 5.0
# Chosen: more costs time, as each is sought in twelve minutes.
_MOST_HINTED = 12
# Chosen: what comes twice may be chance.
_FEWEST = 3


@dataclass(frozen=True)
class Structure:
    """A recording's beep (None if none was found), how sure it is (0 to 1), and its boundaries.

    ``plan_left_aside`` says that a plan was given and not used: no beep was found, or the plan's boundaries
    are not this recording's, or it has only one.
    """

    beep: Beep | None
    confidence: float
    boundaries: tuple[Boundary, ...]
    how: str
    plan_left_aside: bool = False


def find_structure(
    recording: Recording,
    *,
    expected_s: Sequence[float] = (),
    beep_at_s: float | None = None,
    step: Step | None = None,
) -> Structure:
    """Return the structure of `recording`.

    Parameters
    ----------
    expected_s : boundaries by a plan, from its start; empty without a plan.
    beep_at_s : the time of one countdown, to within a few seconds.

    Raises
    ------
    UsageError : there is no countdown at `beep_at_s`.
    """
    told = step or (lambda _what: None)
    told("looking for beeps")
    # The pattern is learnt from the middle twelve minutes; what is learnt is then sought everywhere.
    middle = recording.seconds / 2
    window = (max(0.0, middle - SEARCH_S / 2), min(recording.seconds, middle + SEARCH_S / 2))
    if beep_at_s is not None:
        beep, confidence = _hinted(recording, beep_at_s)
        how = "by the countdown that was pointed out"
    else:
        part = recording.part(*window)
        tracks = [
            ToneTrack(track.onset_s - part.start_s, track.length_s, track.frequency_hz)
            for track in tone_tracks(recording, *window)
        ]
        found = _by_plan(part, recording, tracks, expected_s) if len(expected_s) > 1 else None
        found = found or find_beep(ScoreBook(part), tracks)
        if found is None:
            return Structure(
                None, 0.0, (), "no repeated countdown was found", plan_left_aside=bool(expected_s)
            )
        beep, confidence, how = found.beep, found.confidence, "by its own pattern"
    told("finding boundaries")
    beep = measured(recording, beep)
    if len(expected_s) > 1:
        placed, fit = boundaries_by_plan(recording, beep, expected_s)
        if fit >= FITS:
            return Structure(beep, max(confidence, fit), tuple(placed), f"{how}, held against the plan")
    boundaries = tuple(find_boundaries(recording, beep))
    return Structure(beep, confidence, boundaries, how, plan_left_aside=bool(expected_s))


def find_beep(book: ScoreBook, tracks: Sequence[ToneTrack]) -> Found | None:
    """Return the countdown, or else the lone tone, that stands out among `tracks`; None if nothing does."""
    best = next(iter(candidate_beeps(book, tracks)), None)
    if best is not None and best.confidence > SURE_COUNTDOWN:
        return best
    lone = find_lone(book, tracks)
    if best is None or best.confidence <= LEAST_CONFIDENCE:
        return lone
    # A countdown's own long tone is a lone tone too.
    if lone is None or lone.agrees_with(best):
        return best
    return lone if lone.confidence > best.confidence else best


def _by_plan(
    part: Recording, recording: Recording, tracks: Sequence[ToneTrack], expected_s: Sequence[float]
) -> Found | None:
    """Return the countdown that falls on the plan's boundaries; None if the best stands out by itself."""
    found = candidate_beeps(ScoreBook(part), tracks)
    if not found or found[0].confidence > 0.85:
        return found[0] if found else None
    fits = [(boundaries_by_plan(recording, one.beep, expected_s)[1], k) for k, one in enumerate(found)]
    fit, index = max(fits, key=lambda row: (row[0], -row[1]))
    return found[index] if fit >= FITS else None


def _hinted(recording: Recording, at_s: float) -> tuple[Beep, float]:
    """Return the countdown or lone tone near `at_s` that stands out most, and how sure it is.

    Besides what is found without a hint, every run of tones near `at_s` is tried over the whole recording.
    """
    start_s = min(max(0.0, at_s - SEARCH_S / 2), max(0.0, recording.seconds - SEARCH_S))
    part = recording.part(start_s, min(recording.seconds, start_s + SEARCH_S))
    tracks = tone_tracks(part)
    book = ScoreBook(part)
    at_s -= part.start_s
    found = candidate_beeps(book, tracks)
    lone = find_lone(book, tracks)
    near_tracks = [track for track in tracks if at_s - _BEFORE_S <= track.onset_s <= at_s + _AFTER_S]
    found += [_over_all(part, beep, tracks) for beep in _runs(near_tracks, at_s)[:_MOST_HINTED]]
    if lone is not None and not any(one.worth > 0 and lone.agrees_with(one) for one in found):
        found.append(lone)
    near = [one for one in found if _distance(one, at_s) < _NEAR_S and one.worth > 0]
    if not near:
        raise UsageError(
            f"no countdown was found within {_NEAR_S:.0f} s of --beep-at; "
            "give the time of its last, long tone, where no music is loud if there is such a place"
        )
    near.sort(key=lambda one: one.worth / (1 + _distance(one, at_s)), reverse=True)
    best = rivalled(near)[0]
    # A person named it; only that it returns, and without music around it, remains to be tested.
    pointed = 0.9 if len(best.times_s) >= _FEWEST and best.confidence > 0.5 * LEAST_CONFIDENCE else 0.0
    return best.beep, max(best.confidence, pointed)


def _distance(found: Found, at_s: float) -> float:
    return min((abs(time_s - at_s) for time_s in found.times_s), default=float("inf"))


def _over_all(recording: Recording, beep: Beep, tracks: Sequence[ToneTrack]) -> Found:
    """Return how `beep` is found over all of `recording`, whose tones are `tracks`."""
    seen = find_boundaries(recording, beep)
    evidence = sum(boundary.score**4 for boundary in seen)
    return weigh(Found(beep, evidence, 0.0, tuple(boundary.at_s for boundary in seen)), tracks)


def _runs(tracks: Sequence[ToneTrack], at_s: float) -> list[Beep]:
    """Return the countdowns that `tracks` could be: two or more like tones equally spaced, then one more."""
    found: list[tuple[float, Beep]] = []
    for i, first in enumerate(tracks):
        for second in tracks[i + 1 :]:
            spacing_s = second.onset_s - first.onset_s
            if not 0.4 <= spacing_s <= 2.2 or not _alike(first, second):
                continue
            run = [first, second]
            while following := _at(tracks, run[-1].onset_s + spacing_s, first):
                run.append(following)
            for last in tracks:
                if abs(last.onset_s - run[-1].onset_s - spacing_s) < 0.04 and not _alike(first, last):
                    # It is likelier the nearer it is to the time given, and the longer the run and its last
                    # tone.
                    worth = len(run) + last.length_s - abs(last.onset_s - at_s) / 2
                    beep = Beep(
                        last.frequency_hz,
                        last.length_s,
                        len(run),
                        first.frequency_hz,
                        first.length_s,
                        spacing_s,
                    )
                    found.append((worth, beep))
    if not found:
        lone = [track for track in tracks if abs(track.onset_s - at_s) < 2.0 and track.length_s >= 0.15]
        found = [(track.length_s, Beep(track.frequency_hz, track.length_s)) for track in lone]
    return [beep for _, beep in sorted(found, key=lambda row: -row[0])]


def _alike(one: ToneTrack, other: ToneTrack) -> bool:
    near = abs(one.frequency_hz - other.frequency_hz) < 0.015 * one.frequency_hz
    return near and abs(one.length_s - other.length_s) < max(0.03, 0.25 * one.length_s)


def _at(tracks: Sequence[ToneTrack], at_s: float, like: ToneTrack) -> ToneTrack | None:
    return next((t for t in tracks if abs(t.onset_s - at_s) < 0.03 and _alike(like, t)), None)
