"""The sound that marks a class's boundaries, whatever it is: found because it returns, without a hint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.company import share_in_company
from cuelane.adapt.beeps.fingerprint import HOP_S, UsualBands, band_hz
from cuelane.adapt.beeps.regularity import FEWEST, evidence_of_ten
from cuelane.adapt.beeps.returning import Onsets, Returning, returning, tones_returning
from cuelane.adapt.beeps.sound_beginning import SoundBeginnings
from cuelane.adapt.beeps.sound_returns import Returns, Stretch
from cuelane.adapt.beeps.sound_template import (
    AROUND,
    SoundTemplate,
    alike_around,
    begins_at,
    begins_softly,
    company_of,
    likeness,
    rises_at,
    template_of,
)
from cuelane.adapt.beeps.sound_view import VIEWS, SoundView
from cuelane.adapt.beeps.tone_tracks import ToneTrack
from cuelane.adapt.beeps.tones_in_a_row import TonesInARow

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Chosen: a sound that is hardly more alike than what surrounds it is a part of music; lower costs time.
_LEAST_CLEAR = 0.25
# Chosen: more cost time, each being held against the whole; figures of music are dropped before that.
_MOST_SOUNDS = 24
# Measured on tones and bells without a room: a window shows a rise so much before its onset.
_EARLY_S = 0.008
# Chosen: signals are not longer; figures of music are.
_LONG_S = 2.0
# Chosen: boundaries within it are one, found by two sounds or by two parts of one.
_SAME_TIME_S = 0.1
# Chosen: the share of its boundaries by which a sound is another one, found once more.
_NEARLY_ALL = 0.8
# Chosen: half of a class's intervals and more are longer; figures of music return sooner. With 15 s or 20 s
# the fit is somewhat better, but classes of short sets would pay for it, and few of them are in it.
_USUAL_GAP_S = 12.0
# Chosen: a pip is hardly surer than the end of its countdown; what is was no pip.
_AS_SURE = 0.9
# Chosen, in steps: of 191 sounds of fitting classes 180 are within 30 ms of their beginning by their rise,
# and what is alike tells it less closely; the four that are moved so far are all nearer to it then.
_CLEARLY_MOVED = 4
# Derived: what is alike is seen so much too long, since its windows hold 64 ms.
_SPREAD_S = 0.05

# Chosen: what it does on fitting classes stands in :mod:`cuelane.adapt.beeps.sound_view`.
LEAST_SOUND = 0.45


@dataclass(frozen=True)
class BoundarySound:
    """A sound that returns: its template, where in it the boundary is, and what speaks for it.

    Attributes
    ----------
    usual : what is usual in the stretch from which it was learnt, apart from which it is alike.
    view : how fingerprints are looked at to hold the template against them.
    offset_s : from where the template fits to the boundary, in seconds.
    length_s : how long it is heard.
    frequency_hz : the middle of the band in which it rises most.
    times_s : its boundaries in the stretch from which it was learnt.
    likeness : how alike each of them is, the same number.
    least_like, beyond : the likeness from which a return counts, and the highest of what is none.
    features : what its confidence is made of, see :func:`_features`.
    is_countdown : whether like sounds lead up to it at one distance.
    row : of a countdown the like tones, of which it fits the last one; else None.
    since_s : how long before the boundary it has been alike each time, if what is quiet counts too.
    steady : how sure it is by its places in a steady work and rest, 0 to 1; None if it was not found by them.
    lengths_s : the two lengths, of work and rest, that it keeps there, the longer first; else None.
    """

    template: SoundTemplate
    usual: UsualBands
    view: SoundView
    offset_s: float
    length_s: float
    frequency_hz: float
    times_s: tuple[float, ...]
    likeness: tuple[float, ...]
    least_like: float
    beyond: float
    features: tuple[float, ...]
    is_countdown: bool
    row: TonesInARow | None
    since_s: float
    steady: float | None = None
    lengths_s: tuple[float, float] | None = None

    @property
    def confidence(self) -> float:
        return self.view.confidence(self.features) if self.steady is None else self.steady

    @property
    def places(self) -> Steps:
        """Its boundaries in steps of 8 ms, shape (n,)."""
        return np.round(np.array(self.times_s) / HOP_S).astype(np.int64)

    def course(self, prints: Array) -> Array:
        """Return how like it is at each step of fingerprints `prints`, shape (n, 64); shape (n,), -1 to 1."""
        return likeness(self.view.of(self.usual, prints), self.template)

    def moved(self, steps: int) -> BoundarySound:
        """Return it with each boundary so many steps of 8 ms later."""
        by_s = steps * HOP_S
        times_s = tuple(at_s + by_s for at_s in self.times_s)
        since_s = max(0.0, self.since_s + by_s)
        return replace(self, offset_s=self.offset_s + by_s, times_s=times_s, since_s=since_s)

    def is_part_of(self, other: BoundarySound) -> bool:
        """Whether `other` has nearly all of its boundaries."""
        apart = np.abs(np.array(self.times_s)[:, None] - np.array(other.times_s)[None, :]).min(axis=1)
        return bool((apart < _SAME_TIME_S).mean() >= _NEARLY_ALL)

    def leads_up_to(self, other: BoundarySound) -> bool:
        """Whether it is a pip of the countdown whose end `other` is: nearly always before it, mostly so long.

        Where music hides that pip, another one is heard instead of it. It may itself seem to be the end of
        what leads up to it, where the last tone is unlike the others.
        """
        enough = max(LEAST_SOUND, _AS_SURE * self.confidence)
        if not other.is_countdown or other.confidence < enough:
            return False
        return _one_distance_s(self.times_s, other.times_s) is not None

    def trails(self, other: BoundarySound) -> bool:
        """Whether it is a later part of `other`, or what always comes after it and is less sure.

        The end of a long tone is as sure as its beginning; between them it is quiet, but alike each time.
        """
        between_s = _one_distance_s(other.times_s, self.times_s)
        if between_s is None or other.confidence < _AS_SURE * self.confidence:
            return False
        return self.confidence < other.confidence or between_s <= self.since_s + _SAME_TIME_S


def _one_distance_s(times_s: Sequence[float], others_s: Sequence[float]) -> float | None:
    """Return how long before `others_s` nearly all of `times_s` are, up to 4 s and most of them equally long.

    None if they are not.
    """
    later = np.array(others_s)[None, :] - np.array(times_s)[:, None]
    too_far_s = 2 * AROUND * HOP_S
    before_s = np.where(later > 0, later, too_far_s).min(axis=1)
    usual_s = float(np.median(before_s))
    is_before = (before_s > _SAME_TIME_S) & (before_s <= AROUND * HOP_S)
    is_usual = np.abs(before_s - usual_s) < _SAME_TIME_S
    at_one = is_before.mean() >= _NEARLY_ALL and (is_before & is_usual).mean() > 0.5
    return usual_s if at_one else None


def returning_sounds(
    prints: Array, near: tuple[int, int] | None = None, tracks: Sequence[ToneTrack] = ()
) -> list[BoundarySound]:
    """Return the sounds that may mark boundaries in `prints`, shape (n, 64), the surest first.

    With `near`, (step, reach), only what is so near to that step proposes sounds; steady tones, `tracks`,
    propose some too.
    """
    usual = UsualBands.of(prints)
    found_at, tones = Onsets.of(usual.apart(prints), near), tones_returning(tracks)
    found: list[BoundarySound] = []
    for view in VIEWS:
        stretch = Stretch.of(prints, usual, view)
        made = (_sound(stretch, one) for one in returning(found_at, stretch.seen, view))
        found += islice((one for one in made if one is not None), _MOST_SOUNDS)
        found += [one for one in (_sound(stretch, tone) for tone in tones) if one is not None]
    ranked = sorted(found, key=lambda one: -one.confidence)
    kept: list[BoundarySound] = []
    for one in ranked:
        if not any(one.is_part_of(other) for other in kept):
            kept.append(fullest(one, ranked))
    # In sets of a few seconds the end of one is before the pips of the next one too.
    ends = [
        one
        for one in kept
        if not any(one.leads_up_to(other) and not other.leads_up_to(one) for other in kept)
    ]
    ends = [one for one in ends if not any(one.trails(other) for other in ends)]
    beginnings = SoundBeginnings.of(usual.white(prints))
    return [_begun(one, beginnings) for one in sorted(ends, key=lambda one: -one.confidence)]


def _begun(sound: BoundarySound, beginnings: SoundBeginnings) -> BoundarySound:
    """Return `sound`, moved to where it begins if it is sure and is clearly not where it was found.

    Music before it was taken for its part, or a word was found by its vowel.
    """
    if sound.confidence <= LEAST_SOUND:
        return sound
    later = beginnings.later(sound.places)
    return sound.moved(later) if abs(later) >= _CLEARLY_MOVED else sound


def fullest(one: BoundarySound, sounds: Sequence[BoundarySound]) -> BoundarySound:
    """Return which of `sounds` that have nearly all of the boundaries of `one` has the most that are likely.

    Two templates of one sound are both sure, and one of them may miss returns that the other has.
    """
    enough = min(one.confidence, LEAST_SOUND)
    same = [other for other in sounds if other.confidence >= enough and one.is_part_of(other)]
    return max(same, key=lambda other: other.confidence * len(other.times_s))


def _sound(stretch: Stretch, found: Returning) -> BoundarySound | None:
    """Return what `found` is a sign of, held against the whole of `stretch`; None if it does not hold."""
    template, steps = template_of(stretch.seen, found)
    if len(steps) < FEWEST:
        return None
    # What speaks for a sound counts quiet in full: music that is quiet for a while is alike there too.
    in_full = alike_around(stretch.apart, steps, 0.0)
    if _clearest(in_full) - _company(in_full) < _LEAST_CLEAR:
        return None
    returns = Returns.of(stretch, template)
    return None if len(returns.at_s) < FEWEST else sound_of(stretch, template, in_full, returns)


def sound_of(stretch: Stretch, template: SoundTemplate, in_full: Floats, returns: Returns) -> BoundarySound:
    """Return the sound of `template`, which returns in `stretch` as `returns` says, four times or more.

    `in_full`, shape (1001,), is how alike what proposed it is around, as
    :func:`cuelane.adapt.beeps.sound_template.alike_around` gives it, with what is quiet.
    """
    began, ended, _ = begins_at(in_full)
    longer_s = min(max(0.0, (ended - began) * HOP_S - _LONG_S), _LONG_S)
    # There are more returns than proposed the sound, and fewer others among them.
    places = np.round(returns.at_s / HOP_S).astype(np.int64)
    alike = alike_around(stretch.apart, places)
    first, last, parts = begins_at(alike)
    rises = begins_softly(stretch.apart, places, rises_at(stretch.raw, places, first, last, alike))
    offset_s = rises * HOP_S + _EARLY_S
    features = _features(
        returns.at_s,
        min(stretch.view.most_apart, float(np.quantile(returns.likeness, 0.1)) - returns.beyond),
        _company(in_full),
        _clearest(in_full),
        longer_s,
        share_in_company(stretch.apart, places),
    )
    return BoundarySound(
        template,
        stretch.usual,
        stretch.view,
        offset_s,
        max(0.05, (last - first) * HOP_S - _SPREAD_S),
        _loudest_hz(template),
        tuple((returns.at_s + offset_s).tolist()),
        tuple(returns.likeness.tolist()),
        returns.least,
        returns.beyond,
        features,
        bool(parts),
        returns.row,
        (rises - began) * HOP_S,
    )


def _clearest(alike: Floats) -> float:
    """Return how alike the sound is at lag 0 of `alike`, shape (1001,), 0 to 1."""
    return float(alike[AROUND - 2 : AROUND + 3].max())


def _company(alike: Floats) -> float:
    """Return how alike what is around the sound at lag 0 of `alike`, shape (1001,), is, 0 to 1."""
    first, last, parts = begins_at(alike)
    return company_of(alike, parts or [(first, last)])


def _features(
    at: Floats, apart: float, company: float, clearest: float, longer_s: float, share: float
) -> tuple[float, ...]:
    """Return what the confidence of a sound that returns at `at`, shape (n,), is made of.

    They are the evidence of ten of its times in units of 10 nats; by how much its returns exceed what is no
    return; how alike its surroundings are, as in music; how alike its returns are at their clearest; by how
    much it is longer than 2 s, up to 2; the evidence again, as far as its surroundings are not alike: music
    keeps time too, but then what is around returns with it; its usual interval in units of 10 s, up to 12 s;
    and the share of its returns that have company, see :mod:`cuelane.adapt.beeps.company`.
    """
    regular = min(evidence_of_ten(at), 25.0) / 10
    return (
        regular,
        10 * apart,
        5 * company,
        5 * clearest,
        longer_s,
        max(0.0, regular) * max(0.0, 1 - 5 * company),
        min(float(np.median(np.diff(at))), _USUAL_GAP_S) / 10,
        share,
    )


def _loudest_hz(template: SoundTemplate) -> float:
    rises = np.maximum(0, template.mean * template.weight).sum(axis=0)
    return float(band_hz()[int(rises.argmax())])
