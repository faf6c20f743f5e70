"""Measures cues in the waveform by their templates, and tells them from cues that sound nearly the same."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from cuelane.check.correlate import (
    Signal,
    TemplateSpectra,
    best,
    delayed,
    energy_of,
    peak_at,
    pre_emphasise,
    scores,
)
from cuelane.check.intake import ANALYSIS_RATE, REACH_S, CheckedSound
from cuelane.check.speech.phrase_search import PhraseHit
from cuelane.check.templates import Template

# Measured on one made track: true cues 0.18 and more in a room with louder music, absent ones 0.05 at most.
MIN_SCORE = 0.15
SHORT_SCORE = 7.0
"""Chosen: noise correlates by chance as 1/sqrt(2 * bandwidth * length); so many of those are needed."""
# Chosen: the bandwidth of speech with its treble lifted; it only sets how much correlation chance gives.
BANDWIDTH_HZ = 3000.0

ECHO_S = 0.03
"""Chosen: closer than this, a second copy is a room's reflection or a pitch period."""
# Chosen: of the first copy; a room's reflection is softer, a cue that plays twice is not.
DOUBLE_GAIN = 0.35
BETWEEN_SAMPLES = 0.6
"""Derived: of the correlation's top, what its highest sample may be. Half a sample off it is 2 / pi =
0.64, where there is sound up to half the rate."""
OVERLAID_GAIN = 0.6
"""Chosen: a cue found under another must be this strong; a weaker one may be the remains, in a room, of a cue
that sounds nearly the same."""
# Chosen: more costs time, fewer may leave out the cue that is really said.
RIVALS = 5


@dataclass(frozen=True)
class Heard:
    """A cue found in the file: onset in s, normalised correlation, factor on its template.

    ``energy`` is how much of the sound it explains: the fair measure between cues of different length.
    """

    key: str
    time_s: float
    score: float
    gain: float
    energy: float


def least_score(length_s: float) -> float:
    """Return the normalised correlation from which a cue of this length counts as found."""
    return max(MIN_SCORE, SHORT_SCORE / float(np.sqrt(2 * BANDWIDTH_HZ * max(length_s, 0.02))))


class Ruler:
    """Measures cues in a recording whose clock makes everything `rate` times as long."""

    def __init__(self, recording: CheckedSound, templates: dict[str, Template], rate: float) -> None:
        self.recording, self.templates, self.rate = recording, templates, rate

    def _window(self, key: str, low_s: float, high_s: float) -> tuple[Signal, Signal, int]:
        """Return the sound in which the cue may begin in [low_s, high_s], the template, the first sample."""
        template = self.templates[key].emphasised(self.rate)
        first = int(np.floor(low_s * ANALYSIS_RATE)) - 1
        n = int(np.ceil((high_s - low_s) * ANALYSIS_RATE)) + len(template) + 3
        return pre_emphasise(self.recording.read(first - 1, n + 1))[1:], template, first

    def find(self, key: str, low_s: float, high_s: float, without: Sequence[Heard] = ()) -> Heard:
        """Return the best fit of a cue with its onset in [low_s, high_s], other cues taken out first."""
        sound, template, first = self._window(key, low_s, high_s)
        for other in without:
            self._take_out(sound, other, first)
        return self._heard(key, sound, template, first)

    def _heard(
        self, key: str, sound: Signal, template: Signal, first: int, spectra: TemplateSpectra | None = None
    ) -> Heard:
        peak = best(sound, template, spectra)
        energy = energy_of(template) * peak.gain * abs(peak.gain)
        return Heard(key, (first + peak.lag) / ANALYSIS_RATE, peak.score, peak.gain, energy)

    def _take_out(self, sound: Signal, other: Heard, first: int) -> None:
        place = other.time_s * ANALYSIS_RATE - first
        template = delayed(self.templates[other.key].emphasised(self.rate), place - round(place))
        at = round(place) - 1
        low, high = max(0, at), min(len(sound), at + len(template))
        if high > low:
            sound[low:high] -= np.float32(other.gain) * template[low - at : high - at]

    def find_twice(self, key: str, place_s: float) -> tuple[Heard, Heard | None]:
        """Return the best fit near `place_s`, and a second copy nearby if one is there."""
        sound, template, first = self._window(key, place_s - REACH_S, place_s + REACH_S)
        spectra = TemplateSpectra.of(sound, template)
        main = self._heard(key, sound, template, first, spectra)
        if main.score < least_score(len(template) / ANALYSIS_RATE):
            return main, None
        place = main.time_s * ANALYSIS_RATE - first
        at, gap = round(place), int(ECHO_S * ANALYSIS_RATE)
        rest = spectra.correlation_without(place, main.gain)
        rest[max(0, at - gap) : at + gap] = 0.0
        if float(rest.max(initial=0.0)) < BETWEEN_SAMPLES * DOUBLE_GAIN * main.gain * energy_of(template):
            return main, None
        self._take_out(sound, main, first)
        plain, normal, energy = scores(sound, template)
        normal[max(0, at - gap) : at + gap] = -1.0
        top = int(np.argmax(plain * (normal > -1.0)))
        peak = peak_at(plain, normal, energy, top)
        place_s = (first + peak.lag) / ANALYSIS_RATE
        second = Heard(key, place_s, peak.score, peak.gain, energy * peak.gain**2)
        return main, second if self._is_copy(second, main) else None

    def _is_copy(self, second: Heard, main: Heard) -> bool:
        length_s = self.templates[main.key].length_s
        return second.gain >= DOUBLE_GAIN * main.gain and second.score >= 1.3 * least_score(length_s)

    def length_s(self, key: str) -> float:
        return self.templates[key].length_s * self.rate

    def overlap(self, a: Heard, b: Heard) -> float:
        """Return how much of the shorter of two heard cues the other covers, in [0, 1]."""
        first, last = self.length_s(a.key), self.length_s(b.key)
        both = min(a.time_s + first, b.time_s + last) - max(a.time_s, b.time_s)
        return max(0.0, both) / max(1e-9, min(first, last))


def strongest(ruler: Ruler, own: Heard, candidates: list[PhraseHit]) -> Heard:
    """Return `own`, or the rival that explains the same stretch of sound better.

    Cues that differ in a word ("left leg", "right leg") correlate up to 0.6, far above the threshold for
    being found, so a cue counts only if no other cue of the session explains more. Its rivals are the cues
    that the coarse search proposed at the same place.
    """
    leader = own
    tried: set[str] = {own.key}
    for candidate in sorted(candidates, key=lambda c: -c.score):
        if candidate.key in tried:
            continue
        tried.add(candidate.key)
        if len(tried) > RIVALS + 1:
            break
        rival = ruler.find(candidate.key, candidate.time_s - 0.06, candidate.time_s + 0.06)
        least = least_score(ruler.length_s(candidate.key))
        if rival.score >= least and rival.energy > 1.05 * leader.energy and ruler.overlap(own, rival) > 0.5:
            leader = rival
    return leader


def by_key(candidates: Iterable[PhraseHit]) -> dict[str, list[PhraseHit]]:
    """Return candidates grouped by cue."""
    groups: dict[str, list[PhraseHit]] = defaultdict(list)
    for candidate in candidates:
        groups[candidate.key].append(candidate)
    return groups


def merge(found: Iterable[Heard]) -> list[Heard]:
    """Return each sound once: of several findings of one cue within an echo's time, the best."""
    kept: list[Heard] = []
    times: dict[str, list[float]] = defaultdict(list)
    for heard in sorted(found, key=lambda h: -h.score):
        if all(abs(time_s - heard.time_s) > ECHO_S for time_s in times[heard.key]):
            kept.append(heard)
            times[heard.key].append(heard.time_s)
    return kept
