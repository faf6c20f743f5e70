"""The sound at the ends of sets and rests of one length each, where none was told by itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.boundary_sound import LEAST_SOUND, BoundarySound, sound_of
from cuelane.adapt.beeps.company import keeps_company, surroundings
from cuelane.adapt.beeps.fingerprint import HOP_S, UsualBands
from cuelane.adapt.beeps.folding import Folded, folded, folded_at_speeds, folded_in_parts
from cuelane.adapt.beeps.regularity import FEWEST, evidence_of_ten, in_turn
from cuelane.adapt.beeps.returning import LENGTHS, Returning, patches
from cuelane.adapt.beeps.sound_beginning import SoundBeginnings
from cuelane.adapt.beeps.sound_returns import Returns, Stretch
from cuelane.adapt.beeps.sound_template import alike_around, likeness, template_of
from cuelane.adapt.beeps.sound_view import WHITENED

Array = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

# Chosen: of all places in a recording one in 50 is so like the sound, of those where it is most.
_RARELY_SO_LIKE = 0.98
# Chosen: a shorter template tells better when a sound begins, unless it tells far less of the class.
_ENOUGH = 0.75
# Chosen: where fewer of its places hold the sound, a work and a rest are not what the class keeps.
_MOSTLY_HEARD = 0.5
# Chosen: two sounds are one if so many boundaries, within so many seconds, are those of both.
_SAME, _SAME_TIME_S = 0.5, 0.1
# Fitted by logistic regression with an L2 penalty on 204 sounds, 142 of them true, that so many of 203
# classes propose: of those from seed 601 to 993, 1016 to 1525, 2913 to 3174 and 4051 to 4674 of the benchmark
# of boundaries, nearly all with music at -5 or 0 dB, 23 without a signal. Cross-validated in twelve parts by
# class, with an offset 0.7 lower than fitted, 133 of the true ones are as sure as a sound must be, and 3 of
# the 62 others, one of them true at half of its places and one without a signal; another 0.25 is for one of a
# class that had no part in it. No seed from 5,000 on had.
_OFFSET, _WEIGHTS = -8.64, (0.85, 1.95, 0.97, 1.59, 0.54, -1.86, -1.00)
# Chosen: how work and rest are looked for, and of how many of them the surest counts. Of parts the clearest
# is not always right: of four cut classes that were lost two are found by the first three, with these
# weights; of 119 other classes of those seeds none is sure and wrong then, and two are spoken words and late.
_WAYS: tuple[tuple[Callable[[Array], list[Folded]], int], ...] = (
    (folded, 1),
    (folded_in_parts, 3),
    (folded_at_speeds, 1),
)


def steady_sounds(prints: Array) -> list[BoundarySound]:
    """Return the sound by which `prints`, shape (n, 64), come round in one work and rest; none without it.

    The recording is taken to be whole and played as fast as it was made; only where nothing is sure then, it
    is taken to be cut, and then to be played faster or slower.
    """
    stretch = Stretch.of(prints, UsualBands.of(prints), WHITENED)
    sounds: list[BoundarySound] = []
    for way, n_tried in _WAYS:
        found = way(stretch.seen)
        made = (_steady(stretch, one, found) for one in found[:n_tried])
        sounds += [sound for sound in made if sound is not None]
        if any(sound.confidence > LEAST_SOUND for sound in sounds):
            break
    return [max(sounds, key=_confidence)] if sounds else []


def with_steady(told: Sequence[BoundarySound], prints: Array) -> list[BoundarySound]:
    """Return `told`, the surest first, with what a steady work and rest of `prints`, shape (n, 64), tells.

    It is asked where no sound is sure, and where intervals of the surest have a length of their own: loud
    music hides some of its returns, or one of a figure of music is taken for it. If both are the same sound
    then, but not at all places, and the steady one's intervals are more evidence, it takes the place of the
    other.
    """
    first = told[0] if told else None
    if first is None or first.confidence <= LEAST_SOUND:
        return [*steady_sounds(prints), *told]
    if bool(in_turn(np.diff(np.array(first.times_s))).all()):
        return list(told)
    for one in steady_sounds(prints):
        if one.confidence <= LEAST_SOUND or _evidence(one) <= _evidence(first):
            continue
        if _is_same(first, one) and not _are_everywhere(first, one):
            return [replace(one, steady=max(one.confidence, first.confidence)), *told[1:]]
    return list(told)


def _is_same(one: BoundarySound, other: BoundarySound) -> bool:
    """Whether half of the boundaries of `one` are the other's too."""
    apart_s = np.abs(np.array(one.times_s)[:, None] - np.array(other.times_s)[None, :]).min(axis=1)
    return bool((apart_s < _SAME_TIME_S).mean() >= _SAME)


def _are_everywhere(one: BoundarySound, other: BoundarySound) -> bool:
    """Whether both have the same boundaries; where they are a little apart, a grid does not tell when."""
    return min(_share_heard(one.places, other.places), _share_heard(other.places, one.places)) == 1.0


def _confidence(sound: BoundarySound) -> float:
    return sound.confidence


def _steady(stretch: Stretch, best: Folded, found: Sequence[Folded]) -> BoundarySound | None:
    """Return the sound at the places of `best`, one of `found`, clearest first; None if there is none."""
    other = next((other for other in found if not best.is_multiple(other)), None)
    if other is None:
        return None
    if keeps_company(surroundings(stretch.apart, best.steps), np.arange(len(best.steps))):
        return None
    sounds = [one for length in LENGTHS if (one := _learnt(stretch, best, length)) is not None]
    evidence = [_evidence(one) for one in sounds]
    if max(evidence, default=0.0) <= 0:
        return None
    sound = next(one for one, own in zip(sounds, evidence, strict=True) if own >= _ENOUGH * max(evidence))
    moved = sound.moved(SoundBeginnings.of(stretch.seen).later(sound.places))
    lengths_s = best.lengths_s if _share_heard(best.steps, sound.places) >= _MOSTLY_HEARD else None
    return replace(moved, steady=_sure(best, other, sound), lengths_s=lengths_s)


def _share_heard(steps: Steps, places: Steps) -> float:
    """Return the share of `steps`, shape (n,), of which one of `places`, shape (k,), is within 0.3 s."""
    apart = np.abs(steps[:, None] - places[None, :]).min(axis=1)
    return float((apart * HOP_S < 3 * _SAME_TIME_S).mean())


def _evidence(sound: BoundarySound) -> float:
    """Return the evidence of all intervals of `sound`, in nats."""
    return evidence_of_ten(np.array(sound.times_s)) * max(1.0, (len(sound.times_s) - 1) / 10)


def _sure(best: Folded, other: Folded, sound: BoundarySound) -> float:
    """Return how sure it is that `sound`, learnt where `best` has it, marks boundaries, 0 to 1.

    `other` is the likeliest work and rest of another period.
    """
    regular, apart, *_, share = sound.features
    features = (
        np.log(max(best.clear, 1.0)),
        np.log(max(best.height / max(best.elsewhere, 1.0), 1.0)),
        np.log(max(best.clear / max(other.clear, 1.0), 0.5)),
        regular,
        apart,
        share,
        # More speeds were tried.
        float(best.speed != 1.0),
    )
    return float(1 / (1 + np.exp(-np.clip(_OFFSET + np.dot(_WEIGHTS, features), -30, 30))))


def _learnt(stretch: Stretch, steady: Folded, length: int) -> BoundarySound | None:
    """Return the sound of `length` steps at the places of `steady`, None if there is none.

    It is not at all of them where the class began later or the recording was cut: the places at which it is
    rarely so like the others teach it, and then it is found at any place.
    """
    template, steps = template_of(stretch.seen, Returning(steady.steps, length, 0.0, 0.0))
    enough = float(np.quantile(likeness(stretch.seen, template), _RARELY_SO_LIKE))
    own = steps[_like_the_others(patches(stretch.seen, steps, length)) > enough]
    if len(own) < FEWEST:
        return None
    template, own = template_of(stretch.seen, Returning(own, length, 0.0, 0.0))
    returns = Returns.of(stretch, template)
    if len(returns.at_s) < FEWEST:
        return None
    return sound_of(stretch, template, alike_around(stretch.apart, own, 0.0), returns)


def _like_the_others(rows: Array) -> Floats:
    """Return how like each of `rows`, shape (n, cells), norm 1, is to the mean of the others; shape (n,)."""
    others = rows.sum(axis=0) - rows
    norm = np.linalg.norm(others, axis=1)
    return np.asarray((rows * others).sum(axis=1) / np.maximum(norm, 1e-9), dtype=np.float64)
