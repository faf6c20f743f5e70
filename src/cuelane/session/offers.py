"""Which cues an interval could carry: the coach's judgement, before any length is known.

For each interval :func:`offers` lists candidates by role, given what has been said so far. What a coach does:

* the name at the start, with round and side; the last set says that it is the last;
* the full set-up at an exercise's first appearance, a reminder at later ones;
* form cues in turn, none again before all have been used; the easier way in the first half of the
  appearances, the harder way in the second; a caution at the first, and again where the set before loaded
  the same region;
* in the rest before, what comes next: block, equipment, exercise, side; in back-to-back work, at its end;
* a time call only where it helps: in intervals of 30 s and more, for at most half the time, not where the
  countdown is about to say it;
* what to do at the pips (`change`) only when the next set is another exercise.

A line's own `rounds`, `at`, `must` and `weight` win over all of this.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from cuelane.base.language import Language
from cuelane.plan.model import CueLine
from cuelane.session.candidates import WEIGHTS, Candidate, History
from cuelane.session.model import Interval, Session
from cuelane.session.neighbours import Neighbours

_TIME_CALL_FROM_MS = 30_000
_NAME_MUST_FROM_MS = 10_000
_SIDE_MUST_FROM_MS = 12_000
_REST_SAID_FROM_MS = 8_000
_SECOND_FORM_WEIGHT = 25
_CAUTION_AGAIN_WEIGHT = 32


@dataclass(frozen=True)
class _Here:
    """An interval with its neighbours, as the rules below look at it."""

    session: Session
    interval: Interval
    around: Neighbours
    words: Language
    history: History


def offers(
    session: Session, index: int, around: Neighbours, words: Language, history: History
) -> list[Candidate]:
    """Return the candidates for interval `index`, heaviest rules first; deterministic."""
    interval = session.intervals[index]
    here = _Here(session, interval, around, words, history)
    if interval.pattern == "script":
        return list(_script(here))
    if interval.pattern == "breath" and interval.kind != "talk":
        return list(_breath(here))
    if interval.lines:
        return [*_lines(here), *_what_comes_next(here)]
    if interval.kind == "work":
        return list(_work(here))
    return list(_rest(here))


def _script(here: _Here) -> Iterator[Candidate]:
    for number, cue in enumerate(here.interval.script_cues):
        yield Candidate(
            cue.role, cue.text, WEIGHTS.get(cue.role, 20), "where the script has it", must=cue.must,
            start_ms=cue.at, tally=("script", str(here.interval.index), str(number)), clip=cue.clip,
            mark=cue.mark,
        )  # fmt: skip


def _breath(here: _Here) -> Iterator[Candidate]:
    interval, words = here.interval, here.words
    cycle = interval.cycle or 1
    phase = "hold_out" if interval.kind == "hold" and interval.half == 2 else interval.kind
    if cycle <= interval.spoken_cycles:
        yield Candidate(
            "say", words.phrase("breath", phase), WEIGHTS["announce"], "with its breath phase", lead=True
        )
    elif interval.kind == "in" and cycle == interval.rounds:
        yield Candidate("time", words.phrase("breath", "last"), 50, "with the last breath", lead=True)
    elif interval.kind == "in" and cycle == interval.spoken_cycles + 1:
        for place, form in enumerate(("tones", "tones_short")):
            yield Candidate(
                "say", words.phrase("breath", form), 50 - place, "where the voice hands over", lead=True,
                group="tones",
            )  # fmt: skip


def _lines(here: _Here) -> Iterator[Candidate]:
    roles = {line.text: "caution" for line in here.session.cautions}
    for number, line in enumerate(here.interval.lines):
        role: str = roles.get(line.text, "announce") if here.interval.pattern == "opening" else "say"
        yield Candidate(
            role, line.text, WEIGHTS[role] if line.weight is None else line.weight, "in its order",
            must=line.must is not False,
            start_ms=line.at, chain=None if line.at is not None else ("lines", number), mark=line.mark,
        )  # fmt: skip


def _name(here: _Here) -> Iterator[Candidate]:
    """Yield the announcement in its long and short forms; the second half of a set says its side."""
    interval, words = here.interval, here.words
    must = interval.length_ms >= _NAME_MUST_FROM_MS
    side = words.side(interval.side) if interval.side else ""
    if interval.half == 2:
        forms = ["switch", "short"] if here.around.after else ["switch_last", "switch", "short"]
        for place, form in enumerate(forms):
            text = words.say("side_change", form, side=side)
            yield Candidate(
                "side", text, WEIGHTS["side"] - place, "right after the turn", must=True, lead=True,
                group="announce",
            )  # fmt: skip
        return
    own = _due(here, "announce")
    name = interval.exercise or ""
    spoken = _with_sides(own[0].text, interval, words) if own else name
    values = {"exercise": spoken.rstrip(".!?… "), "side": side}
    heavy = WEIGHTS["announce"]
    at_ms = own[0].at if own else None
    if own:
        must = must if own[0].must is None else own[0].must
        heavy = heavy if own[0].weight is None else own[0].weight
    forms = ["exercise"]
    new_round = here.around.before is None or here.around.before.round != interval.round
    if here.around.after is None and interval.index and here.around.before is not None:
        forms.insert(0, "last")
    elif interval.rounds and interval.rounds > 1 and interval.round and interval.round > 1 and new_round:
        forms.insert(0, "last_round" if interval.round == interval.rounds else "round")
    for place, form in enumerate(forms):
        number = words.number(interval.round or 0)
        text = words.say("announce", f"{form}_side" if side else form, n=number, **values)
        yield Candidate(
            "announce", text, heavy - place,
            "right after the pip" if at_ms is None else "where the plan fixes it", must=must,
            start_ms=at_ms, lead=at_ms is None, group="announce", mark=own[0].mark if own else None,
        )  # fmt: skip


def _work(here: _Here) -> Iterator[Candidate]:
    interval = here.interval
    appearance, appearances = interval.appearance or 1, interval.appearances or 1
    yield from _name(here)
    if interval.half != 2:
        if appearance == 1:
            yield from _all(here, "setup", "early, while getting into place", must=True, chain=("start", 1))
        else:
            yield from _in_turn(here, "remind", "early, while getting into place", toward=0.05)
        if appearance == 1:
            yield from _all(
                here, "caution", "at the first appearance", must=True, toward=0.3, chain=("start", 2)
            )
        elif _same_region(here):
            yield from _in_turn(
                here, "caution", "the set before loaded the same region", toward=0.3,
                weight=_CAUTION_AGAIN_WEIGHT, rest_appearances=2,
            )  # fmt: skip
    elif appearance == 1:
        for line in _due(here, "setup"):
            if "{side}" in line.text:
                yield _candidate(
                    here, "setup", line, "the other side's", WEIGHTS["remind"], False, 0.05, ("start", 100)
                )
    # Two in one set only if that leaves others for the next.
    most = 2 if len(_own_lines(here, "form")) >= 2 * min(appearances, 2) else 1
    yield from _in_turn(here, "form", "once settled", toward=0.45, most=most)
    if 2 * appearance <= appearances + 1:
        yield from _in_turn(here, "easier", "in the first half of its appearances", toward=0.55)
    if 2 * appearance > appearances + 1:
        yield from _in_turn(here, "harder", "in the second half of its appearances", toward=0.6)
    yield from _in_turn(here, "say", "where there is time", toward=0.5)
    yield from _time_calls(here)
    if (interval.set_index or 0) % 2:
        yield from _in_turn(here, "praise", "late in the interval", toward=0.8)
    if interval.half == 1:
        other = here.words.side("right" if interval.side == "left" else "left")
        text = here.words.say("preview", "other_side", side=other)
        yield Candidate("side", text, 45, "before the turn", toward=1.0, chain=("end", 10))
        return
    yield from _what_comes_next(here)
    if here.around.after is not None and here.around.after.exercise != interval.exercise:
        yield from _in_turn(
            here, "change", "last before the pips", toward=1.0, must=True, chain=("end", 90), again=True
        )


def _same_region(here: _Here) -> bool:
    mine = set(here.interval.spec.load if here.interval.spec else ())
    theirs = set(here.around.before.spec.load if here.around.before and here.around.before.spec else ())
    return bool(mine & theirs)


def _time_calls(here: _Here) -> Iterator[Candidate]:
    interval = here.interval
    if interval.length_ms < _TIME_CALL_FROM_MS:
        return
    countdown_ms = interval.countdown.count * interval.countdown.spacing_ms if interval.countdown else 0
    for left_ms in interval.calls_ms:
        if left_ms * 2 <= interval.length_ms and left_ms >= countdown_ms + 4_000 and left_ms % 1000 == 0:
            text = here.words.time_left(left_ms, interval.length_ms)
            yield Candidate(
                "time", text, WEIGHTS["time"], "starts exactly at its time left",
                start_ms=interval.length_ms - left_ms,
            )  # fmt: skip


def _rest(here: _Here) -> Iterator[Candidate]:
    interval = here.interval
    if interval.pattern == "ready":
        yield Candidate("announce", here.words.phrase("opening", "ready"), 55, "at once", lead=True)
    if interval.kind == "rest" and interval.length_ms >= _REST_SAID_FROM_MS:
        text = here.words.phrase("announce", "rest")
        yield Candidate("announce", text, 55, "right after the pip", lead=True)
    yield from _what_comes_next(here)


def _what_comes_next(here: _Here) -> Iterator[Candidate]:
    """Yield what the listener needs for the set that starts where this interval ends."""
    interval, coming, words = here.interval, here.around.following, here.words
    if here.around.breath_next is not None:
        key = "first" if here.around.before is None else "next"
        text = words.say("preview", key, exercise=here.around.breath_next)
        yield Candidate(
            "preview", text, WEIGHTS["preview"], "before its first breath", toward=0.35, chain=("end", 1)
        )
    if coming is None or coming.spec is None or coming.set_index == interval.set_index:
        return
    working = interval.kind == "work"
    # Told in the rest with time to prepare; in back-to-back work and short breaks, last thing.
    toward = 1.0 if working or interval.length_ms < _SIDE_MUST_FROM_MS else 0.35
    if interval.pattern == "ready":
        toward = 0.2
    when = "at the end, before what it is about" if toward == 1.0 else "in the rest before it is needed"
    first_of_all = here.around.before is None and not working
    previous = interval if working else here.around.before
    if previous is not None and previous.block_index != coming.block_index:
        text = words.say("preview", "block", block=coming.block)
        yield Candidate("preview", text, 60, when, toward=toward, chain=("end", 10))
    # A preview that names the thing has told it.
    told = " ".join(line.text for line in coming.spec.preview).lower()
    missing = [thing for thing in here.around.new_needs if thing.split()[-1].lower() not in told]
    if missing and not first_of_all:
        text = words.say("preview", "needs", items=words.listing(missing))
        yield Candidate("preview", text, WEIGHTS["needs"], when, toward=toward, chain=("end", 70))
    side = words.side(coming.side) if coming.side else ""
    must = bool(side) and not working and interval.length_ms >= _SIDE_MUST_FROM_MS and not interval.lines
    if coming.appearance == 1:
        for place, line in enumerate(line for line in coming.spec.preview if _applies(line, coming)):
            # The first line stands for the short form below; further ones are said after it. In the middle
            # of work it must not sound like something to do now.
            text = _with_sides(line.text, coming, words)
            if working and place == 0:
                text = words.say("preview", "coming", text=text)
            yield Candidate(
                "preview", text,
                WEIGHTS["preview"] if line.weight is None else line.weight,
                when if line.at is None else "where the plan fixes it",
                must=line.must is True or (must and place == 0), start_ms=line.at, toward=toward,
                group=None if place else "next", chain=("end", 30 + place) if line.at is None else None,
                mark=line.mark,
            )  # fmt: skip
        if side and coming.spec.preview and "{side}" not in told:
            text = words.say("preview", "side", side=side)
            yield Candidate("side", text, WEIGHTS["side"], when, must=must, toward=toward, chain=("end", 80))
    same = previous is not None and previous.exercise == coming.exercise
    key = "first" if first_of_all else ("again" if same else "next")
    text = words.say("preview", f"{key}_side" if side else key, exercise=coming.exercise or "", side=side)
    yield Candidate(
        "side" if side else "preview", text, WEIGHTS["preview"] - 5, when, must=must, toward=toward,
        group="next", chain=("end", 30),
    )  # fmt: skip


def _applies(line: CueLine, interval: Interval) -> bool:
    """Return whether a line's own `rounds` (counted in appearances) include this one."""
    appearance = interval.appearance or 1
    if line.rounds is None:
        return True
    if line.rounds == "first":
        return appearance == 1
    if line.rounds == "last":
        return appearance == interval.appearances
    if line.rounds == "odd":
        return appearance % 2 == 1
    if line.rounds == "even":
        return appearance % 2 == 0
    return appearance in (line.rounds if isinstance(line.rounds, list) else [line.rounds])


def _own_lines(here: _Here, role: str) -> list[CueLine]:
    spec = here.interval.spec
    lines = list(getattr(spec, role)) if spec else []
    return lines or (list(here.interval.praise) if role == "praise" else [])


def _due(here: _Here, role: str) -> list[CueLine]:
    return [line for line in _own_lines(here, role) if _applies(line, here.interval)]


def _tally(here: _Here, role: str, line: CueLine) -> tuple[str, str, str]:
    owner = f"{here.interval.exercise} {id(here.interval.spec)}"
    return (owner if _own_lines(here, role) and role != "praise" else "", role, line.text)


def _candidate(
    here: _Here, role: str, line: CueLine, wish: str, weight: int, must: bool, toward: float,
    chain: tuple[str, int] | None,
) -> Candidate:  # fmt: skip
    text = _with_sides(line.text, here.interval, here.words)
    if role in ("easier", "harder") and not _says_it_is_a_choice(text, here.words):
        text = here.words.say("options", role, text=text)
    return Candidate(
        role,
        text,
        line.weight if line.weight is not None else weight,
        "where the plan fixes it" if line.at is not None else wish,
        must=must if line.must is None else line.must,
        start_ms=line.at,
        toward=toward,
        chain=None if line.at is not None else chain,
        tally=_tally(here, role, line),
        mark=line.mark,
    )


def _says_it_is_a_choice(text: str, words: Language) -> bool:
    return any(word in text.lower() for word in words.phrases("options", "told"))


def _all(
    here: _Here,
    role: str,
    wish: str,
    *,
    must: bool,
    toward: float = 0.0,
    chain: tuple[str, int] | None = None,
) -> Iterator[Candidate]:
    """Yield every line of a role that applies here."""
    for place, line in enumerate(_due(here, role)):
        in_order = (chain[0], 100 * chain[1] + place) if chain else None
        yield _candidate(here, role, line, wish, WEIGHTS[role], must, toward, in_order)


def _in_turn(
    here: _Here, role: str, wish: str, *, toward: float, most: int = 1, weight: int | None = None,
    must: bool = False, chain: tuple[str, int] | None = None, rest_appearances: int = 0, again: bool = False,
) -> Iterator[Candidate]:  # fmt: skip
    """Yield the role's next lines in turn: only those used least, so none repeats before all have been used.

    Lines that name their rounds stand outside the turn. A lone line is not said at consecutive appearances
    (``again`` lifts that), nor within ``rest_appearances`` of its last.
    """
    appearance = here.interval.appearance or 1
    turning: list[CueLine] = []
    for line in _own_lines(here, role):
        if line.rounds is None and line.at is None:
            turning.append(line)
        elif _applies(line, here.interval):
            yield _candidate(here, role, line, wish, WEIGHTS[role], must, toward, chain)
    if not turning:
        return
    times = [here.history.times.get(_tally(here, role, line), 0) for line in turning]
    fresh = [line for line, count in zip(turning, times, strict=True) if count == min(times)]
    offered = 0
    for line in fresh:
        last = here.history.last.get(_tally(here, role, line))
        if last is not None and not again and appearance - last < 2 + rest_appearances:
            continue
        heavy = WEIGHTS[role] if weight is None else weight
        yield _candidate(
            here, role, line, wish, heavy if offered == 0 else _SECOND_FORM_WEIGHT, must,
            toward + 0.25 * offered, chain,
        )  # fmt: skip
        offered += 1
        if offered == most:
            return


def _with_sides(text: str, interval: Interval, words: Language) -> str:
    """Return `text` with ``{side}`` and ``{other_side}`` filled in, its first letter a capital."""
    if interval.side is None or "{" not in text:
        return text
    other: Literal["left", "right"] = "right" if interval.side == "left" else "left"
    filled = text.replace("{side}", words.side(interval.side)).replace("{other_side}", words.side(other))
    return filled[:1].upper() + filled[1:]
