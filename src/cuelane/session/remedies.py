"""What would make must-cues fit: each remedy is tried on the placer before it is named."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from cuelane.base.errors import Mark
from cuelane.base.paces import FASTER
from cuelane.base.units import format_clock, format_duration
from cuelane.session.arrange import Attempt
from cuelane.session.candidates import Candidate
from cuelane.session.placing import Offer, Space, musts_fit

_LONGEST_STRETCH_S = 600


Way = Literal["pace", "preview", "optional", "longer", "lasts"]
"""What a remedy changes: how fast it is spoken; a line, said in the rest before or only if there is room; the
interval's length; or the length that a part of the session has not yet."""


@dataclass(frozen=True)
class Remedy:
    """Something that would help, in words; ``way`` and what follows say it for whoever changes the plan.

    ``mark`` is where the line is written that ``preview`` and ``optional`` are about; ``longer_s`` by how
    many seconds ``longer`` makes the interval, or both halves of its set.
    """

    text: str
    way: Way
    mark: Mark | None = None
    longer_s: int = 0


@dataclass(frozen=True)
class Advice:
    """Where must-cues do not fit, by how much, and what would help.

    ``missing_s`` is by how much there is more to say than can be said, None where fixed cues clash with each
    other or with pips; ``words_to_cut`` about as many words at the rate this voice speaks these very lines.
    """

    interval: int
    place: str
    marks: tuple[Mark, ...]
    missing_s: float | None
    words_to_cut: int
    ways: tuple[Remedy, ...]
    clashes: tuple[str, ...] = ()

    @property
    def remedies(self) -> tuple[str, ...]:
        """What would help, in words."""
        return tuple(remedy.text for remedy in self.ways)

    def __str__(self) -> str:
        words = f"{self.words_to_cut} {'word' if self.words_to_cut == 1 else 'words'}"
        problem = f"need {self.missing_s} s more than there is; cut about {words}."
        if self.missing_s is None:
            problem = "cannot all have their places, however long it is."
        lines = [f"{self.place}: the cues that must be spoken {problem}"]
        lines += [f"    {clash}" for clash in self.clashes]
        lines += [f"    written at {mark}" for mark in self.marks]
        lines += [f"    would work: {remedy}" for remedy in self.remedies]
        return "\n".join(lines)


def advise(misfits: Sequence[Attempt], sample_rate: int, pace: float = 1.0) -> list[Advice]:
    """Return advice for each interval whose must-cues do not fit; `pace` is that of the lengths given."""
    return [_advice(misfit, sample_rate, pace) for misfit in misfits]


def _advice(misfit: Attempt, sample_rate: int, pace: float) -> Advice:
    interval = misfit.interval
    musts = [
        (candidate, offer)
        for candidate, offer in zip(misfit.candidates, misfit.offers, strict=True)
        if offer.must
    ]
    candidates = [candidate for candidate, _ in musts]
    offers = [offer for _, offer in musts]
    what = interval.exercise or interval.block
    where = f"{what}{f', {interval.side} side' if interval.side else ''}"
    if interval.round:
        where += f", round {interval.round}"
    length, start = format_duration(interval.length_ms), format_clock(interval.start_ms)
    place = f"{where} ({interval.kind} of {length} at {start})"
    marks = tuple(dict.fromkeys(candidate.mark for candidate in candidates if candidate.mark))
    missing_s = _missing_s(offers, misfit.space, sample_rate)
    remedies: list[Remedy] = []
    words_to_cut = 0
    if missing_s is not None:
        spoken_s = sum(offer.length for offer in offers) / sample_rate
        n_words = sum(len(candidate.text.split()) for candidate in candidates)
        words_to_cut = max(1, round(missing_s * n_words / spoken_s + 0.49))
        # A talk that does not fit has been tried faster already.
        hurry = max(candidate.hurry for candidate in candidates)
        remedies += _by_pace(offers, misfit.space, pace * hurry)
    remedies += _by_moving(misfit, candidates, offers)
    remedies += _by_leaving_out(candidates, offers, misfit.space)
    remedies += _by_lengthening(misfit, offers, sample_rate)
    clashes = [] if missing_s is not None else _clashes(candidates, offers, misfit.space, sample_rate)
    return Advice(interval.index, place, marks, missing_s, words_to_cut, tuple(remedies), tuple(clashes))


def _missing_s(offers: Sequence[Offer], space: Space, sample_rate: int) -> float | None:
    """Return the least time, to 0.1 s, by which more talk would have to fit; None if no time would do."""
    tenth = sample_rate // 10

    def fits(tenths: int) -> bool:
        more = tenths * tenth
        return musts_fit(
            offers,
            replace(
                space,
                end=space.end + more,
                talk_limit=space.talk_limit + more,
                open_end=space.open_end + more,
            ),
        )

    return _least(fits)


def _least(fits: Callable[[int], bool]) -> float | None:
    """Return the least number of tenths for which `fits`, in units; None if not even the longest does."""
    low, high = 0, _LONGEST_STRETCH_S * 10
    if not fits(high):
        return None
    while low < high:
        middle = (low + high) // 2
        if fits(middle):
            high = middle
        else:
            low = middle + 1
    return low / 10


def _by_lengthening(misfit: Attempt, offers: Sequence[Offer], sample_rate: int) -> list[Remedy]:
    """Return by how much the interval would have to be longer, with all its rules at that length."""
    if misfit.interval.lines and not misfit.interval.lasts:
        text = "give it a length of its own, with lasts:"
        return [Remedy(text, "lasts")] if misfit.interval.pattern == "say" else []
    least_s = _least(lambda tenths: musts_fit(offers, misfit.longer(tenths * sample_rate // 10)))
    if least_s is None:
        return []
    seconds = math.ceil(least_s)
    if not musts_fit(offers, misfit.longer(seconds * sample_rate)):
        return []
    if misfit.interval.half:
        text = f"make this set {format_duration(2000 * seconds)} longer"
        return [Remedy(text, "longer", longer_s=2 * seconds)]
    text = f"make this interval {format_duration(1000 * seconds)} longer"
    return [Remedy(text, "longer", longer_s=seconds)]


def _clashes(
    candidates: Sequence[Candidate], offers: Sequence[Offer], space: Space, sample_rate: int
) -> list[str]:
    """Say of each cue that has no place even alone where it is fixed and where a cue may be."""
    first_s, last_s = space.begin / sample_rate, space.end / sample_rate
    return [
        f"“{candidate.text}” is fixed at {offer.earliest / sample_rate:.1f} s; "
        f"here a cue may start at {first_s:.1f} s and must end by {last_s:.1f} s"
        for candidate, offer in zip(candidates, offers, strict=True)
        if candidate.start_ms is not None and not musts_fit([offer], space)
    ]


def _by_pace(offers: Sequence[Offer], space: Space, pace: float) -> list[Remedy]:
    for faster in FASTER:
        if faster > pace and musts_fit([_shorter(offer, faster / pace) for offer in offers], space):
            return [Remedy(f"speak a little faster: --pace {faster:.2f}", "pace")]
    return []


def _shorter(offer: Offer, pace: float) -> Offer:
    """Return `offer` at a faster pace; one fixed at a place stays fixed there."""
    length = math.ceil(offer.length / pace)
    fixed = offer.latest_end is not None and offer.latest_end - offer.earliest == offer.length
    return replace(offer, length=length, latest_end=offer.earliest + length if fixed else offer.latest_end)


def _by_moving(misfit: Attempt, candidates: Sequence[Candidate], offers: Sequence[Offer]) -> list[Remedy]:
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
        moved = Offer(misfit.as_preview(candidate), must=True)
        stays = [offer for other, offer in enumerate(offers) if other != number]
        if musts_fit(stays, misfit.space) and musts_fit([*there, moved], before.space):
            text = f"say it in the {before.interval.kind} before, as its preview: “{candidate.text}”"
            found.append(Remedy(text, "preview", candidate.mark))
    return found


def _by_leaving_out(candidates: Sequence[Candidate], offers: Sequence[Offer], space: Space) -> list[Remedy]:
    found = []
    for number, candidate in enumerate(candidates):
        stays = [offer for other, offer in enumerate(offers) if other != number]
        if candidate.mark is not None and musts_fit(stays, space):
            text = f"let it be dropped, with must: false: “{candidate.text}”"
            found.append(Remedy(text, "optional", candidate.mark))
    return found
