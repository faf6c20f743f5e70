"""Pips measured: each at its place, with the pitch it should have."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import rfft

from cuelane.base.schedule import Event
from cuelane.check.intake import ANALYSIS_RATE, REACH_S, CheckedSound
from cuelane.check.match import match
from cuelane.check.pips.tone_search import PipKind, Tone, by_carrier, guard_s, measure
from cuelane.check.threads import side_by_side

# Measured on one made track of 60 pips: true ones 0.71 and more even in louder music, or 0.59 in a room too;
# absent ones 0.33 at most.
MIN_SCORE = 0.6
# Chosen: a pip farther than this from its place is looked at twice, since it may be a note of the music.
NEAR_S = 0.025
# Chosen: pips of a kind are the same wave, so only music and rooms make their levels differ; a larger value
# takes notes of the music for pips.
SAME_LEVEL_DB = 3.0
FAINT_DB = 12.0
"""Chosen: so much softer than the others of its kind, a tone is something else."""
# Chosen, higher than for the right pitch, since here a tone of any pitch is looked for.
OTHER_PITCH_SCORE = 0.8
# Chosen: an extra pip must be as certain as the real ones; with less, notes of music are called extra pips.
EXTRA_SCORE = 0.85
# Chosen: and as loud as they are, within this.
EXTRA_LEVEL_DB = 2.0
# Chosen: an extra pip belongs to a countdown; farther away a tone is something else.
EXTRA_WITHIN_S = 2.5
PITCH_CENTS = 50.0
"""Published: mir_eval.transcription counts a pitch as right within 50 cents (value read in its source)."""


@dataclass(frozen=True)
class PipFound:
    """What was found for one pip: a tone as it should be, or one of another pitch or length, or neither."""

    tone: Tone | None = None
    heard_hz: float | None = None
    length_s: float | None = None


def pip_kind(event: Event, sample_rate: int) -> PipKind:
    """Return the pitch and length that the schedule gives a pip."""
    return PipKind(float(event.frequency_hz or 1000.0), (event.end_sample - event.onset_sample) / sample_rate)


def at_rate(kind: PipKind, rate: float) -> PipKind:
    """Return how a pip sounds where everything takes `rate` times as long."""
    return PipKind(kind.frequency_hz / rate, kind.length_s * rate)


def _sound(recording: CheckedSound, kind: PipKind, low_s: float, high_s: float) -> tuple[np.ndarray, float]:
    margin = guard_s(kind) + 0.02
    first = int((low_s - margin) * ANALYSIS_RATE)
    n = int((high_s - low_s + kind.length_s + 2 * margin) * ANALYSIS_RATE) + 2
    return recording.read(first, n), first / ANALYSIS_RATE


def find_pips(
    recording: CheckedSound, kinds: Sequence[PipKind], places_s: Sequence[float], sample_rate: int,
    reach_s: float = REACH_S,
) -> list[Tone | None]:  # fmt: skip
    """Return the tone found for each pip, or None; several pips may be given the same tone."""

    def near(pip: tuple[PipKind, float], reach_s: float) -> Tone | None:
        kind, place = pip
        sound, first_s = _sound(recording, kind, place - reach_s, place + reach_s)
        return measure(sound, first_s, kind, place - reach_s, place + reach_s, sample_rate)

    wide = side_by_side(lambda pip: near(pip, reach_s), zip(kinds, places_s, strict=True))
    levels: dict[PipKind, list[float]] = defaultdict(list)
    for tone in wide:
        if tone is not None and tone.score >= MIN_SCORE:
            levels[tone.kind].append(tone.amplitude)
    middle = {kind: float(np.median(values)) for kind, values in levels.items()}
    found: list[Tone | None] = []
    for tone, kind, place in zip(wide, kinds, places_s, strict=True):
        chosen = tone
        if tone is not None and abs(tone.time_s - place) > NEAR_S and kind in middle:
            close = near((kind, place), NEAR_S)
            # A note of the music may look more like a pip than the pip does, but seldom as loud as one.
            if close is not None and close.score >= MIN_SCORE and _alike(close, middle[kind]):
                better = close.score >= 0.9 * tone.score or not _alike(tone, middle[kind])
                chosen = close if better else tone
        found.append(chosen if _is_pip(chosen, middle) else None)
    return found


def _is_pip(tone: Tone | None, middle: dict[PipKind, float]) -> bool:
    if tone is None or tone.score < MIN_SCORE:
        return False
    return tone.amplitude > middle.get(tone.kind, 0.0) * 10 ** (-FAINT_DB / 20)


def _alike(tone: Tone, amplitude: float, within_db: float = SAME_LEVEL_DB) -> bool:
    return bool(abs(20 * np.log10(max(tone.amplitude, 1e-9) / max(amplitude, 1e-9))) <= within_db)


def pair_pips(found: Sequence[Tone | None], places_s: Sequence[float]) -> list[Tone | None]:
    """Return for each pip the one tone that is its own, timed by its carrier."""
    groups: dict[PipKind, list[int]] = defaultdict(list)
    for i, tone in enumerate(found):
        if tone is not None:
            groups[tone.kind].append(i)
    paired: list[Tone | None] = [None] * len(found)
    for members in groups.values():
        tones: list[Tone] = []
        for tone in sorted((t for i in members if (t := found[i]) is not None), key=lambda t: -t.score):
            if all(abs(tone.time_s - other.time_s) > 0.02 for other in tones):
                tones.append(tone)
        tones = by_carrier(tones)
        for i, j in match([places_s[i] for i in members], [t.time_s for t in tones], REACH_S + 0.05):
            paired[members[i]] = tones[j]
    return paired


def other_pitch(recording: CheckedSound, kind: PipKind, place_s: float, sample_rate: int) -> PipFound:
    """Return a tone of another pitch where a pip should be, if there is one: its pitch, and its time."""
    n = round(kind.length_s * ANALYSIS_RATE)
    sound = recording.read(round(place_s * ANALYSIS_RATE), n)
    if float(np.abs(sound).max()) < 1e-4:
        return PipFound()
    spectrum = np.abs(rfft(sound * np.hanning(n), 8 * n))
    per_bin = ANALYSIS_RATE / (8 * n)
    low, high = int(300 / per_bin), min(len(spectrum) - 2, int(7000 / per_bin))
    top = low + int(np.argmax(spectrum[low:high]))
    pitch = top * per_bin
    other = replace(kind, frequency_hz=pitch)
    reach = 0.06
    sound, first_s = _sound(recording, other, place_s - reach, place_s + reach)
    tone = measure(sound, first_s, other, place_s - reach, place_s + reach, sample_rate)
    if tone is None or tone.score < OTHER_PITCH_SCORE:
        return PipFound()
    if abs(1200 * np.log2(pitch / kind.frequency_hz)) <= PITCH_CENTS:
        return PipFound(replace(tone, kind=kind))
    return PipFound(tone, pitch)


def extra_pips(tones: Sequence[Tone], paired: Sequence[Tone | None], places_s: Sequence[float]) -> list[Tone]:
    """Return tones near a countdown that no pip accounts for, as sure and as loud as the real ones."""
    own = [tone for tone in paired if tone is not None]
    if not own:
        return []
    levels: dict[PipKind, list[float]] = defaultdict(list)
    sure: dict[PipKind, list[float]] = defaultdict(list)
    for tone in own:
        levels[tone.kind].append(tone.amplitude)
        sure[tone.kind].append(tone.score)
    times = np.array([tone.time_s for tone in own])
    places = np.array(places_s)
    found: list[Tone] = []
    for tone in sorted(tones, key=lambda t: -t.score):
        # The candidates' kinds are the schedule's; those of the pips are as this file's clock has them.
        kind = min(levels, key=lambda k: abs(np.log(k.frequency_hz / tone.kind.frequency_hz))
                   + abs(np.log(k.length_s / tone.kind.length_s)))  # fmt: skip
        if abs(np.log(kind.frequency_hz / tone.kind.frequency_hz)) > 0.003:
            continue
        if abs(np.log(kind.length_s / tone.kind.length_s)) > 0.1:
            continue
        if tone.score < max(EXTRA_SCORE, 0.93 * float(np.median(sure[kind]))):
            continue
        if not _alike(tone, float(np.median(levels[kind])), EXTRA_LEVEL_DB):
            continue
        apart = kind.length_s + 0.02
        if np.abs(times - tone.time_s).min() < apart or np.abs(places - tone.time_s).min() > EXTRA_WITHIN_S:
            continue
        if all(abs(other.time_s - tone.time_s) > apart for other in found):
            found.append(tone)
    return sorted(found)
