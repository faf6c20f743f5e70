"""Which beep a recording has and where it sounds: by itself, by a plan, or by a place that a person names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cuelane.adapt.beeps.boundaries import Boundary
from cuelane.adapt.beeps.boundary_sound import returning_sounds
from cuelane.adapt.beeps.completing import completed
from cuelane.adapt.beeps.countdown import SURE_COUNTDOWN, Beep, candidate_beeps
from cuelane.adapt.beeps.fingerprint import fingerprints
from cuelane.adapt.beeps.lone_tone import find_lone
from cuelane.adapt.beeps.mark import SEARCH_S, BoundaryMark
from cuelane.adapt.beeps.pointed_out import pointed_out
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.steady_sounds import with_steady
from cuelane.adapt.beeps.timing_grid import SURE_GRID, Lengths, chain_by_hint, confidence_of_grid
from cuelane.adapt.beeps.tone_tracks import ToneTrack, tone_tracks
from cuelane.recording.decode import Recording

Step = Callable[[str], None]

# Chosen: the share of boundaries explained beyond chance; lower uses a plan that is not this recording's.
FITS = 0.35
# Chosen: a sound that is hardly likely by itself may still be the one that keeps work and rest.
_LEAST_ODDS = 1e-3
# How a structure was found, as reports say it after "found".
POINTED_OUT = "by the one that was pointed out"
OWN_PATTERN = "by the pattern of its tones"
RETURNING = "because it returns at lengths of time that come again"
STEADY = "because it is where one work and one rest begin, again and again"
OWN_LENGTHS = "because it returns at the work and rest that were given"
AND_PLAN = ", and held against the plan"
NOTHING = "not at all: nothing that returns at lengths of time that come again was clear enough"
TRIED = (
    "countdowns of two to nine tones and a last one",
    "a tone that stands alone",
    "any sound that returns at a class's intervals",
    "a work and a rest of one length each, whatever sounds where they begin",
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
    are not this recording's, or it has only one; ``lengths_left_aside`` that work and rest were given, and
    nothing that was heard keeps them. ``tried`` says what was looked for. ``lengths`` are the work and rest
    that the boundaries keep; ``tells_apart`` is false where their sound comes once in both together, so
    that it may begin either. ``astray_s`` where the sound is at no boundary by the
    lengths, ``no_rest_s`` where two sets seem to follow each other though the others have a rest between.
    """

    beep: Beep | None
    confidence: float
    boundaries: tuple[Boundary, ...]
    how: str
    plan_left_aside: bool = False
    alternatives: tuple[Alternative, ...] = ()
    tried: tuple[str, ...] = ()
    lengths: Lengths | None = None
    astray_s: tuple[float, ...] = ()
    tells_apart: bool = True
    lengths_left_aside: bool = False
    no_rest_s: tuple[float, ...] = ()


def find_structure(
    recording: Recording,
    *,
    expected_s: Sequence[float] = (),
    beep_at_s: float | None = None,
    lengths: Lengths | None = None,
    step: Step | None = None,
) -> Structure:
    """Return the structure of `recording`.

    Parameters
    ----------
    expected_s : boundaries by a plan, from its start; empty without a plan.
    beep_at_s : the time of one countdown, to within a few seconds.
    lengths : the class's work and rest, as a person said them.

    Raises
    ------
    UsageError : there is no countdown at `beep_at_s`.
    """
    told = step or (lambda _what: None)
    told("looking for beeps")
    others: list[BoundaryMark] = []
    if beep_at_s is not None:
        mark, how = pointed_out(recording, beep_at_s), POINTED_OUT
    else:
        marks = find_marks(recording, expected_s)
        by_lengths = _by_lengths(marks, lengths)
        if by_lengths is None and (not marks or not marks[0].is_likely):
            return Structure(
                None,
                0.0,
                (),
                NOTHING,
                bool(expected_s),
                _alternatives(None, marks),
                (*TRIED, *(["the plan that was given"] if expected_s else [])),
                lengths_left_aside=lengths is not None,
            )
        mark = by_lengths or marks[0]
        # What lengths displaced is told too; what agrees with the mark is left out there.
        others = marks
        how = OWN_LENGTHS if by_lengths is not None else _how(mark)
    told("finding boundaries")
    beep = mark.measured(recording)
    if len(expected_s) > 1:
        placed, fit = mark.by_plan(recording, beep, expected_s)
        if fit >= FITS:
            return Structure(beep, max(mark.confidence, fit), tuple(placed), f"{how}{AND_PLAN}")
    found = Structure(beep, mark.confidence, (), how, bool(expected_s), _alternatives(mark, others))
    heard = mark.boundaries(recording, beep)
    return _with_lengths(heard, lengths, _steady_lengths(mark), found)


def _with_lengths(
    heard: tuple[list[Boundary], list[Boundary]],
    lengths: Lengths | None,
    steady: Lengths | None,
    found: Structure,
) -> Structure:
    """Return `found` with the boundaries `heard` (clear, faint), made whole by lengths given or their own.

    Where these do not tell, `steady` lengths do, by which their sound was found.
    """
    made, keeps = completed(*heard, lengths), lengths is None
    if keeps and made.chain is None and steady is not None:
        by_steady = completed(*heard, steady)
        if by_steady.chain is not None and by_steady.chain.evidence >= SURE_GRID:
            made = by_steady
    if lengths is not None:
        keeps = made.chain is not None and made.chain.evidence >= SURE_GRID
        made = made if keeps else completed(*heard)
    return replace(
        found,
        boundaries=made.boundaries,
        lengths=made.chain.lengths if made.chain is not None else None,
        astray_s=made.astray_s,
        tells_apart=made.chain is None or made.chain.tells_apart,
        lengths_left_aside=not keeps,
        no_rest_s=made.no_rest_s,
    )


def _how(mark: BoundaryMark) -> str:
    """Return how `mark` was found, as reports say it after "found"."""
    if mark.sound is None:
        return OWN_PATTERN
    return RETURNING if mark.sound.steady is None else STEADY


def _steady_lengths(mark: BoundaryMark) -> Lengths | None:
    """Return the work and rest by which the sound of `mark` was found, if it was found so."""
    return Lengths(*mark.sound.lengths_s) if mark.sound is not None and mark.sound.lengths_s else None


def _by_lengths(marks: Sequence[BoundaryMark], lengths: Lengths | None) -> BoundaryMark | None:
    """Return the mark that is likeliest by how far its times keep `lengths` too; None if none keeps them."""
    if lengths is None or not marks:
        return None
    chains = [chain_by_hint(np.array(mark.times_s), lengths) for mark in marks]
    likely = [
        chain.evidence + float(np.log(max(mark.confidence, _LEAST_ODDS)))
        for chain, mark in zip(chains, marks, strict=True)
    ]
    index = int(np.argmax(likely))
    # Each mark that was tried is one more occasion for chance.
    paid = chains[index].evidence - float(np.log(len(marks)))
    if paid < SURE_GRID:
        return None
    mark = marks[index]
    return replace(mark, confidence=max(mark.confidence, confidence_of_grid(paid)))


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
    surest = countdowns[0] if countdowns else None
    # Tones that are all alike may lead up to a sound of another kind, a whistle or a word.
    if surest is not None and surest.confidence > SURE_COUNTDOWN and not surest.beep.ends_like_it_began:
        return countdowns
    prints = fingerprints(part)
    told = with_steady(returning_sounds(prints, tracks=tracks), prints)
    sounds = [BoundaryMark.of_sound(one, part.start_s) for one in told]
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
