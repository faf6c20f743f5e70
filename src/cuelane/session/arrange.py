"""From a session to its schedule: pips at the boundaries, cues placed interval by interval.

Lengths come from outside, as real clips or as estimates; which of the offered cues are spoken and when is
:mod:`cuelane.session.placing`'s answer. What has been said in one interval decides what the next is offered.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

from cuelane.base.altered import altered
from cuelane.base.language import Language, load_language
from cuelane.base.schedule import Dropped, Event, Schedule, ScheduledInterval
from cuelane.base.units import to_sample
from cuelane.session.arc import Arc, arc_of
from cuelane.session.boundary_pips import nearest_pips, opening_pip_of, pips_of
from cuelane.session.candidates import Candidate, History
from cuelane.session.cues.naming import behind_words
from cuelane.session.manner import manner_of
from cuelane.session.model import Interval, Session
from cuelane.session.offers import ever_faster
from cuelane.session.offers import offers as cue_offers
from cuelane.session.placing import Offer, Placement, Space, musts_fit, place

OPEN_STRETCH_MS = 4_000
OPEN_STRETCH_FROM_MS = 20_000
_KEPT_PLACEMENTS = 2_000


@dataclass(frozen=True)
class Sounding:
    """How a candidate sounds: its length in samples and, once it has been spoken, its clip and voice."""

    n_frames: int
    clip: str | None = None
    voice: str | None = None
    words: tuple[tuple[str, int, int], ...] = ()


Soundings = Callable[[Candidate], Sounding]
Placer = Callable[[tuple[Offer, ...], Space], Placement | None]


@dataclass(frozen=True)
class Attempt:
    """What was offered in an interval and the space for it: all that is needed to look for a remedy.

    ``before`` is the attempt at the interval before it; ``longer`` gives the space that the interval would
    have with so many more samples, and ``as_preview`` how many samples one of its lines would take if it were
    said before the interval, as the preview of it.
    """

    interval: Interval
    candidates: tuple[Candidate, ...]
    offers: tuple[Offer, ...]
    space: Space
    longer: Callable[[int], Space]
    as_preview: Callable[[Candidate], int]
    before: Attempt | None = None


@dataclass(frozen=True)
class Arranged:
    """A schedule, what did not fit, and every candidate that was offered, placed or not.

    A talk's lines are among ``offered`` at each pace that was tried, since their lengths at the usual pace
    decide whether they are hurried at all.
    """

    schedule: Schedule
    misfits: tuple[Attempt, ...]
    offered: tuple[Candidate, ...]


def arrange(session: Session, sounding_of: Soundings, sample_rate: int, *, place: Placer = place) -> Arranged:
    """Return the session's schedule. A must-cue that does not fit is reported in ``misfits``, never cut.

    `place` may remember its answers: it is asked again for what it was asked before, plan after plan. Within
    one plan they are remembered here, since rounds come again.
    """
    place = lru_cache(maxsize=_KEPT_PLACEMENTS)(place)
    words = load_language(session.plan.language)
    history = History()
    events: list[Event] = []
    dropped: list[Dropped] = []
    misfits: list[Attempt] = []
    offered: list[Candidate] = []
    last: Attempt | None = None
    arc = arc_of(session)
    # A pip may be longer than the interval it opens, or the guard reach over a boundary without a pip.
    pips = [pips_of(session.intervals, index, sample_rate) for index in range(len(session.intervals))]
    nearest = nearest_pips(pips)
    for index, interval in enumerate(session.intervals):
        events += pips[index]
        space = _space(session, index, sample_rate, nearest[index])
        origin = to_sample(interval.start_ms, sample_rate)
        for candidates in ever_faster(interval, tuple(cue_offers(arc, index, words, history))):
            soundings = [sounding_of(candidate) for candidate in candidates]
            slots = tuple(
                _slot(candidate, sounding.n_frames, space, interval, sample_rate)
                for candidate, sounding in zip(candidates, soundings, strict=True)
            )
            offered += candidates
            found = place(slots, space)
            if found is not None:
                break
        longer = partial(_space, session, index, sample_rate, nearest[index])
        as_preview = partial(_as_preview, arc, index, words, sounding_of)
        here = Attempt(interval, candidates, slots, space, longer, as_preview)
        if found is None:
            misfits.append(altered(here, before=last))
            # Shown as far as it goes, so that the person sees the rest of the session.
            found = place(
                tuple(altered(slot, must=False, weight=slot.weight + 1000 * slot.must) for slot in slots),
                space,
            )
        assert found is not None, "with no must-cue there is always the empty placement"
        for number, start in sorted(found.starts.items()):
            candidate, sounding = candidates[number], soundings[number]
            last_set = arc.last_set(index)
            history.spoken(candidate, interval.appearance, last_set.set_index if last_set else None)
            events.append(_cue(candidate, sounding, index, origin + start, slots[number], start, sample_rate))
        last = here
        dropped += _reasons(candidates, slots, space, found, index, sample_rate)
    return Arranged(_schedule(session, events, dropped, sample_rate, words), tuple(misfits), tuple(offered))


def _as_preview(arc: Arc, index: int, words: Language, sounding_of: Soundings, line: Candidate) -> int:
    """Return how many samples a line of interval `index` takes in the one before it, as its preview.

    It is spoken at the pace of what is said there, and behind the words that a first preview has.
    """
    coming, text = arc.session.intervals[index], line.text
    if line.clip is None and not (coming.spec and coming.spec.preview):
        text = behind_words(words, coming, text, "coming")
    manner = manner_of(arc, index - 1, words)
    return sounding_of(altered(line, role="preview", text=text, manner=manner)).n_frames


def _schedule(
    session: Session, events: list[Event], dropped: list[Dropped], sample_rate: int, words: Language
) -> Schedule:
    ordered = sorted(events, key=lambda event: (event.onset_sample, event.end_sample))
    plan = session.plan
    printed = []
    if {line.text for line in session.cautions} & set(words.phrases("cautions", "standard")):
        printed += words.phrases("cautions", "standard_printed")
    if any(interval.pattern == "breath" for interval in session.intervals):
        printed += words.phrases("cautions", "breath_printed")
    standard = {*words.phrases("cautions", "standard"), words.phrase("cautions", "breath_spoken")}
    printed += [line.text for line in session.cautions if line.text not in standard]
    return Schedule(
        title=plan.title,
        language=plan.language,
        sample_rate=sample_rate,
        n_frames=to_sample(session.length_ms, sample_rate),
        intervals=tuple(_interval(entry, sample_rate) for entry in session.intervals),
        events=tuple(altered(event, id=f"e{number:04d}") for number, event in enumerate(ordered, 1)),
        dropped=tuple(dropped),
        extra={"cautions": printed},
    )


def _interval(entry: Interval, sample_rate: int) -> ScheduledInterval:
    start = to_sample(entry.start_ms, sample_rate)
    return ScheduledInterval(
        index=entry.index,
        block=entry.block,
        kind=entry.kind,
        round=entry.round,
        exercise=entry.exercise,
        side=entry.side,
        start_sample=start,
        end_sample=to_sample(entry.end_ms, sample_rate),
        settle_samples=to_sample(entry.start_ms + entry.settle_ms, sample_rate) - start,
        set_index=entry.set_index,
    )


def _space(
    session: Session, index: int, sample_rate: int, nearest: tuple[int | None, int | None], longer: int = 0
) -> Space:
    """Return the free space of an interval: what pips, their guards and the talk share leave.

    `nearest` is where the last pip before the interval ends and the first after it begins, in samples from
    the session's start; `longer` is by how many samples the interval is to be longer than it is.
    """
    plan, entry = session.plan, session.intervals[index]
    origin = to_sample(entry.start_ms, sample_rate)
    length = to_sample(entry.end_ms, sample_rate) - origin + longer
    guard, gap = to_sample(plan.guard, sample_rate), to_sample(plan.gap, sample_rate)
    opening = opening_pip_of(session.intervals, index, sample_rate)
    pip_end, pip_onset = nearest
    open_begin = max(opening.n_frames if opening else 0, pip_end - origin if pip_end is not None else 0, 0)
    script = entry.pattern == "script"
    # Without a pip on the boundary the gap to the cue before it is kept on this side.
    begin = open_begin + guard if open_begin > 0 else (0 if script else min(gap, length))
    if pip_end is not None:
        begin = max(begin, pip_end - origin + guard)
    pips = pips_of(session.intervals, index, sample_rate)
    shorts = [pip.onset_sample - origin + longer for pip in pips if pip.role == "short"]
    open_end = min(shorts, default=length)
    end = open_end - guard if shorts else length
    if pip_onset is not None:
        end = min(end, pip_onset - origin + longer - guard)
    share = {"work": plan.talk_share.work, "rest": plan.talk_share.rest, "change": plan.talk_share.rest}
    thousandths = 1000 if script else round(1000 * share.get(entry.kind, 1.0))
    open_from = to_sample(OPEN_STRETCH_FROM_MS, sample_rate)
    needs_open = entry.kind == "work" and length >= open_from and not script
    return Space(
        begin=begin,
        end=max(end, 0),
        gap=0 if script else gap,
        talk_limit=length * thousandths // 1000,
        open_needed=to_sample(OPEN_STRETCH_MS, sample_rate) if needs_open else 0,
        open_begin=open_begin,
        open_end=open_end,
    )


def _slot(candidate: Candidate, n_frames: int, space: Space, interval: Interval, sample_rate: int) -> Offer:
    """Return a candidate of known length as the placer sees it."""
    earliest, latest_end = 0, None
    if candidate.lead or candidate.start_ms is not None:
        earliest = space.begin
        if candidate.start_ms is not None:
            origin = to_sample(interval.start_ms, sample_rate)
            earliest = to_sample(interval.start_ms + candidate.start_ms, sample_rate) - origin
        latest_end = earliest + n_frames
        preferred = earliest
    else:
        slack = max(0, space.end - n_frames - space.begin)
        preferred = space.begin + slack * min(1000, round(candidate.toward * 1000)) // 1000
        origin = to_sample(interval.start_ms, sample_rate)
        if candidate.prefer_ms is not None:
            preferred = to_sample(interval.start_ms + candidate.prefer_ms, sample_rate) - origin
        if candidate.not_before_ms:
            earliest = to_sample(interval.start_ms + candidate.not_before_ms, sample_rate) - origin
            preferred = max(preferred, earliest)
        if candidate.latest_ms is not None:
            latest = to_sample(interval.start_ms + candidate.latest_ms, sample_rate) - origin
            latest_end = latest + n_frames
            preferred = min(preferred, latest)
    return Offer(
        n_frames,
        earliest,
        latest_end,
        preferred,
        candidate.weight,
        candidate.must,
        candidate.group,
        candidate.chain,
        to_sample(candidate.quiet_ms, sample_rate),
    )


def _cue(
    candidate: Candidate,
    sounding: Sounding,
    index: int,
    onset_sample: int,
    slot: Offer,
    start: int,
    sample_rate: int,
) -> Event:
    moved_s = (start - slot.preferred) / sample_rate
    why = candidate.wish
    # What wants to be as early as its order allows has not been moved by being second.
    if (candidate.toward > 0 or candidate.prefer_ms is not None) and abs(moved_s) >= 0.05:
        why += f", moved {abs(moved_s):.1f} s {'later' if moved_s > 0 else 'earlier'} to fit"
    return Event(
        id="",
        kind="cue",
        role=candidate.role,
        interval=index,
        onset_sample=onset_sample,
        end_sample=onset_sample + sounding.n_frames,
        text=candidate.text,
        clip=sounding.clip,
        voice=sounding.voice,
        must=candidate.must,
        why=why,
        words=tuple(
            (word, onset_sample + first, onset_sample + last) for word, first, last in sounding.words
        ),
    )


def _reasons(
    candidates: Sequence[Candidate],
    slots: Sequence[Offer],
    space: Space,
    found: Placement,
    index: int,
    sample_rate: int,
) -> list[Dropped]:
    """Say of each candidate that was not placed why not; another form of what was said is no loss."""
    said = {candidates[number].group for number in found.starts} - {None}
    spoken = sum(slots[number].length for number in found.starts)
    musts = [slot for slot in slots if slot.must]
    rows = []
    for number, candidate in enumerate(candidates):
        if number in found.starts or candidate.group in said:
            continue
        slot = slots[number]
        length_s = slot.length / sample_rate
        if number in found.left_out:
            reason = "more cues were offered than the placer weighs; this was the lightest"
        elif not _fit((altered(slot, must=True),), space):
            reason = f"its {length_s:.1f} s have no place in this interval"
        elif not _fit((*musts, altered(slot, must=True)), space):
            reason = f"its {length_s:.1f} s have no place beside the must-cues"
        elif spoken + slot.length > space.talk_limit:
            reason = f"its {length_s:.1f} s would pass the interval's share of talk"
        else:
            reason = f"its {length_s:.1f} s have no place beside heavier cues"
        rows.append(Dropped(candidate.role, candidate.text, index, reason))
    return rows


@lru_cache(maxsize=_KEPT_PLACEMENTS)
def _fit(musts: tuple[Offer, ...], space: Space) -> bool:
    """Return :func:`musts_fit`'s answer, kept: rounds come again, and at the desk whole plans do."""
    return musts_fit(musts, space)
