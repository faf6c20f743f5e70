"""From a plan to a session: blocks stacked, sides and sets counted, pips and times given.

What a pattern does inside its block is in :mod:`cuelane.session.rounds`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from cuelane.base.altered import altered
from cuelane.base.language import Language, load_language
from cuelane.plan.loaded import LoadedPlan
from cuelane.plan.model import (
    Include,
    PatternBlock,
    Pause,
    Plan,
    Say,
)
from cuelane.plan.parts import CueLine
from cuelane.session.breath_words import introduced
from cuelane.session.ends import as_lines, closing, easy_talk_ms, opening
from cuelane.session.model import Countdown, Interval, Session
from cuelane.session.rounds import NOT_AN_EXERCISE, drafts_of


def expand(loaded: LoadedPlan) -> Session:
    """Return the session that a plan and all it includes describe.

    What the program says has as much time in every language as the English words have at an easy pace, since
    the same content takes about as long to say in any (Pellegrino, Coupé and Marsico 2011, Language 87,
    539-558; value from memory). So a plan has the same boundaries in all of them.
    """
    own = _Telling(loaded, load_language(loaded.plan.language))
    english = _Telling(loaded, load_language("en"))
    session = timed_by = None
    # What is said at the start and the end tells of the whole, so that comes from a first count without it.
    for _ in range(3):
        timed_by = english.draft(timed_by)
        # Each count has the English times, so that a length that is spoken is the one that is kept.
        session = timed_by if own.words is english.words else _with_times(own.draft(session), timed_by)
    assert session is not None
    return session


def _with_times(session: Session, other: Session) -> Session:
    """Return `session` with the times of the same plan's in another language."""
    pairs = zip(session.intervals, other.intervals, strict=True)
    intervals = tuple(altered(entry, start_ms=one.start_ms, end_ms=one.end_ms) for entry, one in pairs)
    return altered(session, intervals=intervals)


class _Telling:
    """A plan in the words of one language, counted again each time that more of it is known."""

    def __init__(self, loaded: LoadedPlan, words: Language) -> None:
        self.words = words
        self._plan = loaded.plan
        self._cautions = _cautions(loaded, words)
        standard = any(one.cautions == "standard" for one in _plans(loaded))
        spare = loaded.plan.coaching == "spare"
        self._body = introduced(_items(loaded, words), words, standard=standard, spare=spare)

    def draft(self, before: Session | None) -> Session:
        """Return the session; `before` is the last draft, of which it tells at its start and end."""
        first = opening(self._plan, self._cautions, self.words, self._body, before)
        led_in = _led_in(self._plan, [first, *self._body], self.words)
        last = closing(self._plan, self.words, self._body, before)
        return _counted(self._plan, self._cautions, [*led_in, *last])


def _counted(plan: Plan, cautions: tuple[CueLine, ...], intervals: Sequence[Interval]) -> Session:
    return Session(plan, cautions, tuple(_placed(_with_sides(intervals, even=plan.even_sides))))


def _cautions(loaded: LoadedPlan, words: Language) -> tuple[CueLine, ...]:
    """Return every caution of the plan and its includes once, the standard ones first."""
    plans = list(_plans(loaded))
    standard = any(plan.cautions == "standard" for plan in plans)
    texts = list(as_lines(words.phrases("cautions", "standard"))) if standard else []
    seen = {line.text for line in texts}
    for plan in plans:
        if isinstance(plan.cautions, list):
            for line in plan.cautions:
                if line.text not in seen:
                    seen.add(line.text)
                    texts.append(line)
    return tuple(texts)


def _plans(loaded: LoadedPlan) -> Iterator[Plan]:
    yield loaded.plan
    for inner in loaded.includes.values():
        yield from _plans(inner)


def _led_in(plan: Plan, body: Sequence[Interval], words: Language) -> list[Interval]:
    """Return `body` with time to get ready before its first exercise, and pips where talk leads into work.

    A talk interval whose length is the program's to choose grows by its countdown; one whose length the
    plan gives does not.
    """
    result: list[Interval] = []
    ready = plan.lead_in == 0
    for index, entry in enumerate(body):
        following = body[index + 1] if index + 1 < len(body) else None
        leads_on = entry.lines and following and following.kind == "work" and following.countdown
        if not ready and entry.kind != "talk":
            ready = True
            # A rest is time to get ready, and so is talk before a breath; a script has said all it wants.
            if entry.pattern != "script" and entry.kind != "rest" and not entry.explain:
                countdown = _countdown_of(plan.pips, None, "")
                name = words.phrase("blocks", "ready")
                result.append(Interval(0, name, -1, "ready", "talk", 0, plan.lead_in, countdown=countdown))
        elif ready and following and leads_on:
            # A countdown of the plan's, even before a flow, which has none of its own.
            countdown = _countdown_of(plan.pips, None, "") or following.countdown
            assert countdown is not None, "leads_on has seen the following interval's"
            grown_ms = 0 if entry.lasts else countdown.count * countdown.spacing_ms
            entry = altered(entry, end_ms=entry.end_ms + grown_ms, countdown=countdown)
        result.append(entry)
    return result


def _items(loaded: LoadedPlan, words: Language) -> list[Interval]:
    """Return the intervals of a plan's session, without times; included plans in their place."""
    plan = loaded.plan
    intervals: list[Interval] = []
    block_index = 0
    for index, item in enumerate(plan.session):
        if isinstance(item, Include):
            inner = _items(loaded.includes[index], words)
            shift = block_index
            intervals += [altered(entry, block_index=entry.block_index + shift) for entry in inner]
            block_index = max((entry.block_index for entry in intervals), default=-1) + 1
        elif isinstance(item, Say):
            length_ms = item.lasts or easy_talk_ms([line.text for line in item.say])
            name = "closing" if index + 1 == len(plan.session) and intervals else "talk"
            title = words.phrase("blocks", name)
            talk = Interval(0, title, block_index, "say", "talk", 0, length_ms, lines=tuple(item.say))
            intervals.append(altered(talk, lasts=item.lasts is not None))
            block_index += 1
        elif isinstance(item, Pause):
            countdown = _countdown_of(plan.pips, None, "pause")
            intervals.append(
                Interval(
                    0,
                    words.phrase("blocks", "rest"),
                    block_index,
                    "pause",
                    "rest",
                    0,
                    item.rest,
                    countdown=countdown,
                )
            )
            block_index += 1
        else:
            intervals += _block(loaded, item, block_index)
            block_index += 1
    return intervals


def _block(loaded: LoadedPlan, block: PatternBlock, block_index: int) -> list[Interval]:
    plan = loaded.plan
    countdown = _countdown_of(plan.pips, block.pips, block.pattern)
    calls = block.calls if block.calls is not None else plan.calls
    activity = block.activity or plan.activity
    intervals: list[Interval] = []
    lines = (*block.say, *getattr(block, "caution", ()))
    if lines:
        length_ms = easy_talk_ms([line.text for line in lines])
        talk = Interval(0, block.block, block_index, block.pattern, "talk", 0, length_ms, lines=lines)
        warns = tuple(line.text for line in getattr(block, "caution", ()))
        intervals.append(altered(talk, warns=warns))
    for draft in drafts_of(plan, block):
        spec = plan.exercises.get(draft.exercise) if draft.exercise else None
        interval = Interval(
            index=0,
            block=block.block,
            block_index=block_index,
            pattern=block.pattern,
            kind=draft.kind,  # type: ignore[arg-type]
            start_ms=0,
            end_ms=draft.length_ms,
            round=draft.round,
            rounds=draft.rounds,
            exercise=draft.exercise,
            spec=spec or (NOT_AN_EXERCISE if draft.exercise else None),
            settle_ms=draft.settle_ms,
            countdown=countdown,
            activity=(spec.activity if spec else None) or activity,
            calls_ms=None if calls is None else tuple(calls),
            praise=tuple(getattr(block, "praise", ())),
        )
        intervals.append(altered(interval, **dict(draft.fields)))
    return intervals


def _countdown_of(plan_pips: object, block_pips: object, pattern: str) -> Countdown | None:
    """Return the countdown that a block's (else the plan's) `pips` ask for; a flow has only the long pip."""
    pips = plan_pips if block_pips is None else block_pips
    if pips is False or pattern == "breath":
        return None
    count = 0 if pattern == "flow" and block_pips is None else pips.count  # type: ignore[attr-defined]
    return Countdown(count, pips.spacing)  # type: ignore[attr-defined]


# A set is evened by splitting it only where each half is worth doing.
_EVENED_FROM_MS = 20_000
# Half a set has a countdown of its own from this length on; below it, the turn pip alone.
_HALF_COUNTED_FROM_MS = 15_000


def _halves(entry: Interval, first: str, second: str) -> list[Interval]:
    """Return a set as two halves, one on each side, with pips before the switch where there is time."""
    half_ms = (entry.length_ms + 1) // 2
    turn = None
    if entry.countdown:
        turn = entry.countdown if half_ms >= _HALF_COUNTED_FROM_MS else Countdown(0, 1)
    return [
        altered(entry, end_ms=half_ms, side=first, half=1, countdown=turn),
        altered(entry, end_ms=entry.length_ms - half_ms, side=second, half=2),
    ]


def _with_sides(intervals: Sequence[Interval], *, even: bool = False) -> list[Interval]:
    """Number sets and appearances, and give each set its side; a set on each side becomes two halves.

    Appearances count for one definition of an exercise: a plan and one that it includes may both have a
    squat, each with a set-up and a caution of its own. A script's sets are numbered and nothing else. With
    `even`, the last of an odd number of alternating sets is done on each side.
    """
    total = Counter(_definition(entry) for entry in intervals if _is_set(entry))
    seen: Counter[tuple[int, str | None]] = Counter()
    n_sets = 0
    result: list[Interval] = []
    for entry in intervals:
        if entry.kind != "work" or entry.exercise is None or entry.spec is None:
            result.append(entry)
            continue
        numbered = altered(entry, set_index=n_sets)
        n_sets += 1
        if entry.pattern == "script":
            result.append(numbered)
            continue
        key = _definition(entry)
        seen[key] += 1
        numbered = altered(numbered, appearance=seen[key], appearances=total[key])
        first, second = entry.spec.first_side, "right" if entry.spec.first_side == "left" else "left"
        evened = even and total[key] % 2 and seen[key] == total[key] and entry.length_ms >= _EVENED_FROM_MS
        if entry.spec.sides == "alternate" and entry.side is None and evened:
            result += _halves(numbered, first, second)
        elif entry.spec.sides == "alternate" and entry.side is None:
            odd = numbered.appearance is not None and numbered.appearance % 2 == 1
            result.append(altered(numbered, side=first if odd else second))
        elif entry.spec.sides == "each" and entry.side is None:
            result += _halves(numbered, first, second)
        else:
            result.append(numbered)
    return result


def _is_set(interval: Interval) -> bool:
    return interval.kind == "work" and interval.exercise is not None and interval.pattern != "script"


def _definition(interval: Interval) -> tuple[int, str | None]:
    return id(interval.spec), interval.exercise


# Of a short interval at most this part (in percent) is countdown, so that there is time left to be in it,
# and none of it within this time of a boundary's pip, so that no short pip sounds under a long one (0.7 s at
# most) or in its guard: the short pips that have no room are left out.
_COUNTDOWN_PERCENT = {"change": 40}
_AFTER_PIP_MS = 1_000


def _placed(intervals: Sequence[Interval]) -> Iterator[Interval]:
    """Give every interval its index and times, and its pips: there are pips where work starts or ends."""
    start_ms = clear_ms = 0
    opening_pip = False
    for index, entry in enumerate(intervals):
        following = intervals[index + 1] if index + 1 < len(intervals) else None
        countdown = None
        if entry.opening_pip or opening_pip:
            # It may sound on beyond an interval of its own length.
            clear_ms = start_ms + _AFTER_PIP_MS
        end_ms = start_ms + entry.length_ms
        if entry.countdown and following and "work" in (entry.kind, following.kind):
            longest_ms = entry.length_ms * _COUNTDOWN_PERCENT.get(entry.kind, 60) // 100
            longest_ms = min(longest_ms, max(0, end_ms - clear_ms))
            count = min(entry.countdown.count, longest_ms // entry.countdown.spacing_ms)
            countdown = Countdown(count, entry.countdown.spacing_ms)
        yield altered(
            entry,
            index=index,
            start_ms=start_ms,
            end_ms=end_ms,
            countdown=countdown,
            opening_pip=entry.opening_pip or opening_pip,
        )
        start_ms = end_ms
        opening_pip = countdown is not None
