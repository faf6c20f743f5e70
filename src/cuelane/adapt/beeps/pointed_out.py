"""The countdown, tone or sound at a place that a person names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuelane.adapt.beeps.boundaries import find_boundaries
from cuelane.adapt.beeps.boundary_sound import returning_sounds
from cuelane.adapt.beeps.countdown import (
    LEAST_CONFIDENCE,
    SURE_COUNTDOWN,
    Beep,
    Found,
    candidate_beeps,
    rivalled,
    weigh,
)
from cuelane.adapt.beeps.fingerprint import HOP_S, fingerprints
from cuelane.adapt.beeps.lone_tone import find_lone
from cuelane.adapt.beeps.mark import SEARCH_S, BoundaryMark
from cuelane.adapt.beeps.score_book import ScoreBook
from cuelane.adapt.beeps.tone_tracks import ToneTrack, tone_tracks
from cuelane.base.errors import UsageError
from cuelane.recording.decode import Recording

# Chosen: a countdown begins so long before the place pointed out, and may end so long after it.
_BEFORE_S, _AFTER_S = 8.0, 3.0
# Chosen: a person reads a time to a few seconds; more takes the next countdown.
_NEAR_S = 5.0
# Chosen: onsets so near to the place propose sounds.
_ONSET_NEAR_S = 2.5
# Chosen: more costs time, as each is sought in twelve minutes.
_MOST_HINTED = 12
# Chosen: what comes twice may be chance.
_FEWEST = 3
# Chosen: what a person pointed at and was found to return is as good as known.
_POINTED_OUT = 0.9


def pointed_out(recording: Recording, at_s: float) -> BoundaryMark:
    """Return what marks the boundary at `at_s`, seconds into `recording`, to within a few seconds.

    Raises
    ------
    UsageError : nothing that returns is there.
    """
    start_s = min(max(0.0, at_s - SEARCH_S / 2), max(0.0, recording.seconds - SEARCH_S))
    part = recording.part(start_s, min(recording.seconds, start_s + SEARCH_S))
    at_s -= start_s
    tone = _tone_at(part, at_s)
    if tone is not None and tone.beep.count and tone.confidence >= SURE_COUNTDOWN:
        return tone
    sound = _sound_at(part, at_s)
    if sound is not None and (tone is None or sound.confidence >= SURE_COUNTDOWN):
        return replace(sound, confidence=max(sound.confidence, _POINTED_OUT))
    if tone is None:
        raise UsageError(
            f"no countdown was found within {_NEAR_S:.0f} s of --beep-at; "
            "give the time of its last, long tone, where no music is loud if there is such a place"
        )
    return tone


def _sound_at(part: Recording, at_s: float) -> BoundaryMark | None:
    """Return the surest sound that returns and has a boundary near `at_s`; None if there is none."""
    near = round(at_s / HOP_S), round(_ONSET_NEAR_S / HOP_S)
    for sound in returning_sounds(fingerprints(part), near):
        if sound.confidence > LEAST_CONFIDENCE and any(abs(t - at_s) < _NEAR_S for t in sound.times_s):
            return BoundaryMark.of_sound(sound, part.start_s)
    return None


def _tone_at(part: Recording, at_s: float) -> BoundaryMark | None:
    """Return the countdown or lone tone near `at_s` that stands out most; None if there is none.

    Besides what is found without a hint, every run of tones near `at_s` is tried over the whole of `part`.
    """
    tracks = tone_tracks(part)
    book = ScoreBook(part)
    found = candidate_beeps(book, tracks)
    lone = find_lone(book, tracks)
    near_tracks = [track for track in tracks if at_s - _BEFORE_S <= track.onset_s <= at_s + _AFTER_S]
    found += [_over_all(part, beep, tracks) for beep in _runs(near_tracks, at_s)[:_MOST_HINTED]]
    if lone is not None and not any(one.worth > 0 and lone.agrees_with(one) for one in found):
        found.append(lone)
    near = [one for one in found if _distance(one, at_s) < _NEAR_S and one.worth > 0]
    if not near:
        return None
    near.sort(key=lambda one: one.worth / (1 + _distance(one, at_s)), reverse=True)
    best = rivalled(near)[0]
    # A person named it; only that it returns, and without music around it, remains to be tested.
    is_back = len(best.times_s) >= _FEWEST and best.confidence > 0.5 * LEAST_CONFIDENCE
    mark = BoundaryMark.of_tone(best, part.start_s)
    return replace(mark, confidence=max(best.confidence, _POINTED_OUT if is_back else 0.0))


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
