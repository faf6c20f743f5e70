"""What would make must-cues fit: each remedy is tried on the placer before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cuelane.arrange import Attempt
from cuelane.candidates import Candidate
from cuelane.errors import Mark
from cuelane.placing import Offer, Space, musts_fit
from cuelane.units import format_clock, format_duration

FASTEST_PACE = 1.15
_PACES = (1.05, 1.10, FASTEST_PACE)
_LONGEST_STRETCH_S = 600


@dataclass(frozen=True)
class Advice:
    """Where must-cues do not fit, by how much, and what would help.

    ``missing_s`` is the least time by which the interval would have to be longer; ``words_to_cut`` about as
    many words at the rate this voice speaks these very lines.
    """

    interval: int
    place: str
    marks: tuple[Mark, ...]
    missing_s: float
    words_to_cut: int
    remedies: tuple[str, ...]

    def __str__(self) -> str:
        lines = [
            f"{self.place}: the cues that must be spoken need {self.missing_s:.1f} s more than there is; "
            f"cut about {self.words_to_cut} {'word' if self.words_to_cut == 1 else 'words'}."
        ]
        lines += [f"    written at {mark}" for mark in self.marks]
        lines += [f"    would work: {remedy}" for remedy in self.remedies]
        return "\n".join(lines)


def advise(misfits: Sequence[Attempt], sample_rate: int) -> list[Advice]:
    """Return advice for each interval whose must-cues do not fit."""
    return [_advice(misfit, sample_rate) for misfit in misfits]


def _advice(misfit: Attempt, sample_rate: int) -> Advice:
    interval = misfit.interval
    musts = [
        (candidate, offer)
        for candidate, offer in zip(misfit.candidates, misfit.offers, strict=True)
        if offer.must
    ]
    candidates = [candidate for candidate, _ in musts]
    offers = [offer for _, offer in musts]
    missing_s = _missing_s(offers, misfit.space, sample_rate)
    spoken_s = sum(offer.length for offer in offers) / sample_rate
    n_words = sum(len(candidate.text.split()) for candidate in candidates)
    words_to_cut = max(1, round(missing_s * n_words / spoken_s + 0.49))
    what = interval.exercise or interval.block
    where = f"{what}{f', {interval.side} side' if interval.side else ''}"
    if interval.round:
        where += f", round {interval.round}"
    length, start = format_duration(interval.length_ms), format_clock(interval.start_ms)
    place = f"{where} ({interval.kind} of {length} at {start})"
    marks = tuple(dict.fromkeys(candidate.mark for candidate in candidates if candidate.mark))
    remedies = [*_by_pace(offers, misfit.space), *_by_moving(misfit, candidates, offers)]
    remedies += _by_leaving_out(candidates, offers, misfit.space)
    longer_ms = -(-round(missing_s * 1000) // 1000) * 1000
    remedies.append(f"make this interval {format_duration(longer_ms)} longer")
    return Advice(interval.index, place, marks, missing_s, words_to_cut, tuple(remedies))


def _missing_s(offers: Sequence[Offer], space: Space, sample_rate: int) -> float:
    """Return the least lengthening, to 0.1 s, with which the musts fit; it cannot exceed what they last."""
    tenth = sample_rate // 10
    low, high = 0, _LONGEST_STRETCH_S * 10
    while low < high:
        middle = (low + high) // 2
        if musts_fit(offers, _longer(space, middle * tenth)):
            high = middle
        else:
            low = middle + 1
    return low / 10


def _longer(space: Space, n_frames: int) -> Space:
    return replace(
        space,
        end=space.end + n_frames,
        talk_limit=space.talk_limit + n_frames,
        open_end=space.open_end + n_frames,
    )


def _by_pace(offers: Sequence[Offer], space: Space) -> list[str]:
    for pace in _PACES:
        faster = [_shorter(offer, pace) for offer in offers]
        if musts_fit(faster, space):
            return [f"speak a little faster: --pace {pace:.2f}"]
    return []


def _shorter(offer: Offer, pace: float) -> Offer:
    """Return `offer` at a faster pace; one fixed at a place stays fixed there."""
    length = -(-offer.length * 100 // round(pace * 100))
    fixed = offer.latest_end is not None and offer.latest_end - offer.earliest == offer.length
    return replace(offer, length=length, latest_end=offer.earliest + length if fixed else offer.latest_end)


def _by_moving(misfit: Attempt, candidates: Sequence[Candidate], offers: Sequence[Offer]) -> list[str]:
    """Return the lines that would fit into the rest before, if the rest of the musts then fit here."""
    before = misfit.before
    if before is None or before.interval.kind not in ("rest", "talk", "change"):
        return []
    there = [offer for offer in before.offers if offer.must]
    found = []
    for number, candidate in enumerate(candidates):
        if (
            candidate.lead
            or candidate.start_ms is not None
            or candidate.role not in ("setup", "caution", "say")
        ):
            continue
        moved = Offer(offers[number].length, must=True)
        stays = [offer for other, offer in enumerate(offers) if other != number]
        if musts_fit(stays, misfit.space) and musts_fit([*there, moved], before.space):
            found.append(f"say it in the {before.interval.kind} before, as its preview: “{candidate.text}”")
    return found


def _by_leaving_out(candidates: Sequence[Candidate], offers: Sequence[Offer], space: Space) -> list[str]:
    found = []
    for number, candidate in enumerate(candidates):
        stays = [offer for other, offer in enumerate(offers) if other != number]
        if candidate.mark is not None and musts_fit(stays, space):
            found.append(f"let it be dropped, with must: false: “{candidate.text}”")
    return found
