"""Which beep a recording has and where it sounds: by itself, by a plan, or by a place that a person names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.boundary_sound import returning_sounds
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN, Beep, candidate_beeps
from cuelane.adapt.beeps.fingerprint import fingerprints
from cuelane.adapt.beeps.lone_tone import find_lone
from cuelane.adapt.beeps.mark import SEARCH_S, BoundaryMark
from cuelane.adapt.beeps.pointed_out import pointed_out
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.tone_tracks import ToneTrack, tone_tracks
from cuelane.recording.decode import Recording

Step = Callable[[str], None]

# Chosen: the share of boundaries explained beyond chance; lower uses a plan that is not this recording's.
FITS = 0.35
TRIED = (
    "countdowns of two to nine tones and a last one",
    "a tone that stands alone",
    "any sound that returns at a class's intervals",
)
# Chosen: more alternatives are no help to a person.
_MOST_ALTERNATIVES = 3
# Chosen: an alternative less likely than this is not worth a person's time.
_LEAST_ALTERNATIVE = 0.1
# Chosen: more of the sounds that return are held against a plan, each over the whole recording.
_MOST_BY_PLAN = 4


@dataclass(frozen=True)
class Alternative:
    """Something else that may mark the boundaries: what, how sure (0 to 1), how often, and one place of it.

    ``beep_at_s`` is a boundary of it that is none of what was chosen: named by ``--beep-at``, it settles it.
    """

    description: str
    confidence: float
    n_boundaries: int
    beep_at_s: float


@dataclass(frozen=True)
class Structure:
    """A recording's beep (None if none was found), how sure it is (0 to 1), and its boundaries.

    ``plan_left_aside`` says that a plan was given and not used: no beep was found, or the plan's boundaries
    are not this recording's, or it has only one. ``tried`` says what was looked for.
    """

    beep: Beep | None
    confidence: float
    boundaries: tuple[Boundary, ...]
    how: str
    plan_left_aside: bool = False
    alternatives: tuple[Alternative, ...] = ()
    tried: tuple[str, ...] = ()


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
    others: list[BoundaryMark] = []
    if beep_at_s is not None:
        mark, how = pointed_out(recording, beep_at_s), "by the countdown that was pointed out"
    else:
        marks = find_marks(recording, expected_s)
        if not marks or not marks[0].is_likely:
            return Structure(
                None,
                0.0,
                (),
                "nothing that returns at a class's intervals was clear enough",
                bool(expected_s),
                _alternatives(None, marks),
                (*TRIED, *(["the plan that was given"] if expected_s else [])),
            )
        mark, others = marks[0], marks[1:]
        how = "by its own pattern" if mark.sound is None else "because it returns at a class's intervals"
    told("finding boundaries")
    beep = mark.measured(recording)
    if len(expected_s) > 1:
        placed, fit = mark.by_plan(recording, beep, expected_s)
        if fit >= FITS:
            how = f"{how}, held against the plan"
            return Structure(beep, max(mark.confidence, fit), tuple(placed), how)
    boundaries = tuple(mark.boundaries(recording, beep))
    return Structure(beep, mark.confidence, boundaries, how, bool(expected_s), _alternatives(mark, others))


def find_marks(recording: Recording, expected_s: Sequence[float] = ()) -> list[BoundaryMark]:
    """Return what may mark the boundaries, the likeliest first; the first is the one that fits a plan.

    The pattern is learnt from the middle twelve minutes.
    """
    middle = recording.seconds / 2
    window = (max(0.0, middle - SEARCH_S / 2), min(recording.seconds, middle + SEARCH_S / 2))
    part = recording.part(*window)
    tracks = [
        ToneTrack(track.onset_s - part.start_s, track.length_s, track.frequency_hz)
        for track in tone_tracks(recording, *window)
    ]
    book = ScoreBook(part)
    countdowns = [BoundaryMark.of_tone(found, part.start_s) for found in candidate_beeps(book, tracks)]
    if len(expected_s) > 1 and (by_plan := _by_plan(recording, countdowns, expected_s)) is not None:
        return [by_plan]
    if countdowns and countdowns[0].confidence > SURE_COUNTDOWN:
        return countdowns
    sounds = [BoundaryMark.of_sound(one, part.start_s) for one in returning_sounds(fingerprints(part))]
    if len(expected_s) > 1 and (by_plan := _by_plan(recording, sounds, expected_s)) is not None:
        return [by_plan]
    lone = find_lone(book, tracks)
    marks = [*sounds, *countdowns, *([BoundaryMark.of_tone(lone, part.start_s)] if lone is not None else [])]
    marks.sort(key=lambda mark: (-mark.is_likely, -mark.confidence))
    return marks


def _by_plan(
    recording: Recording, marks: Sequence[BoundaryMark], expected_s: Sequence[float]
) -> BoundaryMark | None:
    """Return the mark that falls on the plan's boundaries, or the first if it stands out by itself."""
    if not marks or marks[0].confidence > 0.85:
        return marks[0] if marks else None
    tried = marks[:_MOST_BY_PLAN] if marks[0].sound is not None else marks
    fits = [(one.by_plan(recording, one.beep, expected_s)[1], -k) for k, one in enumerate(tried)]
    fit, index = max(fits)
    return marks[-index] if fit >= FITS else None


def _alternatives(chosen: BoundaryMark | None, marks: Sequence[BoundaryMark]) -> tuple[Alternative, ...]:
    """Return the likeliest of `marks` that neither agree with `chosen` nor with each other."""
    kept: list[BoundaryMark] = []
    for mark in marks:
        against = [*kept, *([chosen] if chosen is not None else [])]
        if mark.confidence < _LEAST_ALTERNATIVE or any(mark.agrees_with(one) for one in against):
            continue
        kept.append(mark)
        if len(kept) == _MOST_ALTERNATIVES:
            break
    return tuple(
        Alternative(
            mark.beep.describe(),
            round(mark.confidence, 3),
            len(mark.times_s),
            round(_own_time(mark, chosen), 1),
        )
        for mark in kept
    )


def _own_time(mark: BoundaryMark, chosen: BoundaryMark | None) -> float:
    """Return the boundary of `mark` that is farthest from any of `chosen`."""
    if chosen is None:
        return mark.times_s[0]
    return max(mark.times_s, key=lambda t: min((abs(t - c) for c in chosen.times_s), default=0.0))
