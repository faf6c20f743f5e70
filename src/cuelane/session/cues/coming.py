"""What comes next: in the rest with time to prepare, in back-to-back work as one short line at the end."""

from __future__ import annotations

from collections.abc import Iterator

from cuelane.plan.model import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate
from cuelane.session.cues.handling import held, to_have_ready
from cuelane.session.cues.here import Here, applies, own_lines, tally_of, was_said, with_sides
from cuelane.session.model import Interval

SIDE_MUST_FROM_MS = 12_000
_CAUTION_EARLY_WEIGHT = 33
# In a shorter rest the caution waits for the set itself, where it comes before the set-up.
_CAUTION_EARLY_FROM_MS = 40_000
# By how much the bare name is worth less than the preview of what is new.
_NAME_ONLY = 40
_MOST_NEW = 2
_BLOCK_WEIGHT = 60


def coming_in_work(here: Here) -> Iterator[Candidate]:
    """Yield the one line about the next set that the end of a set has room for, in its forms."""
    interval, coming, words = here.interval, here.around.following, here.words
    if coming is None or coming.spec is None or coming.set_index == interval.set_index:
        return
    when = "at the end, before what it is about"
    if interval.block_index != coming.block_index:
        text = words.say("preview", "block", block=coming.block)
        yield Candidate(
            "preview", text, _BLOCK_WEIGHT, "before the next part", toward=0.7, chain=("end", 10),
            latest_ms=here.before_late_ms,
        )  # fmt: skip
    side = words.side(coming.side) if coming.side else ""
    previews = [line for line in own_lines(coming, "preview") if applies(line, coming)]
    told = coming.appearance != 1 or not previews or was_said(here, coming, "preview", previews[0])
    if not told:
        yield from _preview_in_work(here, coming, previews, side, when)
    needs = (
        [thing for thing in held(coming, words) if thing not in interval.spec.needs] if interval.spec else []
    )
    if not told:
        needs = list(here.around.new_needs) or needs
    key = _short_key(here, interval, coming)
    forms = [f"{key}_needs"] if needs and key in ("next", "next_side") else []
    for place, form in enumerate([*forms, key]):
        text = words.say(
            "preview", form, exercise=coming.exercise or "", side=side, items=words.listing(needs)
        )
        yield Candidate(
            "side" if side else "preview", text, WEIGHTS["preview"] - 5 - place, when, toward=1.0,
            group="next", chain=("end", 30),
        )  # fmt: skip


def _preview_in_work(
    here: Here, coming: Interval, previews: list[CueLine], side: str, when: str
) -> Iterator[Candidate]:
    """Yield the first line of a preview that no rest has told: it must not sound like something to do now."""
    words = here.words
    line = previews[0]
    text = words.say("preview", "coming", text=with_sides(line.text, coming, words))
    if side and "{side}" not in line.text:
        text = f"{text} {words.say('preview', 'side', side=side)}"
    yield Candidate(
        "preview", text, WEIGHTS["preview"] if line.weight is None else line.weight,
        when if line.at is None else "where the plan fixes it", must=line.must is True, start_ms=line.at,
        toward=1.0, group="next", chain=("end", 30) if line.at is None else None,
        tally=tally_of(coming, "preview", line), mark=line.mark,
    )  # fmt: skip


def _short_key(here: Here, previous: Interval | None, coming: Interval) -> str:
    if previous is None:
        return "first_side" if coming.side else "first"
    same = previous.exercise == coming.exercise
    if coming.side:
        if not same:
            return "next_side"
        return "again_side" if previous.side != coming.side else "again_same_side"
    return "again" if same else "next"


def coming_in_rest(here: Here, toward: float, *, named: bool, light: bool) -> Iterator[Candidate]:
    """Yield what prepares the set that follows; `named` where the round's own sentence names it already.

    `light` is for short rests: nothing beyond the exercise and its side.
    """
    interval, coming, words = here.interval, here.around.following, here.words
    if coming is None or coming.spec is None:
        return
    # Where time is short it is said last thing.
    toward = 1.0 if light and interval.pattern != "ready" else toward
    when = "at the end, before what it is about" if toward == 1.0 else "in the rest before it is needed"
    side = words.side(coming.side) if coming.side else ""
    must = bool(side) and interval.length_ms >= SIDE_MUST_FROM_MS and not interval.lines
    previews = [line for line in own_lines(coming, "preview") if applies(line, coming)]
    first = coming.appearance == 1
    told = " ".join(line.text for line in previews).lower() if first else ""
    if first:
        yield from _previews(here, coming, previews, side, must, toward, when)
        if side and previews and "{side}" not in " ".join(line.text for line in previews):
            text = words.say("preview", "side", side=side)
            yield Candidate("side", text, WEIGHTS["side"], when, must=must, toward=toward, chain=("end", 40))
    yield from cautions_before(here, coming, toward, WEIGHTS["caution"], ("end", 45))
    part = here.arc.begins_round(interval.index)
    # What is new has just been shown; what comes first is something else, and must be the last word.
    other_first = part is not None and bool(part.new) and not first and not light
    if not named or side or other_first:
        key = _short_key(here, here.around.before, coming)
        order = 30
        if part is not None and not light and (key in ("next", "next_side") or other_first):
            # The round's sentence and what is new in it have been told: then where it starts.
            key, order = "round_first_side" if side else "round_first", 65
        text = words.say("preview", key, exercise=coming.exercise or "", side=side)
        weight = WEIGHTS["preview"] - (_NAME_ONLY if first and previews else 5)
        yield Candidate(
            "side" if side else "preview", text, weight, when, must=must, toward=toward,
            group="next", chain=("end", order),
        )  # fmt: skip
    ready = to_have_ready(here, coming, told)
    # The opening has just told what the first set needs.
    if ready is not None and interval.pattern != "ready":
        yield Candidate(
            "preview", ready[0], WEIGHTS["needs"], "before the exercise that needs it", toward=toward + 0.1,
            chain=("end", 70), uses=ready[1],
        )  # fmt: skip


def _previews(
    here: Here, coming: Interval, previews: list[CueLine], side: str, must: bool, toward: float, when: str
) -> Iterator[Candidate]:
    for place, line in enumerate(previews):
        # The first line stands for the short form; further ones are said after it.
        yield Candidate(
            "preview", with_sides(line.text, coming, here.words),
            WEIGHTS["preview"] if line.weight is None else line.weight,
            when if line.at is None else "where the plan fixes it",
            must=line.must is True or (must and place == 0), start_ms=line.at, toward=toward,
            group=None if place else "next", chain=("end", 30 + place) if line.at is None else None,
            tally=tally_of(coming, "preview", line), mark=line.mark,
        )  # fmt: skip


def cautions_before(
    here: Here, coming: Interval, toward: float, weight: int, chain: tuple[str, int]
) -> Iterator[Candidate]:
    """Yield the cautions of a set that is an exercise's first; what is not said here is said at its start."""
    if coming.appearance != 1 or coming.half == 2:
        return
    for place, line in enumerate(own_lines(coming, "caution")):
        if line.at is None and applies(line, coming) and not was_said(here, coming, "caution", line):
            yield Candidate(
                "caution", with_sides(line.text, coming, here.words),
                weight if line.weight is None else line.weight, "before the movement it is about",
                toward=toward, chain=(chain[0], chain[1] + place), tally=tally_of(coming, "caution", line),
                mark=line.mark,
            )  # fmt: skip


def new_in_round(here: Here, toward: float) -> Iterator[Candidate]:
    """Yield in the rest before a round the previews of what is new in it, but for its first set."""
    part = here.arc.begins_round(here.interval.index)
    if part is None or here.level == "spare":
        return
    words, fresh = here.words, [entry for entry in part.new if entry is not part.sets[0]]
    # With a rest before each set, each is told in its own.
    back_to_back = [entry for entry in fresh if _follows_work(here, entry)]
    for number, entry in enumerate(back_to_back[:_MOST_NEW]):
        name, order = str(entry.exercise), 52 + 5 * number
        for place, line in enumerate(own_lines(entry, "preview")[:1]):
            text = with_sides(line.text, entry, words)
            if not text.lower().startswith(name.lower()):
                text = words.say("preview", "new", exercise=name, text=text)
            yield Candidate(
                "preview", text, WEIGHTS["preview"] if line.weight is None else line.weight,
                "new in the round that follows", toward=toward, chain=("end", order + place),
                tally=tally_of(entry, "preview", line), mark=line.mark,
            )  # fmt: skip
        if entry.side:
            text = words.say("preview", "side_of", exercise=name, side=words.side(entry.side))
            yield Candidate(
                "side", text, 48, "new in the round that follows", toward=toward, chain=("end", order + 1)
            )
        if own_lines(entry, "preview") and here.interval.length_ms >= _CAUTION_EARLY_FROM_MS:
            yield from cautions_before(here, entry, toward, _CAUTION_EARLY_WEIGHT, ("end", order + 2))


def _follows_work(here: Here, entry: Interval) -> bool:
    before = here.arc.session.intervals[entry.index - 1]
    return before.kind in ("work", "change")
